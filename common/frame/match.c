#include "common/frame/match.h"

#include "common/dsp/maths.h"

#include <string.h>

static const double largest_gain_db = 24.0;
static const double window_s = 3.0;
static const double first_window_s = 0.1;
static const double now_s = 0.1;
/* A glide of a control, and the ring of the K-weighting's high pass when it is switched on. */
static const double arrival_s = 0.03;
/* Loudness over the sum of powers (BS.1770-4 Annex 1, equation 2). */
static const double offset_db = -0.691;
/* The power of -60 LUFS. */
static const double floor_power = 1.1724653e-6;

static uint32_t intervals(double seconds, double rate)
{
  return 1 + (uint32_t)(seconds * rate / PLANISH_GRID);
}

void planish_match_setup(PlanishMatch *match, PlanishArena *arena, double rate)
{
  *match = (PlanishMatch){0};
  match->coefs = planish_k_weighting_design(rate);
  match->longest = intervals(window_s, rate);
  match->shortest = intervals(first_window_s, rate);
  match->arrival = intervals(arrival_s, rate);
  match->now_share = 1.0 / (double)intervals(now_s, rate);
  planish_glide_setup(&match->gain, arena, rate, PLANISH_GLIDE_MS);
}

static void empty_window(PlanishMatch *match)
{
  match->heard = 0;
  /* What stood there before must not round what comes. */
  match->power[0] = match->power[1] = 0.0;
}

static void start_listening(PlanishMatch *match)
{
  memset(match->weighting, 0, sizeof match->weighting);
  memset(match->sum, 0, sizeof match->sum);
  match->input_now = 0.0;
  match->read = 0;
  match->reading[0] = match->reading[1] = 0.0;
  empty_window(match);
  match->again = false;
  match->delay = match->arrival;
  match->waiting = match->delay;
  match->frozen = false;
}

void planish_match_reset(PlanishMatch *match)
{
  start_listening(match);
  planish_glide_jump(&match->gain, 0.0);
  match->mode = PLANISH_MATCH_OFF;
  match->rests = false;
  match->phase = 0;
}

void planish_match_set_mode(PlanishMatch *match, PlanishMatchMode mode)
{
  if (mode == match->mode) {
    return;
  }
  if (match->mode == PLANISH_MATCH_OFF) {
    start_listening(match);
  } else if (mode == PLANISH_MATCH_OFF) {
    planish_glide_set(&match->gain, 0.0);
  } else {
    /* From follow to hold: what was found stays. */
    match->frozen = mode == PLANISH_MATCH_HOLD && match->heard >= match->shortest;
    if (mode == PLANISH_MATCH_FOLLOW) {
      empty_window(match);
    }
  }
  match->mode = mode;
}

static void begin_window(PlanishMatch *match)
{
  match->again = false;
  match->waiting = match->delay;
  empty_window(match);
}

void planish_match_restart(PlanishMatch *match, uint32_t latency)
{
  if (match->mode == PLANISH_MATCH_OFF || match->frozen) {
    return;
  }
  match->delay = match->arrival + latency / PLANISH_GRID;
  if (match->waiting > 0 || match->heard < match->shortest) {
    /* Under a control that never rests, each window is still heard to its first result. */
    match->again = true;
  } else {
    begin_window(match);
  }
}

void planish_match_discard(PlanishMatch *match, uint32_t latency)
{
  match->delay = match->arrival + latency / PLANISH_GRID;
  if (match->mode != PLANISH_MATCH_OFF && !match->frozen) {
    begin_window(match);
  }
}

void planish_match_rest(PlanishMatch *match, bool rests, uint32_t latency)
{
  if (match->rests && !rests) {
    planish_match_discard(match, latency);
  }
  match->rests = rests;
}

/* Mean power over the grid interval that ends here; the loudness of two channels is that of their
 * sum. */
static double power_now(const PlanishMatch *match, int which)
{
  return (match->sum[which][0] + match->sum[which][1]) / PLANISH_GRID;
}

/* One grid interval more in the window. */
static void hear(PlanishMatch *match)
{
  match->heard += match->heard < match->longest;
  const double share = 1.0 / (double)match->heard;
  for (int k = 0; k < 2; ++k) {
    match->power[k] += share * (power_now(match, k) - match->power[k]);
  }
  if (match->heard < match->shortest || match->power[1] < 1e-30) {
    return;
  }
  const double gain = 0.5 * PLANISH_LOG2_TO_DB * planish_log2(match->power[0] / match->power[1]);
  planish_glide_set(&match->gain, planish_clamp(gain, -largest_gain_db, largest_gain_db));
  match->frozen = match->mode == PLANISH_MATCH_HOLD && match->heard == match->longest;
}

static void read_loudness(PlanishMatch *match)
{
  match->read += match->read < match->longest;
  for (int k = 0; k < 2; ++k) {
    match->reading[k] += (power_now(match, k) - match->reading[k]) / (double)match->read;
  }
}

static void at_grid_frame(PlanishMatch *match)
{
  read_loudness(match);
  match->input_now += match->now_share * (power_now(match, 0) - match->input_now);
  if (match->waiting > 0) {
    --match->waiting;
  } else if (!match->frozen && !match->rests && match->input_now > floor_power) {
    hear(match);
    if (match->again && match->heard >= match->shortest) {
      begin_window(match);
    }
  }
  memset(match->sum, 0, sizeof match->sum);
}

/* Frame by frame, since rounding depends on the order: the sum must not tell how the host cuts its
 * blocks. */
static void add_energy(PlanishMatch *match, int which, const double *const audio[2],
                       uint32_t frames)
{
  for (int c = 0; c < 2; ++c) {
    double sum = match->sum[which][c];
    for (uint32_t i = 0; i < frames; ++i) {
      const double y =
          planish_k_weighting_process(&match->weighting[which][c], &match->coefs, audio[c][i]);
      sum += y * y;
    }
    match->sum[which][c] = sum;
  }
}

double planish_match_loudness(const PlanishMatch *match, int which)
{
  if (match->mode == PLANISH_MATCH_OFF) {
    return PLANISH_MATCH_NOTHING;
  }
  return planish_max(PLANISH_MATCH_NOTHING,
                     offset_db + planish_level_of_power(match->reading[which]));
}

void planish_match_process(PlanishMatch *match, const double *const input[2],
                           double *const result[2], uint32_t frames)
{
  if (match->mode != PLANISH_MATCH_OFF) {
    const double *const heard[2] = {result[0], result[1]};
    add_energy(match, 0, input, frames);
    add_energy(match, 1, heard, frames);
  }
  for (uint32_t i = 0; i < frames; ++i) {
    const double gain = planish_gain_of(planish_glide_next(&match->gain));
    result[0][i] *= gain;
    result[1][i] *= gain;
  }
  match->phase += frames;
  if (match->phase == PLANISH_GRID) {
    match->phase = 0;
    if (match->mode != PLANISH_MATCH_OFF) {
      at_grid_frame(match);
    }
  }
}
