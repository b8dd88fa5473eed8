#include "common/dsp/true_peak.h"

#include "common/dsp/fractional_delay.h"
#include "common/dsp/maths.h"

#include <string.h>

typedef float Float4 __attribute__((vector_size(16)));
typedef int32_t Int4 __attribute__((vector_size(16)));

_Static_assert(PLANISH_TRUE_PEAK_LONG_TAPS <= PLANISH_FRACTIONAL_DELAY_MAX_TAPS,
               "the design has room for the longest");

/* Frames worked on at a time, and how many of them side by side: two vectors of four hide each
 * other's latency. */
enum { CHUNK = 32, LANES = 4, GROUP = 2 * LANES };

/* What one pair of taps takes in the kernel. */
enum { KERNEL_STEP = 3 * LANES };

/* The fine grid of a chunk. Index 0 is the frame before the chunk, index i + 1 frame i. */
typedef struct {
  float quarter[CHUNK + GROUP];
  float half[CHUNK + GROUP];
  float three_quarters[CHUNK + GROUP];
  float half_peak[CHUNK + GROUP];
  float late_peak[CHUNK + GROUP];
} FineGrid;

/* Up to PLANISH_TRUE_PEAK_TAPS errors below 20 kHz at 44.1 kHz weigh more than those above: what
 * keeps steady sines within 0.03 dB there, and leaves as much as can be for what lies above. With
 * more taps the weight reaches as far up as they can hold it: 512 of them keep within 0.02 dB up to
 * 0.493 of the rate, 256 up to 0.485, 128 up to 0.47 (all measured). */
static PlanishDelayWeight weight_for(uint32_t taps)
{
  if (taps > PLANISH_TRUE_PEAK_TAPS) {
    return (PlanishDelayWeight){.below = 0.5 - 2.5 / taps, .times = 1000.0};
  }
  return (PlanishDelayWeight){.below = PLANISH_DELAY_WEIGHT_20_KHZ,
                              .times = planish_max(300.0, pow(10.0, 6.0 - taps / 24.0))};
}

void planish_true_peak_setup(PlanishTruePeak *detector, PlanishArena *arena, uint32_t taps)
{
  *detector = (PlanishTruePeak){.taps = taps};
  detector->past = planish_arena_take(arena, taps - 1 + CHUNK + GROUP, sizeof(float));
  detector->kernel = planish_arena_take(arena, (size_t)taps / 2 * KERNEL_STEP, sizeof(float));
  if (!planish_arena_is_filling(arena)) {
    return;
  }
  double quarter[PLANISH_FRACTIONAL_DELAY_MAX_TAPS];
  double half[PLANISH_FRACTIONAL_DELAY_MAX_TAPS];
  planish_fractional_delay_design(quarter, taps, 0.25, weight_for(taps));
  planish_fractional_delay_design(half, taps, 0.5, weight_for(taps));
  for (uint32_t pair = 0; pair < taps / 2; ++pair) {
    const double front = quarter[pair];
    const double back = quarter[taps - 1 - pair];
    const double parts[3] = {0.5 * (front + back), 0.5 * (front - back), half[pair]};
    for (uint32_t i = 0; i < KERNEL_STEP; ++i) {
      detector->kernel[pair * KERNEL_STEP + i] = (float)parts[i / LANES];
    }
  }
}

void planish_true_peak_reset(PlanishTruePeak *detector)
{
  memset(detector->past, 0, (detector->taps - 1 + CHUNK + GROUP) * sizeof(float));
  detector->last_three_quarters = 0.0F;
  detector->last_half_peak = 0.0F;
  detector->last_late_peak = 0.0F;
}

static Float4 load(const float *from)
{
  Float4 value;
  memcpy(&value, from, sizeof value);
  return value;
}

static void store(float *to, Float4 value)
{
  memcpy(to, &value, sizeof value);
}

/* The three points after each of GROUP frames. The phases at 1/4 and 3/4 mirror each other, so
 * they share the products of their even and odd parts. */
static void interpolate(const PlanishTruePeak *detector, FineGrid *grid, uint32_t at)
{
  const float *front = detector->past + at;
  const float *back = front + detector->taps - 1;
  const float *kernel = detector->kernel;
  Float4 even[2] = {{0}, {0}};
  Float4 odd[2] = {{0}, {0}};
  Float4 half[2] = {{0}, {0}};
  for (uint32_t pair = 0; pair < detector->taps / 2; ++pair) {
    const Float4 k_even = load(kernel);
    const Float4 k_odd = load(kernel + LANES);
    const Float4 k_half = load(kernel + (KERNEL_STEP - LANES));
    const Float4 sum0 = load(front) + load(back);
    const Float4 sum1 = load(front + LANES) + load(back + LANES);
    const Float4 difference0 = load(front) - load(back);
    const Float4 difference1 = load(front + LANES) - load(back + LANES);
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
    store(grid->quarter + to, even[i] + odd[i]);
    store(grid->half + to, half[i]);
    store(grid->three_quarters + to, even[i] - odd[i]);
  }
}

static Float4 magnitude(Float4 x)
{
  return (Float4)((Int4)x & INT32_C(0x7fffffff));
}

static Float4 larger(Float4 a, Float4 b)
{
  const Int4 first = a > b;
  return (Float4)((first & (Int4)a) | (~first & (Int4)b));
}

/* The magnitude at b, or that of the vertex of the parabola through three points where b is an
 * extremum. On a flat line the quotient is 0/0, and the mask leaves it out. */
static Float4 vertex(Float4 a, Float4 b, Float4 c)
{
  const Float4 bend = 2.0F * b - a - c;
  const Float4 tilt = a - c;
  const Int4 extremum = ((b - a) * (b - c) >= 0.0F) & (bend != 0.0F);
  const Float4 rise = tilt * tilt / (8.0F * bend);
  return magnitude(b + (Float4)(extremum & (Int4)rise));
}

/* Peaks of four frames; at is the first of them within the chunk. */
static void find_peaks(const PlanishTruePeak *detector, FineGrid *grid, uint32_t at, float *peaks)
{
  const float *here = detector->past + detector->taps / 2 - 1 + at;
  const Float4 sample = load(here);
  const Float4 next = load(here + 1);
  const Float4 before = load(grid->three_quarters + at);
  const Float4 quarter = load(grid->quarter + at + 1);
  const Float4 half = load(grid->half + at + 1);
  const Float4 three_quarters = load(grid->three_quarters + at + 1);
  const Float4 half_peak = vertex(quarter, half, three_quarters);
  store(grid->half_peak + at + 1, half_peak);
  store(grid->late_peak + at + 1, vertex(half, three_quarters, next));
  const Float4 own = larger(vertex(before, sample, quarter), vertex(sample, quarter, half));
  const Float4 early = larger(load(grid->half_peak + at), load(grid->late_peak + at));
  store(peaks + at, larger(larger(own, half_peak), early));
}

static void process_chunk(PlanishTruePeak *detector, const double *audio, double *peaks,
                          uint32_t frames)
{
  FineGrid grid;
  float found[CHUNK + GROUP];
  const uint32_t kept = detector->taps - 1;
  for (uint32_t i = 0; i < frames; ++i) {
    detector->past[kept + i] = (float)audio[i];
  }
  grid.three_quarters[0] = detector->last_three_quarters;
  grid.half_peak[0] = detector->last_half_peak;
  grid.late_peak[0] = detector->last_late_peak;
  /* What lies beyond `frames` is left over from before; nothing reads what comes of it. */
  for (uint32_t at = 0; at < frames; at += GROUP) {
    interpolate(detector, &grid, at);
    find_peaks(detector, &grid, at, found);
    find_peaks(detector, &grid, at + LANES, found);
  }
  for (uint32_t i = 0; i < frames; ++i) {
    peaks[i] = (double)found[i];
  }
  detector->last_three_quarters = grid.three_quarters[frames];
  detector->last_half_peak = grid.half_peak[frames];
  detector->last_late_peak = grid.late_peak[frames];
  memmove(detector->past, detector->past + frames, kept * sizeof(float));
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
