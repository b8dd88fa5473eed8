#include "harness/sheet/sheet_write.h"

#include "harness/base/text.h"
#include "harness/sheet/sheet_value.h"

#include <math.h>
#include <string.h>
#include <strings.h>

/* A scalar without quotes that any reader of YAML takes for a text. */
static bool is_plain(const char *text)
{
  static const char letters[] = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ";
  static const char others[] = "0123456789 _./:+-";
  static const char *const words[] = {"true", "false", "yes", "no",   "on",
                                      "off",  "y",     "n",   "null", "~"};
  const size_t length = strlen(text);
  if (length == 0 || strchr(letters, text[0]) == NULL) {
    return false;
  }
  for (size_t n = 0; n < length; ++n) {
    if (strchr(letters, text[n]) == NULL && strchr(others, text[n]) == NULL) {
      return false;
    }
  }
  for (size_t n = 0; n < sizeof words / sizeof *words; ++n) {
    if (strcasecmp(text, words[n]) == 0) {
      return false;
    }
  }
  return text[length - 1] != ' ' && text[length - 1] != ':' && strstr(text, ": ") == NULL;
}

/* The code of a character of two or three bytes in UTF-8. */
static unsigned code_of(const char *text)
{
  const unsigned char *at = (const unsigned char *)text;
  return at[0] < 0xe0 ? (at[0] & 0x1fu) << 6 | (at[1] & 0x3fu)
                      : (at[0] & 0x0fu) << 12 | (at[1] & 0x3fu) << 6 | (at[2] & 0x3fu);
}

/* Whether a character is none that YAML prints, or one that it takes for the end of a line or for
 * the beginning of a text. */
static bool is_special(const char *text)
{
  const size_t length = planish_text_character(text);
  const unsigned code = length == 2 || length == 3 ? code_of(text) : 0;
  return (code >= 0x80 && code < 0xa0) || code == 0x2028 || code == 0x2029 || code == 0xfeff ||
         code == 0xfffe || code == 0xffff;
}

void planish_sheet_write_text(FILE *stream, const char *text)
{
  if (is_plain(text)) {
    planish_text_print(stream, "%s", text);
    return;
  }
  (void)fputc('"', stream);
  for (; *text != '\0'; ++text) {
    const unsigned char byte = (unsigned char)*text;
    if (byte == '"' || byte == '\\') {
      planish_text_print(stream, "\\%c", byte);
    } else if (byte < ' ' || byte == 0x7f) {
      planish_text_print(stream, "\\x%02x", byte);
    } else if (is_special(text)) {
      planish_text_print(stream, "\\u%04x", code_of(text));
      text += planish_text_character(text) - 1;
    } else {
      (void)fputc(byte, stream);
    }
  }
  (void)fputc('"', stream);
}

void planish_sheet_write_number(FILE *stream, double value)
{
  char text[PLANISH_TEXT_NUMBER];
  planish_text_of_double(text, value);
  planish_text_print(stream, "%s", text);
}

static void write_member(FILE *stream, const char *indent, const char *key, double value)
{
  planish_text_print(stream, "%s%s: ", indent, key);
  planish_sheet_write_number(stream, value);
  (void)fputc('\n', stream);
}

/* Minutes and seconds where that is the very time. */
static void write_time(FILE *stream, PlanishSheetTime time)
{
  char seconds[PLANISH_TEXT_NUMBER];
  char text[PLANISH_TEXT_NUMBER + 32];
  double back = -1.0;
  const double minutes = floor(time.value / 60.0);
  const double rest = time.value - 60.0 * minutes;
  if (time.in_frames) {
    planish_text_print(stream, "%.0f frames", time.value);
    return;
  }
  planish_text_of_double(seconds, rest);
  planish_text_format(text, sizeof text, "%.0f:%s%s", minutes, rest < 10.0 ? "0" : "", seconds);
  if (minutes >= 1.0 && planish_text_time(text, &back) && back == time.value) {
    planish_text_print(stream, "%s", text);
  } else {
    planish_sheet_write_number(stream, time.value);
  }
}

static void write_input(FILE *stream, const PlanishSheet *sheet)
{
  const PlanishMending *mending = &sheet->mending;
  if (sheet->input == PLANISH_INPUT_AS_IT_IS && planish_mending_is_neutral(mending)) {
    return;
  }
  planish_text_print(stream, "input:\n%s%s", mending->remove_dc ? "  dc: remove\n" : "",
                     mending->swap ? "  swap: true\n" : "");
  if (mending->invert[0] || mending->invert[1]) {
    planish_text_print(stream, "  polarity: {left: %s, right: %s}\n",
                       mending->invert[0] ? "inverted" : "normal",
                       mending->invert[1] ? "inverted" : "normal");
  }
  if (mending->balance != 0.0) {
    write_member(stream, "  ", "balance", mending->balance);
  }
  if (sheet->input != PLANISH_INPUT_AS_IT_IS) {
    write_member(stream, "  ", sheet->input == PLANISH_INPUT_GAIN ? "gain" : "loudness",
                 sheet->input_value);
  }
}

static void write_control(FILE *stream, const PlanishSheet *sheet, const PlanishControl *control)
{
  const PlanishSheetStage *stage = &sheet->stages[control->stage];
  planish_text_print(stream, "%s.%s", stage->name, stage->plugin->ports[control->port].symbol);
}

static void write_target(FILE *stream, const PlanishSheet *sheet)
{
  if (!sheet->has_loudness && !sheet->has_ceiling && !sheet->has_by && sheet->ceiling_count == 0) {
    return;
  }
  planish_text_print(stream, "target:\n");
  if (sheet->has_loudness) {
    write_member(stream, "  ", "loudness", sheet->loudness);
  }
  if (sheet->has_ceiling) {
    write_member(stream, "  ", "ceiling", sheet->ceiling);
  }
  if (sheet->has_by) {
    planish_text_print(stream, "  by: ");
    write_control(stream, sheet, &sheet->by);
    (void)fputc('\n', stream);
  }
  for (uint32_t n = 0; n < sheet->ceiling_count; ++n) {
    planish_text_print(stream, "%s", n == 0 ? "  ceiling_at: [" : ", ");
    write_control(stream, sheet, &sheet->ceiling_at[n]);
  }
  planish_text_print(stream, "%s", sheet->ceiling_count > 0 ? "]\n" : "");
}

/* A value as a sheet has it. False where none reads back as it: a foreign effect may have a default
 * that is no value of its own control. */
static bool text_of(const PlanishPluginPort *port, float value, char *text, size_t size)
{
  float back = NAN;
  PlanishError error = {0};
  for (uint32_t n = 0; port->enumeration && n < port->point_count; ++n) {
    const PlanishPluginPoint *point = &port->points[n];
    if (point->value == value && strlen(point->label) < size &&
        planish_sheet_port_value(port, point->label, false, &back, &error) && back == value) {
      planish_text_format(text, size, "%s", point->label);
      return true;
    }
    planish_error_clear(&error);
  }
  if (port->toggled) {
    planish_text_format(text, size, "%s", value > 0.0f ? "true" : "false");
  } else {
    char number[PLANISH_TEXT_NUMBER];
    planish_text_of_float(number, isfinite(value) ? value : 0.0f);
    planish_text_format(text, size, "%s", number);
  }
  return planish_sheet_port_value(port, text, false, &back, &error) && back == value;
}

static void write_value(FILE *stream, const PlanishPluginPort *port, float value)
{
  char text[256];
  if (port->enumeration && text_of(port, value, text, sizeof text)) {
    double number = 0.0;
    if (planish_text_number(text, &number)) {
      planish_text_print(stream, "%s", text);
    } else {
      planish_sheet_write_text(stream, text);
    }
  } else {
    text_of(port, value, text, sizeof text);
    planish_text_print(stream, "%s", text);
  }
}

/* What a control is at when the sheet's stage does not name it. */
static float unnamed(const PlanishSheet *sheet, const PlanishControl *control)
{
  const PlanishSheetStage *stage = &sheet->stages[control->stage];
  const PlanishAutomation *automation = planish_sheet_automation(sheet, control);
  float value = stage->unset[control->port];
  for (uint32_t n = 0; sheet->has_ceiling && n < sheet->ceiling_count; ++n) {
    const bool same =
        sheet->ceiling_at[n].stage == control->stage && sheet->ceiling_at[n].port == control->port;
    value = same ? (float)sheet->ceiling : value;
  }
  for (uint32_t n = 0; automation != NULL && n < automation->count; ++n) {
    const PlanishAutomationPoint *point = &automation->points[n];
    value = point->at.value == 0.0 ? point->value : value;
  }
  return value;
}

static bool is_written(const PlanishSheet *sheet, const PlanishControl *control, bool resolved)
{
  char text[256];
  const PlanishSheetStage *stage = &sheet->stages[control->stage];
  const PlanishPluginPort *port = &stage->plugin->ports[control->port];
  const float value = stage->values[control->port];
  return port->kind == PLANISH_PLUGIN_CONTROL_INPUT &&
         (resolved || stage->given[control->port] || value != unnamed(sheet, control)) &&
         text_of(port, value, text, sizeof text);
}

/* Ahead of the keys of a stage; its list's "- " is two to the left of them. */
static int indent_of(const PlanishSheetStage *stage)
{
  return 4 + 4 * (int)stage->depth;
}

/* `reserved`: those whose symbol is a key of the stage itself, which stand in a map of their own.
 */
static void write_controls(FILE *stream, const PlanishSheet *sheet, uint32_t index, bool resolved,
                           bool reserved)
{
  const PlanishSheetStage *stage = &sheet->stages[index];
  const int indent = indent_of(stage);
  bool begun = false;
  for (uint32_t n = 0; n < stage->plugin->port_count; ++n) {
    const PlanishPluginPort *port = &stage->plugin->ports[n];
    const PlanishControl control = {.stage = index, .port = n};
    if (planish_sheet_is_stage_key(port->symbol) != reserved ||
        !is_written(sheet, &control, resolved)) {
      continue;
    }
    if (reserved && !begun) {
      planish_text_print(stream, "%*scontrols:\n", indent, "");
    }
    planish_text_print(stream, "%*s", reserved ? indent + 2 : indent, "");
    begun = true;
    planish_sheet_write_text(stream, port->symbol);
    planish_text_print(stream, ": ");
    write_value(stream, port, stage->values[n]);
    (void)fputc('\n', stream);
  }
}

static void write_stage(FILE *stream, const PlanishSheet *sheet, uint32_t index, bool resolved)
{
  const PlanishSheetStage *stage = &sheet->stages[index];
  const int indent = indent_of(stage);
  planish_text_print(stream, "%*s- stage: ", indent - 2, "");
  planish_sheet_write_text(stream, planish_plugin_short_uri(stage->plugin));
  planish_text_print(stream, "\n%*sname: ", indent, "");
  planish_sheet_write_text(stream, stage->name);
  if (stage->preset != NULL && !resolved) {
    planish_text_print(stream, "\n%*spreset: ", indent, "");
    planish_sheet_write_text(stream, stage->preset);
  }
  (void)fputc('\n', stream);
  write_controls(stream, sheet, index, resolved, false);
  write_controls(stream, sheet, index, resolved, true);
}

static void write_path(FILE *stream, const PlanishSheet *sheet, uint32_t from, uint32_t to,
                       bool resolved);

static void write_branch(FILE *stream, const PlanishSheet *sheet, uint32_t index, bool resolved)
{
  const PlanishSheetStage *branch = &sheet->stages[index];
  const int indent = indent_of(branch);
  planish_text_print(stream, "%*s- branch: ", indent - 2, "");
  planish_sheet_write_text(stream, branch->name);
  (void)fputc('\n', stream);
  write_controls(stream, sheet, index, resolved, false);
  planish_text_print(stream, "%*sstages:\n", indent, "");
  write_path(stream, sheet, branch->first, index, resolved);
}

/* The stages of one path, from an index up to another. */
static void write_path(FILE *stream, const PlanishSheet *sheet, uint32_t from, uint32_t to,
                       bool resolved)
{
  const uint32_t depth = to < sheet->stage_count ? sheet->stages[to].depth + 1 : 0;
  for (uint32_t n = planish_sheet_next(sheet, from, depth); n < to;
       n = planish_sheet_next(sheet, n + 1, depth)) {
    if (planish_sheet_is_branch(&sheet->stages[n])) {
      write_branch(stream, sheet, n, resolved);
    } else {
      write_stage(stream, sheet, n, resolved);
    }
  }
}

static void write_stages(FILE *stream, const PlanishSheet *sheet, bool resolved)
{
  planish_text_print(stream, "stages:\n");
  write_path(stream, sheet, 0, sheet->stage_count, resolved);
}

static void write_automation(FILE *stream, const PlanishSheet *sheet)
{
  for (uint32_t n = 0; n < sheet->automation_count; ++n) {
    const PlanishAutomation *automation = &sheet->automation[n];
    const PlanishSheetStage *stage = &sheet->stages[automation->control.stage];
    planish_text_print(stream, "%s  ", n == 0 ? "automation:\n" : "");
    write_control(stream, sheet, &automation->control);
    planish_text_print(stream, ":\n");
    for (uint32_t p = 0; p < automation->count; ++p) {
      const PlanishAutomationPoint *point = &automation->points[p];
      planish_text_print(stream, "    - {at: ");
      write_time(stream, point->at);
      planish_text_print(stream, ", value: ");
      write_value(stream, &stage->plugin->ports[automation->control.port], point->value);
      planish_text_print(stream, ", move: %s}\n", point->step ? "step" : "straight");
    }
  }
}

static void write_fade(FILE *stream, const char *key, const PlanishFade *fade)
{
  if (fade->length.value > 0.0 || fade->shape != PLANISH_FADE_LINEAR) {
    planish_text_print(stream, "%s: {length: ", key);
    write_time(stream, fade->length);
    planish_text_print(stream, ", shape: %s}\n", planish_fade_shapes[fade->shape]);
  }
}

static void write_length(FILE *stream, const char *key, PlanishSheetTime time)
{
  if (time.value > 0.0) {
    planish_text_print(stream, "%s: ", key);
    write_time(stream, time);
    (void)fputc('\n', stream);
  }
}

static void write_words(FILE *stream, const char *words)
{
  while (*words != '\0') {
    const size_t length = strcspn(words, "\n");
    planish_text_print(stream, "#%s%.*s\n", length > 0 ? " " : "", (int)length, words);
    words += length;
    words += *words == '\n' ? 1 : 0;
  }
}

void planish_sheet_write(FILE *stream, const PlanishSheet *sheet,
                         const PlanishSheetWriting *writing)
{
  static const PlanishSheetWriting plain = {0};
  const PlanishSheetWriting *how = writing == NULL ? &plain : writing;
  if (how->words != NULL) {
    write_words(stream, how->words);
  }
  planish_text_print(stream, "planish: %d\n", PLANISH_SHEET_FORMAT);
  write_input(stream, sheet);
  if (sheet->rate > 0.0) {
    write_member(stream, "", "rate", sheet->rate);
  }
  if (sheet->has_preroll) {
    write_member(stream, "", "preroll", sheet->preroll);
  }
  write_target(stream, sheet);
  write_stages(stream, sheet, how->resolved);
  write_automation(stream, sheet);
  write_length(stream, "head_silence", sheet->head_silence);
  write_fade(stream, "fade_in", &sheet->fade_in);
  write_fade(stream, "fade_out", &sheet->fade_out);
  write_length(stream, "tail", sheet->tail);
  write_length(stream, "tail_silence", sheet->tail_silence);
  if (how->more != NULL) {
    how->more(how->more_user, stream);
  }
}
