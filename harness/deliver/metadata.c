#include "harness/deliver/metadata.h"

#include "harness/base/text.h"
#include "harness/deliver/isrc.h"

#include <stdlib.h>
#include <string.h>

enum { MOST_TRACKS = 999, YEAR_DIGITS = 4 };

const char *const planish_metadata_names[PLANISH_METADATA_FIELDS] = {
    [PLANISH_METADATA_TITLE] = "title", [PLANISH_METADATA_ARTIST] = "artist",
    [PLANISH_METADATA_ALBUM] = "album", [PLANISH_METADATA_TRACK] = "track",
    [PLANISH_METADATA_YEAR] = "year",   [PLANISH_METADATA_COMMENT] = "comment",
    [PLANISH_METADATA_ISRC] = "isrc",
};

bool planish_metadata_is_of_one(PlanishMetadataField field)
{
  return field == PLANISH_METADATA_TITLE || field == PLANISH_METADATA_TRACK ||
         field == PLANISH_METADATA_ISRC;
}

static bool check_text(const char *name, const char *text, PlanishError *error)
{
  if (text[strspn(text, " ")] == '\0') {
    return planish_fail(error, PLANISH_BAD_USE, "%s: is empty: give a text, or leave it out", name);
  }
  if (strlen(text) > PLANISH_METADATA_BYTES) {
    return planish_fail(error, PLANISH_BAD_USE,
                        "%s: too long: has %zu bytes, and at most %d are taken: shorten it", name,
                        strlen(text), PLANISH_METADATA_BYTES);
  }
  for (const char *at = text; *at != '\0';) {
    const size_t length = planish_text_character(at);
    if (length == 0) {
      return planish_fail(error, PLANISH_BAD_USE,
                          "%s: a character that is no UTF-8: give it as UTF-8", name);
    }
    if ((unsigned char)*at < 0x20 || *at == 0x7f) {
      return planish_fail(error, PLANISH_BAD_USE,
                          "%s: a line feed or another control character: remove it", name);
    }
    at += length;
  }
  return true;
}

static bool is_number(const char *text, size_t most_digits)
{
  const size_t length = strlen(text);
  return length >= 1 && length <= most_digits && strspn(text, "0123456789") == length;
}

/* The value as files have it. */
static bool spell(PlanishMetadataField field, const char *text, char *number, const char **spelt,
                  PlanishError *error)
{
  *spelt = text;
  if (field == PLANISH_METADATA_TRACK) {
    const long track = is_number(text, 3) ? strtol(text, NULL, 10) : 0;
    planish_text_format(number, PLANISH_ISRC, "%ld", track);
    *spelt = number;
    return track > 0 ||
           planish_fail(error, PLANISH_BAD_USE, "track: no number of a track: %s: give 1 to %d",
                        text, MOST_TRACKS);
  }
  if (field == PLANISH_METADATA_YEAR) {
    return (is_number(text, YEAR_DIGITS) && strlen(text) == YEAR_DIGITS) ||
           planish_fail(error, PLANISH_BAD_USE, "year: no year: %s: give four digits", text);
  }
  if (field == PLANISH_METADATA_ISRC) {
    *spelt = number;
    return planish_isrc_read(text, number, error);
  }
  return true;
}

bool planish_metadata_set(PlanishMetadata *metadata, PlanishMetadataField field, const char *text,
                          PlanishError *error)
{
  char number[PLANISH_ISRC];
  const char *spelt = NULL;
  if (!check_text(planish_metadata_names[field], text, error) ||
      !spell(field, text, number, &spelt, error)) {
    return false;
  }
  char *copy = planish_text_copy(spelt);
  if (copy == NULL) {
    return planish_fail_memory(error);
  }
  free(metadata->text[field]);
  metadata->text[field] = copy;
  return true;
}

static bool fail_field(const char *name, PlanishError *error)
{
  PlanishNearest nearest = planish_nearest_to(name);
  for (int n = 0; n < PLANISH_METADATA_FIELDS; ++n) {
    planish_nearest_consider(&nearest, planish_metadata_names[n]);
  }
  return nearest.best != NULL
             ? planish_fail(error, PLANISH_BAD_USE, "%s: no field of metadata: did you mean %s?",
                            name, nearest.best)
             : planish_fail(error, PLANISH_BAD_USE,
                            "%s: no field of metadata: give title, artist, album, track, year, "
                            "comment or isrc",
                            name);
}

bool planish_metadata_set_pair(PlanishMetadata *metadata, const char *pair, PlanishError *error)
{
  const char *equals = strchr(pair, '=');
  if (equals == NULL) {
    return planish_fail(error, PLANISH_BAD_USE, "%s: no value: give FIELD=VALUE", pair);
  }
  char *name = planish_text_new("%.*s", (int)(equals - pair), pair);
  if (name == NULL) {
    return planish_fail_memory(error);
  }
  int field = 0;
  while (field < PLANISH_METADATA_FIELDS && strcmp(planish_metadata_names[field], name) != 0) {
    field += 1;
  }
  const bool done =
      field == PLANISH_METADATA_FIELDS
          ? fail_field(name, error)
          : planish_metadata_set(metadata, (PlanishMetadataField)field, equals + 1, error);
  free(name);
  return done;
}

bool planish_metadata_add(PlanishMetadata *metadata, const PlanishMetadata *from,
                          PlanishError *error)
{
  bool done = true;
  for (int n = 0; done && n < PLANISH_METADATA_FIELDS; ++n) {
    done = from->text[n] == NULL ||
           planish_metadata_set(metadata, (PlanishMetadataField)n, from->text[n], error);
  }
  return done;
}

bool planish_metadata_is_ascii(const char *text)
{
  while (*text != '\0' && (unsigned char)*text < 0x80) {
    text += 1;
  }
  return *text == '\0';
}

void planish_metadata_release(PlanishMetadata *metadata)
{
  for (int n = 0; n < PLANISH_METADATA_FIELDS; ++n) {
    free(metadata->text[n]);
    metadata->text[n] = NULL;
  }
}
