#include "harness/render/chain.h"

#include "harness/base/level.h"
#include "harness/host/instance.h"
#include "harness/render/automation.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

typedef struct {
  PlanishInstance *instance; /* NULL: sound passes it by */
  uint32_t latency;
  PlanishMoves moves;
  PlanishReport *reports;
  uint32_t report_count;
} Stage;

struct PlanishChain {
  const PlanishSheet *sheet;
  Stage *stages;
  PlanishLevel **levels; /* by boundary; NULL ahead of the first that is run */
  PlanishChainPart part;
  uint32_t latency;
  uint64_t at;  /* frames run so far */
  int64_t zero; /* with which the mix's first comes in */
  uint64_t first;
  uint64_t frames;
  PlanishTaps taps;
  PlanishTap record;
  uint32_t record_boundary;
  float buffers[2][2][PLANISH_CHAIN_BLOCK]; /* from one stage to the next, never in place */
};

static bool find_reports(Stage *stage, const PlanishPlugin *plugin, PlanishError *error)
{
  stage->reports = calloc((size_t)plugin->port_count + 1, sizeof *stage->reports);
  if (stage->reports == NULL) {
    return planish_fail_memory(error);
  }
  for (uint32_t n = 0; n < plugin->port_count; ++n) {
    if (plugin->ports[n].kind == PLANISH_PLUGIN_CONTROL_OUTPUT && (int)n != plugin->latency) {
      stage->reports[stage->report_count++] =
          (PlanishReport){.port = n, .lowest = HUGE_VALF, .highest = -HUGE_VALF};
    }
  }
  return true;
}

static bool start_stage(PlanishChain *chain, uint32_t n, double rate, PlanishError *error)
{
  const PlanishSheetStage *listed = &chain->sheet->stages[n];
  Stage *stage = &chain->stages[n];
  stage->instance = planish_instance_new(listed->plugin, rate, error);
  if (stage->instance == NULL || !find_reports(stage, listed->plugin, error) ||
      !planish_moves_new(&stage->moves, chain->sheet, n, rate, error)) {
    return false;
  }
  for (uint32_t port = 0; port < listed->plugin->port_count; ++port) {
    if (listed->plugin->ports[port].kind == PLANISH_PLUGIN_CONTROL_INPUT) {
      planish_instance_set_at(stage->instance, port, listed->values[port]);
    }
  }
  planish_instance_activate(stage->instance);
  /* A run of 0 frames takes the controls that latency depends on, and tells the latency. */
  planish_instance_run(stage->instance, NULL, NULL, 0);
  stage->latency = planish_instance_latency(stage->instance);
  chain->latency += stage->latency;
  return true;
}

static bool start_level(PlanishChain *chain, uint32_t boundary, double rate, PlanishError *error)
{
  chain->levels[boundary] = planish_level_new(rate);
  return chain->levels[boundary] != NULL || planish_fail_memory(error);
}

static bool is_passed_by(const PlanishChain *chain, uint32_t stage)
{
  return chain->part.without != NULL && chain->part.without[stage];
}

static bool start(PlanishChain *chain, double rate, PlanishError *error)
{
  const uint32_t count = chain->sheet->stage_count;
  chain->stages = calloc((size_t)count + 1, sizeof *chain->stages);
  chain->levels = calloc((size_t)count + 2, sizeof(PlanishLevel *));
  if (chain->stages == NULL || chain->levels == NULL) {
    return planish_fail_memory(error);
  }
  chain->latency = chain->part.latency;
  bool done = start_level(chain, chain->part.first, rate, error);
  for (uint32_t n = chain->part.first; done && n < count; ++n) {
    done = start_level(chain, n + 1, rate, error) &&
           (is_passed_by(chain, n) || start_stage(chain, n, rate, error));
  }
  return done;
}

PlanishChain *planish_chain_new(const PlanishSheet *sheet, double rate,
                                const PlanishChainPart *part, PlanishError *error)
{
  PlanishChain *chain = calloc(1, sizeof *chain);
  if (chain == NULL) {
    planish_fail_memory(error);
    return NULL;
  }
  chain->sheet = sheet;
  if (part != NULL) {
    chain->part = *part;
  }
  chain->frames = UINT64_MAX;
  if (!start(chain, rate, error)) {
    planish_chain_free(chain);
    return NULL;
  }
  return chain;
}

void planish_chain_free(PlanishChain *chain)
{
  if (chain == NULL) {
    return;
  }
  const uint32_t count = chain->sheet->stage_count;
  for (uint32_t n = 0; chain->stages != NULL && n < count; ++n) {
    planish_instance_free(chain->stages[n].instance);
    planish_moves_free(&chain->stages[n].moves);
    free(chain->stages[n].reports);
  }
  for (uint32_t n = 0; chain->levels != NULL && n <= count; ++n) {
    planish_level_free(chain->levels[n]);
  }
  free(chain->levels);
  free(chain->stages);
  free(chain);
}

uint32_t planish_chain_latency(const PlanishChain *chain)
{
  return chain->latency;
}

double planish_chain_settles(const PlanishSheet *sheet)
{
  double settles = 0.0;
  for (uint32_t n = 0; n < sheet->stage_count; ++n) {
    settles = fmax(settles, sheet->stages[n].plugin->settles);
  }
  return settles;
}

void planish_chain_observe(PlanishChain *chain, uint64_t first, uint64_t frames,
                           const PlanishTaps *taps)
{
  chain->first = first;
  chain->frames = frames;
  if (taps != NULL) {
    chain->taps = *taps;
  }
}

void planish_chain_locate(PlanishChain *chain, int64_t zero)
{
  chain->zero = zero;
}

void planish_chain_record(PlanishChain *chain, uint32_t boundary, PlanishTap tap)
{
  chain->record_boundary = boundary;
  chain->record = tap;
}

/* The part of this block that the account is about, `delay` frames behind the chain's input. */
static void observed_part(const PlanishChain *chain, uint32_t delay, uint32_t frames,
                          uint32_t *from, uint32_t *to)
{
  const uint64_t first = chain->first + delay;
  const uint64_t end = chain->frames > UINT64_MAX - first ? UINT64_MAX : first + chain->frames;
  *from = first <= chain->at
              ? 0
              : (first - chain->at < frames ? (uint32_t)(first - chain->at) : frames);
  *to = end <= chain->at ? 0 : (end - chain->at < frames ? (uint32_t)(end - chain->at) : frames);
  *to = *to < *from ? *from : *to;
}

static void observe_reports(const PlanishChain *chain, uint32_t index, uint32_t delay,
                            uint32_t frames)
{
  const Stage *stage = &chain->stages[index];
  uint32_t from;
  uint32_t to;
  observed_part(chain, delay, frames, &from, &to);
  for (uint32_t n = 0; to > from && n < stage->report_count; ++n) {
    PlanishReport *report = &stage->reports[n];
    const float value = planish_instance_get_at(stage->instance, report->port);
    if (!isfinite(value)) {
      continue;
    }
    report->lowest = fminf(report->lowest, value);
    report->highest = fmaxf(report->highest, value);
    report->sum += (double)value * (to - from);
    report->frames += to - from;
    if (chain->taps.values != NULL) {
      const PlanishReported reported = {
          .stage = index,
          .port = report->port,
          .first = chain->at + from - delay - chain->first,
          .frames = to - from,
          .value = value,
      };
      chain->taps.values(chain->taps.values_user, &reported);
    }
  }
}

static bool hand_on(const PlanishTap *tap, float *const audio[2], uint32_t from, uint32_t to,
                    PlanishError *error)
{
  float interleaved[2 * PLANISH_CHAIN_BLOCK];
  for (uint32_t n = from; n < to; ++n) {
    interleaved[2 * (size_t)(n - from)] = audio[0][n];
    interleaved[2 * (size_t)(n - from) + 1] = audio[1][n];
  }
  return tap->take(tap->user, interleaved, to - from, error);
}

static bool observe_sound(PlanishChain *chain, uint32_t boundary, uint32_t delay,
                          float *const audio[2], uint32_t frames, PlanishError *error)
{
  const PlanishTap *listener = chain->taps.sound == NULL ? NULL : &chain->taps.sound[boundary];
  uint32_t from;
  uint32_t to;
  observed_part(chain, delay, frames, &from, &to);
  planish_level_process(chain->levels[boundary], audio[0] + from, audio[1] + from, to - from);
  if (boundary == chain->record_boundary && chain->record.take != NULL &&
      !hand_on(&chain->record, audio, 0, frames, error)) {
    return false;
  }
  return listener == NULL || listener->take == NULL || from == to ||
         hand_on(listener, audio, from, to, error);
}

static bool check_output(const PlanishSheetStage *listed, const Stage *stage, float *const audio[2],
                         uint32_t frames, PlanishError *error)
{
  const uint32_t latency = planish_instance_latency(stage->instance);
  if (latency != stage->latency) {
    return planish_fail(
        error, PLANISH_BAD_USE,
        "the latency changed from %u to %u frames: stage %s (%s): keep the controls "
        "that change it where they are",
        (unsigned)stage->latency, (unsigned)latency, listed->name, listed->plugin->uri);
  }
  /* 0 times what is no number is no number. */
  float sum = 0.0f;
  for (uint32_t n = 0; n < frames; ++n) {
    sum += 0.0f * audio[0][n] + 0.0f * audio[1][n];
  }
  return isfinite(sum) || planish_fail(error, PLANISH_BAD_USE,
                                       "puts out what is no number: stage %s (%s): change its "
                                       "settings or use another",
                                       listed->name, listed->plugin->uri);
}

/* A stage, in pieces where its controls move. `delay`: of the stages ahead of it. */
static void run_in_pieces(const PlanishChain *chain, Stage *stage, uint32_t delay,
                          float *const in[2], float *const out[2], uint32_t frames)
{
  const int64_t offset = chain->zero + delay;
  for (uint32_t done = 0; done < frames;) {
    const uint64_t at = chain->at + done;
    for (uint32_t n = 0; n < stage->moves.count; ++n) {
      PlanishMove *move = &stage->moves.moves[n];
      planish_instance_set_at(stage->instance, move->port, planish_move_value(move, offset, at));
    }
    const uint64_t next = planish_moves_next(&stage->moves, offset, at) - at;
    const uint32_t count = next < frames - done ? (uint32_t)next : frames - done;
    planish_instance_run(stage->instance, (const float *[]){in[0] + done, in[1] + done},
                         (float *[]){out[0] + done, out[1] + done}, count);
    done += count;
  }
}

/* One stage; `audio` then points to what came out of it. */
static bool run_stage(PlanishChain *chain, uint32_t n, uint32_t delay, float *audio[2],
                      uint32_t frames, PlanishError *error)
{
  Stage *stage = &chain->stages[n];
  float *next[2] = {chain->buffers[n % 2][0], chain->buffers[n % 2][1]};
  if (stage->instance == NULL) {
    memcpy(next[0], audio[0], frames * sizeof *next[0]);
    memcpy(next[1], audio[1], frames * sizeof *next[1]);
  } else {
    run_in_pieces(chain, stage, delay, audio, next, frames);
    if (!check_output(&chain->sheet->stages[n], stage, next, frames, error)) {
      return false;
    }
  }
  audio[0] = next[0];
  audio[1] = next[1];
  return true;
}

bool planish_chain_run(PlanishChain *chain, float *left, float *right, uint32_t frames,
                       PlanishError *error)
{
  float *audio[2] = {left, right};
  uint32_t delay = chain->part.latency;
  if (!observe_sound(chain, chain->part.first, delay, audio, frames, error)) {
    return false;
  }
  for (uint32_t n = chain->part.first; n < chain->sheet->stage_count; ++n) {
    const uint32_t before = delay;
    delay += chain->stages[n].latency;
    if (!run_stage(chain, n, before, audio, frames, error) ||
        !observe_sound(chain, n + 1, delay, audio, frames, error)) {
      return false;
    }
    observe_reports(chain, n, delay, frames);
  }
  if (audio[0] != left) {
    memcpy(left, audio[0], frames * sizeof *left);
    memcpy(right, audio[1], frames * sizeof *right);
  }
  chain->at += frames;
  return true;
}

bool planish_account_copy(PlanishAccount *to, const PlanishAccount *from, PlanishError *error)
{
  PlanishReport *reports = realloc(to->reports, ((size_t)from->report_count + 1) * sizeof *reports);
  if (reports == NULL) {
    return planish_fail_memory(error);
  }
  if (from->report_count > 0) {
    memcpy(reports, from->reports, from->report_count * sizeof *reports);
  }
  *to = *from;
  to->reports = reports;
  return true;
}

bool planish_chain_account(const PlanishChain *chain, PlanishAccount *accounts, PlanishError *error)
{
  bool done = true;
  for (uint32_t n = chain->part.first; done && n < chain->sheet->stage_count; ++n) {
    const Stage *stage = &chain->stages[n];
    const PlanishAccount account = {
        .loudness_in = planish_level_loudness(chain->levels[n]),
        .loudness_out = planish_level_loudness(chain->levels[n + 1]),
        .sample_peak_in = planish_level_sample_peak(chain->levels[n]),
        .sample_peak_out = planish_level_sample_peak(chain->levels[n + 1]),
        .latency = stage->latency,
        .reports = stage->reports,
        .report_count = stage->report_count,
    };
    done = planish_account_copy(&accounts[n], &account, error);
  }
  return done;
}

void planish_accounts_free(PlanishAccount *accounts, uint32_t count)
{
  for (uint32_t n = 0; accounts != NULL && n < count; ++n) {
    free(accounts[n].reports);
  }
  free(accounts);
}
