#include "harness/deliver/deliver.h"

#include "common/dsp/maths.h"
#include "harness/deliver/plan.h"
#include "harness/deliver/rerender.h"
#include "harness/render/landing.h"
#include "harness/sheet/sheet_value.h"

#include <stdlib.h>

/* Times that a file is written until it holds ceiling and loudness, and that an avoiding ceiling is
 * sought. */
enum { MOST_WRITES = 3, MOST_TRIALS = 6 };

static const double inside = 0.001;      /* dB, under the ceiling, once words have passed it */
static const double coder_told = 0.1;    /* LU */
static const double trial_inside = 0.02; /* dB */

void planish_delivery_free(PlanishDelivery *delivery)
{
  if (delivery != NULL) {
    planish_metadata_release(&delivery->metadata);
    planish_source_free(delivery->again);
    free(delivery->path);
    free(delivery);
  }
}

PlanishDelivery *planish_delivery_new(const PlanishDeliverJob *job, PlanishError *error)
{
  PlanishDelivery *delivery = calloc(1, sizeof *delivery);
  if (delivery == NULL) {
    planish_fail_memory(error);
    return NULL;
  }
  delivery->job = *job;
  if (!planish_plan(delivery, error)) {
    planish_delivery_free(delivery);
    return NULL;
  }
  return delivery;
}

static bool measure(PlanishDelivery *delivery, PlanishError *error)
{
  PlanishSource *source = delivery->job.source;
  const double own = planish_source_rate(source);
  if (!planish_source_measure(source, own, &delivery->master, error) ||
      !planish_source_measure(source, delivery->rate, &delivery->before, error)) {
    return false;
  }
  if (delivery->rate != own) {
    planish_lines_add(&delivery->notes,
                      "converted from %g to %g Hz, by which the true peak went from %.2f to %.2f "
                      "dBTP",
                      own, delivery->rate, delivery->master.true_peak, delivery->before.true_peak);
  }
  return true;
}

static bool is_together(const PlanishDelivery *delivery)
{
  return delivery->job.together.count > 1;
}

/* What those together have at the file's rate. */
static bool measure_together(PlanishDelivery *delivery, PlanishError *error)
{
  const PlanishDeliverTogether *together = &delivery->job.together;
  PlanishMeasurement found;
  bool done = true;
  delivery->loudest = delivery->before.integrated;
  delivery->highest = delivery->before.true_peak;
  delivery->stream_highest = delivery->before.true_peak;
  for (size_t n = 0; done && n < together->count; ++n) {
    done = planish_source_measure(together->sources[n], delivery->rate, &found, error);
    if (done) {
      delivery->loudest = fmax(delivery->loudest, found.integrated);
      delivery->highest = fmax(delivery->highest, found.true_peak);
    }
    if (done && n - together->stream_first < together->stream_count) {
      delivery->stream_highest = fmax(delivery->stream_highest, found.true_peak);
    }
  }
  return done;
}

/* The gain that brings it, or the loudest of those together, to the spec's loudness. */
static void match(PlanishDelivery *delivery)
{
  const PlanishSpec *spec = delivery->job.spec;
  const double off = spec->loudness - delivery->loudest;
  if (spec->match && isfinite(off) && fabs(off) > spec->tolerance) {
    delivery->matched = off;
  }
}

/* Whether no file is to be made of such a peak, which is told. */
static bool refuses(PlanishDelivery *delivery, double peak)
{
  const PlanishSpec *spec = delivery->job.spec;
  const double over = peak - spec->ceiling;
  if (spec->over != PLANISH_OVER_REFUSE || !(over > PLANISH_LANDING_OVER)) {
    return false;
  }
  planish_lines_add(&delivery->missed,
                    "%.2f dB over the ceiling: %.2f dBTP, %.2f allowed: nothing was made, as the "
                    "spec has over: refuse",
                    over, peak, spec->ceiling);
  return true;
}

/* Renders it again where it passes the ceiling, if the spec wants that. */
static bool rerender(PlanishDelivery *delivery, PlanishError *error)
{
  const PlanishDeliverJob *job = &delivery->job;
  const double peak = delivery->stream_highest + delivery->matched;
  if (job->spec->over != PLANISH_OVER_RERENDER ||
      !(peak - job->spec->ceiling > PLANISH_LANDING_OVER)) {
    return true;
  }
  const PlanishRerenderJob again = {
      .master = planish_source_path(job->source),
      .host = job->host,
      .rate = delivery->rate,
      .ceiling = fmax(job->spec->ceiling - delivery->matched, PLANISH_SHEET_LOWEST_CEILING),
      .frames = delivery->frames - delivery->added,
      .beside = delivery->path,
      .tell = job->tell,
      .user = job->user};
  const PlanishMeasurement former = delivery->before;
  char *stage = NULL;
  delivery->again = planish_rerender(&again, &stage, error);
  if (delivery->again == NULL ||
      !planish_source_measure(delivery->again, delivery->rate, &delivery->before, error)) {
    free(stage);
    return false;
  }
  planish_lines_add(&delivery->notes,
                    "rendered again from %s on at %g Hz: %.2f dBTP instead of %.2f, loudness "
                    "%+.2f LU",
                    stage == NULL ? "the first limiter" : stage, delivery->rate,
                    delivery->before.true_peak, former.true_peak,
                    delivery->before.integrated - former.integrated);
  free(stage);
  if (!is_together(delivery)) {
    delivery->loudest = delivery->before.integrated;
    delivery->matched = 0.0;
    match(delivery);
  }
  return true;
}

static bool hold_ceiling(PlanishDelivery *delivery)
{
  const double peak = delivery->before.true_peak + delivery->matched;
  const bool lowers = delivery->job.spec->over == PLANISH_OVER_LOWER;
  const double over =
      (lowers ? delivery->highest + delivery->matched : peak) - delivery->job.spec->ceiling;
  if (refuses(delivery, peak)) {
    return false;
  }
  delivery->lowered = over > PLANISH_LANDING_OVER ? over : 0.0;
  return true;
}

static double gain_of(const PlanishDelivery *delivery)
{
  const double gain = delivery->matched - delivery->lowered;
  return gain == 0.0 ? 1.0 : planish_gain_of(gain);
}

/* Writes the whole file and reads it back. */
static bool write_file(PlanishDelivery *delivery, PlanishDeliveredFile *file, double gain,
                       PlanishReadBack *back, PlanishError *error)
{
  const PlanishDeliverJob *job = &delivery->job;
  const bool coded = planish_coding_of(job->spec->format)->coded;
  PlanishSource *source = delivery->again != NULL ? delivery->again : job->source;
  return planish_source_play(source, delivery->rate, gain, delivery->frames,
                             planish_delivered_file_write, file, "writing", error) &&
         planish_delivered_file_finish(file, error) &&
         planish_read_back_sound(file, coded, back, job->tell, job->user, error);
}

static PlanishDeliveredFileJob file_job(const PlanishDelivery *delivery)
{
  return (PlanishDeliveredFileJob){.path = delivery->path,
                                   .spec = delivery->job.spec,
                                   .metadata = &delivery->metadata,
                                   .bext = &delivery->bext,
                                   .rate = delivery->rate,
                                   .frames = delivery->frames};
}

/* How far what is read back passes the ceiling; the dither of short words can do that. */
static double words_over(const PlanishDelivery *delivery)
{
  const PlanishSpec *spec = delivery->job.spec;
  return planish_coding_of(spec->format)->coded ? -HUGE_VAL
                                                : delivery->back.measured.true_peak - spec->ceiling;
}

/* A coder may turn the whole a little: what it did is made up for, but not in one of several that
 * keep their distances. */
static double coder_off(const PlanishDelivery *delivery)
{
  const PlanishSpec *spec = delivery->job.spec;
  const double off = delivery->back.measured.integrated - spec->loudness;
  const bool held = delivery->lowered > 0.0 && off < 0.0;
  return spec->match && !is_together(delivery) && isfinite(off) && fabs(off) > spec->tolerance &&
                 !held
             ? off
             : 0.0;
}

/* Whether the file is as near as a gain brings it; else the gain is another one now. */
static bool settle(PlanishDelivery *delivery)
{
  const PlanishSpec *spec = delivery->job.spec;
  const double over = words_over(delivery);
  const double off = coder_off(delivery);
  if (spec->over != PLANISH_OVER_REFUSE && over > PLANISH_LANDING_OVER) {
    delivery->lowered += over + inside;
    return false;
  }
  if (off == 0.0) {
    return true;
  }
  delivery->matched -= off;
  const double peak = delivery->before.true_peak + delivery->matched - delivery->lowered;
  if (peak > spec->ceiling) {
    delivery->lowered += peak - spec->ceiling;
  }
  return false;
}

/* The file, finished under its other name. */
static PlanishDeliveredFile *write_until_it_is_right(PlanishDelivery *delivery, PlanishError *error)
{
  const PlanishDeliveredFileJob job = file_job(delivery);
  PlanishDeliveredFile *file = NULL;
  bool settled = false;
  for (int n = 0; !settled; ++n) {
    planish_delivered_file_free(file);
    file = planish_delivered_file_new(&job, error);
    if (file == NULL || !write_file(delivery, file, gain_of(delivery), &delivery->back, error)) {
      planish_delivered_file_free(file);
      return NULL;
    }
    settled = n + 1 == MOST_WRITES || settle(delivery);
  }
  delivery->clipped = planish_delivered_file_clipped(file);
  return file;
}

/* A ceiling ahead of the coder with which the decoded file passes nothing, by trying. */
static bool find_avoiding(PlanishDelivery *delivery, PlanishError *error)
{
  const PlanishDeliveredFileJob job = file_job(delivery);
  PlanishOvers *overs = &delivery->back.overs;
  PlanishReadBack back = delivery->back;
  double down = 0.0;
  bool done = true;
  for (int n = 0; done && n < MOST_TRIALS && !overs->has_avoiding; ++n) {
    down += back.measured.true_peak - overs->ceiling + trial_inside;
    PlanishDeliveredFile *file = planish_delivered_file_new(&job, error);
    done = file != NULL &&
           write_file(delivery, file, gain_of(delivery) * planish_gain_of(-down), &back, error);
    planish_delivered_file_free(file);
    overs->has_avoiding = done && back.overs.places == 0;
  }
  /* To the hundredth, on the safe side. */
  const double peak = delivery->before.true_peak + delivery->matched - delivery->lowered - down;
  overs->avoiding = floor(100.0 * peak) / 100.0;
  return done;
}

static void judge_loudness(PlanishDelivery *delivery)
{
  const PlanishSpec *spec = delivery->job.spec;
  const double found = delivery->back.measured.integrated;
  const double off = found - spec->loudness;
  const bool quieter =
      is_together(delivery) && spec->match && delivery->before.integrated < delivery->loudest;
  if (!spec->has_loudness || (quieter && !(off > 0.0))) {
    return;
  }
  if (!isfinite(found)) {
    planish_lines_add(&delivery->missed, "silent: %.2f LUFS asked for", spec->loudness);
  } else if (fabs(off) > spec->tolerance + 1e-9) {
    planish_lines_add(&delivery->missed, "%.2f LU too %s: %.2f LUFS, %.2f asked for within %.2f LU",
                      fabs(off), off > 0.0 ? "loud" : "quiet", found, spec->loudness,
                      spec->tolerance);
  }
}

static void judge_peaks(PlanishDelivery *delivery)
{
  const PlanishSpec *spec = delivery->job.spec;
  const PlanishMeasurement *found = &delivery->back.measured;
  const double over = words_over(delivery);
  if (over > PLANISH_LANDING_OVER) {
    planish_lines_add(&delivery->missed, "%.2f dB over the ceiling: %.2f dBTP, %.2f allowed", over,
                      found->true_peak, spec->ceiling);
  }
  if (spec->has_decoded_ceiling && delivery->back.overs.places > 0) {
    planish_lines_add(
        &delivery->missed, "decoded, %.2f dB over the ceiling: %.2f dBTP, %.2f allowed",
        found->true_peak - spec->decoded_ceiling, found->true_peak, spec->decoded_ceiling);
  }
}

static void judge(PlanishDelivery *delivery, const PlanishDeliveredFile *file)
{
  const PlanishDeliveredFileJob job = file_job(delivery);
  const PlanishMeasurement *found = &delivery->back.measured;
  PlanishMetadataField lacking = PLANISH_METADATA_TITLE;
  if (found->frames != delivery->frames || found->rate != delivery->rate) {
    planish_lines_add(&delivery->missed, "%llu frames at %g Hz read back, %llu at %g written",
                      (unsigned long long)found->frames, found->rate,
                      (unsigned long long)delivery->frames, delivery->rate);
  }
  judge_loudness(delivery);
  judge_peaks(delivery);
  if (!planish_read_back_metadata(file, &job, &lacking)) {
    planish_lines_add(&delivery->missed, "%s: does not read back as it was given",
                      planish_metadata_names[lacking]);
  }
}

static void tell_gain(PlanishDelivery *delivery)
{
  const double matched = delivery->matched;
  if (matched != 0.0) {
    planish_lines_add(&delivery->notes, "turned %s by %.2f dB, %sto come to %.2f LUFS",
                      matched < 0.0 ? "down" : "up", fabs(matched),
                      is_together(delivery) ? "as all tracks, for the loudest of them " : "",
                      delivery->job.spec->loudness);
  }
  if (delivery->lowered > 0.0) {
    planish_lines_add(
        &delivery->notes, "turned down by %.2f dB, %sto hold the ceiling of %.2f dBTP",
        delivery->lowered,
        is_together(delivery) && delivery->job.spec->over == PLANISH_OVER_LOWER ? "as all tracks, "
                                                                                : "",
        delivery->job.spec->ceiling);
  }
  if (delivery->clipped > 0) {
    planish_lines_add(&delivery->notes,
                      "%llu samples were over full scale and are cut off: give a lower ceiling",
                      (unsigned long long)delivery->clipped);
  }
}

/* Coders take away what they think nobody hears, which a meter does. */
static void tell_coder(PlanishDelivery *delivery)
{
  const double gain = delivery->matched - delivery->lowered;
  const double change = delivery->back.measured.integrated - delivery->before.integrated - gain;
  if (planish_coding_of(delivery->job.spec->format)->coded && isfinite(change) &&
      fabs(change) >= coder_told) {
    planish_lines_add(&delivery->notes, "coded, it is %.2f LU %s than what went in", fabs(change),
                      change < 0.0 ? "quieter" : "louder");
  }
}

static bool finish_bext(const PlanishDelivery *delivery, const PlanishDeliveredFile *file,
                        PlanishError *error)
{
  const PlanishBextLoudness loudness = planish_bext_loudness_of(&delivery->back.measured);
  const PlanishSpec *spec = delivery->job.spec;
  const int descriptor = planish_delivered_file_descriptor(file);
  return !spec->has_bext || (planish_bext_put_loudness(descriptor, &loudness, error) &&
                             planish_bext_put_word(descriptor, spec->bits, error));
}

static bool finish(PlanishDelivery *delivery, PlanishDeliveredFile *file, PlanishError *error)
{
  if (!finish_bext(delivery, file, error) ||
      (delivery->back.overs.places > 0 && !find_avoiding(delivery, error))) {
    return false;
  }
  tell_gain(delivery);
  tell_coder(delivery);
  judge(delivery, file);
  /* Another program may have put one there meanwhile. */
  delivery->made =
      planish_plan_check_place(delivery, error) && planish_delivered_file_commit(file, error);
  return delivery->made;
}

bool planish_delivery_make(PlanishDelivery *delivery, PlanishError *error)
{
  const PlanishSpec *spec = delivery->job.spec;
  if (!measure(delivery, error) || !measure_together(delivery, error)) {
    return false;
  }
  match(delivery);
  if (!rerender(delivery, error)) {
    return false;
  }
  if (!hold_ceiling(delivery)) {
    return true;
  }
  delivery->back.overs.ceiling = spec->has_decoded_ceiling ? spec->decoded_ceiling : 0.0;
  PlanishDeliveredFile *file = write_until_it_is_right(delivery, error);
  /* The dither of short words has its own peaks. */
  const bool coded = planish_coding_of(spec->format)->coded;
  const bool refused =
      file != NULL && !coded && refuses(delivery, delivery->back.measured.true_peak);
  const bool done = refused || (file != NULL && finish(delivery, file, error));
  planish_delivered_file_free(file);
  return done;
}
