#include "harness/render/master.h"

#include "common/dsp/maths.h"
#include "harness/base/interrupt.h"
#include "harness/base/text.h"

#include <stdlib.h>
#include <string.h>

enum { BLOCK = 4096 };

/* One render on its way to a file, and what came of it. */
typedef struct {
  PlanishWriter *writer;
  PlanishMeasure *measure;
  PlanishAccount *accounts;
} Take;

typedef struct {
  const PlanishMasterJob *job;
  PlanishMasterReport *report;
  PlanishCheckpoint checkpoint; /* ahead of the controls that landing moves */
  const char *what;
  unsigned number;
} Teller;

static void tell(void *user, double share)
{
  const Teller *teller = user;
  if (teller->job->told != NULL) {
    teller->job->told(teller->job->told_user, teller->what, teller->number, share);
  }
}

static void free_take(Take *take, uint32_t count)
{
  planish_writer_free(take->writer);
  planish_measure_free(take->measure);
  planish_accounts_free(take->accounts, count);
  *take = (Take){0};
}

static void measure_written(void *user, const float *interleaved, size_t frames)
{
  planish_measure_process(user, interleaved, frames);
}

static bool write_rendered(void *user, const float *interleaved, size_t frames, PlanishError *error)
{
  return planish_writer_write(user, interleaved, frames, error);
}

static bool measure_mix(Teller *teller, uint64_t from, uint64_t to, PlanishMeasurement *result,
                        PlanishError *error)
{
  PlanishReader *mix = teller->job->mix;
  PlanishMeasure *measure =
      planish_measure_new(planish_reader_rate(mix), planish_reader_channels(mix) == 1 ? 1 : 2);
  float block[2 * BLOCK];
  bool done = measure != NULL ? planish_reader_seek(mix, from, error) : planish_fail_memory(error);
  for (uint64_t at = from; done && at < to;) {
    const size_t wanted = to - at < BLOCK ? (size_t)(to - at) : BLOCK;
    size_t got = 0;
    done = planish_interrupt_check(error) && planish_reader_read(mix, block, wanted, &got, error);
    if (done) {
      for (size_t n = 0; n < got && planish_reader_channels(mix) == 1; ++n) {
        block[n] = block[2 * n];
      }
      planish_measure_process(measure, block, got);
      at += got;
      tell(teller, (double)(at - from) / (double)(to - from));
    }
  }
  if (done) {
    planish_measure_finish(measure, result);
  }
  planish_measure_free(measure);
  return done;
}

static bool find_input_gain(const PlanishMasterJob *job, PlanishMasterReport *report,
                            PlanishError *error)
{
  const PlanishSheet *sheet = job->sheet;
  if (sheet->input == PLANISH_INPUT_LOUDNESS) {
    if (!isfinite(report->mix.integrated)) {
      return planish_fail(error, PLANISH_BAD_AUDIO,
                          "silent, or shorter than 0.4 s: it has no loudness to be brought to a "
                          "working level: %s: check the export, or give \"input: {gain: 0}\"",
                          planish_reader_path(job->mix));
    }
    report->input_gain = sheet->input_value - report->mix.integrated;
  } else if (sheet->input == PLANISH_INPUT_GAIN) {
    report->input_gain = sheet->input_value;
  }
  return true;
}

static float *value_of(PlanishSheet *sheet, const PlanishControl *control)
{
  return &sheet->stages[control->stage].values[control->port];
}

static const PlanishPluginPort *port_of(const PlanishSheet *sheet, const PlanishControl *control)
{
  return &sheet->stages[control->stage].plugin->ports[control->port];
}

/* Whether a control is a plain gain: what it adds to the level ahead of whatever limits. */
static bool is_plain_gain(const PlanishPluginPort *port)
{
  return strcmp(port->unit, "dB") == 0 &&
         (strcmp(port->symbol, "input_gain") == 0 || strcmp(port->symbol, "output_gain") == 0 ||
          strcmp(port->symbol, "gain") == 0);
}

/* Where landing begins: at the sheet's value, else where a chain that limits nothing would land. */
static double first_control(const PlanishMasterJob *job, const PlanishMasterReport *report)
{
  PlanishSheet *sheet = job->sheet;
  const double value = (double)*value_of(sheet, &sheet->by);
  const double working = report->mix.integrated + report->input_gain;
  const bool given = sheet->stages[sheet->by.stage].given[sheet->by.port];
  return given || !is_plain_gain(port_of(sheet, &sheet->by)) || !isfinite(working)
             ? value
             : sheet->loudness - working;
}

static void start_landing(const PlanishMasterJob *job, PlanishMasterReport *report)
{
  const PlanishSheet *sheet = job->sheet;
  PlanishLandingTask task = {
      .has_loudness = sheet->has_loudness && sheet->has_by,
      .loudness = sheet->loudness,
      .has_ceiling = sheet->has_ceiling,
      .ceiling = sheet->ceiling,
  };
  double control = 0.0;
  if (task.has_loudness) {
    task.minimum = (double)port_of(sheet, &sheet->by)->minimum;
    task.maximum = (double)port_of(sheet, &sheet->by)->maximum;
    control = first_control(job, report);
  }
  for (uint32_t n = 0; n < sheet->ceiling_count; ++n) {
    const double room = (double)*value_of(job->sheet, &sheet->ceiling_at[n]) -
                        (double)port_of(sheet, &sheet->ceiling_at[n])->minimum;
    task.most_lowering = n == 0 ? room : planish_min(task.most_lowering, room);
  }
  report->landing_wanted = (task.has_loudness || task.has_ceiling) && !job->excerpt;
  planish_landing_start(&report->landing, &task, control);
}

/* Up to the first stage that landing moves a control of, the sound stays the same. */
static PlanishCheckpoint checkpoint_for(const PlanishMasterJob *job)
{
  enum { FRAME_BYTES = 8, FILES = 3 }; /* the nearest, the one under way, the matched one */
  const PlanishSheet *sheet = job->sheet;
  uint32_t first = sheet->has_by && sheet->has_loudness ? sheet->by.stage : sheet->stage_count;
  for (uint32_t n = 0; n < sheet->ceiling_count; ++n) {
    first = sheet->ceiling_at[n].stage < first ? sheet->ceiling_at[n].stage : first;
  }
  return (PlanishCheckpoint){
      .stages = first,
      .beside = job->out,
      .spare = FILES * FRAME_BYTES * (job->to - job->from),
  };
}

/* Sets the sheet's controls for a render. `ceilings` are those of the controls before landing. */
static void apply(const PlanishMasterJob *job, const PlanishLandingTask *task, double control,
                  double lowering, const float *ceilings)
{
  PlanishSheet *sheet = job->sheet;
  if (task->has_loudness) {
    *value_of(sheet, &sheet->by) = (float)control;
  }
  for (uint32_t n = 0; n < sheet->ceiling_count; ++n) {
    *value_of(sheet, &sheet->ceiling_at[n]) = (float)((double)ceilings[n] - lowering);
  }
}

/* The loudness that the result would have if the chain limited nothing: what comes to the stage
 * whose control is moved, and the plain gains from there on. NAN: that cannot be said. */
static double unlimited_loudness(PlanishSheet *sheet, const PlanishAccount *accounts)
{
  if (accounts == NULL || !sheet->has_by || !is_plain_gain(port_of(sheet, &sheet->by))) {
    return (double)NAN;
  }
  double gains = 0.0;
  for (uint32_t s = sheet->by.stage; s < sheet->stage_count; ++s) {
    const PlanishPlugin *plugin = sheet->stages[s].plugin;
    const float *values = sheet->stages[s].values;
    if (plugin->enabled >= 0 && values[plugin->enabled] <= 0.0f) {
      continue;
    }
    for (uint32_t port = 0; port < plugin->port_count; ++port) {
      const bool gain = plugin->ports[port].kind == PLANISH_PLUGIN_CONTROL_INPUT &&
                        is_plain_gain(&plugin->ports[port]);
      gains += gain ? (double)values[port] : 0.0;
    }
  }
  return accounts[sheet->by.stage].loudness_in + gains;
}

static bool render_take(Teller *teller, Take *take, PlanishMeasurement *result, PlanishError *error)
{
  const PlanishMasterJob *job = teller->job;
  const double rate = planish_reader_rate(job->mix);
  const PlanishRenderJob render = {
      .mix = job->mix,
      .sheet = job->sheet,
      .input_gain = teller->report->input_gain,
      .from = job->from,
      .to = job->to,
      .checkpoint = teller->report->landing_wanted ? &teller->checkpoint : NULL,
      .told = tell,
      .told_user = teller,
  };
  take->measure = planish_measure_new(rate, 2);
  take->accounts = calloc((size_t)job->sheet->stage_count + 1, sizeof *take->accounts);
  if (take->measure == NULL || take->accounts == NULL) {
    return planish_fail_memory(error);
  }
  teller->report->frames = planish_render_frames(&render);
  take->writer = planish_writer_new(job->out, rate, teller->report->frames, job->word,
                                    measure_written, take->measure, error);
  if (take->writer == NULL ||
      !planish_render(&render, write_rendered, take->writer, take->accounts,
                      &teller->report->latency, error) ||
      !planish_writer_finish(take->writer, error)) {
    return false;
  }
  planish_measure_finish(take->measure, result);
  return true;
}

/* Renders until landed, or it is clear that it cannot be. `best` is the nearest take. */
static bool land(Teller *teller, Take *best, const float *ceilings, PlanishError *error)
{
  const PlanishMasterJob *job = teller->job;
  PlanishMasterReport *report = teller->report;
  PlanishLanding *landing = &report->landing;
  do {
    Take take = {0};
    PlanishMeasurement result = {0};
    teller->what = "render";
    teller->number = landing->renders + 1;
    apply(job, &landing->task, landing->control, landing->lowering, ceilings);
    const bool done = render_take(teller, &take, &result, error);
    if (done) {
      planish_landing_know(landing,
                           unlimited_loudness(job->sheet, take.accounts) - landing->control);
      planish_landing_next(landing, result.integrated, result.true_peak);
    }
    if (done && landing->improved) {
      const Take former = *best;
      *best = take;
      take = former;
      report->result = result;
    }
    free_take(&take, job->sheet->stage_count);
    if (!done) {
      return false;
    }
  } while (report->landing_wanted && landing->state == PLANISH_LANDING_ON_ITS_WAY);
  apply(job, &landing->task, landing->best.control, landing->best.lowering, ceilings);
  return true;
}

/* The plain gains from the control that was moved on, against what they won. */
static void find_drive(const PlanishMasterJob *job, PlanishMasterReport *report)
{
  report->extra_drive =
      unlimited_loudness(job->sheet, report->accounts) - report->result.integrated;
  report->has_drive = report->landing.task.has_loudness && isfinite(report->extra_drive);
}

/* The finished master again, at the mix's loudness. */
static PlanishWriter *write_matched(Teller *teller, const PlanishWriter *master,
                                    PlanishError *error)
{
  const PlanishMasterJob *job = teller->job;
  PlanishMeasurement excerpt = teller->report->mix;
  if (job->excerpt && !measure_mix(teller, job->from, job->to, &excerpt, error)) {
    return NULL;
  }
  const double gain = excerpt.integrated - teller->report->result.integrated;
  if (!isfinite(gain)) {
    planish_fail(error, PLANISH_BAD_AUDIO,
                 "silent, or shorter than 0.4 s: it has no loudness to match: %s: leave "
                 "--matched out",
                 planish_reader_path(job->mix));
    return NULL;
  }
  teller->report->matched_gain = gain;
  PlanishReader *reader = planish_reader_open(planish_writer_temporary(master), NULL, error);
  PlanishWriter *writer =
      reader == NULL
          ? NULL
          : planish_writer_new(job->matched, planish_reader_rate(reader),
                               planish_reader_frames(reader), job->word, NULL, NULL, error);
  float block[2 * PLANISH_CHAIN_BLOCK];
  const double factor = planish_gain_of(gain);
  bool done = writer != NULL;
  size_t got = 1;
  while (done && got > 0) {
    done = planish_interrupt_check(error) &&
           planish_reader_read(reader, block, PLANISH_CHAIN_BLOCK, &got, error);
    for (size_t n = 0; done && n < 2 * got; ++n) {
      block[n] = (float)((double)block[n] * factor);
    }
    done = done && planish_writer_write(writer, block, got, error);
  }
  if (!done || !planish_writer_finish(writer, error)) {
    planish_writer_free(writer);
    writer = NULL;
  }
  planish_reader_free(reader);
  return writer;
}

static bool deliver(Teller *teller, Take *best, PlanishError *error)
{
  const PlanishMasterJob *job = teller->job;
  PlanishWriter *matched = NULL;
  if (job->matched != NULL) {
    teller->what = "match";
    teller->number = 0;
    matched = write_matched(teller, best->writer, error);
    if (matched == NULL) {
      return false;
    }
  }
  teller->report->clipped = planish_writer_clipped(best->writer);
  teller->report->matched_clipped = matched == NULL ? 0 : planish_writer_clipped(matched);
  const bool done = planish_interrupt_check(error) && planish_writer_commit(best->writer, error) &&
                    (matched == NULL || planish_writer_commit(matched, error));
  planish_writer_free(matched);
  return done;
}

static bool make(Teller *teller, Take *best, PlanishError *error)
{
  const PlanishMasterJob *job = teller->job;
  PlanishMasterReport *report = teller->report;
  teller->what = "measure the mix";
  if (!measure_mix(teller, 0, planish_reader_frames(job->mix), &report->mix, error) ||
      !find_input_gain(job, report, error)) {
    return false;
  }
  start_landing(job, report);
  float *ceilings = calloc((size_t)job->sheet->ceiling_count + 1, sizeof *ceilings);
  for (uint32_t n = 0; ceilings != NULL && n < job->sheet->ceiling_count; ++n) {
    ceilings[n] = *value_of(job->sheet, &job->sheet->ceiling_at[n]);
  }
  const bool landed =
      ceilings != NULL ? land(teller, best, ceilings, error) : planish_fail_memory(error);
  free(ceilings);
  if (!landed) {
    return false;
  }
  report->accounts = best->accounts;
  report->account_count = job->sheet->stage_count;
  best->accounts = NULL;
  find_drive(job, report);
  return deliver(teller, best, error);
}

bool planish_master(const PlanishMasterJob *job, PlanishMasterReport *report, PlanishError *error)
{
  *report = (PlanishMasterReport){0};
  Teller teller = {.job = job, .report = report, .checkpoint = checkpoint_for(job)};
  Take best = {0};
  const bool done = make(&teller, &best, error);
  report->no_room = teller.checkpoint.no_room;
  planish_checkpoint_release(&teller.checkpoint);
  free_take(&best, job->sheet->stage_count);
  return done;
}

void planish_master_report_free(PlanishMasterReport *report)
{
  planish_accounts_free(report->accounts, report->account_count);
  report->accounts = NULL;
}
