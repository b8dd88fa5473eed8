/* The text of a sheet, or of another file of its kind, from a disk. */
#ifndef PLANISH_HARNESS_SHEET_TEXT_H
#define PLANISH_HARNESS_SHEET_TEXT_H

#include "harness/sheet/sheet_tree.h"

/* All of a plain file of at most PLANISH_SHEET_BYTES; free() gives it back. NULL, and a mistake
 * without place, where it cannot be read or is none. Never waits. Thread: any. */
char *planish_sheet_text_read(const char *path, size_t *size, PlanishMistakes *mistakes);

#endif
