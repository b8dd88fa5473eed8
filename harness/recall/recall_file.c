#include "harness/recall/recall_file.h"

#include "harness/base/place.h"
#include "harness/base/text.h"
#include "harness/recall/machine.h"
#include "harness/sheet/sheet_less.h"
#include "harness/sheet/sheet_write.h"

#include <errno.h>
#include <libgen.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { GAIN_LIMIT = 60, PREROLL_LIMIT = 600 }; /* of a sheet */

static const char words[] =
    "What a master was made with: every setting as it was landed, and under \"recall\" what it "
    "was\n"
    "made from. \"planish recall\" makes the same samples again, or says what differs. This is a\n"
    "sheet too: \"planish render\" takes it for another mix, and lands nothing again.";

char *planish_recall_file_path(const char *out)
{
  return planish_text_new("%s.yaml", out);
}

static bool check(const char *path, const char *const *inputs, PlanishError *error)
{
  for (size_t n = 0; inputs[n] != NULL; ++n) {
    if (planish_place_same(path, inputs[n])) {
      return planish_fail(error, PLANISH_BAD_USE,
                          "the recall file would be written over %s: give the output another name, "
                          "or add --no-recall",
                          inputs[n]);
    }
  }
  if (!planish_place_check(path, error)) {
    return false;
  }
  return planish_place_is_ours(path, "recall:") ||
         planish_fail(
             error, PLANISH_BAD_USE,
             "something else stands where the recall file goes: %s: move it away, give the "
             "output another name, or add --no-recall",
             path);
}

bool planish_recall_file_check(const char *out, const char *const *inputs, PlanishError *error)
{
  char *path = planish_recall_file_path(out);
  const bool done = path != NULL ? check(path, inputs, error) : planish_fail_memory(error);
  free(path);
  return done;
}

/* The sheet as it was rendered, with its pre-roll. */
static bool plain_sheet(PlanishSheet *plain, const PlanishSheet *sheet, const bool *without)
{
  const double settles = planish_chain_settles(sheet);
  const bool done = planish_sheet_less(plain, sheet, without);
  if (done && !sheet->has_preroll && settles <= PREROLL_LIMIT) {
    plain->has_preroll = true;
    plain->preroll = settles;
  }
  return done;
}

/* Of a gain that no sheet can say the working level stays: it comes to the same. */
static void set_gain(PlanishSheet *plain, double gain)
{
  if (fabs(gain) <= GAIN_LIMIT && (gain != 0.0 || plain->input != PLANISH_INPUT_AS_IT_IS)) {
    plain->input = PLANISH_INPUT_GAIN;
    plain->input_value = gain;
  }
}

typedef struct {
  const PlanishRecallFile *file;
  const PlanishMade *made;
  const PlanishSheet *plain;
  PlanishSoundDigest master;
  char *mix_path;
  char settings[PLANISH_DIGEST_TEXT];
} Noting;

/* What is no UTF-8 cannot stand in a sheet. A key that ends in - is a member of a list. */
static void write_name(FILE *stream, const char *key, const char *name)
{
  char *clean = planish_text_copy(name);
  planish_text_print(stream, "%s%s ", key, key[strlen(key) - 1] == '-' ? "" : ":");
  for (char *c = clean; c != NULL && *c != '\0';) {
    const size_t length = planish_text_character(c);
    *c = length == 0 ? '?' : *c;
    c += length == 0 ? 1 : length;
  }
  planish_sheet_write_text(stream, clean == NULL ? name : clean);
  (void)fputc('\n', stream);
  free(clean);
}

static void write_number(FILE *stream, const char *key, double value)
{
  if (isfinite(value)) {
    planish_text_print(stream, "%s: ", key);
    planish_sheet_write_number(stream, value);
    (void)fputc('\n', stream);
  }
}

static void write_sound(FILE *stream, const char *key, const char *path,
                        const PlanishSoundDigest *digest, const PlanishMeasurement *measured)
{
  planish_text_print(stream, "  %s:\n", key);
  write_name(stream, "    path", path);
  write_name(stream, "    file", digest->file);
  write_name(stream, "    samples", digest->samples);
  write_number(stream, "    rate", digest->rate);
  write_number(stream, "    frames", (double)digest->frames);
  write_number(stream, "    loudness", measured->integrated);
  write_number(stream, "    true_peak", measured->true_peak);
}

static void write_control(FILE *stream, const PlanishSheet *sheet, const PlanishControl *control)
{
  const PlanishSheetStage *stage = &sheet->stages[control->stage];
  planish_text_print(stream, "%s.%s", stage->name, stage->plugin->ports[control->port].symbol);
}

static bool is_left_out(const PlanishMade *made, const PlanishControl *control)
{
  return planish_sheet_is_gone(made->job->sheet, made->without, control->stage);
}

static void write_ceilings(FILE *stream, const PlanishMade *made)
{
  const PlanishSheet *sheet = made->job->sheet;
  bool begun = false;
  for (uint32_t n = 0; n < sheet->ceiling_count; ++n) {
    if (!is_left_out(made, &sheet->ceiling_at[n])) {
      planish_text_print(stream, "%s", begun ? ", " : "    ceiling_at: [");
      write_control(stream, sheet, &sheet->ceiling_at[n]);
      begun = true;
    }
  }
  planish_text_print(stream, "%s", begun ? "]\n" : "");
}

static void write_target(FILE *stream, const PlanishMade *made)
{
  const PlanishSheet *sheet = made->job->sheet;
  planish_text_print(stream, "  target:\n");
  write_number(stream, "    loudness", sheet->has_loudness ? sheet->loudness : (double)NAN);
  write_number(stream, "    ceiling", sheet->has_ceiling ? sheet->ceiling : (double)NAN);
  if (sheet->has_by && !is_left_out(made, &sheet->by)) {
    planish_text_print(stream, "    by: ");
    write_control(stream, sheet, &sheet->by);
    (void)fputc('\n', stream);
  }
  write_ceilings(stream, made);
  write_number(stream, "    lowered", made->report->landing.best.lowering);
}

/* That of the recall file which this render was made by. */
static void write_target_again(FILE *stream, const PlanishRecallNote *note)
{
  planish_text_print(stream, "  target:\n");
  write_number(stream, "    loudness", note->target_loudness);
  write_number(stream, "    ceiling", note->target_ceiling);
  if (note->by != NULL) {
    write_name(stream, "    by", note->by);
  }
  for (size_t n = 0; n < note->ceiling_count; ++n) {
    planish_text_print(stream, "%s%s", n == 0 ? "    ceiling_at: [" : ", ", note->ceiling_at[n]);
  }
  planish_text_print(stream, "%s", note->ceiling_count > 0 ? "]\n" : "");
  write_number(stream, "    lowered", note->lowered);
}

static void write_origin(FILE *stream, const PlanishMade *made)
{
  const PlanishSheet *sheet = made->job->sheet;
  const PlanishRecallNote *former = sheet->recall;
  if (sheet->input == PLANISH_INPUT_LOUDNESS) {
    planish_text_print(stream, "  input:\n");
    write_number(stream, "    loudness", sheet->input_value);
  }
  if (sheet->has_loudness || sheet->has_ceiling) {
    write_target(stream, made);
  } else if (former != NULL &&
             (isfinite(former->target_loudness) || isfinite(former->target_ceiling))) {
    write_target_again(stream, former);
  }
}

static void write_stages(FILE *stream, const PlanishSheet *plain)
{
  planish_text_print(stream, "  stages:%s\n", plain->stage_count == 0 ? " []" : "");
  for (uint32_t n = 0; n < plain->stage_count; ++n) {
    const PlanishPlugin *plugin = plain->stages[n].plugin;
    if (planish_sheet_is_branch(&plain->stages[n])) {
      continue;
    }
    write_name(stream, "    - name", plain->stages[n].name);
    write_name(stream, "      uri", plugin->uri);
    planish_text_print(stream, "      minor: %u\n      micro: %u\n", plugin->minor_version,
                       plugin->micro_version);
  }
}

static void write_stream(FILE *stream, const PlanishRecallFile *file)
{
  if (file->stream_count > 0) {
    planish_text_print(stream, "  stream:\n    mixes:\n");
    for (size_t n = 0; n < file->stream_count; ++n) {
      char *path = planish_place_real(file->stream_mixes[n]);
      write_name(stream, "      -", path == NULL ? file->stream_mixes[n] : path);
      free(path);
    }
    write_name(stream, "    samples", file->stream_samples);
    write_number(stream, "    from", (double)file->stream_from);
  }
  if (file->origin != NULL) {
    write_name(stream, "  origin", file->origin);
  }
}

static void write_note(void *user, FILE *stream)
{
  const Noting *noting = user;
  const PlanishMade *made = noting->made;
  char text[200];
  planish_text_print(stream, "recall:\n");
  write_name(stream, "  program", noting->file->program);
  planish_machine(text, sizeof text);
  write_name(stream, "  machine", text);
  planish_machine_libraries(text, sizeof text);
  write_name(stream, "  libraries", text);
  write_name(stream, "  settings", noting->settings);
  write_sound(stream, "mix", noting->mix_path, &noting->file->mix, &made->report->mix);
  if (noting->file->silence_bad) {
    planish_text_print(stream, "    silence_bad: true\n");
  }
  char *copy = planish_text_copy(made->out);
  write_sound(stream, "master", copy == NULL ? made->out : basename(copy), &noting->master,
              &made->report->result);
  free(copy);
  planish_text_print(stream, "    word: %s\n",
                     made->job->word == PLANISH_WORD_FLOAT ? "float" : "\"24 bit\"");
  write_stream(stream, noting->file);
  write_origin(stream, made);
  write_stages(stream, noting->plain);
}

/* A text of the sheet; NULL without memory. free() gives it back. */
static char *text_of(const PlanishSheet *sheet, const PlanishSheetWriting *writing, size_t *size)
{
  char *text = NULL;
  FILE *stream = open_memstream(&text, size);
  if (stream == NULL) {
    return NULL;
  }
  planish_sheet_write(stream, sheet, writing);
  const bool bad = ferror(stream) != 0;
  if (fclose(stream) != 0 || bad) {
    free(text);
    return NULL;
  }
  return text;
}

static bool digest_of(const PlanishSheet *sheet, bool resolved, char digest[PLANISH_DIGEST_TEXT],
                      PlanishError *error)
{
  const PlanishSheetWriting writing = {.resolved = resolved};
  size_t size = 0;
  char *text = text_of(sheet, &writing, &size);
  if (text == NULL) {
    return planish_fail_memory(error);
  }
  planish_text_digest(text, size, digest);
  free(text);
  return true;
}

bool planish_recall_settings(const PlanishSheet *sheet, char digest[PLANISH_DIGEST_TEXT],
                             PlanishError *error)
{
  return digest_of(sheet, false, digest, error);
}

static bool write_file(Noting *noting, PlanishError *error)
{
  const PlanishSheetWriting writing = {
      .resolved = true, .words = words, .more = write_note, .more_user = noting};
  size_t size = 0;
  char *path = planish_recall_file_path(noting->made->out);
  char *text = text_of(noting->plain, &writing, &size);
  const bool done = path != NULL && text != NULL
                        ? planish_writer_beside(noting->made->writer, path, text, size, error)
                        : planish_fail_memory(error);
  free(path);
  free(text);
  return done;
}

static bool find_digests(Noting *noting, PlanishError *error)
{
  return planish_sound_digest(planish_writer_temporary(noting->made->writer), false,
                              &noting->master, error) &&
         digest_of(noting->plain, true, noting->settings, error);
}

bool planish_recall_file_start(PlanishRecallFile *file, const char *program, const char *mix,
                               bool silence_bad, PlanishError *error)
{
  *file = (PlanishRecallFile){.program = program, .silence_bad = silence_bad};
  return planish_sound_digest(mix, silence_bad, &file->mix, error);
}

bool planish_recall_file_write(void *user, const PlanishMade *made, PlanishError *error)
{
  const PlanishRecallFile *file = user;
  PlanishSheet plain;
  Noting noting = {.file = file, .made = made, .plain = &plain};
  noting.mix_path = planish_place_real(
      file->mix_path != NULL ? file->mix_path : planish_reader_path(made->job->mix));
  bool done = plain_sheet(&plain, made->job->sheet, made->without) && noting.mix_path != NULL;
  if (done) {
    set_gain(&plain, made->report->input_gain);
    done = plain.stage_count == 0 || (find_digests(&noting, error) && write_file(&noting, error));
  } else {
    planish_fail_memory(error);
  }
  planish_sheet_less_release(&plain);
  free(noting.mix_path);
  return done;
}
