#include "tests/bench/yardstick.h"

#include "common/dsp/biquad.h"

#include <ebur128.h>
#include <fftw3.h>
#include <soxr.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

enum { RATIO = 8, MOST_FRAMES = 8192, OVERLAP = 4 };

struct Yardstick {
  YardstickKind kind;
  unsigned pairs;
  uint32_t length;
  uint32_t waiting; /* frames since the last hop */
  PlanishBiquad biquad[2];
  fftwf_plan forth;
  fftwf_plan back;
  float *samples;
  fftwf_complex *bins;
  ebur128_state *loudness;
  soxr_t up;
  soxr_t down;
  float *pairs_in; /* interleaved */
  float *fine;
};

double seconds(void)
{
  struct timespec now;
  clock_gettime(CLOCK_THREAD_CPUTIME_ID, &now);
  return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

double clock_time(void)
{
  double least = 1.0;
  for (int round = 0; round < 300; ++round) {
    const double start = seconds();
    const double time = seconds() - start;
    least = time < least ? time : least;
  }
  return least;
}

const char *yardstick_name(YardstickKind kind)
{
  static const char *const names[YARDSTICKS] = {
      [YARDSTICK_BIQUAD] = "biquads",
      [YARDSTICK_FFT] = "transforms",
      [YARDSTICK_EBUR128] = "libebur128",
      [YARDSTICK_EBUR128_TRUE_PEAK] = "libebur128 with true peak",
      [YARDSTICK_SOXR] = "libsoxr",
  };
  return names[kind];
}

static void *must(void *made)
{
  if (made == NULL) {
    abort();
  }
  return made;
}

static void plan_transforms(Yardstick *yardstick, uint32_t length, unsigned pairs)
{
  yardstick->length = length;
  yardstick->pairs = pairs;
  yardstick->samples = must(fftwf_alloc_real(length));
  yardstick->bins = must(fftwf_alloc_complex(length / 2 + 1));
  yardstick->forth =
      must(fftwf_plan_dft_r2c_1d((int)length, yardstick->samples, yardstick->bins, FFTW_MEASURE));
  yardstick->back =
      must(fftwf_plan_dft_c2r_1d((int)length, yardstick->bins, yardstick->samples, FFTW_MEASURE));
  memset(yardstick->samples, 0, length * sizeof *yardstick->samples);
}

static soxr_t resampler(double from, double to)
{
  const soxr_quality_spec_t quality = soxr_quality_spec(SOXR_HQ, 0);
  soxr_error_t error = NULL;
  return must(soxr_create(from, to, 2, &error, NULL, &quality, NULL));
}

Yardstick *yardstick_new(YardstickKind kind, double rate, uint32_t length, unsigned pairs)
{
  Yardstick *yardstick = must(calloc(1, sizeof *yardstick));
  const int modes =
      EBUR128_MODE_M | EBUR128_MODE_S | EBUR128_MODE_I | EBUR128_MODE_LRA | EBUR128_MODE_HISTOGRAM;
  yardstick->kind = kind;
  yardstick->pairs_in = must(calloc(2 * MOST_FRAMES, sizeof(float)));
  yardstick->fine = must(calloc((size_t)2 * RATIO * MOST_FRAMES, sizeof(float)));
  switch (kind) {
  case YARDSTICK_FFT:
    plan_transforms(yardstick, length, pairs);
    break;
  case YARDSTICK_EBUR128:
    yardstick->loudness = must(ebur128_init(2, (unsigned long)rate, modes));
    break;
  case YARDSTICK_EBUR128_TRUE_PEAK:
    yardstick->loudness =
        must(ebur128_init(2, (unsigned long)rate, modes | EBUR128_MODE_TRUE_PEAK));
    break;
  case YARDSTICK_SOXR:
    yardstick->up = resampler(rate, RATIO * rate);
    yardstick->down = resampler(RATIO * rate, rate);
    break;
  case YARDSTICK_BIQUAD:
  case YARDSTICKS:
    break;
  }
  return yardstick;
}

void yardstick_free(Yardstick *yardstick)
{
  if (yardstick->forth != NULL) {
    fftwf_destroy_plan(yardstick->forth);
    fftwf_destroy_plan(yardstick->back);
  }
  fftwf_free(yardstick->samples);
  fftwf_free(yardstick->bins);
  if (yardstick->loudness != NULL) {
    ebur128_destroy(&yardstick->loudness);
  }
  soxr_delete(yardstick->up);
  soxr_delete(yardstick->down);
  free(yardstick->pairs_in);
  free(yardstick->fine);
  free(yardstick);
}

static void biquad(Yardstick *yardstick, const Audio *in, uint32_t at, uint32_t frames)
{
  static const PlanishBiquadCoefs coefs = {1.044, -1.895, 0.868, -1.895, 0.912};
  for (uint32_t c = 0; c < 2; ++c) {
    float *out = yardstick->fine + (size_t)c * frames;
    for (uint32_t n = 0; n < frames; ++n) {
      const double x = (double)in->channel[c][at + n];
      out[n] = (float)planish_biquad_process(&yardstick->biquad[c], &coefs, x);
    }
  }
}

static void transforms(Yardstick *yardstick, uint32_t frames)
{
  yardstick->waiting += frames;
  for (; yardstick->waiting >= yardstick->length / OVERLAP;
       yardstick->waiting -= yardstick->length / OVERLAP) {
    for (unsigned pair = 0; pair < yardstick->pairs; ++pair) {
      fftwf_execute(yardstick->forth);
      fftwf_execute(yardstick->back);
    }
  }
}

static void resample(Yardstick *yardstick, uint32_t frames)
{
  size_t fine = 0;
  size_t ignored = 0;
  soxr_process(yardstick->up, yardstick->pairs_in, frames, NULL, yardstick->fine,
               (size_t)RATIO * frames, &fine);
  soxr_process(yardstick->down, yardstick->fine, fine, NULL, yardstick->pairs_in, frames, &ignored);
}

double yardstick_time(Yardstick *yardstick, const Audio *in, uint32_t at, uint32_t frames)
{
  if (frames > MOST_FRAMES) {
    abort();
  }
  for (uint32_t n = 0; n < frames; ++n) {
    yardstick->pairs_in[2 * n] = in->channel[0][at + n];
    yardstick->pairs_in[2 * n + 1] = in->channel[1][at + n];
  }
  const double start = seconds();
  switch (yardstick->kind) {
  case YARDSTICK_BIQUAD:
    biquad(yardstick, in, at, frames);
    break;
  case YARDSTICK_FFT:
    transforms(yardstick, frames);
    break;
  case YARDSTICK_EBUR128:
  case YARDSTICK_EBUR128_TRUE_PEAK:
    (void)ebur128_add_frames_float(yardstick->loudness, yardstick->pairs_in, frames);
    break;
  case YARDSTICK_SOXR:
    resample(yardstick, frames);
    break;
  case YARDSTICKS:
    break;
  }
  return seconds() - start;
}
