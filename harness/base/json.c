#include "harness/base/json.h"

#include "harness/base/text.h"

#include <math.h>
#include <string.h>

PlanishJson planish_json_on(FILE *stream)
{
  return (PlanishJson){.stream = stream, .depth = 0, .empty = true};
}

/* Writes one character and returns how many bytes of the text it took. */
static size_t write_character(FILE *stream, const unsigned char *text)
{
  if (*text == '"' || *text == '\\') {
    fprintf(stream, "\\%c", *text);
    return 1;
  }
  if (*text < 0x20 || *text == 0x7f) {
    fprintf(stream, "\\u%04x", (unsigned)*text);
    return 1;
  }
  if (*text < 0x80) {
    fputc(*text, stream);
    return 1;
  }
  const size_t length = planish_text_character((const char *)text);
  if (length == 0) {
    fputs("\xef\xbf\xbd", stream); /* U+FFFD */
    return 1;
  }
  fwrite(text, 1, length, stream);
  return length;
}

static void write_text(FILE *stream, const char *text)
{
  const unsigned char *at = (const unsigned char *)text;
  fputc('"', stream);
  while (*at != 0) {
    at += write_character(stream, at);
  }
  fputc('"', stream);
}

static void new_line(PlanishJson *json)
{
  fputc('\n', json->stream);
  for (unsigned i = 0; i < json->depth; ++i) {
    fputs("  ", json->stream);
  }
}

/* Everything that stands before a value. */
static void lead(PlanishJson *json, const char *key)
{
  if (!json->empty) {
    fputc(',', json->stream);
  }
  if (json->depth != 0) {
    new_line(json);
  }
  if (key != NULL) {
    write_text(json->stream, key);
    fputs(": ", json->stream);
  }
  json->empty = false;
}

static void begin(PlanishJson *json, const char *key, char bracket)
{
  lead(json, key);
  fputc(bracket, json->stream);
  ++json->depth;
  json->empty = true;
}

static void end(PlanishJson *json, char bracket)
{
  --json->depth;
  if (!json->empty) {
    new_line(json);
  }
  fputc(bracket, json->stream);
  json->empty = false;
  if (json->depth == 0) {
    fputc('\n', json->stream);
    json->empty = true;
  }
}

void planish_json_object_begin(PlanishJson *json, const char *key)
{
  begin(json, key, '{');
  planish_json_integer(json, "format", PLANISH_JSON_FORMAT);
}

void planish_json_object_end(PlanishJson *json)
{
  end(json, '}');
}

void planish_json_array_begin(PlanishJson *json, const char *key)
{
  begin(json, key, '[');
}

void planish_json_array_end(PlanishJson *json)
{
  end(json, ']');
}

void planish_json_null(PlanishJson *json, const char *key)
{
  lead(json, key);
  fputs("null", json->stream);
}

void planish_json_number(PlanishJson *json, const char *key, double value)
{
  if (!isfinite(value)) {
    planish_json_null(json, key);
    return;
  }
  char digits[64];
  snprintf(digits, sizeof digits, "%.9g", value == 0.0 ? 0.0 : value);
  lead(json, key);
  /* A locale's decimal point may be any character, of several bytes too. */
  bool in_point = false;
  for (const char *c = digits; *c != 0; ++c) {
    const bool plain = strchr("0123456789+-e", *c) != NULL;
    if (plain || !in_point) {
      fputc(plain ? *c : '.', json->stream);
    }
    in_point = !plain;
  }
}

void planish_json_integer(PlanishJson *json, const char *key, int64_t value)
{
  lead(json, key);
  fprintf(json->stream, "%lld", (long long)value);
}

void planish_json_bool(PlanishJson *json, const char *key, bool value)
{
  lead(json, key);
  fputs(value ? "true" : "false", json->stream);
}

void planish_json_string(PlanishJson *json, const char *key, const char *text)
{
  if (text == NULL) {
    planish_json_null(json, key);
    return;
  }
  lead(json, key);
  write_text(json->stream, text);
}
