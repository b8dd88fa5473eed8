/* What "planish sheet new" gives: a sheet that can be rendered as it is, with a word on everything
 * that can stand in one. */
#ifndef PLANISH_HARNESS_SHEET_TEMPLATE_H
#define PLANISH_HARNESS_SHEET_TEMPLATE_H

extern const char planish_sheet_template[];

#endif
