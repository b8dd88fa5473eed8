#include "harness/sheet/sheet_value.h"

#include "harness/base/text.h"
#include "harness/measure/measure.h"

#include <math.h>
#include <string.h>
#include <strings.h>

const char *const planish_fade_shapes[PLANISH_FADE_SHAPES] = {
    [PLANISH_FADE_LINEAR] = "linear",
    [PLANISH_FADE_EQUAL_POWER] = "equal power",
    [PLANISH_FADE_S_SHAPED] = "s-shaped",
};

static const char *spaced(const char *unit)
{
  return unit[0] == '\0' ? "" : " ";
}

bool planish_sheet_number(const PlanishNode *node, const char *what, double minimum, double maximum,
                          const char *unit, double *value, PlanishMistakes *mistakes)
{
  if (node->bad) {
    return false;
  }
  double number = 0.0;
  if (node->kind != PLANISH_NODE_SCALAR || node->quoted ||
      !planish_text_number(node->text, &number)) {
    return planish_mistake(mistakes, node->line, node->column,
                           "%s: no number: give %g to %g%s%s, with a decimal point", what, minimum,
                           maximum, spaced(unit), unit);
  }
  if (number < minimum || number > maximum) {
    return planish_mistake(mistakes, node->line, node->column,
                           "%s: %g is out of range: give %g to %g%s%s", what, number, minimum,
                           maximum, spaced(unit), unit);
  }
  *value = number;
  return true;
}

/* "N frames" */
static bool read_frames(const char *text, double *frames)
{
  char number[32];
  const size_t length = strcspn(text, " ");
  if (length >= sizeof number || strspn(text, "0123456789") != length ||
      (strcmp(text + length, " frames") != 0 && strcmp(text + length, " frame") != 0)) {
    return false;
  }
  memcpy(number, text, length);
  number[length] = '\0';
  return planish_text_number(number, frames);
}

bool planish_sheet_time(const PlanishNode *node, const char *what, double longest,
                        PlanishSheetTime *time, PlanishMistakes *mistakes)
{
  double value = 0.0;
  if (node->bad) {
    return false;
  }
  const bool scalar = node->kind == PLANISH_NODE_SCALAR;
  const bool frames = scalar && read_frames(node->text, &value);
  if (!frames && (!scalar || !planish_text_time(node->text, &value))) {
    return planish_mistake(mistakes, node->line, node->column,
                           "%s: no time: give seconds (83.5), minutes and seconds (1:23.5) or "
                           "\"96000 frames\"",
                           what);
  }
  const double most = frames ? longest * PLANISH_MEASURE_MAX_RATE : longest;
  if (value > most) {
    return planish_mistake(mistakes, node->line, node->column,
                           "%s: %s is out of range: give 0 to %.10g %s", what, node->text, most,
                           frames ? "frames" : "s");
  }
  *time = (PlanishSheetTime){.value = value, .in_frames = frames};
  return true;
}

static void list_words(char *list, size_t size, const char *const *words, size_t count)
{
  size_t used = 0;
  list[0] = '\0';
  for (size_t n = 0; n < count && used < size; ++n) {
    used +=
        (size_t)planish_text_format(list + used, size - used, "%s%s", n == 0 ? "" : ", ", words[n]);
  }
}

bool planish_sheet_word(const PlanishNode *node, const char *what, const char *const *words,
                        size_t count, unsigned *index, PlanishMistakes *mistakes)
{
  char list[200];
  if (node->bad) {
    return false;
  }
  list_words(list, sizeof list, words, count);
  if (node->kind != PLANISH_NODE_SCALAR) {
    return planish_mistake(mistakes, node->line, node->column,
                           "%s: a list or map where one word belongs: give one of %s", what, list);
  }
  PlanishNearest nearest = planish_nearest_to(node->text);
  for (size_t n = 0; n < count; ++n) {
    if (strcmp(words[n], node->text) == 0) {
      *index = (unsigned)n;
      return true;
    }
    planish_nearest_consider(&nearest, words[n]);
  }
  return nearest.best != NULL
             ? planish_mistake(mistakes, node->line, node->column,
                               "%s: unknown word %s: did you mean %s?", what, node->text,
                               nearest.best)
             : planish_mistake(mistakes, node->line, node->column,
                               "%s: unknown word %s: give one of %s", what, node->text, list);
}

bool planish_sheet_switch(const PlanishNode *node, const char *what, bool *on,
                          PlanishMistakes *mistakes)
{
  static const char *const words[] = {"false", "true"};
  unsigned word = 0;
  if (!planish_sheet_word(node, what, words, sizeof words / sizeof *words, &word, mistakes)) {
    return false;
  }
  if (node->quoted) {
    return planish_mistake(mistakes, node->line, node->column,
                           "%s: %s in quotes is a text: remove the quotes", what, node->text);
  }
  *on = word == 1;
  return true;
}

static bool fail_choice(const PlanishPluginPort *port, const char *text, PlanishError *error)
{
  char list[400] = "";
  size_t used = 0;
  double number = 0.0;
  PlanishNearest nearest = planish_nearest_to(text);
  if (planish_text_number(text, &number)) {
    nearest.distance = 0; /* a number is no misspelt word */
  }
  for (uint32_t n = 0; n < port->point_count; ++n) {
    planish_nearest_consider(&nearest, port->points[n].label);
    if (used < sizeof list) {
      used += (size_t)planish_text_format(list + used, sizeof list - used, "%s%s",
                                          n == 0 ? "" : ", ", port->points[n].label);
    }
  }
  return nearest.best != NULL
             ? planish_fail(error, PLANISH_BAD_USE, "%s: unknown choice %s: did you mean %s?",
                            port->symbol, text, nearest.best)
             : planish_fail(error, PLANISH_BAD_USE, "%s: unknown choice %s: give one of %s",
                            port->symbol, text, list);
}

/* A label before a number: a label may be the number of another. */
static bool read_choice(const PlanishPluginPort *port, const char *text, bool quoted, float *value,
                        PlanishError *error)
{
  double number = 0.0;
  const bool is_number = !quoted && planish_text_number(text, &number);
  const PlanishPluginPoint *found = NULL;
  for (uint32_t n = 0; n < port->point_count; ++n) {
    const PlanishPluginPoint *point = &port->points[n];
    if (strcasecmp(point->label, text) == 0) {
      *value = point->value;
      return true;
    }
    found = is_number && number == (double)point->value ? point : found;
  }
  if (found == NULL) {
    return fail_choice(port, text, error);
  }
  *value = found->value;
  return true;
}

static void range_of(const PlanishPluginPort *port, char *range, size_t size)
{
  if (isfinite(port->minimum) && isfinite(port->maximum)) {
    planish_text_format(range, size, "%g to %g%s%s", (double)port->minimum, (double)port->maximum,
                        spaced(port->unit), port->unit);
  } else {
    planish_text_format(range, size, "a number%s%s", port->unit[0] == '\0' ? "" : " in ",
                        port->unit);
  }
}

bool planish_sheet_port_value(const PlanishPluginPort *port, const char *text, bool quoted,
                              float *value, PlanishError *error)
{
  if (port->toggled) {
    const bool on = strcmp(text, "true") == 0;
    *value = on ? 1.0f : 0.0f;
    return (!quoted && (on || strcmp(text, "false") == 0)) ||
           planish_fail(error, PLANISH_BAD_USE, "%s: no switch position %s: give true or false%s",
                        port->symbol, text, quoted ? ", without quotes" : "");
  }
  if (port->enumeration) {
    return read_choice(port, text, quoted, value, error);
  }
  char range[96];
  range_of(port, range, sizeof range);
  double number = 0.0;
  if (quoted || !planish_text_number(text, &number)) {
    return planish_fail(error, PLANISH_BAD_USE, "%s: no number: give %s, with a decimal point",
                        port->symbol, range);
  }
  /* As floats: 0.1 is in a range that begins at 0.1f. */
  if ((float)number < port->minimum || (float)number > port->maximum || !isfinite((float)number)) {
    return planish_fail(error, PLANISH_BAD_USE, "%s: %g is out of range: give %s", port->symbol,
                        number, range);
  }
  if (port->whole && number != floor(number)) {
    return planish_fail(error, PLANISH_BAD_USE, "%s: %g is no whole number: give %g or %g",
                        port->symbol, number, floor(number), ceil(number));
  }
  *value = (float)number;
  return true;
}

bool planish_sheet_is_for_listening(const PlanishPluginPort *port)
{
  return strcmp(port->symbol, "listen") == 0 || strcmp(port->symbol, "listen_band") == 0 ||
         strcmp(port->symbol, "loudness_match") == 0;
}

bool planish_sheet_check_audition(const PlanishPluginPort *port, float value, bool audition,
                                  PlanishError *error)
{
  return audition || !planish_sheet_is_for_listening(port) || value == 0.0f ||
         planish_fail(error, PLANISH_BAD_USE,
                      "%s: is for listening, the result would be no master: remove it, or pass "
                      "--audition",
                      port->symbol);
}

bool planish_sheet_can_land(const PlanishPluginPort *port, const char *text, PlanishError *error)
{
  if (port->whole || port->toggled || port->enumeration || !isfinite(port->minimum) ||
      !isfinite(port->maximum)) {
    return planish_fail(error, PLANISH_BAD_USE,
                        "%s: a switch or choice cannot be moved in small steps: name a control "
                        "with a range",
                        text);
  }
  return !port->has_unit || strcmp(port->unit, "dB") == 0 ||
         planish_fail(error, PLANISH_BAD_USE,
                      "%s: is %s%s, a target is reached in dB: name a gain or ceiling", text,
                      port->unit[0] == '\0' ? "a plain number" : "in ", port->unit);
}

bool planish_sheet_symbol(const PlanishPlugin *plugin, const char *symbol, uint32_t *port,
                          PlanishError *error)
{
  PlanishNearest nearest = planish_nearest_to(symbol);
  for (uint32_t n = 0; n < plugin->port_count; ++n) {
    if (plugin->ports[n].kind != PLANISH_PLUGIN_CONTROL_INPUT) {
      continue;
    }
    if (strcmp(plugin->ports[n].symbol, symbol) == 0) {
      *port = n;
      return true;
    }
    planish_nearest_consider(&nearest, plugin->ports[n].symbol);
  }
  const char *name = planish_plugin_short_uri(plugin);
  const int found = planish_plugin_find(plugin, symbol);
  if (found >= 0) {
    const bool reported = plugin->ports[found].kind == PLANISH_PLUGIN_CONTROL_OUTPUT;
    return planish_fail(error, PLANISH_BAD_USE, "%s: %s %s, it cannot be set: remove it", symbol,
                        name, reported ? "reports it" : "has its audio there");
  }
  return nearest.best != NULL
             ? planish_fail(error, PLANISH_BAD_USE, "%s: no control of %s: did you mean %s?",
                            symbol, name, nearest.best)
             : planish_fail(error, PLANISH_BAD_USE,
                            "%s: no control of %s: see them with \"planish stages %s\"", symbol,
                            name, name);
}

bool planish_sheet_is_stage_key(const char *key)
{
  return strcmp(key, "stage") == 0 || strcmp(key, "name") == 0 || strcmp(key, "preset") == 0 ||
         strcmp(key, "controls") == 0 || strcmp(key, "branch") == 0;
}

int planish_sheet_stage_of(const PlanishSheet *sheet, const char *text)
{
  const size_t length = strcspn(text, ".");
  for (uint32_t n = 0; n < sheet->stage_count; ++n) {
    const char *name = sheet->stages[n].name;
    if (strlen(name) == length && strncmp(name, text, length) == 0) {
      return (int)n;
    }
  }
  return -1;
}

static bool fail_stage(const PlanishSheet *sheet, const char *text, PlanishError *error)
{
  char name[64];
  planish_text_format(name, sizeof name, "%.*s", (int)strcspn(text, "."), text);
  PlanishNearest nearest = planish_nearest_to(name);
  for (uint32_t n = 0; n < sheet->stage_count; ++n) {
    planish_nearest_consider(&nearest, sheet->stages[n].name);
  }
  return nearest.best != NULL
             ? planish_fail(error, PLANISH_BAD_USE, "%s: no stage named %s: did you mean %s?", text,
                            name, nearest.best)
             : planish_fail(error, PLANISH_BAD_USE,
                            "%s: no stage named %s: give a name from the list of stages", text,
                            name);
}

bool planish_sheet_control(const PlanishSheet *sheet, const char *text, PlanishControl *control,
                           PlanishError *error)
{
  const char *dot = strchr(text, '.');
  if (dot == NULL || dot == text || dot[1] == '\0') {
    return planish_fail(error, PLANISH_BAD_USE,
                        "%s: no control: give NAME.SYMBOL, a stage's name and a control's symbol",
                        text);
  }
  const int stage = planish_sheet_stage_of(sheet, text);
  if (stage < 0) {
    return fail_stage(sheet, text, error);
  }
  control->stage = (uint32_t)stage;
  return planish_sheet_symbol(sheet->stages[stage].plugin, dot + 1, &control->port, error);
}

bool planish_sheet_is_decimal_comma(const PlanishNode *key, PlanishMistakes *mistakes)
{
  const size_t digits = strspn(key->text, "0123456789");
  if (digits == 0 || key->text[digits] != '\0' || key->quoted) {
    return false;
  }
  planish_mistake(mistakes, key->line, key->column,
                  "%s: behind a comma, which begins the next key: write a number with a decimal "
                  "point",
                  key->text);
  return true;
}

bool planish_sheet_unknown_key(const PlanishNode *key, const char *const *keys, size_t count,
                               const char *where, PlanishMistakes *mistakes)
{
  PlanishNearest nearest = planish_nearest_to(key->text);
  if (planish_sheet_is_decimal_comma(key, mistakes)) {
    return false;
  }
  for (size_t n = 0; n < count; ++n) {
    planish_nearest_consider(&nearest, keys[n]);
  }
  if (nearest.best != NULL) {
    return planish_mistake(mistakes, key->line, key->column,
                           "%s: unknown key in %s: did you mean %s?", key->text, where,
                           nearest.best);
  }
  char list[200];
  list_words(list, sizeof list, keys, count);
  return planish_mistake(mistakes, key->line, key->column, "%s: unknown key in %s: it takes %s",
                         key->text, where, list);
}

bool planish_sheet_take_preset(const PlanishPlugin *plugin, const PlanishPreset *preset,
                               float *values, PlanishError *error)
{
  bool done = true;
  for (uint32_t n = 0; n < preset->count && done; ++n) {
    const PlanishPresetValue *value = &preset->values[n];
    const int index = planish_plugin_find(plugin, value->symbol);
    if (index < 0) {
      return planish_fail(error, PLANISH_BAD_USE,
                          "preset: %s sets %s, which %s has not: it is of another version: write "
                          "its values out",
                          preset->label, value->symbol, planish_plugin_short_uri(plugin));
    }
    const PlanishPluginPort *port = &plugin->ports[index];
    if (port->kind != PLANISH_PLUGIN_CONTROL_INPUT || index == plugin->enabled ||
        planish_sheet_is_for_listening(port)) {
      continue;
    }
    char text[64];
    planish_text_format(text, sizeof text, "%.9g", value->value);
    if (port->toggled) {
      values[index] = value->value > 0.0 ? 1.0f : 0.0f;
    } else if (!planish_sheet_port_value(port, text, false, &values[index], error)) {
      done = false;
    }
  }
  return done;
}
