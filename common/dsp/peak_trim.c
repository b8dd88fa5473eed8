#include "common/dsp/peak_trim.h"

#include "common/dsp/largest.h"
#include "common/dsp/maths.h"
#include "common/dsp/ring.h"

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
  smooth->left = 0;
}

/* Frames left once some have passed. */
static uint32_t less(uint32_t left, uint32_t frames)
{
  return left > frames ? left - frames : 0;
}

/* Zeros in a window of zeros leave it as it is, and are what comes out. */
static void smooth_max_process(PlanishSmoothMax *smooth, double *values, uint32_t frames)
{
  if (planish_largest(values, frames) > 0.0) {
    smooth->left = 2 * smooth->length + frames;
  } else if (smooth->left == 0) {
    return;
  }
  planish_sliding_max_process(&smooth->max, values, frames, smooth->length);
  planish_box_window_process(&smooth->window, values, frames);
  smooth->left = less(smooth->left, frames);
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
  trim->made_up = (trim->top_hold + PLANISH_GRID - 1) / PLANISH_GRID * PLANISH_GRID;
  trim->seen = trim->made_up + PLANISH_INNER_PEAK_TAPS + PLANISH_GRID;
  trim->length = 1;
  while (trim->length < trim->seen) {
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
  const uint32_t smoothing = 2 * trim->share.length;
  trim->forget =
      (smoothing > trim->warning_ahead ? smoothing : trim->warning_ahead) + 2 * PLANISH_GRID;
  /* The inner band is no larger than the largest of the points may be. */
  trim->most =
      (planish_inner_peak_most(trim->inner) + 2.0 * (1.0 + trim->inner->gain)) * (1.0 + 1e-9);
}

/* Nothing is left to do, and nothing was for as long as anything is remembered. */
static void clear_work(PlanishPeakTrim *trim)
{
  memset(trim->needed, 0, trim->length * sizeof(double));
  for (uint32_t i = 0; i < trim->length; ++i) {
    trim->leak[i] = LEAK;
  }
}

void planish_peak_trim_reset(PlanishPeakTrim *trim)
{
  for (uint32_t c = 0; c < 2; ++c) {
    planish_inner_peak_reset(trim->inner + c);
    planish_sliding_max_reset(trim->top_size + c);
    memset(trim->delayed[c], 0, trim->length * sizeof(double));
    memset(trim->top[c], 0, trim->length * sizeof(double));
  }
  clear_work(trim);
  smooth_max_reset(&trim->reduction);
  smooth_max_reset(&trim->share);
  planish_box_window_reset(&trim->warned, trim->warning_ahead - CLEAR_AHEAD);
  planish_recent_peak_reset(&trim->recent, trim->seen);
  trim->warned_left = 0;
  trim->at = 0;
  trim->busy = 0;
  trim->resting = false;
}

/* A block into a ring, at frame `at`. */
static void put(const PlanishPeakTrim *trim, double *ring, uint32_t at, const double *values,
                uint32_t frames)
{
  planish_ring_put(ring, trim->length, at, values, frames);
}

/* What a ring held from frame `at` on. */
static void get(const PlanishPeakTrim *trim, const double *ring, uint32_t at, double *values,
                uint32_t frames)
{
  planish_ring_get(ring, trim->length, at, values, frames);
}

/* The tops of a block that the inner peak has taken, into their ring, and how large they are. */
static void find_tops(PlanishPeakTrim *trim, uint32_t c, uint32_t at, double *size, uint32_t frames)
{
  const double *const delayed = planish_inner_peak_delayed(trim->inner + c);
  const double *const band = planish_inner_peak_band(trim->inner + c);
  double top[PLANISH_GRID];
  for (uint32_t i = 0; i < frames; ++i) {
    top[i] = delayed[i] - band[i];
  }
  put(trim, trim->top[c], at, top, frames);
  for (uint32_t i = 0; i < frames; ++i) {
    size[i] = fabs(top[i]);
  }
  planish_sliding_max_process(trim->top_size + c, size, frames, trim->top_hold);
}

/* Makes up for what was left out of one channel while resting: the last tops, their size, and the
 * points of the frame before. */
static void catch_up(PlanishPeakTrim *trim, uint32_t c)
{
  enum { PAST = PLANISH_INNER_PEAK_TAPS - 1 };
  double audio[PAST];
  double size[PLANISH_GRID];
  uint32_t at = trim->at - trim->made_up;
  get(trim, trim->delayed[c], at - PAST, audio, PAST);
  planish_inner_peak_fill(trim->inner + c, audio);
  planish_sliding_max_reset(trim->top_size + c);
  for (; at != trim->at; at += PLANISH_GRID) {
    get(trim, trim->delayed[c], at, audio, PLANISH_GRID);
    if (trim->at - at > PLANISH_GRID) {
      planish_inner_peak_push_band(trim->inner + c, audio, PLANISH_GRID);
    } else {
      planish_inner_peak_push(trim->inner + c, audio, PLANISH_GRID);
    }
    find_tops(trim, c, at, size, PLANISH_GRID);
  }
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

/* The peak up to which nothing need be done in any of the frames, surely below what rounding may
 * make of it. */
static double harmless_peak(const double *ceilings, const double *size, uint32_t frames)
{
  double peak = ceilings[0];
  for (uint32_t i = 0; i < frames; ++i) {
    peak = planish_min(peak, ceilings[i] * (1.0 - 1e-12) - 2.0 * (1.0 + 1e-12) * size[i]);
  }
  return peak;
}

/* Takes the frames in: finds their tops, and what must be done about them. */
static void look(PlanishPeakTrim *trim, uint32_t c, const double *audio, const double *ceilings,
                 uint32_t frames, double *needed, double *share)
{
  double size[PLANISH_GRID];
  double peak[PLANISH_GRID];
  double leak[PLANISH_GRID];
  planish_inner_peak_push(trim->inner + c, audio, frames);
  find_tops(trim, c, trim->at, size, frames);
  const double harmless = harmless_peak(ceilings, size, frames);
  planish_inner_peak_peaks(trim->inner + c, harmless, peak);
  if (planish_largest(peak, frames) <= harmless) {
    return;
  }
  get(trim, trim->leak, trim->at - PLANISH_GRID, leak, frames);
  for (uint32_t i = 0; i < frames; ++i) {
    share[i] = planish_max(share[i], share_to_go(peak[i], size[i], ceilings[i]));
    leak[i] = peak[i] + leak[i] * size[i];
  }
  for (uint32_t i = 0; i < frames; ++i) {
    if (leak[i] > ceilings[i]) {
      needed[i] = planish_max(needed[i], reduction_for(leak[i], ceilings[i]));
    }
  }
}

/* Raises the shares to what warnings ask for: 1 by the time that their frames go out. True: a
 * warning is not forgotten. */
static bool heed(PlanishPeakTrim *trim, const double *warnings, double *share, uint32_t frames)
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
  const bool any = planish_largest(warned, frames) > 0.0;
  planish_box_window_process(&trim->warned, warned, frames);
  for (uint32_t i = 0; i < frames; ++i) {
    share[i] = planish_max(share[i], warned[i]);
  }
  return any;
}

/* The leak starts anew while any of the top is left in. */
static void follow_leak(PlanishPeakTrim *trim, const double *share, uint32_t frames)
{
  double leak[PLANISH_GRID];
  double last;
  get(trim, trim->leak, trim->at - 1, &last, 1);
  for (uint32_t i = 0; i < frames; ++i) {
    last = share[i] < 1.0 ? LEAK : last * trim->keep_leak;
    leak[i] = last;
  }
  put(trim, trim->leak, trim->at, leak, frames);
}

/* What must be taken off, in dB, in; gains out. Returns the largest reduction. */
static double find_gains(PlanishPeakTrim *trim, const double *needed, double *gains,
                         uint32_t frames)
{
  const uint32_t wait = trim->share.length - trim->reduction.length;
  double reduction[PLANISH_GRID];
  put(trim, trim->needed, trim->at, needed, frames);
  get(trim, trim->needed, trim->at - wait, reduction, frames);
  smooth_max_process(&trim->reduction, reduction, frames);
  for (uint32_t i = 0; i < frames; ++i) {
    gains[i] = reduction[i] > 0.0 ? planish_gain_of(-reduction[i]) : 1.0;
  }
  return planish_largest(reduction, frames);
}

static void apply(const PlanishPeakTrim *trim, uint32_t c, double *audio, uint32_t frames,
                  const double *gain, const double *share)
{
  const uint32_t back = trim->share.length - 1;
  double delayed[PLANISH_GRID];
  double top[PLANISH_GRID];
  get(trim, trim->delayed[c], trim->at - back - PLANISH_INNER_PEAK_DELAY, delayed, frames);
  get(trim, trim->top[c], trim->at - back, top, frames);
  for (uint32_t i = 0; i < frames; ++i) {
    const double left = delayed[i] - planish_min(share[i], 1.0) * top[i];
    audio[i] = (share[i] > 0.0 ? left : delayed[i]) * gain[i];
  }
}

/* Whether nothing is left to do and nothing can come up in this block. */
static bool may_rest(const PlanishPeakTrim *trim, double recent, const double *ceilings,
                     const double *warnings, uint32_t frames)
{
  double lowest = ceilings[0];
  for (uint32_t i = 1; i < frames; ++i) {
    lowest = planish_min(lowest, ceilings[i]);
  }
  return trim->busy == 0 && trim->warned_left == 0 && recent * trim->most <= lowest &&
         planish_largest(warnings, frames) <= 0.0;
}

static void rest(PlanishPeakTrim *trim, double *const *audio, uint32_t channels, uint32_t frames)
{
  const uint32_t back = PLANISH_INNER_PEAK_DELAY + trim->share.length - 1;
  for (uint32_t c = 0; c < channels; ++c) {
    get(trim, trim->delayed[c], trim->at - back, audio[c], frames);
  }
  trim->resting = true;
}

static double work(PlanishPeakTrim *trim, double *const *audio, const double *ceilings,
                   const double *warnings, uint32_t channels, uint32_t frames)
{
  double needed[PLANISH_GRID] = {0.0};
  double share[PLANISH_GRID] = {0.0};
  double gains[PLANISH_GRID];
  for (uint32_t c = 0; c < channels; ++c) {
    look(trim, c, audio[c], ceilings, frames, needed, share);
  }
  const bool asked = planish_largest(share, frames) > 0.0 || planish_largest(needed, frames) > 0.0;
  smooth_max_process(&trim->share, share, frames);
  const bool warned = heed(trim, warnings, share, frames);
  follow_leak(trim, share, frames);
  const double largest = find_gains(trim, needed, gains, frames);
  for (uint32_t c = 0; c < channels; ++c) {
    apply(trim, c, audio[c], frames, gains, share);
  }
  trim->busy = asked || warned ? trim->forget : less(trim->busy, frames);
  return largest;
}

double planish_peak_trim_process(PlanishPeakTrim *trim, double *const *audio,
                                 const double *ceilings, const double *warnings, uint32_t channels,
                                 uint32_t frames)
{
  double newest = 0.0;
  double largest = 0.0;
  for (uint32_t c = 0; c < channels; ++c) {
    newest = planish_max(newest, planish_largest_magnitude(audio[c], frames));
    put(trim, trim->delayed[c], trim->at, audio[c], frames);
  }
  const double recent = planish_recent_peak_next(&trim->recent, newest, frames);
  if (may_rest(trim, recent, ceilings, warnings, frames)) {
    rest(trim, audio, channels, frames);
  } else {
    if (trim->resting) {
      clear_work(trim);
      for (uint32_t c = 0; c < channels; ++c) {
        catch_up(trim, c);
      }
      trim->resting = false;
    }
    largest = work(trim, audio, ceilings, warnings, channels, frames);
  }
  trim->at += frames;
  return largest;
}
