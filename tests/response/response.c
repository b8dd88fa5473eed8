#include "tests/response/response.h"

#include <fftw3.h>
#include <math.h>

static const double two_pi = 6.28318530717958647693;

Audio response_to_impulse(const Take *take, uint32_t frames, float height)
{
  Audio in = audio_new(frames);
  in.channel[0][0] = in.channel[1][0] = height;
  Audio out = take_run(take, &in, NULL);
  audio_free(&in);
  return out;
}

double complex response_at(const Audio *answer, int channel, double height, double rate, double hz)
{
  double complex sum = 0.0;
  for (uint32_t n = 0; n < answer->frames; ++n) {
    const double angle = -two_pi * fmod(hz / rate * n, 1.0);
    sum += (double)answer->channel[channel][n] * (CMPLX(cos(angle), sin(angle)));
  }
  return sum / height;
}

double response_level(const Audio *answer, int channel, double height, double rate, double hz)
{
  return 20.0 * log10(cabs(response_at(answer, channel, height, rate, hz)) + 1e-300);
}

double line_of(const Audio *audio, int channel, uint32_t from, uint32_t frames, double turns)
{
  double complex sum = 0.0;
  for (uint32_t n = 0; n < frames; ++n) {
    const double angle = -two_pi * fmod(turns * n, 1.0);
    sum += (double)audio->channel[channel][from + n] * (CMPLX(cos(angle), sin(angle)));
  }
  return 2.0 * cabs(sum) / frames;
}

void lines_of(const Audio *audio, int channel, uint32_t from, uint32_t frames, double *lines)
{
  double *in = fftw_alloc_real(frames);
  fftw_complex *bins = fftw_alloc_complex(frames / 2 + 1);
  fftw_plan plan = fftw_plan_dft_r2c_1d((int)frames, in, bins, FFTW_ESTIMATE);
  for (uint32_t n = 0; n < frames; ++n) {
    in[n] = (double)audio->channel[channel][from + n];
  }
  fftw_execute(plan);
  for (uint32_t k = 0; k <= frames / 2; ++k) {
    lines[k] = 2.0 * cabs(bins[k]) / frames;
  }
  fftw_destroy_plan(plan);
  fftw_free(in);
  fftw_free(bins);
}
