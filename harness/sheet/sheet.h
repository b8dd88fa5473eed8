/* A master sheet: how one master is made, as YAML text.
 *
 *   planish: 1                       the format; comes first
 *   input: {gain: dB}                what the mix gets ahead of the first stage, or
 *   input: {loudness: LUFS}          the working level it is brought to
 *   preroll: s                       instead of the chain's own, see renderer.h
 *   target:
 *     loudness: LUFS                 of the finished file
 *     ceiling: dBTP                  of the finished file, by 32 times FFT reconstruction
 *     by: NAME.SYMBOL                the control that is moved to land on the loudness
 *     ceiling_at: [NAME.SYMBOL, ...] the controls that give way if the ceiling is missed
 *   stages:
 *     - {stage: limiter, name: first, release: 20, ...}
 *
 * A stage is named by what follows urn:planish: in its URI, or by a whole URI; its `name` is its
 * own in the sheet (letters, digits, - and _). The rest are values of its control inputs by symbol,
 * in the port's unit: a number, true or false for a switch, a label or a number for a choice. What
 * is not named stands at its default; a ceiling_at control that is not named at the target's
 * ceiling.
 *
 * Every mistake is found in one reading, each with its line and column: whatever is unknown,
 * doubled, of the wrong type or out of range, with the nearest valid name.
 * Thread: that of the host. */
#ifndef PLANISH_HARNESS_SHEET_H
#define PLANISH_HARNESS_SHEET_H

#include "harness/host/host.h"
#include "harness/sheet/sheet_tree.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define PLANISH_SHEET_FORMAT 1

typedef enum {
  PLANISH_INPUT_AS_IT_IS,
  PLANISH_INPUT_GAIN,     /* dB */
  PLANISH_INPUT_LOUDNESS, /* LUFS */
} PlanishInputKind;

/* A control input of a stage. */
typedef struct {
  uint32_t stage; /* index */
  uint32_t port;  /* index */
} PlanishControl;

typedef struct {
  char *name;
  const PlanishPlugin *plugin;
  float *values; /* of control inputs, by port index */
  bool *given;   /* by port index: the sheet names it */
} PlanishSheetStage;

typedef struct {
  double input_value;
  double preroll;  /* s */
  double loudness; /* LUFS */
  double ceiling;  /* dBTP */
  PlanishInputKind input;
  bool has_preroll;
  bool has_loudness;
  bool has_ceiling;
  bool has_by;

  PlanishControl by;
  PlanishControl *ceiling_at;
  PlanishSheetStage *stages;
  uint32_t ceiling_count;
  uint32_t stage_count;
} PlanishSheet;

/* Reads a sheet from a text or a file. NULL if there is any mistake. `audition` allows listen,
 * listen_band and loudness_match to be on, which otherwise are mistakes: what they let through is
 * no master. A file that cannot be read is a mistake with PLANISH_BAD_FILE. */
PlanishSheet *planish_sheet_parse(const char *text, size_t size, PlanishHost *host, bool audition,
                                  PlanishMistakes *mistakes);
PlanishSheet *planish_sheet_read(const char *path, PlanishHost *host, bool audition,
                                 PlanishMistakes *mistakes);
/* NULL is allowed. */
void planish_sheet_free(PlanishSheet *sheet);

/* What the command line may put in place of the sheet's. */
bool planish_sheet_set_loudness(PlanishSheet *sheet, double lufs, PlanishError *error);
/* Also sets every ceiling_at control. */
bool planish_sheet_set_ceiling(PlanishSheet *sheet, double dbtp, PlanishError *error);
/* NAME.SYMBOL=VALUE. `audition` as above. */
bool planish_sheet_set_control(PlanishSheet *sheet, const char *assignment, bool audition,
                               PlanishError *error);

#endif
