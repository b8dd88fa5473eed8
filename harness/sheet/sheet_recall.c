/* What a render noted for its recall: `recall`. */
#include "harness/base/text.h"
#include "harness/measure/measure.h"
#include "harness/sheet/recall_note.h"
#include "harness/sheet/sheet_reading.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

typedef enum { TEXT, DIGEST, NUMBER, WHOLE, SWITCH, PART } Kind;

/* A member of a map, and where it goes. */
typedef struct {
  const char *key;
  size_t offset; /* in the part that is read: char *, double or bool */
  Kind kind;
  bool required;
  double minimum; /* of a number */
  double maximum;
  void (*read)(PlanishSheetReading *reading, const PlanishNode *node); /* of a part */
} Field;

enum { MOST_FIELDS = 16, LEVEL_LIMIT = 200 };

#define MOST_FRAMES 9007199254740992.0 /* 2^53: every whole number up to it is a double */

static void release_sound(PlanishRecallSound *sound)
{
  free(sound->path);
  free(sound->file);
  free(sound->samples);
}

void planish_recall_note_free(PlanishRecallNote *note)
{
  if (note == NULL) {
    return;
  }
  release_sound(&note->mix);
  release_sound(&note->master);
  for (size_t n = 0; n < note->stage_count; ++n) {
    free(note->stages[n].name);
    free(note->stages[n].uri);
  }
  for (size_t n = 0; n < note->ceiling_count; ++n) {
    free(note->ceiling_at[n]);
  }
  for (size_t n = 0; n < note->stream_count; ++n) {
    free(note->stream_mixes[n]);
  }
  free(note->stream_mixes);
  free(note->stream_samples);
  free(note->origin);
  free(note->program);
  free(note->machine);
  free(note->libraries);
  free(note->settings);
  free(note->by);
  free(note->ceiling_at);
  free(note->stages);
  free(note);
}

static bool is_digest(const char *text)
{
  return strlen(text) == PLANISH_DIGEST_TEXT - 1 &&
         strspn(text, "0123456789abcdef") == PLANISH_DIGEST_TEXT - 1;
}

static void read_text(PlanishSheetReading *reading, const PlanishNode *node, const Field *field,
                      char **text)
{
  if (node->kind != PLANISH_NODE_SCALAR || node->text[0] == '\0') {
    planish_mistake(reading->mistakes, node->line, node->column,
                    "%s: no text: take the recall file as the render wrote it", field->key);
  } else if (field->kind == DIGEST && !is_digest(node->text)) {
    planish_mistake(reading->mistakes, node->line, node->column,
                    "%s: no digest, which is 64 digits of 0-9 and a-f: take the recall file as the "
                    "render wrote it",
                    field->key);
  } else {
    free(*text);
    *text = planish_text_copy(node->text);
    if (*text == NULL) {
      planish_mistake_memory(reading->mistakes);
    }
  }
}

static void read_number(PlanishSheetReading *reading, const PlanishNode *node, const Field *field,
                        double *value)
{
  double number = 0.0;
  if (planish_sheet_number(node, field->key, field->minimum, field->maximum, "", &number,
                           reading->mistakes)) {
    if (field->kind == WHOLE && number != floor(number)) {
      planish_mistake(reading->mistakes, node->line, node->column,
                      "%s: %g is no whole number: take the recall file as the render wrote it",
                      field->key, number);
      return;
    }
    *value = number;
  }
}

static void read_field(PlanishSheetReading *reading, const PlanishNode *node, const Field *field,
                       char *part)
{
  void *place = part + field->offset;
  switch (field->kind) {
  case TEXT:
  case DIGEST:
    read_text(reading, node, field, place);
    break;
  case NUMBER:
  case WHOLE:
    read_number(reading, node, field, place);
    break;
  case SWITCH:
    planish_sheet_switch(node, field->key, place, reading->mistakes);
    break;
  case PART:
    reading->part = part;
    field->read(reading, node);
    break;
  }
}

/* Each member by its field; what lacks, and what nobody knows, is a mistake. */
static void read_fields(PlanishSheetReading *reading, const PlanishNode *map, const char *where,
                        const Field *fields, size_t count, void *part)
{
  const char *keys[MOST_FIELDS] = {NULL};
  for (size_t n = 0; n < count; ++n) {
    keys[n] = fields[n].key;
  }
  if (map->kind != PLANISH_NODE_MAP) {
    planish_mistake(reading->mistakes, map->line, map->column,
                    "%s: no map: take the recall file as the render wrote it", where);
    return;
  }
  for (const PlanishNode *node = map->first; node != NULL; node = node->next) {
    size_t n = 0;
    if (node->bad || node->key->kind != PLANISH_NODE_SCALAR || node->key->bad) {
      continue;
    }
    while (n < count && strcmp(keys[n], node->key->text) != 0) {
      n += 1;
    }
    if (n == count) {
      planish_sheet_unknown_key(node->key, keys, count, where, reading->mistakes);
    } else {
      read_field(reading, node, &fields[n], part);
    }
  }
  for (size_t n = 0; n < count; ++n) {
    if (fields[n].required && planish_sheet_member(map, keys[n]) == NULL) {
      planish_mistake(reading->mistakes, map->line, map->column,
                      "%s: no %s in it: take the recall file as the render wrote it", where,
                      keys[n]);
    }
  }
}

#define SOUND(member) offsetof(PlanishRecallSound, member)

/* What mix and master both have. */
static const Field sound_fields[] = {
    {"path", SOUND(path), TEXT, true, 0, 0, NULL},
    {"file", SOUND(file), DIGEST, true, 0, 0, NULL},
    {"samples", SOUND(samples), DIGEST, true, 0, 0, NULL},
    {"rate", SOUND(rate), WHOLE, true, PLANISH_MEASURE_MIN_RATE, PLANISH_MEASURE_MAX_RATE, NULL},
    {"frames", SOUND(frames), WHOLE, true, 1, MOST_FRAMES, NULL},
    {"loudness", SOUND(loudness), NUMBER, false, -LEVEL_LIMIT, LEVEL_LIMIT, NULL},
    {"true_peak", SOUND(true_peak), NUMBER, false, -LEVEL_LIMIT, LEVEL_LIMIT, NULL},
};

/* These, and one of its own. */
static void read_sound(PlanishSheetReading *reading, const PlanishNode *node, const char *where,
                       const Field *own, PlanishRecallSound *sound)
{
  Field fields[PLANISH_LENGTH_OF(sound_fields) + 1];
  memcpy(fields, sound_fields, sizeof sound_fields);
  fields[PLANISH_LENGTH_OF(sound_fields)] = *own;
  read_fields(reading, node, where, fields, PLANISH_LENGTH_OF(fields), sound);
}

static void read_mix(PlanishSheetReading *reading, const PlanishNode *node)
{
  static const Field own = {"silence_bad", SOUND(silence_bad), SWITCH, false, 0, 0, NULL};
  PlanishRecallNote *note = reading->part;
  read_sound(reading, node, "recall: mix", &own, &note->mix);
}

static void read_word(PlanishSheetReading *reading, const PlanishNode *node)
{
  static const char *const words[] = {"24 bit", "float"};
  PlanishRecallSound *sound = reading->part;
  unsigned word = 0;
  if (planish_sheet_word(node, "word", words, 2, &word, reading->mistakes)) {
    sound->is_float = word == 1;
  }
}

static void read_master(PlanishSheetReading *reading, const PlanishNode *node)
{
  static const Field own = {"word", 0, PART, true, 0, 0, read_word};
  PlanishRecallNote *note = reading->part;
  read_sound(reading, node, "recall: master", &own, &note->master);
}

static void read_input(PlanishSheetReading *reading, const PlanishNode *node)
{
  static const Field fields[] = {
      {"loudness", offsetof(PlanishRecallNote, working), NUMBER, true, PLANISH_SHEET_QUIETEST,
       PLANISH_SHEET_LOUDEST, NULL},
  };
  read_fields(reading, node, "recall: input", fields, PLANISH_LENGTH_OF(fields), reading->part);
}

/* A place for each member of a list; NULL where it is none, or without memory. */
static void *new_list(PlanishSheetReading *reading, const PlanishNode *list, const char *where,
                      size_t size)
{
  if (list->kind != PLANISH_NODE_LIST) {
    planish_mistake(reading->mistakes, list->line, list->column,
                    "%s: no list: take the recall file as the render wrote it", where);
    return NULL;
  }
  void *members = calloc(planish_sheet_member_count(list) + 1, size);
  if (members == NULL) {
    planish_mistake_memory(reading->mistakes);
  }
  return members;
}

/* A list of texts; *texts is NULL where it is none. */
static void read_texts(PlanishSheetReading *reading, const PlanishNode *list, const char *where,
                       const Field *field, char ***texts, size_t *count)
{
  *texts = new_list(reading, list, where, sizeof(char *));
  for (const PlanishNode *node = list->first; *texts != NULL && node != NULL; node = node->next) {
    read_text(reading, node, field, &(*texts)[(*count)++]);
  }
}

static void read_ceilings(PlanishSheetReading *reading, const PlanishNode *list)
{
  static const Field field = {"ceiling_at", 0, TEXT, false, 0, 0, NULL};
  PlanishRecallNote *note = reading->part;
  read_texts(reading, list, "recall: target: ceiling_at", &field, &note->ceiling_at,
             &note->ceiling_count);
}

static void read_mixes(PlanishSheetReading *reading, const PlanishNode *list)
{
  static const Field field = {"mixes", 0, TEXT, false, 0, 0, NULL};
  PlanishRecallNote *note = reading->part;
  read_texts(reading, list, "recall: stream: mixes", &field, &note->stream_mixes,
             &note->stream_count);
}

static void read_stream(PlanishSheetReading *reading, const PlanishNode *node)
{
  static const Field fields[] = {
      {"mixes", 0, PART, true, 0, 0, read_mixes},
      {"samples", offsetof(PlanishRecallNote, stream_samples), DIGEST, true, 0, 0, NULL},
      {"from", offsetof(PlanishRecallNote, stream_from), WHOLE, true, 0, MOST_FRAMES, NULL},
  };
  read_fields(reading, node, "recall: stream", fields, PLANISH_LENGTH_OF(fields), reading->part);
}

static void read_target(PlanishSheetReading *reading, const PlanishNode *node)
{
  static const Field fields[] = {
      {"loudness", offsetof(PlanishRecallNote, target_loudness), NUMBER, false,
       PLANISH_SHEET_QUIETEST, PLANISH_SHEET_LOUDEST, NULL},
      {"ceiling", offsetof(PlanishRecallNote, target_ceiling), NUMBER, false,
       PLANISH_SHEET_LOWEST_CEILING, 0, NULL},
      {"by", offsetof(PlanishRecallNote, by), TEXT, false, 0, 0, NULL},
      {"lowered", offsetof(PlanishRecallNote, lowered), NUMBER, false, 0, LEVEL_LIMIT, NULL},
      {"ceiling_at", 0, PART, false, 0, 0, read_ceilings},
  };
  read_fields(reading, node, "recall: target", fields, PLANISH_LENGTH_OF(fields), reading->part);
}

static void read_stages(PlanishSheetReading *reading, const PlanishNode *list)
{
  static const Field fields[] = {
      {"name", offsetof(PlanishRecallStage, name), TEXT, true, 0, 0, NULL},
      {"uri", offsetof(PlanishRecallStage, uri), TEXT, true, 0, 0, NULL},
      {"minor", offsetof(PlanishRecallStage, minor), WHOLE, true, 0, MOST_FRAMES, NULL},
      {"micro", offsetof(PlanishRecallStage, micro), WHOLE, true, 0, MOST_FRAMES, NULL},
  };
  PlanishRecallNote *note = reading->part;
  note->stages = new_list(reading, list, "recall: stages", sizeof *note->stages);
  for (const PlanishNode *node = list->first; note->stages != NULL && node != NULL;
       node = node->next) {
    read_fields(reading, node, "recall: a stage", fields, PLANISH_LENGTH_OF(fields),
                &note->stages[note->stage_count++]);
  }
}

void planish_sheet_read_recall(PlanishSheetReading *reading, const PlanishNode *node)
{
  static const Field fields[] = {
      {"program", offsetof(PlanishRecallNote, program), TEXT, true, 0, 0, NULL},
      {"machine", offsetof(PlanishRecallNote, machine), TEXT, true, 0, 0, NULL},
      {"libraries", offsetof(PlanishRecallNote, libraries), TEXT, true, 0, 0, NULL},
      {"settings", offsetof(PlanishRecallNote, settings), DIGEST, true, 0, 0, NULL},
      {"mix", 0, PART, true, 0, 0, read_mix},
      {"master", 0, PART, true, 0, 0, read_master},
      {"stream", 0, PART, false, 0, 0, read_stream},
      {"origin", offsetof(PlanishRecallNote, origin), DIGEST, false, 0, 0, NULL},
      {"input", 0, PART, false, 0, 0, read_input},
      {"target", 0, PART, false, 0, 0, read_target},
      {"stages", 0, PART, true, 0, 0, read_stages},
  };
  PlanishRecallNote *note = calloc(1, sizeof *note);
  planish_recall_note_free(reading->sheet->recall);
  reading->sheet->recall = note;
  if (note == NULL) {
    planish_mistake_memory(reading->mistakes);
    return;
  }
  note->working = note->target_loudness = note->target_ceiling = (double)NAN;
  note->mix.loudness = note->mix.true_peak = (double)NAN;
  note->master.loudness = note->master.true_peak = (double)NAN;
  void *outer = reading->part;
  read_fields(reading, node, "recall", fields, PLANISH_LENGTH_OF(fields), note);
  reading->part = outer;
}
