#include "harness/deliver/file_name.h"

#include "harness/base/text.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LONGEST = 255, MASTER = PLANISH_METADATA_FIELDS, SPEC, PLACES };

static const char *word_of(int place)
{
  return place == MASTER ? "master" : place == SPEC ? "spec" : planish_metadata_names[place];
}

/* What a pair of braces holds; PLACES: nothing that is known. A comment is no name. */
static int place_of(const char *word, size_t length)
{
  int place = 0;
  while (place < PLACES && (place == PLANISH_METADATA_COMMENT || strlen(word_of(place)) != length ||
                            strncmp(word_of(place), word, length) != 0)) {
    place += 1;
  }
  return place;
}

bool planish_file_name_check(const char *pattern, PlanishError *error)
{
  if (strchr(pattern, '/') != NULL) {
    return planish_fail(error, PLANISH_BAD_USE,
                        "name: %s: would leave the output folder: give a name without /", pattern);
  }
  for (const char *open = strchr(pattern, '{'); open != NULL; open = strchr(open + 1, '{')) {
    const char *close = strchr(open, '}');
    if (close == NULL) {
      return planish_fail(error, PLANISH_BAD_USE, "name: %s: a brace that is not closed: add the }",
                          pattern);
    }
    if (place_of(open + 1, (size_t)(close - open - 1)) == PLACES) {
      return planish_fail(error, PLANISH_BAD_USE,
                          "name: %.*s: unknown: give master, spec, title, artist, album, track, "
                          "year or isrc in braces",
                          (int)(close - open + 1), open);
    }
  }
  return true;
}

/* Where values come from. */
typedef struct {
  const char *master;
  const char *spec;
  const PlanishMetadata *metadata;
} Values;

static bool print_value(FILE *out, const Values *values, int place, PlanishError *error)
{
  const char *value = place == MASTER ? values->master
                      : place == SPEC ? values->spec
                                      : values->metadata->text[place];
  if (value == NULL) {
    return planish_fail(
        error, PLANISH_BAD_USE,
        "name: {%s}: there is none: add it, with --tag %s=VALUE, in the spec, or to the "
        "album's track",
        word_of(place), word_of(place));
  }
  if (strchr(value, '/') != NULL) {
    return planish_fail(error, PLANISH_BAD_USE,
                        "name: {%s}: %s: would leave the output folder: give the file a name "
                        "without it",
                        word_of(place), value);
  }
  const bool short_track = place == PLANISH_METADATA_TRACK && strlen(value) == 1;
  (void)fprintf(out, "%s%s", short_track ? "0" : "", value);
  return true;
}

static bool fill_in(FILE *out, const char *pattern, const Values *values, PlanishError *error)
{
  bool done = true;
  for (const char *at = pattern; done && *at != '\0';) {
    const char *close = *at == '{' ? strchr(at, '}') : NULL;
    if (close == NULL) {
      (void)fputc(*at++, out);
      continue;
    }
    done = print_value(out, values, place_of(at + 1, (size_t)(close - at - 1)), error);
    at = close + 1;
  }
  return done;
}

static bool check_name(const char *name, PlanishError *error)
{
  const char *problem = name[0] == '.'           ? "begins with a point, which hides it"
                        : strlen(name) > LONGEST ? "is longer than 255 bytes"
                                                 : NULL;
  for (const char *at = name; problem == NULL && *at != '\0'; ++at) {
    problem = (unsigned char)*at < 0x20 || *at == 0x7f ? "holds a control character" : NULL;
  }
  return problem == NULL ||
         planish_fail(error, PLANISH_BAD_USE, "name: %s: %s: give another", name, problem);
}

char *planish_file_name_new(const char *pattern, const char *master, const char *spec,
                            const PlanishMetadata *metadata, const char *ending,
                            PlanishError *error)
{
  const Values values = {master, spec, metadata};
  char *name = NULL;
  size_t size = 0;
  if (!planish_file_name_check(pattern, error)) {
    return NULL;
  }
  FILE *out = open_memstream(&name, &size);
  if (out == NULL) {
    planish_fail_memory(error);
    return NULL;
  }
  bool done = fill_in(out, pattern, &values, error);
  done = fputs(ending, out) >= 0 && done;
  done = (fclose(out) == 0 || planish_fail_memory(error)) && done;
  if (!done || !check_name(name, error)) {
    free(name);
    return NULL;
  }
  return name;
}

char *planish_file_name_stem(const char *path)
{
  const char *slash = strrchr(path, '/');
  const char *base = slash == NULL ? path : slash + 1;
  const char *point = strrchr(base, '.');
  const size_t length = point == NULL || point == base ? strlen(base) : (size_t)(point - base);
  return planish_text_new("%.*s", (int)length, base);
}
