#include "harness/compare/shifted.h"

#include "common/dsp/windowed_sinc.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { HALF = 128, TAPS = 2 * HALF, CHUNK = 2048 };

#define ATTENUATION 110.0 /* dB */

struct PlanishShifted {
  PlanishReader *reader;
  uint64_t silence; /* frames still to come before the file starts */
  bool ended;
  bool whole;
  float weights[TAPS];
  float past[2][CHUNK + TAPS]; /* by channel: TAPS - 1 frames, then those of a chunk */
  float block[2 * CHUNK];
};

/* The next frames of the file, silence before and after it. */
static bool pull(PlanishShifted *shifted, float *interleaved, size_t frames, PlanishError *error)
{
  const size_t before = shifted->silence < frames ? (size_t)shifted->silence : frames;
  shifted->silence -= before;
  memset(interleaved, 0, 2 * frames * sizeof(float));
  size_t done = before;
  while (done < frames && !shifted->ended) {
    size_t got = 0;
    if (!planish_reader_read(shifted->reader, interleaved + 2 * done, frames - done, &got, error)) {
      return false;
    }
    shifted->ended = got == 0;
    done += got;
  }
  return true;
}

static bool start_at(PlanishShifted *shifted, int64_t frame, PlanishError *error)
{
  const int64_t frames = (int64_t)planish_reader_frames(shifted->reader);
  shifted->silence = frame < 0 ? (uint64_t)-frame : 0;
  shifted->ended = frame >= frames;
  return shifted->ended ||
         planish_reader_seek(shifted->reader, frame < 0 ? 0 : (uint64_t)frame, error);
}

/* Keeps the last TAPS - 1 frames, and adds `frames`. */
static bool load(PlanishShifted *shifted, size_t frames, PlanishError *error)
{
  if (!pull(shifted, shifted->block, frames, error)) {
    return false;
  }
  for (int c = 0; c < 2; ++c) {
    for (size_t n = 0; n < frames; ++n) {
      shifted->past[c][TAPS - 1 + n] = shifted->block[2 * n + (size_t)c];
    }
  }
  return true;
}

PlanishShifted *planish_shifted_new(PlanishReader *reader, double delay, PlanishError *error)
{
  PlanishShifted *shifted = calloc(1, sizeof *shifted);
  if (shifted == NULL) {
    planish_fail_memory(error);
    return NULL;
  }
  shifted->reader = reader;
  shifted->whole = fabs(delay - nearbyint(delay)) < PLANISH_SHIFTED_WHOLE;
  const double whole = shifted->whole ? nearbyint(delay) : floor(delay);
  const PlanishWindowedSinc sinc = {HALF, 1.0, ATTENUATION};
  for (int j = 0; j < TAPS; ++j) {
    shifted->weights[j] =
        (float)planish_windowed_sinc_at(&sinc, (double)(j - (HALF - 1)) - (delay - whole));
  }
  /* The first frames of the window lie before its middle. */
  const int64_t first = (int64_t)whole - (shifted->whole ? 0 : HALF - 1);
  bool done = start_at(shifted, first, error);
  if (done && !shifted->whole) {
    done = load(shifted, TAPS - 1, error);
    for (int c = 0; c < 2; ++c) {
      memmove(shifted->past[c], shifted->past[c] + TAPS - 1, (TAPS - 1) * sizeof(float));
    }
  }
  if (!done) {
    planish_shifted_free(shifted);
    return NULL;
  }
  return shifted;
}

void planish_shifted_free(PlanishShifted *shifted)
{
  free(shifted);
}

static void interpolate(PlanishShifted *shifted, float *interleaved, size_t frames)
{
  for (int c = 0; c < 2; ++c) {
    float *past = shifted->past[c];
    for (size_t n = 0; n < frames; ++n) {
      double sum = 0.0;
      for (size_t j = 0; j < TAPS; ++j) {
        sum += (double)shifted->weights[j] * (double)past[n + j];
      }
      interleaved[2 * n + (size_t)c] = (float)sum;
    }
    memmove(past, past + frames, (TAPS - 1) * sizeof(float));
  }
}

bool planish_shifted_read(PlanishShifted *shifted, float *interleaved, size_t frames,
                          PlanishError *error)
{
  if (shifted->whole) {
    return pull(shifted, interleaved, frames, error);
  }
  for (size_t done = 0; done < frames;) {
    const size_t piece = frames - done < CHUNK ? frames - done : CHUNK;
    if (!load(shifted, piece, error)) {
      return false;
    }
    interpolate(shifted, interleaved + 2 * done, piece);
    done += piece;
  }
  return true;
}
