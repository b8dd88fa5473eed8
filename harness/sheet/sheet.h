/* A master sheet: how one master is made, as YAML text.
 *
 *   planish: 1                       the format; comes first
 *   input:                           how the mix goes in; the order is dc, polarity, swap, balance,
 *                                    then rate, then gain or loudness
 *     dc: remove | keep              remove takes the mean of each channel out, as measured over
 *                                    the whole mix; digital black then stands at minus that mean
 *     polarity: {left: inverted, right: normal}      of the mix's own channels
 *     swap: true | false             left for right
 *     balance: dB                    over 0: to the right, which goes up by half of it while the
 *                                    left goes down by half; under 0: to the left
 *     gain: dB                       ahead of the first stage, or
 *     loudness: LUFS                 the working level that the mix is brought to
 *   rate: Hz                         the mix is converted to it ahead of the chain; all that
 *                                    follows, landing and measurement too, is at that rate
 *   preroll: s                       instead of the chain's own, see renderer.h
 *   target:
 *     loudness: LUFS                 of the finished file
 *     ceiling: dBTP                  of the finished file, by 32 times FFT reconstruction
 *     by: NAME.SYMBOL                the control that is moved to land on the loudness
 *     ceiling_at: [NAME.SYMBOL, ...] the controls that give way if the ceiling is missed
 *   stages:
 *     - {stage: limiter, name: first, preset: Clear, release: 20, ...}
 *     - branch: NAME                 a parallel branch
 *       take: stereo | mid | side | left | right     what goes into it, of what comes here
 *       stages: [...]                its own, as those of the sheet; branches too
 *       level: dB                    at which it is added, lined up, to what it was taken from
 *       add: result | difference     all that comes out of it, or less what went in
 *   automation:
 *     NAME.SYMBOL:
 *       - {at: TIME, value: VALUE, move: straight | step}
 *   head_silence: TIME               ahead of the mix
 *   fade_in: {length: TIME, shape: linear | equal power | s-shaped}      or just the TIME
 *   fade_out: {length: TIME, shape: ...}
 *   tail: TIME                       goes on beyond the mix's end, for what rings
 *   tail_silence: TIME               after all that
 *   variants:                        other masters of the same mix, each a sheet less or more
 *     - {name: NAME, target: {...}, without: [...], set: {...}, ...}      see sheet_changes.h
 *   recall: ...                      what a render notes for its recall, see recall_note.h
 *
 * TIME is a number of seconds, minutes and seconds (1:23.5), or frames ("96000 frames"), counted
 * at the rate of the chain.
 *
 * A stage is named by what follows urn:planish: in its URI, or by the whole URI of any LV2 effect;
 * its `name` is its own in the sheet (letters, digits, - and _). `preset` is the label or URI of a
 * preset of the bundle, or of one that a host has saved in the user's LV2 path. The rest are values
 * of its control inputs by symbol, in the port's unit: a number, true or false for a switch, a
 * label or a number for a choice; a control called stage, name, preset, controls or branch stands
 * in a map `controls`. They go over those of the preset. What neither names stands at its default;
 * a ceiling_at control that the sheet itself does not name at the target's ceiling. A preset
 * neither turns a stage off nor sets what is for listening.
 *
 * A branch's level, take and add are controls as well: NAME.level can be automated and moved. What
 * it takes comes to its stages on both channels: mid as M and M, side as S and -S, left as L and
 * silence, right as silence and R. The main path waits for it, so that it adds its stages' latency
 * to that of the chain.
 *
 * Automation: time 0 is the mix's first frame (head_silence comes before it), and the pre-roll
 * holds the values of time 0. The stage's own value stands at time 0 unless a point does. A point
 * is reached in a straight line, in the port's unit, from the one before (move: straight), or at
 * once (move: step, the only way for switches, choices and whole numbers, and what they do if
 * nothing is said). A point is handed over at its frame, a line at every 32nd frame, the grid on
 * which the stages look at their controls. The frame is the one that enters the stage: what stages
 * ahead of it delay is allowed for. After the last point its value stays. A control that landing
 * moves, and one that is marked notAutomatic, cannot be automated.
 *
 * The result is head_silence, the mix, the tail, tail_silence. The fades act on it after the last
 * stage and ahead of dither: fade_in begins with the mix, fade_out ends with the tail. The shapes,
 * x being the share of the fade that has passed: linear x, equal power sin(x pi/2), s-shaped 6 x^5
 * - 15 x^4 + 10 x^3.
 *
 * Every mistake is found in one reading, each with its line and column: whatever is unknown,
 * doubled, of the wrong type or out of range, with the nearest valid name. What is no YAML ends the
 * reading there (sheet_syntax.h).
 * Thread: that of the host. */
#ifndef PLANISH_HARNESS_SHEET_H
#define PLANISH_HARNESS_SHEET_H

#include "harness/audio/mending.h"
#include "harness/host/host.h"
#include "harness/sheet/branch_controls.h"
#include "harness/sheet/recall_note.h"
#include "harness/sheet/sheet_tree.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define PLANISH_SHEET_FORMAT 1

#define PLANISH_MOST_VARIANTS 31
#define PLANISH_ALL_VARIANTS  "all" /* so none is called */

typedef enum {
  PLANISH_INPUT_AS_IT_IS,
  PLANISH_INPUT_GAIN,     /* dB */
  PLANISH_INPUT_LOUDNESS, /* LUFS */
} PlanishInputKind;

/* Seconds, or frames at the chain's rate. */
typedef struct {
  double value;
  bool in_frames;
} PlanishSheetTime;

typedef enum {
  PLANISH_FADE_LINEAR,
  PLANISH_FADE_EQUAL_POWER,
  PLANISH_FADE_S_SHAPED,
} PlanishFadeShape;

typedef struct {
  PlanishSheetTime length; /* 0: none */
  PlanishFadeShape shape;
} PlanishFade;

/* A control input of a stage. */
typedef struct {
  uint32_t stage; /* index */
  uint32_t port;  /* index */
} PlanishControl;

/* A stage, or a parallel branch, which has the plugin of branch_controls.h. */
typedef struct {
  char *name;
  const PlanishPlugin *plugin;
  uint32_t first; /* of a branch: the index of the first stage that stands in it, or in a branch
                     within it; of a stage: its own */
  uint32_t depth; /* in how many branches it stands; 0: on the main path */
  char *preset;   /* as the sheet names it; NULL: none */
  float *values;  /* of control inputs, by port index: default, preset, sheet */
  float *unset;   /* likewise, but for what the sheet itself names: default, preset */
  bool *given;    /* by port index: the sheet itself names it */
} PlanishSheetStage;

typedef struct {
  PlanishSheetTime at;
  float value;
  bool step; /* else in a straight line from the point before */
} PlanishAutomationPoint;

/* How a control moves. */
typedef struct {
  PlanishControl control;
  PlanishAutomationPoint *points; /* in order of time */
  uint32_t count;                 /* > 0 */
} PlanishAutomation;

typedef struct {
  PlanishMending mending;
  double input_value;
  double rate;     /* Hz; 0: the mix's own */
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
  PlanishSheetStage *stages; /* in the order in which sound comes out of them: a branch right after
                                all that stands in it */
  uint32_t ceiling_count;
  uint32_t stage_count; /* branches included */

  PlanishAutomation *automation;
  uint32_t automation_count;

  PlanishSheetTime head_silence;
  PlanishFade fade_in;
  PlanishFade fade_out;
  PlanishSheetTime tail;
  PlanishSheetTime tail_silence;

  char **variants; /* their names */
  uint32_t variant_count;

  PlanishRecallNote *recall; /* of a recall file; NULL: none */
} PlanishSheet;

/* Reads a sheet from a text or a file. NULL if there is any mistake, in its variants too.
 * `audition` allows listen, listen_band and loudness_match to be on, which otherwise are mistakes:
 * what they let through is no master. A file that cannot be read is a mistake with
 * PLANISH_BAD_FILE. */
PlanishSheet *planish_sheet_parse(const char *text, size_t size, PlanishHost *host, bool audition,
                                  PlanishMistakes *mistakes);
PlanishSheet *planish_sheet_read(const char *path, PlanishHost *host, bool audition,
                                 PlanishMistakes *mistakes);
/* The sheet that one of its variants is, which has none itself. A name that is none of them is a
 * mistake without a place. NULL for `name`: the sheet. */
PlanishSheet *planish_sheet_read_variant(const char *path, const char *name, PlanishHost *host,
                                         bool audition, PlanishMistakes *mistakes);
/* NULL is allowed. */
void planish_sheet_free(PlanishSheet *sheet);

bool planish_sheet_is_branch(const PlanishSheetStage *stage);

/* The next index, from `from` on, of a stage or branch that stands in `depth` branches;
 * stage_count: none. So the stages of a path are visited in order: from 0 on at depth 0 those of
 * the main path, from a branch's `first` on, up to its own index, at its depth + 1 those that stand
 * in it. */
uint32_t planish_sheet_next(const PlanishSheet *sheet, uint32_t from, uint32_t depth);

/* The index of the innermost branch that a stage stands in; -1: it is on the main path. */
int planish_sheet_branch_of(const PlanishSheet *sheet, uint32_t stage);

/* In whole frames at `rate`. */
uint64_t planish_sheet_frames(PlanishSheetTime time, double rate);

/* The automation of a control; NULL: it stays where it is. */
const PlanishAutomation *planish_sheet_automation(const PlanishSheet *sheet,
                                                  const PlanishControl *control);

/* What the command line may put in place of the sheet's. */
bool planish_sheet_set_loudness(PlanishSheet *sheet, double lufs, PlanishError *error);
/* Also sets every ceiling_at control. */
bool planish_sheet_set_ceiling(PlanishSheet *sheet, double dbtp, PlanishError *error);
/* NAME.SYMBOL=VALUE. `audition` as above. */
bool planish_sheet_set_control(PlanishSheet *sheet, const char *assignment, bool audition,
                               PlanishError *error);

#endif
