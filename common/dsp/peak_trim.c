#include "common/dsp/peak_trim.h"

#include "common/dsp/maths.h"

#include <string.h>

/* Of the top's removal: a steeper edge makes peaks of its own. */
#define LOOKAHEAD_MS 1.0

/* Of the gain, within the other. Less saves nothing; 1 ms costs half as much loudness again
 * (measured). */
#define GAIN_LOOKAHEAD_MS 0.35

#define MARGIN_DB 0.02

/* The more a short window takes off, the more its gain moves between a peak's frames: the share by
 * which that lets peaks through (measured on noise 12 dB over). */
#define MARGIN_SHARE 0.06

/* Frames by which the top is gone before what a warning is about. */
#define CLEAR_AHEAD 24

/* How long after the last warning the top stays out. */
#define WARNING_HOLD_MS 500.0

/* What is left, between the frames, of a tone close to half the rate after it was taken out: it
 * fades as slowly as the time since then. Its size as a share of the top, and how fast it is
 * forgotten (measured on material with such tones). */
#define LEAK    0.15
#define LEAK_MS 30.0
#define LOG2_E  1.44269504088896340736

/* The samples of a tone near half the rate beat with it: they show its size once in half a period
 * of the difference, here down to 100 Hz. */
#define TOP_HOLD_MS 5.0

static uint32_t frames_at(double rate, double ms)
{
  const uint32_t frames = planish_frames_of(ms, rate);
  return frames < 1 ? 1 : frames;
}

static void smooth_max_setup(PlanishSmoothMax *smooth, PlanishArena *arena, uint32_t length)
{
  smooth->length = length;
  planish_sliding_max_setup(&smooth->max, arena, length);
  planish_box_window_setup(&smooth->window, arena, length);
}

static void smooth_max_reset(PlanishSmoothMax *smooth)
{
  planish_sliding_max_reset(&smooth->max);
  planish_box_window_reset(&smooth->window, smooth->length);
}

static void smooth_max_process(PlanishSmoothMax *smooth, double *values, uint32_t frames)
{
  for (uint32_t i = 0; i < frames; ++i) {
    values[i] = planish_sliding_max_next(&smooth->max, values[i], smooth->length);
  }
  planish_box_window_process(&smooth->window, values, frames);
}

uint32_t planish_peak_trim_latency(double rate)
{
  return PLANISH_INNER_PEAK_DELAY + frames_at(rate, LOOKAHEAD_MS) - 1;
}

void planish_peak_trim_setup(PlanishPeakTrim *trim, PlanishArena *arena, double rate,
                             uint32_t ahead)
{
  *trim = (PlanishPeakTrim){0};
  trim->top_hold = planish_frames_of(TOP_HOLD_MS, rate) + 1;
  trim->warning_ahead = ahead + planish_peak_trim_latency(rate);
  trim->warning_hold = planish_frames_of(WARNING_HOLD_MS, rate) + trim->warning_ahead;
  trim->keep_leak = planish_exp2(-LOG2_E * 1000.0 / (LEAK_MS * rate));
  trim->length = 1;
  while (trim->length < planish_peak_trim_latency(rate) + PLANISH_GRID) {
    trim->length *= 2;
  }
  for (uint32_t c = 0; c < 2; ++c) {
    planish_inner_peak_setup(trim->inner + c, arena);
    planish_sliding_max_setup(trim->top_size + c, arena, trim->top_hold);
    trim->delayed[c] = planish_arena_take(arena, trim->length, sizeof(double));
    trim->top[c] = planish_arena_take(arena, trim->length, sizeof(double));
  }
  trim->needed = planish_arena_take(arena, trim->length, sizeof(double));
  trim->leak = planish_arena_take(arena, trim->length, sizeof(double));
  smooth_max_setup(&trim->reduction, arena, frames_at(rate, GAIN_LOOKAHEAD_MS));
  smooth_max_setup(&trim->share, arena, frames_at(rate, LOOKAHEAD_MS));
  planish_box_window_setup(&trim->warned, arena, trim->warning_ahead - CLEAR_AHEAD);
}

void planish_peak_trim_reset(PlanishPeakTrim *trim)
{
  for (uint32_t c = 0; c < 2; ++c) {
    planish_inner_peak_reset(trim->inner + c);
    planish_sliding_max_reset(trim->top_size + c);
    memset(trim->delayed[c], 0, trim->length * sizeof(double));
    memset(trim->top[c], 0, trim->length * sizeof(double));
  }
  memset(trim->needed, 0, trim->length * sizeof(double));
  for (uint32_t i = 0; i < trim->length; ++i) {
    trim->leak[i] = LEAK;
  }
  smooth_max_reset(&trim->reduction);
  smooth_max_reset(&trim->share);
  planish_box_window_reset(&trim->warned, trim->warning_ahead - CLEAR_AHEAD);
  trim->warned_left = 0;
  trim->at = 0;
}

/* What the ring held `back` frames before frame `now`. */
static double *past(const PlanishPeakTrim *trim, double *ring, uint32_t now, uint32_t back)
{
  return ring + ((now - back) & (trim->length - 1));
}

/* How much of a top must go so that inner band and top stay under the ceiling together. Between its
 * samples a noise-like top may be twice as large. */
static double share_to_go(double peak, double top, double ceiling)
{
  return planish_clamp((peak + 2.0 * top - ceiling) / planish_max(top, 1e-12), 0.0, 1.0);
}

/* What to take off a peak over the ceiling, in dB: a little more than it passes it by, since the
 * peak is known to some 0.02 dB and the gain still moves around it. */
static double reduction_for(double peak, double ceiling)
{
  const double over = planish_level_of(peak / ceiling);
  return over + planish_min(over, MARGIN_DB) + MARGIN_SHARE * over;
}

/* Takes the frames in: finds their tops, and what must be done about them. */
static void look(PlanishPeakTrim *trim, uint32_t c, const double *audio, const double *ceilings,
                 uint32_t frames, double *needed, double *share)
{
  for (uint32_t i = 0; i < frames; ++i) {
    const uint32_t now = trim->at + i;
    double inner;
    const double peak = planish_inner_peak_next(trim->inner + c, audio[i], &inner);
    *past(trim, trim->delayed[c], now, 0) = audio[i];
    const double top = *past(trim, trim->delayed[c], now, PLANISH_INNER_PEAK_DELAY) - inner;
    *past(trim, trim->top[c], now, 0) = top;
    const double size = planish_sliding_max_next(trim->top_size + c, fabs(top), trim->top_hold);
    const double leaking = peak + *past(trim, trim->leak, now, PLANISH_GRID) * size;
    if (leaking > ceilings[i]) {
      needed[i] = planish_max(needed[i], reduction_for(leaking, ceilings[i]));
    }
    share[i] = planish_max(share[i], share_to_go(peak, size, ceilings[i]));
  }
}

/* Raises the shares to what warnings ask for: 1 by the time that their frames go out. */
static void heed(PlanishPeakTrim *trim, const double *warnings, double *share, uint32_t frames)
{
  double warned[PLANISH_GRID];
  for (uint32_t i = 0; i < frames; ++i) {
    if (warnings[i] > 0.0) {
      trim->warned_left = trim->warning_hold;
    } else if (trim->warned_left > 0) {
      --trim->warned_left;
    }
    warned[i] = trim->warned_left > 0 ? 1.0 : 0.0;
  }
  planish_box_window_process(&trim->warned, warned, frames);
  for (uint32_t i = 0; i < frames; ++i) {
    share[i] = planish_max(share[i], warned[i]);
  }
}

/* The leak starts anew while any of the top is left in. */
static void follow_leak(PlanishPeakTrim *trim, const double *share, uint32_t frames)
{
  for (uint32_t i = 0; i < frames; ++i) {
    const double leak = *past(trim, trim->leak, trim->at + i, 1) * trim->keep_leak;
    *past(trim, trim->leak, trim->at + i, 0) = share[i] < 1.0 ? LEAK : leak;
  }
}

/* What must be taken off, in dB, in; gains out. Returns the largest reduction. */
static double find_gains(PlanishPeakTrim *trim, const double *needed, double *gains,
                         uint32_t frames)
{
  const uint32_t wait = trim->share.length - trim->reduction.length;
  double reduction[PLANISH_GRID];
  double largest = 0.0;
  for (uint32_t i = 0; i < frames; ++i) {
    *past(trim, trim->needed, trim->at + i, 0) = needed[i];
    reduction[i] = *past(trim, trim->needed, trim->at + i, wait);
  }
  smooth_max_process(&trim->reduction, reduction, frames);
  for (uint32_t i = 0; i < frames; ++i) {
    gains[i] = reduction[i] > 0.0 ? planish_gain_of(-reduction[i]) : 1.0;
    largest = planish_max(largest, reduction[i]);
  }
  return largest;
}

static void apply(PlanishPeakTrim *trim, uint32_t c, double *audio, uint32_t frames,
                  const double *gain, const double *share)
{
  const uint32_t back = trim->share.length - 1;
  for (uint32_t i = 0; i < frames; ++i) {
    const uint32_t now = trim->at + i;
    double y = *past(trim, trim->delayed[c], now, PLANISH_INNER_PEAK_DELAY + back);
    if (share[i] > 0.0) {
      y -= planish_min(share[i], 1.0) * *past(trim, trim->top[c], now, back);
    }
    audio[i] = y * gain[i];
  }
}

double planish_peak_trim_process(PlanishPeakTrim *trim, double *const *audio,
                                 const double *ceilings, const double *warnings, uint32_t channels,
                                 uint32_t frames)
{
  double needed[PLANISH_GRID] = {0.0};
  double share[PLANISH_GRID] = {0.0};
  double gains[PLANISH_GRID];
  for (uint32_t c = 0; c < channels; ++c) {
    look(trim, c, audio[c], ceilings, frames, needed, share);
  }
  smooth_max_process(&trim->share, share, frames);
  heed(trim, warnings, share, frames);
  follow_leak(trim, share, frames);
  const double largest = find_gains(trim, needed, gains, frames);
  for (uint32_t c = 0; c < channels; ++c) {
    apply(trim, c, audio[c], frames, gains, share);
  }
  trim->at += frames;
  return largest;
}
