#include "common/dsp/true_peak.h"

#include "common/dsp/eight_floats.h"
#include "common/dsp/fractional_delay.h"
#include "common/dsp/maths.h"
#include "common/dsp/wide.h"

#include <stdbool.h>
#include <string.h>

_Static_assert((int)PLANISH_TRUE_PEAK_TAPS <= (int)PLANISH_FRACTIONAL_DELAY_MAX_TAPS,
               "the design has room for the longest of the short ones");

/* Frames worked on at a time, and how many of them side by side. */
enum { CHUNK = PLANISH_GRID, LANES = PLANISH_EIGHT, GROUP = 2 * LANES };

/* Frames that come in before what is kept of the past is moved to the front again. */
enum { RUN = 8 * CHUNK };

/* What one pair of taps takes in the kernel of the short filters. */
enum { KERNEL_STEP = 3 };

/* Between a frame and the point half a frame after it, a filter of so many points each way finds
 * the quarters: half a frame apart, what is heard fills no more than half of what they can hold. */
enum { BETWEEN = PLANISH_TRUE_PEAK_BETWEEN, REACH = BETWEEN / 2 };
#define BETWEEN_WEIGHT ((PlanishDelayWeight){.below = 0.25, .times = 1e6})

static bool is_long(uint32_t taps)
{
  return taps > PLANISH_TRUE_PEAK_TAPS;
}

/* The fine grid of a chunk. Index 0 is the frame before the chunk, index i + 1 frame i. */
typedef struct {
  float quarter[CHUNK + GROUP];
  float half[CHUNK + GROUP];
  float three_quarters[CHUNK + GROUP];
  float half_peak[CHUNK + GROUP];
  float late_peak[CHUNK + GROUP];
} FineGrid;

/* Errors below 20 kHz at 44.1 kHz weigh more than those above: what keeps steady sines within 0.03
 * dB there, and leaves as much as can be for what lies above. */
static PlanishDelayWeight weight_for(uint32_t taps)
{
  return (PlanishDelayWeight){.below = PLANISH_DELAY_WEIGHT_20_KHZ,
                              .times = planish_max(300.0, pow(10.0, 6.0 - taps / 24.0))};
}

/* Quarter phase in parts, and half phase. */
static void lay_short_kernel(PlanishTruePeak *detector)
{
  const uint32_t taps = detector->taps;
  double quarter[PLANISH_FRACTIONAL_DELAY_MAX_TAPS];
  double half[PLANISH_FRACTIONAL_DELAY_MAX_TAPS];
  planish_fractional_delay_design(quarter, taps, 0.25, weight_for(taps));
  planish_fractional_delay_design(half, taps, 0.5, weight_for(taps));
  for (uint32_t pair = 0; pair < taps / 2; ++pair) {
    const double front = quarter[pair];
    const double back = quarter[taps - 1 - pair];
    const double parts[3] = {0.5 * (front + back), 0.5 * (front - back), half[pair]};
    for (uint32_t i = 0; i < KERNEL_STEP; ++i) {
      detector->kernel[pair * KERNEL_STEP + i] = (float)parts[i];
    }
  }
}

static void lay_between(PlanishTruePeak *detector)
{
  double between[2 * BETWEEN];
  planish_fractional_delay_design(between, 2 * BETWEEN, 0.5, BETWEEN_WEIGHT);
  for (uint32_t j = 0; j < BETWEEN; ++j) {
    detector->between[j] = (float)between[BETWEEN + j];
  }
}

void planish_true_peak_setup(PlanishTruePeak *detector, PlanishArena *arena, uint32_t taps)
{
  *detector = (PlanishTruePeak){.taps = taps};
  detector->past = planish_arena_take(arena, taps - 1 + RUN + GROUP, sizeof(float));
  if (is_long(taps)) {
    /* The quarters, for which REACH halves must lie ahead, have the rest of the delay. */
    planish_half_points_setup(&detector->half_points, arena, taps / 2 - REACH);
    detector->kept_halves = REACH + taps / 2 - planish_half_points_delay(&detector->half_points);
    detector->halves =
        planish_arena_take(arena, detector->kept_halves + CHUNK + GROUP, sizeof(float));
    if (planish_arena_is_filling(arena)) {
      lay_between(detector);
    }
    return;
  }
  detector->kernel = planish_arena_take(arena, (size_t)taps / 2 * KERNEL_STEP, sizeof(float));
  if (planish_arena_is_filling(arena)) {
    lay_short_kernel(detector);
  }
}

void planish_true_peak_reset(PlanishTruePeak *detector)
{
  memset(detector->past, 0, (detector->taps - 1 + RUN + GROUP) * sizeof(float));
  if (is_long(detector->taps)) {
    memset(detector->halves, 0, (detector->kept_halves + CHUNK + GROUP) * sizeof(float));
    planish_half_points_reset(&detector->half_points);
  }
  detector->at = 0;
  detector->last_three_quarters = 0.0F;
  detector->last_half_peak = 0.0F;
  detector->last_late_peak = 0.0F;
}

/* The three points after each of GROUP frames. The phases at 1/4 and 3/4 mirror each other, so
 * they share the products of their even and odd parts. */
PLANISH_INLINED void interpolate(const PlanishTruePeak *detector, FineGrid *grid, uint32_t at)
{
  const float *front = detector->past + detector->at + at;
  const float *back = front + detector->taps - 1;
  const float *kernel = detector->kernel;
  PlanishEight even[2] = {planish_eight_all(0.0F), planish_eight_all(0.0F)};
  PlanishEight odd[2] = {planish_eight_all(0.0F), planish_eight_all(0.0F)};
  PlanishEight half[2] = {planish_eight_all(0.0F), planish_eight_all(0.0F)};
  for (uint32_t pair = 0; pair < detector->taps / 2; ++pair) {
    const float k_even = kernel[0];
    const float k_odd = kernel[1];
    const float k_half = kernel[2];
    const PlanishEight sum0 = planish_eight_load(front) + planish_eight_load(back);
    const PlanishEight sum1 = planish_eight_load(front + LANES) + planish_eight_load(back + LANES);
    const PlanishEight difference0 = planish_eight_load(front) - planish_eight_load(back);
    const PlanishEight difference1 =
        planish_eight_load(front + LANES) - planish_eight_load(back + LANES);
    even[0] += k_even * sum0;
    even[1] += k_even * sum1;
    odd[0] += k_odd * difference0;
    odd[1] += k_odd * difference1;
    half[0] += k_half * sum0;
    half[1] += k_half * sum1;
    kernel += KERNEL_STEP;
    ++front;
    --back;
  }
  for (uint32_t i = 0; i < 2; ++i) {
    const uint32_t to = at + 1 + i * LANES;
    planish_eight_store(grid->quarter + to, even[i] + odd[i]);
    planish_eight_store(grid->half + to, half[i]);
    planish_eight_store(grid->three_quarters + to, even[i] - odd[i]);
  }
}

/* All three points after each of LANES frames, the halves being known. Frames and halves lie in
 * turn: of each quarter the neighbours, then theirs, and so on. */
PLANISH_INLINED void find_quarters(const PlanishTruePeak *detector, FineGrid *grid, uint32_t at)
{
  const float *frame = detector->past + detector->at + detector->taps / 2 - 1 + at;
  const float *half = detector->halves + REACH + at;
  PlanishEight quarter = planish_eight_all(0.0F);
  PlanishEight three_quarters = planish_eight_all(0.0F);
  for (int j = 0; j < BETWEEN; j += 2) {
    const int whole = j / 2;
    const float near = detector->between[j];
    const float far = detector->between[j + 1];
    quarter += near * (planish_eight_load(frame - whole) + planish_eight_load(half + whole));
    quarter += far * (planish_eight_load(half - whole - 1) + planish_eight_load(frame + whole + 1));
    three_quarters +=
        near * (planish_eight_load(half - whole) + planish_eight_load(frame + 1 + whole));
    three_quarters +=
        far * (planish_eight_load(frame - whole) + planish_eight_load(half + 1 + whole));
  }
  planish_eight_store(grid->quarter + at + 1, quarter);
  planish_eight_store(grid->half + at + 1, planish_eight_load(half));
  planish_eight_store(grid->three_quarters + at + 1, three_quarters);
}

PLANISH_INLINED PlanishEight magnitude(PlanishEight x)
{
  return (PlanishEight)((PlanishEightMask)x & INT32_C(0x7fffffff));
}

PLANISH_INLINED PlanishEight larger(PlanishEight a, PlanishEight b)
{
  const PlanishEightMask first = a > b;
  return (PlanishEight)((first & (PlanishEightMask)a) | (~first & (PlanishEightMask)b));
}

/* The magnitude at b, or that of the vertex of the parabola through three points where b is an
 * extremum. On a flat line the quotient is 0/0, and the mask leaves it out. */
PLANISH_INLINED PlanishEight vertex(PlanishEight a, PlanishEight b, PlanishEight c)
{
  const PlanishEight bend = 2.0F * b - a - c;
  const PlanishEight tilt = a - c;
  const PlanishEightMask extremum = ((b - a) * (b - c) >= 0.0F) & (bend != 0.0F);
  const PlanishEight rise = tilt * tilt / (8.0F * bend);
  return magnitude(b + (PlanishEight)(extremum & (PlanishEightMask)rise));
}

/* Peaks of some frames; at is the first of them within the chunk. */
PLANISH_INLINED void find_peaks(const PlanishTruePeak *detector, FineGrid *grid, uint32_t at,
                                float *peaks)
{
  const float *here = detector->past + detector->at + detector->taps / 2 - 1 + at;
  const PlanishEight sample = planish_eight_load(here);
  const PlanishEight next = planish_eight_load(here + 1);
  const PlanishEight before = planish_eight_load(grid->three_quarters + at);
  const PlanishEight quarter = planish_eight_load(grid->quarter + at + 1);
  const PlanishEight half = planish_eight_load(grid->half + at + 1);
  const PlanishEight three_quarters = planish_eight_load(grid->three_quarters + at + 1);
  const PlanishEight half_peak = vertex(quarter, half, three_quarters);
  planish_eight_store(grid->half_peak + at + 1, half_peak);
  planish_eight_store(grid->late_peak + at + 1, vertex(half, three_quarters, next));
  const PlanishEight own = larger(vertex(before, sample, quarter), vertex(sample, quarter, half));
  const PlanishEight early =
      larger(planish_eight_load(grid->half_peak + at), planish_eight_load(grid->late_peak + at));
  planish_eight_store(peaks + at, larger(larger(own, half_peak), early));
}

/* What lies beyond `frames` is left over from before; nothing reads what comes of it. The halves of
 * a long filter are there. */
PLANISH_WIDE static void find_all(const PlanishTruePeak *detector, FineGrid *grid, float *peaks,
                                  uint32_t frames)
{
  for (uint32_t at = 0; at < frames; at += GROUP) {
    if (is_long(detector->taps)) {
      find_quarters(detector, grid, at);
      find_quarters(detector, grid, at + LANES);
    } else {
      interpolate(detector, grid, at);
    }
    find_peaks(detector, grid, at, peaks);
    find_peaks(detector, grid, at + LANES, peaks);
  }
}

/* Puts the frames behind what is kept of the past. */
static void take(PlanishTruePeak *detector, const double *audio, uint32_t frames)
{
  const uint32_t kept = detector->taps - 1;
  if (detector->at + frames > RUN) {
    memmove(detector->past, detector->past + detector->at, kept * sizeof(float));
    detector->at = 0;
  }
  float *restrict newest = detector->past + detector->at + kept;
  for (uint32_t i = 0; i < frames; ++i) {
    newest[i] = (float)audio[i];
  }
}

static void process_chunk(PlanishTruePeak *detector, const double *audio, double *peaks,
                          uint32_t frames)
{
  FineGrid grid;
  float found[CHUNK + GROUP];
  take(detector, audio, frames);
  grid.three_quarters[0] = detector->last_three_quarters;
  grid.half_peak[0] = detector->last_half_peak;
  grid.late_peak[0] = detector->last_late_peak;
  if (is_long(detector->taps)) {
    planish_half_points_process(&detector->half_points,
                                detector->past + detector->at + detector->taps - 1,
                                detector->halves + detector->kept_halves, frames);
  }
  find_all(detector, &grid, found, frames);
  for (uint32_t i = 0; i < frames; ++i) {
    peaks[i] = (double)found[i];
  }
  detector->last_three_quarters = grid.three_quarters[frames];
  detector->last_half_peak = grid.half_peak[frames];
  detector->last_late_peak = grid.late_peak[frames];
  if (is_long(detector->taps)) {
    memmove(detector->halves, detector->halves + frames, sizeof(float) * detector->kept_halves);
  }
  detector->at += frames;
}

void planish_true_peak_process(PlanishTruePeak *detector, const double *audio, double *peaks,
                               uint32_t frames)
{
  while (frames > 0) {
    const uint32_t count = frames < CHUNK ? frames : CHUNK;
    process_chunk(detector, audio, peaks, count);
    audio += count;
    peaks += count;
    frames -= count;
  }
}
