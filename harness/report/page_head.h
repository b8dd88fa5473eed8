/* What every page begins with: its style sheet, and a policy by which nothing may be fetched and no
 * other script may run. Thread: one at a time a stream. */
#ifndef PLANISH_HARNESS_PAGE_HEAD_H
#define PLANISH_HARNESS_PAGE_HEAD_H

#include <stdbool.h>
#include <stdio.h>

/* From the doctype up to </head>. `scripted`: the page's own script (assets.h) may run. */
void planish_page_head(FILE *out, const char *title, bool scripted);

#endif
