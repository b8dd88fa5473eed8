#include "tests/presets/preset_changes.h"

#include <fftw3.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { FRAME = 4096, STEP = 2048, BINS = FRAME / 2 + 1, FEWEST = 8 };

static const double FAINT =
    1e-5;                       /* of the loudest power of a third: what is under it is not there */
static const double EDGE = 1.0; /* dB from frame to frame: it gets louder, or softer */

typedef struct {
  double band[PRESET_SIGNALS][PRESET_BANDS];
} Levels;

double preset_band_centre(int band)
{
  return 20.0 * pow(2.0, band / 3.0);
}

static double sample_of(PresetSignal signal, double left, double right)
{
  switch (signal) {
  case PRESET_MID:
    return 0.5 * (left + right);
  case PRESET_SIDE:
    return 0.5 * (left - right);
  case PRESET_LEFT:
    return left;
  default:
    return right;
  }
}

/* Powers in thirds of octaves, of a frame's spectrum. */
static void levels_at(const Audio *audio, size_t at, Levels *levels)
{
  static double x[FRAME];
  static double spectrum[BINS][2];
  static fftw_plan plan;
  if (plan == NULL) {
    plan = fftw_plan_dft_r2c_1d(FRAME, x, (fftw_complex *)spectrum, FFTW_ESTIMATE);
  }
  memset(levels, 0, sizeof *levels);
  for (int s = 0; s < PRESET_SIGNALS; ++s) {
    for (size_t n = 0; n < FRAME; ++n) {
      const double window = 0.5 - 0.5 * cos(6.283185307179586 * (double)n / FRAME);
      x[n] =
          window * sample_of((PresetSignal)s, audio->channel[0][at + n], audio->channel[1][at + n]);
    }
    fftw_execute(plan);
    for (size_t k = 1; k < BINS; ++k) {
      const double hz = (double)k * audio->rate / FRAME;
      const int band = (int)floor(3.0 * log2(hz / 20.0) + 0.5);
      if (band >= 0 && band < PRESET_BANDS) {
        levels->band[s][band] += spectrum[k][0] * spectrum[k][0] + spectrum[k][1] * spectrum[k][1];
      }
    }
  }
}

static Levels *levels_of(const Audio *audio, size_t frames)
{
  Levels *levels = calloc(frames + 1, sizeof *levels);
  if (levels == NULL) {
    abort();
  }
  for (size_t n = 0; n < frames; ++n) {
    levels_at(audio, n * STEP, &levels[n]);
  }
  return levels;
}

static double mean_of(double sum, double count)
{
  return count < FEWEST ? 0.0 : sum / count;
}

static double db_between(double from, double to)
{
  return 10.0 * log10((to + 1e-30) / (from + 1e-30));
}

static int by_size(const void *a, const void *b)
{
  const double x = *(const double *)a;
  const double y = *(const double *)b;
  return (x > y) - (x < y);
}

static double in_order(double *values, size_t count, double share)
{
  qsort(values, count, sizeof *values, by_size);
  return count < FEWEST ? 0.0 : values[(size_t)(share * (double)(count - 1))];
}

/* Of one third of one signal. `moves`: room for a value a frame. */
static PresetChange change_of(const Levels *before, const Levels *after, size_t frames, int s,
                              int b, double *moves)
{
  double loudest = 0.0;
  for (size_t n = 0; n < frames; ++n) {
    loudest = fmax(loudest, before[n].band[s][b]);
  }
  PresetChange sum = {0};
  size_t moved = 0;
  double count[3] = {0.0, 0.0, 0.0};
  for (size_t n = 1; n < frames; ++n) {
    const double power = before[n].band[s][b];
    if (power > FAINT * loudest) {
      const double db = db_between(power, after[n].band[s][b]);
      const double edge = db_between(before[n - 1].band[s][b], power);
      moves[moved++] = fabs(db);
      sum.rms += db * db;
      sum.mean += db;
      sum.rising += edge > EDGE ? db : 0.0;
      sum.falling += edge < -EDGE ? db : 0.0;
      count[0] += 1.0;
      count[1] += edge > EDGE ? 1.0 : 0.0;
      count[2] += edge < -EDGE ? 1.0 : 0.0;
    }
  }
  return (PresetChange){.rms = sqrt(mean_of(sum.rms, count[0])),
                        .mean = mean_of(sum.mean, count[0]),
                        .rising = mean_of(sum.rising, count[1]),
                        .falling = mean_of(sum.falling, count[2]),
                        .median = in_order(moves, moved, 0.5),
                        .busiest = in_order(moves, moved, 0.95)};
}

void preset_changes_find(const Audio *in, const Audio *out, PresetChanges *changes)
{
  const size_t frames = in->frames < FRAME ? 0 : (in->frames - FRAME) / STEP + 1;
  Levels *before = levels_of(in, frames);
  Levels *after = levels_of(out, frames);
  double *moves = calloc(frames + 1, sizeof *moves);
  for (int s = 0; moves != NULL && s < PRESET_SIGNALS; ++s) {
    for (int b = 0; b < PRESET_BANDS; ++b) {
      changes->of[s][b] = change_of(before, after, frames, s, b, moves);
    }
  }
  free(moves);
  free(after);
  free(before);
}
