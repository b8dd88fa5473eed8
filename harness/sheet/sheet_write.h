/* Writes a sheet as YAML text that reads back as the same sheet: the same settings, every number
 * exact.
 *
 * Thread: that of the host. */
#ifndef PLANISH_HARNESS_SHEET_WRITE_H
#define PLANISH_HARNESS_SHEET_WRITE_H

#include "harness/sheet/sheet.h"

#include <stdio.h>

typedef struct {
  /* Every control of every stage by its value, and no preset: what the chain is set to now,
   * whatever becomes of presets and defaults. Else what the sheet itself names, and its presets. */
  bool resolved;
  /* Written ahead of everything; NULL: nothing. Lines of words, without "# ". */
  const char *words;
  /* Writes more, after everything else: a member of the top level, such as "recall:\n  ...". NULL:
   * nothing. See planish_sheet_write_text() and _number(). */
  void (*more)(void *user, FILE *stream);
  void *more_user;
} PlanishSheetWriting;

/* `writing` may be NULL: all off. Whether the stream took everything is the caller's to ask of it
 * (ferror). */
void planish_sheet_write(FILE *stream, const PlanishSheet *sheet,
                         const PlanishSheetWriting *writing);

/* A scalar that reads back as that text: plain where it can be, else in quotes. */
void planish_sheet_write_text(FILE *stream, const char *text);

/* The shortest number that reads back as that value; it must be finite. */
void planish_sheet_write_number(FILE *stream, double value);

#endif
