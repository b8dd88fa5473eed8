#include "harness/render/mastering.h"

#include "harness/base/interrupt.h"
#include "harness/base/text.h"
#include "harness/render/landing_controls.h"
#include "harness/render/mix_measure.h"
#include "harness/render/shared_stages.h"
#include "harness/render/take.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

struct PlanishMastering {
  PlanishMasterJob job;
  PlanishMeasurement mix;
  double input_gain; /* dB */
  PlanishLandingControls controls;
  PlanishCheckpoint checkpoint;
  double lowering;         /* dB, of the ceilings, as it landed last */
  PlanishTake last;        /* its writer is the last of the list */
  PlanishWriter **writers; /* to be committed */
  uint32_t count;
  const char *what; /* for whoever is told */
  unsigned number;
};

static void tell(void *user, double share)
{
  const PlanishMastering *mastering = user;
  const PlanishMasterJob *job = &mastering->job;
  if (job->told != NULL) {
    job->told(job->told_user, mastering->what, mastering->number, share);
  }
}

static bool measure_mix(PlanishMastering *mastering, uint64_t from, uint64_t to,
                        PlanishMeasurement *result, PlanishError *error)
{
  const PlanishMixMeasureJob job = {
      .mix = mastering->job.mix, .from = from, .to = to, .told = tell, .told_user = mastering};
  return planish_mix_measure(&job, result, error);
}

static bool find_input_gain(PlanishMastering *mastering, PlanishError *error)
{
  const PlanishSheet *sheet = mastering->job.sheet;
  if (sheet->input == PLANISH_INPUT_LOUDNESS) {
    if (!isfinite(mastering->mix.integrated)) {
      return planish_fail(error, PLANISH_BAD_AUDIO,
                          "silent, or shorter than 0.4 s: it has no loudness to be brought to a "
                          "working level: %s: check the export, or give \"input: {gain: 0}\"",
                          planish_reader_path(mastering->job.mix));
    }
    mastering->input_gain = sheet->input_value - mastering->mix.integrated;
  } else if (sheet->input == PLANISH_INPUT_GAIN) {
    mastering->input_gain = sheet->input_value;
  }
  return true;
}

PlanishMastering *planish_mastering_new(const PlanishMasterJob *job, PlanishError *error)
{
  enum { FRAME_BYTES = 8, FILES = 3 }; /* the nearest, the one under way, the matched one */
  PlanishMastering *mastering = calloc(1, sizeof *mastering);
  if (mastering == NULL) {
    planish_fail_memory(error);
    return NULL;
  }
  mastering->job = *job;
  mastering->what = "measure the mix";
  if (!planish_landing_controls_new(&mastering->controls, job->sheet, error) ||
      !measure_mix(mastering, 0, planish_reader_frames(job->mix), &mastering->mix, error) ||
      !find_input_gain(mastering, error)) {
    planish_mastering_free(mastering);
    return NULL;
  }
  mastering->checkpoint = (PlanishCheckpoint){
      .stages = planish_landing_still_stages(job->sheet),
      .beside = job->out,
      .spare = (uint64_t)FILES * FRAME_BYTES * (job->to - job->from),
  };
  return mastering;
}

void planish_mastering_share(PlanishMastering *mastering, const PlanishSheet *other)
{
  const uint32_t shared = planish_shared_stages(mastering->job.sheet, other);
  const uint32_t still = planish_landing_still_stages(other);
  uint32_t *stages = &mastering->checkpoint.stages;
  *stages = shared < *stages ? shared : *stages;
  *stages = still < *stages ? still : *stages;
}

bool planish_mastering_turn(PlanishMastering *mastering, PlanishSheet *sheet, PlanishError *error)
{
  planish_landing_controls_free(&mastering->controls);
  mastering->job.sheet = sheet;
  return planish_landing_controls_new(&mastering->controls, sheet, error);
}

void planish_mastering_free(PlanishMastering *mastering)
{
  if (mastering == NULL) {
    return;
  }
  planish_checkpoint_release(&mastering->checkpoint);
  planish_landing_controls_free(&mastering->controls);
  mastering->last.writer = NULL;
  planish_take_release(&mastering->last);
  for (uint32_t n = 0; n < mastering->count; ++n) {
    planish_writer_free(mastering->writers[n]);
  }
  free(mastering->writers);
  free(mastering);
}

/* Takes over the writer; frees it on failure. */
static bool keep_writer(PlanishMastering *mastering, PlanishWriter *writer, PlanishError *error)
{
  PlanishWriter **longer =
      realloc(mastering->writers, ((size_t)mastering->count + 1) * sizeof(PlanishWriter *));
  if (longer == NULL) {
    planish_writer_free(writer);
    return planish_fail_memory(error);
  }
  mastering->writers = longer;
  mastering->writers[mastering->count++] = writer;
  return true;
}

/* Takes over the take, and fills the report from it. */
static bool keep_take(PlanishMastering *mastering, PlanishTake *take, PlanishMasterReport *report,
                      PlanishError *error)
{
  report->result = take->result;
  report->latency = take->latency;
  report->frames = take->frames;
  report->accounts = take->accounts;
  report->account_count = take->account_count;
  report->clipped = planish_writer_clipped(take->writer);
  report->no_room = mastering->checkpoint.no_room;
  take->accounts = NULL;
  mastering->last = *take;
  *take = (PlanishTake){0};
  return keep_writer(mastering, mastering->last.writer, error);
}

static PlanishRenderJob render_job(PlanishMastering *mastering)
{
  const PlanishMasterJob *job = &mastering->job;
  return (PlanishRenderJob){
      .mix = job->mix,
      .sheet = job->sheet,
      .input_gain = mastering->input_gain,
      .from = job->from,
      .to = job->to,
      .told = tell,
      .told_user = mastering,
  };
}

static PlanishMasterReport new_report(const PlanishMastering *mastering)
{
  return (PlanishMasterReport){.mix = mastering->mix, .input_gain = mastering->input_gain};
}

/* The plain gains from the control that was moved on, against what they won. */
static void find_drive(const PlanishMastering *mastering, PlanishMasterReport *report,
                       const bool *without)
{
  report->extra_drive =
      planish_landing_controls_unlimited(&mastering->controls, report->accounts, without) -
      report->result.integrated;
  report->has_drive = mastering->job.sheet->has_loudness && isfinite(report->extra_drive);
}

/* Renders until landed, or it is clear that it cannot be. `best` is the nearest take. */
static bool land(PlanishMastering *mastering, const char *out, PlanishMasterReport *report,
                 PlanishTake *best, PlanishError *error)
{
  const PlanishLandingControls *controls = &mastering->controls;
  PlanishLanding *landing = &report->landing;
  PlanishRenderJob render = render_job(mastering);
  render.checkpoint = report->landing_wanted ? &mastering->checkpoint : NULL;
  mastering->what = "render";
  do {
    PlanishTake take = {0};
    mastering->number = landing->renders + 1;
    planish_landing_controls_apply(controls, &landing->task, landing->control, landing->lowering);
    const bool done = planish_take_render(&take, &render, out, mastering->job.word, error);
    if (done) {
      planish_landing_know(landing,
                           planish_landing_controls_unlimited(controls, take.accounts, NULL) -
                               landing->control);
      planish_landing_next(landing, take.result.integrated, take.result.true_peak);
    }
    if (done && landing->improved) {
      const PlanishTake former = *best;
      *best = take;
      take = former;
    }
    planish_take_release(&take);
    if (!done) {
      return false;
    }
  } while (report->landing_wanted && landing->state == PLANISH_LANDING_ON_ITS_WAY);
  planish_landing_controls_apply(controls, &landing->task, landing->best.control,
                                 landing->best.lowering);
  mastering->lowering = landing->best.lowering;
  return true;
}

static bool show(PlanishMastering *mastering, const char *out, const bool *without,
                 const PlanishMasterReport *report, PlanishError *error)
{
  const PlanishMasterJob *job = &mastering->job;
  const PlanishMade made = {.job = job,
                            .report = report,
                            .out = out,
                            .without = without,
                            .writer = mastering->last.writer};
  return job->made == NULL || job->made(job->made_user, &made, error);
}

bool planish_mastering_land(PlanishMastering *mastering, const char *out,
                            PlanishMasterReport *report, PlanishError *error)
{
  *report = new_report(mastering);
  const PlanishLandingTask task = planish_landing_controls_task(&mastering->controls);
  const double working = mastering->mix.integrated + mastering->input_gain;
  report->landing_wanted = (task.has_loudness || task.has_ceiling) && !mastering->job.excerpt;
  planish_landing_start(&report->landing, &task,
                        planish_landing_controls_begin(&mastering->controls, working));
  PlanishTake best = {0};
  if (!land(mastering, out, report, &best, error)) {
    planish_take_release(&best);
    return false;
  }
  if (!keep_take(mastering, &best, report, error)) {
    return false;
  }
  find_drive(mastering, report, NULL);
  return show(mastering, out, NULL, report, error);
}

bool planish_mastering_without(PlanishMastering *mastering, uint32_t stage, const char *out,
                               PlanishMasterReport *report, PlanishError *error)
{
  *report = new_report(mastering);
  report->landing.best.lowering = mastering->lowering;
  bool *without = calloc(mastering->job.sheet->stage_count, sizeof *without);
  if (without == NULL) {
    return planish_fail_memory(error);
  }
  without[stage] = true;
  PlanishRenderJob render = render_job(mastering);
  render.without = without;
  render.checkpoint = stage >= mastering->checkpoint.stages ? &mastering->checkpoint : NULL;
  mastering->what = "render without a stage";
  mastering->number = 0;
  PlanishTake take = {0};
  bool done = planish_take_render(&take, &render, out, mastering->job.word, error);
  if (done) {
    done = keep_take(mastering, &take, report, error);
  } else {
    planish_take_release(&take);
  }
  if (done) {
    find_drive(mastering, report, without);
    done = show(mastering, out, without, report, error);
  }
  free(without);
  return done;
}

bool planish_mastering_match(PlanishMastering *mastering, const char *out,
                             PlanishMasterReport *report, PlanishError *error)
{
  const PlanishMasterJob *job = &mastering->job;
  PlanishMeasurement part = mastering->mix;
  mastering->what = "match";
  mastering->number = 0;
  if (job->excerpt && !measure_mix(mastering, job->from, job->to, &part, error)) {
    return false;
  }
  const double gain = part.integrated - report->result.integrated;
  if (!isfinite(gain)) {
    return planish_fail(error, PLANISH_BAD_AUDIO,
                        "silent, or shorter than 0.4 s: it has no loudness to match: %s: leave "
                        "--matched out",
                        planish_reader_path(job->mix));
  }
  PlanishWriter *writer = planish_take_with_gain(&mastering->last, gain, out, job->word, error);
  if (writer == NULL) {
    return false;
  }
  report->matched_gain = gain;
  report->matched_clipped = planish_writer_clipped(writer);
  return keep_writer(mastering, writer, error);
}

bool planish_mastering_price(PlanishMastering *mastering, PlanishMasterReport *report,
                             PlanishError *error)
{
  const PlanishRenderJob job = render_job(mastering);
  mastering->what = "price";
  mastering->number = 0;
  return planish_price_find(&report->price, &job, planish_writer_temporary(mastering->last.writer),
                            mastering->job.out, error);
}

bool planish_mastering_price_loudest(PlanishMastering *mastering, PlanishMasterReport *report,
                                     PlanishError *error)
{
  const PlanishRenderJob job = render_job(mastering);
  const uint64_t end = report->result.shortterm_max_end;
  const uint64_t half = (uint64_t)(1.5 * report->result.rate); /* of the 3 s that end there */
  mastering->what = "price";
  mastering->number = 0;
  return planish_price_find_around(&report->price, &job,
                                   planish_writer_temporary(mastering->last.writer),
                                   mastering->job.out, end > half ? end - half : 0, error);
}

const char *planish_mastering_temporary(const PlanishMastering *mastering)
{
  return planish_writer_temporary(mastering->last.writer);
}

bool planish_mastering_commit(PlanishMastering *mastering, PlanishError *error)
{
  bool done = planish_interrupt_check(error);
  for (uint32_t n = 0; done && n < mastering->count; ++n) {
    done = planish_writer_sync(mastering->writers[n], error);
  }
  for (uint32_t n = 0; done && n < mastering->count; ++n) {
    done = planish_writer_commit(mastering->writers[n], error);
  }
  return done;
}
