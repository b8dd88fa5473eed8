#include "harness/recall/revise.h"

#include "harness/base/text.h"
#include "harness/compare/compare_json.h"
#include "harness/recall/recall.h"
#include "harness/render/mastering.h"
#include "harness/sheet/sheet_value.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { OLD, NEW };

static bool restore_ceilings(PlanishSheet *sheet, PlanishError *error)
{
  const PlanishRecallNote *note = sheet->recall;
  PlanishControl *controls = calloc(note->ceiling_count + 1, sizeof *controls);
  if (controls == NULL) {
    return planish_fail_memory(error);
  }
  free(sheet->ceiling_at);
  sheet->ceiling_at = controls;
  for (size_t n = 0; n < note->ceiling_count; ++n) {
    PlanishControl *control = &controls[n];
    if (!planish_sheet_control(sheet, note->ceiling_at[n], control, error)) {
      return false;
    }
    const PlanishSheetStage *stage = &sheet->stages[control->stage];
    const PlanishPluginPort *port = &stage->plugin->ports[control->port];
    if (!planish_sheet_can_land(port, note->ceiling_at[n], error)) {
      return false;
    }
    float *value = &stage->values[control->port];
    /* To five digits: a float takes the rest away. */
    const double raised = round(((double)*value + note->lowered) * 1e5) / 1e5;
    *value = note->lowered > 0.0 ? fminf(port->maximum, (float)raised) : *value;
    sheet->ceiling_count = (uint32_t)n + 1;
  }
  return true;
}

bool planish_recall_restore(PlanishSheet *sheet, PlanishError *error)
{
  const PlanishRecallNote *note = sheet->recall;
  if (note == NULL || sheet->has_loudness || sheet->has_ceiling) {
    return true;
  }
  if (isfinite(note->working) && sheet->input == PLANISH_INPUT_GAIN) {
    sheet->input = PLANISH_INPUT_LOUDNESS;
    sheet->input_value = note->working;
  }
  if (note->by != NULL) {
    if (!planish_sheet_control(sheet, note->by, &sheet->by, error) ||
        !planish_sheet_can_land(&sheet->stages[sheet->by.stage].plugin->ports[sheet->by.port],
                                note->by, error)) {
      return false;
    }
    sheet->has_by = true;
  }
  sheet->has_loudness = isfinite(note->target_loudness) && sheet->has_by;
  sheet->loudness = sheet->has_loudness ? note->target_loudness : 0.0;
  sheet->has_preroll = sheet->has_preroll && sheet->preroll != planish_chain_settles(sheet);
  sheet->has_ceiling = isfinite(note->target_ceiling);
  sheet->ceiling = sheet->has_ceiling ? note->target_ceiling : 0.0;
  return restore_ceilings(sheet, error);
}

static bool find_mixes(const PlanishReviseJob *job, PlanishRevision *revision, PlanishError *error)
{
  for (int n = OLD; n <= NEW; ++n) {
    const PlanishReviseSide *side = &job->side[n];
    PlanishError missing = {0};
    if (side->sheet == NULL) {
      revision->mix_path[n] = planish_text_copy(side->path);
      if (revision->mix_path[n] == NULL) {
        return planish_fail_memory(error);
      }
    } else if (side->sheet->recall != NULL) {
      revision->mix_path[n] = planish_recall_find_mix(side->sheet->recall, side->path, &missing);
    }
  }
  return true;
}

/* Whether the mixes sound the same, by what was noted. */
static bool know_mixes(const PlanishReviseJob *job, PlanishRevision *revision, PlanishError *error)
{
  const PlanishSheet *then = job->side[OLD].sheet;
  const PlanishSheet *now = job->side[NEW].sheet;
  PlanishSoundDigest digest;
  if (then->recall == NULL || (now != NULL && now->recall == NULL)) {
    return true;
  }
  revision->mix_known = true;
  if (now != NULL) {
    const PlanishRecallSound *a = &then->recall->mix;
    const PlanishRecallSound *b = &now->recall->mix;
    revision->mix_same = strcmp(a->samples, b->samples) == 0 && a->rate == b->rate;
    return true;
  }
  if (!planish_sound_digest(revision->mix_path[NEW], then->recall->mix.silence_bad, &digest,
                            error)) {
    return false;
  }
  revision->mix_same = planish_sound_match(&then->recall->mix, &digest) != PLANISH_SOUND_CHANGED;
  return true;
}

static bool compare_mixes(const PlanishReviseJob *job, PlanishRevision *revision,
                          PlanishError *error)
{
  if (!revision->mix_known || revision->mix_same || revision->mix_path[OLD] == NULL ||
      revision->mix_path[NEW] == NULL) {
    return true;
  }
  const PlanishCompareSetup setup = {
      .path = {revision->mix_path[OLD], revision->mix_path[NEW]},
      .silence_bad = job->side[OLD].sheet->recall->mix.silence_bad,
      .tell = job->told,
      .user = job->told_user,
  };
  revision->has_mix = true;
  return planish_mix_changes_find(&revision->mix, &setup, job->level, error);
}

static double value_of(const PlanishSheet *sheet)
{
  return sheet->has_by ? (double)sheet->stages[sheet->by.stage].values[sheet->by.port]
                       : (double)NAN;
}

static void take_note(PlanishRevisedMaster *master, const PlanishSheet *sheet)
{
  *master = (PlanishRevisedMaster){.moved_to = (double)NAN};
  if (sheet != NULL && sheet->recall != NULL) {
    master->known = true;
    master->loudness = sheet->recall->master.loudness;
    master->true_peak = sheet->recall->master.true_peak;
    master->moved_to = value_of(sheet);
  }
}

/* What a render is held against. */
typedef struct {
  const char *former; /* the old master; NULL: not there */
  PlanishRevisedMaster *master;
} Listening;

static void take_spectrum(PlanishRevisedMaster *master, const PlanishComparison *comparison)
{
  master->has_spectrum = true;
  for (size_t n = 0; n < comparison->octaves[0].count; ++n) {
    const double change = planish_compare_band_change(comparison, n);
    if (fabs(change) >= PLANISH_MIX_BAND &&
        planish_compare_band(&comparison->octaves[0], n) > PLANISH_MIX_FLOOR) {
      master->nominal[master->band_count] = comparison->octaves[0].band[n].nominal;
      master->change[master->band_count++] = change;
    }
  }
}

static bool compare_masters(const char *former, const char *now, PlanishRevisedMaster *master,
                            PlanishError *error)
{
  const PlanishCompareSetup setup = {.path = {former, now}, .plain = true};
  PlanishComparison *comparison = calloc(1, sizeof *comparison);
  if (comparison == NULL) {
    return planish_fail_memory(error);
  }
  const bool done = planish_compare(&setup, comparison, error);
  if (done) {
    take_spectrum(master, comparison);
  }
  free(comparison);
  return done;
}

static bool listen(void *user, const PlanishMade *made, PlanishError *error)
{
  const Listening *listening = user;
  return listening->former == NULL ||
         compare_masters(listening->former, planish_writer_temporary(made->writer),
                         listening->master, error);
}

static bool render(const PlanishReviseJob *job, PlanishSheet *sheet, const char *mix_path,
                   const char *former, PlanishRevisedMaster *master, bool *missed,
                   PlanishError *error)
{
  Listening listening = {.former = former, .master = master};
  PlanishReader *mix =
      planish_mix_open(mix_path, sheet, job->side[OLD].sheet->recall->mix.silence_bad, error);
  const char *out = PLANISH_RECALL_PASSING;
  /* While it lands, the nearest stands beside the one under way. */
  const unsigned files = sheet->has_loudness || sheet->has_ceiling ? 2 : 1;
  if (mix == NULL || !planish_recall_check_room(sheet, mix, out, files, error)) {
    planish_reader_free(mix);
    return false;
  }
  const PlanishMasterJob wanted = {
      .mix = mix,
      .sheet = sheet,
      .out = out,
      .word = job->side[OLD].sheet->recall->master.is_float ? PLANISH_WORD_FLOAT : PLANISH_WORD_24,
      .to = planish_reader_frames(mix),
      .told = job->told,
      .told_user = job->told_user,
      .made = listen,
      .made_user = &listening,
  };
  PlanishMasterReport report = {0};
  PlanishMastering *mastering = planish_mastering_new(&wanted, error);
  const bool done = mastering != NULL && planish_mastering_land(mastering, out, &report, error);
  if (done) {
    master->known = true;
    master->loudness = report.result.integrated;
    master->true_peak = report.result.true_peak;
    master->moved_to = value_of(sheet);
    *missed = report.landing_wanted && report.landing.state != PLANISH_LANDED;
  }
  planish_mastering_free(mastering);
  planish_master_report_free(&report);
  planish_reader_free(mix);
  return done;
}

/* A copy of the old master's path where it still is what was noted; NULL where not. */
static char *former_master(const PlanishReviseSide *side)
{
  PlanishSoundDigest digest;
  PlanishError unread = {0};
  char *path = planish_recall_find_master(side->sheet->recall, side->path);
  if (path != NULL &&
      (access(path, F_OK) != 0 || !planish_sound_digest(path, false, &digest, &unread) ||
       planish_sound_match(&side->sheet->recall->master, &digest) == PLANISH_SOUND_CHANGED)) {
    free(path);
    path = NULL;
  }
  return path;
}

/* The landed values on the new mix, before the sheet is restored. */
static bool render_kept(const PlanishReviseJob *job, PlanishRevision *revision, const char *former,
                        PlanishError *error)
{
  bool missed = false;
  return job->quick || job->side[NEW].sheet != NULL || revision->mix_same ||
         render(job, job->side[OLD].sheet, revision->mix_path[NEW], former, &revision->kept,
                &missed, error);
}

/* Landed again: the old settings on a new mix, or new settings on the old mix. */
static bool render_landed(const PlanishReviseJob *job, PlanishRevision *revision,
                          const char *former, PlanishError *error)
{
  PlanishSheet *sheet = job->side[NEW].sheet != NULL ? job->side[NEW].sheet : job->side[OLD].sheet;
  const char *mix =
      job->side[NEW].sheet != NULL ? revision->mix_path[OLD] : revision->mix_path[NEW];
  const bool nothing_new =
      job->side[NEW].sheet == NULL ? revision->mix_same : revision->settings.count == 0;
  if (job->quick || nothing_new || mix == NULL ||
      (job->side[NEW].sheet == NULL && !sheet->has_loudness && !sheet->has_ceiling)) {
    return true;
  }
  return render(job, sheet, mix, former, &revision->landed, &revision->landing_missed, error);
}

static bool name_control(const PlanishSheet *sheet, PlanishRevision *revision, PlanishError *error)
{
  if (!sheet->has_by) {
    return true;
  }
  const PlanishSheetStage *stage = &sheet->stages[sheet->by.stage];
  const PlanishPluginPort *port = &stage->plugin->ports[sheet->by.port];
  revision->by = planish_text_new("%s.%s", stage->name, port->symbol);
  revision->by_unit = port->unit;
  return revision->by != NULL || planish_fail_memory(error);
}

/* Where landing has put the control in a recall file, and where a sheet lets it begin, is no change
 * that anyone made. The control's value in the sheet, to be held at the recall file's for as long
 * as they are compared; NULL where there is nothing to hold. */
static float *begun_value(PlanishSheet *then, PlanishSheet *now)
{
  if (!then->has_by || !now->has_by || then->by.port != now->by.port ||
      strcmp(then->stages[then->by.stage].name, now->stages[now->by.stage].name) != 0 ||
      then->stages[then->by.stage].plugin != now->stages[now->by.stage].plugin) {
    return NULL;
  }
  const bool both_alike = (then->recall == NULL) == (now->recall == NULL);
  const PlanishSheet *sheet = then->recall == NULL ? then : now;
  return both_alike ? NULL : &sheet->stages[sheet->by.stage].values[sheet->by.port];
}

/* What a note says of controls is looked at here for the first time. */
static bool restore(const PlanishReviseSide *side, PlanishError *error)
{
  PlanishError own = {0};
  return planish_recall_restore(side->sheet, &own) ||
         planish_fail(error, own.outcome, "%s: recall: target: %s", side->path, own.text);
}

/* Settings as they were meant: with working level and target. */
static bool compare_settings(const PlanishReviseJob *job, PlanishRevision *revision,
                             PlanishError *error)
{
  PlanishSheet *then = job->side[OLD].sheet;
  PlanishSheet *now = job->side[NEW].sheet;
  if (!restore(&job->side[OLD], error) || (now != NULL && !restore(&job->side[NEW], error))) {
    return false;
  }
  take_note(&revision->then, then);
  take_note(&revision->noted, now);
  revision->kept.moved_to = revision->then.moved_to;
  if (!name_control(then, revision, error) || now == NULL) {
    return error->outcome == PLANISH_DONE;
  }
  float *begun = begun_value(then, now);
  const float value = begun == NULL ? 0.0f : *begun;
  if (begun != NULL) {
    *begun = (float)value_of(then->recall == NULL ? now : then);
  }
  revision->has_settings = true;
  const bool done = planish_setting_changes_find(&revision->settings, then, now, error);
  if (begun != NULL) {
    *begun = value;
  }
  return done;
}

static bool compare_what_was_made(const PlanishReviseJob *job, PlanishRevision *revision,
                                  const char *former, PlanishError *error)
{
  const PlanishReviseSide *side = &job->side[NEW];
  char *now = side->sheet == NULL || side->sheet->recall == NULL || former == NULL
                  ? NULL
                  : former_master(side);
  const bool done = now == NULL || compare_masters(former, now, &revision->noted, error);
  free(now);
  return done;
}

static bool judge(const PlanishReviseJob *job, PlanishRevision *revision, const char *former,
                  PlanishError *error)
{
  const PlanishSheet *now = job->side[NEW].sheet;
  if (!render_kept(job, revision, former, error) || !compare_settings(job, revision, error) ||
      !compare_what_was_made(job, revision, former, error)) {
    return false;
  }
  return job->side[OLD].sheet->recall == NULL || (now != NULL && now->recall != NULL) ||
         render_landed(job, revision, former, error);
}

bool planish_revise(const PlanishReviseJob *job, PlanishRevision *revision, PlanishError *error)
{
  *revision = (PlanishRevision){.by_unit = ""};
  if (!find_mixes(job, revision, error) || !know_mixes(job, revision, error) ||
      !compare_mixes(job, revision, error)) {
    return false;
  }
  char *former = job->side[OLD].sheet->recall == NULL ? NULL : former_master(&job->side[OLD]);
  const bool done = judge(job, revision, former, error);
  free(former);
  return done;
}

void planish_revision_release(PlanishRevision *revision)
{
  planish_setting_changes_release(&revision->settings);
  planish_mix_changes_release(&revision->mix);
  free(revision->mix_path[OLD]);
  free(revision->mix_path[NEW]);
  free(revision->by);
  *revision = (PlanishRevision){0};
}
