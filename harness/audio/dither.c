#include "harness/audio/dither.h"

#include <math.h>
#include <string.h>

/* xorshift64*: the upper bits of the product are the good ones. */
static double uniform(uint64_t *state)
{
  uint64_t x = *state;
  x ^= x >> 12;
  x ^= x << 25;
  x ^= x >> 27;
  *state = x;
  return (double)((x * UINT64_C(2685821657736338717)) >> 11) * 0x1p-53;
}

/* Spreads a seed over the state; never 0, where the generator would stand still (SplitMix64, Steele
 * et al. 2014). */
static uint64_t spread(uint64_t seed)
{
  uint64_t z = seed + UINT64_C(0x9e3779b97f4a7c15);
  z = (z ^ (z >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
  z = (z ^ (z >> 27)) * UINT64_C(0x94d049bb133111eb);
  z ^= z >> 31;
  return z == 0 ? 1 : z;
}

void planish_dither_start(PlanishDither *dither, const PlanishDitherWord *word, uint64_t seed)
{
  *dither = (PlanishDither){
      .word = *word,
      .scale = (double)(UINT64_C(1) << (word->bits - 1)),
      .state = {spread(2 * seed), spread(2 * seed + 1)},
  };
}

void planish_dither_reset(PlanishDither *dither, uint64_t seed)
{
  const PlanishDitherWord word = {.bits = PLANISH_DITHER_BITS};
  planish_dither_start(dither, &word, seed);
}

/* What earlier errors ask of this sample, LSB. */
static double shaped(const PlanishDither *dither, int channel)
{
  double sum = 0.0;
  for (unsigned n = 0; n < dither->word.order; ++n) {
    sum += dither->word.shape[n] * dither->error[channel][n];
  }
  return sum;
}

static void keep_error(PlanishDither *dither, int channel, double error)
{
  double *kept = dither->error[channel];
  for (unsigned n = dither->word.order; n-- > 1;) {
    kept[n] = kept[n - 1];
  }
  kept[0] = error;
}

static int32_t quantise(PlanishDither *dither, int channel, double sample)
{
  const double first = uniform(&dither->state[channel]);
  const double second = uniform(&dither->state[channel]);
  double wanted = sample * dither->scale;
  if (dither->word.order > 0) {
    wanted += shaped(dither, channel);
  }
  const double lsb = floor(wanted + (first - second) + 0.5);
  /* Of what is beyond full scale nothing is made up for later: the error would grow without end. */
  keep_error(dither, channel, lsb - wanted);
  if (lsb > dither->scale - 1.0 || lsb < -dither->scale) {
    dither->clipped += 1;
    return lsb > 0.0 ? (int32_t)(dither->scale - 1.0) : (int32_t)-dither->scale;
  }
  return (int32_t)lsb;
}

static size_t emit(PlanishDither *dither, double left, double right, int32_t *out)
{
  out[0] = quantise(dither, 0, left);
  out[1] = quantise(dither, 1, right);
  return 1;
}

static size_t emit_black(int32_t *out, size_t frames)
{
  memset(out, 0, 2 * frames * sizeof *out);
  return frames;
}

/* The next frame; returns the frames written. */
static size_t take(PlanishDither *dither, double left, double right, int32_t *out)
{
  size_t done = 0;
  if (left == 0.0 && right == 0.0) {
    dither->held += 1;
    if (dither->black || dither->held == PLANISH_DITHER_BLACK) {
      done = emit_black(out, dither->held);
      dither->held = 0;
      dither->black = 1;
      memset(dither->error, 0, sizeof dither->error);
    }
    return done;
  }
  for (; dither->held > 0; --dither->held) {
    done += emit(dither, 0.0, 0.0, out + 2 * done);
  }
  dither->black = 0;
  return done + emit(dither, left, right, out + 2 * done);
}

size_t planish_dither_process(PlanishDither *dither, const float *interleaved, size_t frames,
                              int32_t *out)
{
  size_t done = 0;
  for (size_t n = 0; n < frames; ++n) {
    done +=
        take(dither, (double)interleaved[2 * n], (double)interleaved[2 * n + 1], out + 2 * done);
  }
  return done;
}

size_t planish_dither_process_double(PlanishDither *dither, const double *interleaved,
                                     size_t frames, int32_t *out)
{
  size_t done = 0;
  for (size_t n = 0; n < frames; ++n) {
    done += take(dither, interleaved[2 * n], interleaved[2 * n + 1], out + 2 * done);
  }
  return done;
}

size_t planish_dither_finish(PlanishDither *dither, int32_t *out)
{
  const size_t done = emit_black(out, dither->held);
  dither->held = 0;
  return done;
}
