/* The command line, in GNU style, for the program's commands. Thread: main. */
#ifndef PLANISH_HARNESS_OPTIONS_H
#define PLANISH_HARNESS_OPTIONS_H

#include "harness/base/error.h"
#include "harness/sheet/sheet_tree.h"

#include <stdbool.h>
#include <stddef.h>

typedef enum {
  PLANISH_OPTION_FLAG,   /* bool */
  PLANISH_OPTION_TEXT,   /* const char *; NULL where not given */
  PLANISH_OPTION_TEXTS,  /* PlanishOptionTexts: may be given again and again */
  PLANISH_OPTION_NUMBER, /* double; NAN where not given */
  PLANISH_OPTION_TIME,   /* double, s; NAN where not given */
  PLANISH_OPTION_COUNT,  /* unsigned, 1..PLANISH_OPTION_MAX_COUNT; 0 where not given */
} PlanishOptionKind;

#define PLANISH_OPTION_MAX_TEXTS 64
#define PLANISH_OPTION_MAX_COUNT 256

typedef struct {
  const char *list[PLANISH_OPTION_MAX_TEXTS];
  size_t count;
} PlanishOptionTexts;

typedef struct {
  const char *name; /* without the two hyphens */
  PlanishOptionKind kind;
  void *value; /* where it goes */
} PlanishOption;

/* Reads the options of a command; `argv[0]` is the command's name. What is no option stands in
 * argv[*operands] and after, in order. "--" ends the options. An empty value is refused.
 * Abbreviations are taken where they are clear.
 *
 * Every command has --help as well: it prints `help`. Given --help-data alone each option's name
 * and kind are printed. Both return false without an error: the command is done. */
bool planish_options_read(int argc, char **argv, const char *help, const PlanishOption *options,
                          size_t count, int *operands, PlanishError *error);

/* Prints what is wrong with a sheet, a line each, on standard error, and fills `error` with the
 * outcome but no text: main has nothing more to say. Always false. */
bool planish_options_complain(const char *path, const PlanishMistakes *mistakes,
                              PlanishError *error);

/* A warning on standard error, in the form of the errors. */
void planish_options_warn(const char *format, ...) __attribute__((format(printf, 1, 2)));

#endif
