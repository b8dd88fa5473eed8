/* Values in a sheet: for the files that read sheets alone. */
#ifndef PLANISH_HARNESS_SHEET_VALUE_H
#define PLANISH_HARNESS_SHEET_VALUE_H

#include "harness/host/plugin.h"
#include "harness/host/preset.h"
#include "harness/sheet/sheet.h"
#include "harness/sheet/sheet_tree.h"

/* Beyond these no master makes sense; a slip of the sign falls outside. */
enum {
  PLANISH_SHEET_QUIETEST = -60, /* LUFS */
  PLANISH_SHEET_LOUDEST = 0,
  PLANISH_SHEET_LOWEST_CEILING = -30, /* dBTP */
};

/* The words for the shapes of fades, by PlanishFadeShape. */
#define PLANISH_FADE_SHAPES 3
extern const char *const planish_fade_shapes[PLANISH_FADE_SHAPES];

/* A number within a range. `what` names it in the message. */
bool planish_sheet_number(const PlanishNode *node, const char *what, double minimum, double maximum,
                          const char *unit, double *value, PlanishMistakes *mistakes);

/* A time: seconds, minutes and seconds, or whole frames; not negative, at most `longest` s (of
 * frames, as many as that is at the highest rate). */
bool planish_sheet_time(const PlanishNode *node, const char *what, double longest,
                        PlanishSheetTime *time, PlanishMistakes *mistakes);

/* One of `words`; *index is which. */
bool planish_sheet_word(const PlanishNode *node, const char *what, const char *const *words,
                        size_t count, unsigned *index, PlanishMistakes *mistakes);

/* true or false, without quotes. */
bool planish_sheet_switch(const PlanishNode *node, const char *what, bool *on,
                          PlanishMistakes *mistakes);

/* A text for `port` as its value: number, true, false, label. What is quoted is a label or nothing.
 * On failure a line without place. */
bool planish_sheet_port_value(const PlanishPluginPort *port, const char *text, bool quoted,
                              float *value, PlanishError *error);

/* Whether `port` is for the ear alone: listen, listen_band, loudness_match. */
bool planish_sheet_is_for_listening(const PlanishPluginPort *port);

/* Whether `value` of `port` may be in a master: what is for the ear must be off, unless this is an
 * `audition`. On failure a line without place. */
bool planish_sheet_check_audition(const PlanishPluginPort *port, float value, bool audition,
                                  PlanishError *error);

/* A control input by symbol. On failure a line without place, with the nearest one. */
bool planish_sheet_symbol(const PlanishPlugin *plugin, const char *symbol, uint32_t *port,
                          PlanishError *error);

/* NAME.SYMBOL among the stages of `sheet`. On failure a line without place. */
bool planish_sheet_control(const PlanishSheet *sheet, const char *text, PlanishControl *control,
                           PlanishError *error);

/* Whether landing can move `port`: a control input in dB (or without a unit) that takes any value
 * of its range. On failure a line without place, where `text` names the control. */
bool planish_sheet_can_land(const PlanishPluginPort *port, const char *text, PlanishError *error);

/* Tells, and is true, where a key is what "1,5" leaves behind its comma. No key and no symbol of
 * LV2 begins with a digit. */
bool planish_sheet_is_decimal_comma(const PlanishNode *key, PlanishMistakes *mistakes);

/* Tells of a key that is none of `keys`, with the nearest. Always false. */
bool planish_sheet_unknown_key(const PlanishNode *key, const char *const *keys, size_t count,
                               const char *where, PlanishMistakes *mistakes);

/* Whether a key of a stage's map is none of its controls: stage, name, preset, controls,
 * branch. */
bool planish_sheet_is_stage_key(const char *key);

/* The index of the stage that NAME.SYMBOL names; -1: none. */
int planish_sheet_stage_of(const PlanishSheet *sheet, const char *text);

/* Values of a preset go over those that stand there, by port index. It sets neither whether the
 * stage is on nor what is for listening: that is no setting of a master, and hosts save it along.
 * False with PLANISH_BAD_USE where it sets what the plugin has not, or out of range. */
bool planish_sheet_take_preset(const PlanishPlugin *plugin, const PlanishPreset *preset,
                               float *values, PlanishError *error);

#endif
