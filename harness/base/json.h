/* Writes JSON (RFC 8259) to a stream, indented, one member a line.
 *
 * Every object begins with `"format": 1`, by which a reader knows how to read it; keys are only
 * ever added. Keys are snake case and name quantity and unit. Numbers do not depend on the locale;
 * those that are not finite become null. Strings may hold any bytes: control characters are
 * escaped, bytes that are not UTF-8 become U+FFFD.
 *
 * Each function takes the key of a member of an object; NULL in an array and at the top. Whether
 * the stream took everything is the caller's to ask of it (ferror).
 *
 * Thread: one at a time an object. Not real-time safe. */
#ifndef PLANISH_HARNESS_JSON_H
#define PLANISH_HARNESS_JSON_H

#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>

#define PLANISH_JSON_FORMAT 1

typedef struct {
  FILE *stream;
  unsigned depth;
  bool empty; /* nothing stands in the innermost object or array yet */
} PlanishJson;

/* A writer on `stream`, which stays the caller's. */
PlanishJson planish_json_on(FILE *stream);

/* End each object or array that was begun. At the top, a line feed follows the end. */
void planish_json_object_begin(PlanishJson *json, const char *key);
void planish_json_object_end(PlanishJson *json);
void planish_json_array_begin(PlanishJson *json, const char *key);
void planish_json_array_end(PlanishJson *json);

/* Nine significant digits, enough to give any float back. */
void planish_json_number(PlanishJson *json, const char *key, double value);
void planish_json_integer(PlanishJson *json, const char *key, int64_t value);
void planish_json_bool(PlanishJson *json, const char *key, bool value);
void planish_json_null(PlanishJson *json, const char *key);

/* NULL for text becomes null. */
void planish_json_string(PlanishJson *json, const char *key, const char *text);

#endif
