/* Closed forms: a steady sine's true peak is its peak, whatever its phase (EBU Tech 3341 cases 15
 * to 19; 17 and 18 are from memory); two equal samples alone peak at 2 sinc(1/2) = 4/pi between
 * them. Everything else is held against zero padding of the whole signal, 32 times, in double. */
#include "harness/measure/true_peak_fft.h"
#include "tests/harness/audio_fixture.h"
#include "tests/unit/cmocka_headers.h"

#include <fftw3.h>

static PlanishTruePeakFftResult measure_in(const Audio *audio, size_t block)
{
  PlanishTruePeakFft *peak = planish_true_peak_fft_new(audio->rate, audio->channels, NULL, NULL);
  assert_non_null(peak);
  double *planes[2];
  for (uint32_t c = 0; c < 2; ++c) {
    planes[c] = calloc(block, sizeof(double));
    assert_non_null(planes[c]);
  }
  for (size_t at = 0; at < audio->frames; at += block) {
    const size_t frames = audio->frames - at < block ? audio->frames - at : block;
    for (size_t n = 0; n < frames; ++n) {
      for (uint32_t c = 0; c < audio->channels; ++c) {
        planes[c][n] = (double)audio->samples[(at + n) * audio->channels + c];
      }
    }
    planish_true_peak_fft_process(peak, (const double *const[]){planes[0], planes[1]}, frames);
  }
  const PlanishTruePeakFftResult result = planish_true_peak_fft_finish(peak);
  planish_true_peak_fft_free(peak);
  free(planes[0]);
  free(planes[1]);
  return result;
}

static PlanishTruePeakFftResult measure(const Audio *audio)
{
  return measure_in(audio, 4096);
}

static double db(double magnitude)
{
  return 20.0 * log10(magnitude);
}

/* Peak of one channel by zero padding of all of it, in the way the standard's interpolation is
 * meant: 32 points a frame, then a parabola. */
static double padded_peak(const Audio *audio, uint32_t channel)
{
  enum { TIMES = 32, GUARD = 4096 };
  size_t size = 1;
  while (size < audio->frames + (size_t)2 * GUARD) {
    size *= 2;
  }
  double *in = fftw_alloc_real(size);
  fftw_complex *spectrum = fftw_alloc_complex(size * TIMES / 2 + 1);
  double *out = fftw_alloc_real(size * TIMES);
  fftw_plan forward = fftw_plan_dft_r2c_1d((int)size, in, spectrum, FFTW_ESTIMATE);
  fftw_plan backward = fftw_plan_dft_c2r_1d((int)size * TIMES, spectrum, out, FFTW_ESTIMATE);
  memset(in, 0, size * sizeof *in);
  memset(spectrum, 0, (size * TIMES / 2 + 1) * sizeof *spectrum);
  for (size_t n = 0; n < audio->frames; ++n) {
    in[GUARD + n] = (double)audio->samples[n * audio->channels + channel];
  }
  fftw_execute(forward);
  spectrum[size / 2][0] *= 0.5;
  fftw_execute(backward);
  double peak = 0.0;
  for (size_t n = 1; n + 1 < size * TIMES; ++n) {
    const double b = fabs(out[n - 1]);
    const double m = fabs(out[n]);
    const double a = fabs(out[n + 1]);
    const double top = m >= a && m >= b && 2.0 * m - a - b > 0.0
                           ? m + (a - b) * (a - b) / (8.0 * (2.0 * m - a - b))
                           : m;
    peak = fmax(peak, top / (double)size);
  }
  fftw_destroy_plan(forward);
  fftw_destroy_plan(backward);
  fftw_free(in);
  fftw_free(spectrum);
  fftw_free(out);
  return peak;
}

/* Sine in the second channel, so that the first must not be all that is looked at. */
static Audio tone(double rate, double turns, double phase, double peak)
{
  Audio audio = audio_of(rate, 2, 100000);
  for (size_t n = 0; n < audio.frames; ++n) {
    audio.samples[2 * n + 1] = (float)(peak * fade_at(n, audio.frames, 8000) *
                                       sin(2.0 * PLANISH_PI * turns * (double)n + phase));
  }
  return audio;
}

static void tech_3341_true_peak(void **state)
{
  (void)state;
  static const struct {
    int number;
    double divisor;
    double degrees;
    double peak;
  } cases[] = {
      {15, 4, 0, 0.5}, {16, 4, 45, 0.5}, {17, 6, 60, 0.5}, {18, 8, 67.5, 0.5}, {19, 4, 45, 1.41}};
  static const double rates[] = {44100, 48000, 192000};
  for (size_t r = 0; r < 3; ++r) {
    for (size_t i = 0; i < 5; ++i) {
      Audio audio = tone(rates[r], 1.0 / cases[i].divisor, cases[i].degrees * PLANISH_PI / 180.0,
                         cases[i].peak);
      const PlanishTruePeakFftResult is = measure(&audio);
      printf("    Tech 3341 #%d at %.0f Hz %9.4f dBTP (exact %.4f)\n", cases[i].number, rates[r],
             db(is.magnitude), db(cases[i].peak));
      assert_true(fabs(db(is.magnitude) - db(cases[i].peak)) <= 0.001);
      assert_int_equal(is.channel, 1);
      free(audio.samples);
    }
  }
}

static void every_phase_of_a_tone_reads_the_same(void **state)
{
  (void)state;
  static const double turns[] = {0.25, 1.0 / 3.0, 0.375, 0.4, 5.0 / 12.0, 0.45, 0.49, 0.0211};
  double worst = 0.0;
  for (size_t t = 0; t < sizeof turns / sizeof *turns; ++t) {
    for (int degrees = 0; degrees < 180; degrees += 30) {
      Audio audio = tone(48000.0, turns[t], degrees * PLANISH_PI / 180.0, 0.7);
      const double error = db(measure(&audio).magnitude) - db(0.7);
      worst = fmax(worst, fabs(error));
      free(audio.samples);
    }
  }
  printf("    tones up to 0.49 of the rate, 6 phases each: within %.5f dB\n", worst);
  assert_true(worst <= 0.001);
}

static void two_samples_peak_between_them(void **state)
{
  (void)state;
  static const double rates[] = {8000, 11025, 44100, 48000, 96000, 384000};
  double worst = 0.0;
  double farthest = 0.0;
  for (size_t r = 0; r < sizeof rates / sizeof *rates; ++r) {
    /* From the first frame to the last; in between over the seams of the blocks. */
    Audio audio = audio_of(rates[r], 1, 70000);
    for (size_t at = 0; at + 2 <= audio.frames; at += at < 40000 || at > 52000 ? 4999 : 401) {
      audio.samples[at] = -0.5F;
      audio.samples[at + 1] = -0.5F;
      const PlanishTruePeakFftResult is = measure(&audio);
      worst = fmax(worst, fabs(db(is.magnitude) - db(2.0 / PLANISH_PI)));
      farthest = fmax(farthest, fabs(is.frame - ((double)at + 0.5)));
      audio.samples[at] = 0.0F;
      audio.samples[at + 1] = 0.0F;
    }
    free(audio.samples);
  }
  printf("    two samples: within %.5f dB, %.5f frames\n", worst, farthest);
  assert_true(worst <= 0.001);
  assert_true(farthest <= 0.01);
}

static void shortest_files_and_silence(void **state)
{
  (void)state;
  Audio audio = audio_of(48000.0, 2, 1);
  audio.samples[1] = 0.25F;
  PlanishTruePeakFftResult is = measure(&audio);
  assert_true(fabs(is.magnitude - 0.25) < 1e-6);
  assert_true(is.frame == 0.0);
  assert_int_equal(is.channel, 1);
  audio.samples[1] = 0.0F;
  is = measure(&audio);
  assert_true(is.magnitude == 0.0);
  audio.frames = 0;
  is = measure(&audio);
  assert_true(is.magnitude == 0.0);
  free(audio.samples);
}

/* Of each kind of noise; more of them take a second each. */
#ifndef SEEDS
#define SEEDS 1
#endif

typedef enum { WHITE, LIMITED, CLIPPED } NoiseKind;

/* Stereo noise, longer than a block of the meter; LIMITED and CLIPPED hold nothing above 20 kHz
 * before they are cut at 1.2 times their power, which makes many peaks of about the same height. */
static Audio noise_of(NoiseKind kind, double rate, uint32_t seed)
{
  enum { FRAMES = 120000 };
  Audio audio = audio_of(rate, 2, FRAMES);
  double *plane = fftw_alloc_real(FRAMES);
  fftw_complex *spectrum = fftw_alloc_complex(FRAMES / 2 + 1);
  fftw_plan forward = fftw_plan_dft_r2c_1d(FRAMES, plane, spectrum, FFTW_ESTIMATE);
  fftw_plan backward = fftw_plan_dft_c2r_1d(FRAMES, spectrum, plane, FFTW_ESTIMATE);
  for (size_t c = 0; c < 2; ++c) {
    for (size_t n = 0; n < FRAMES; ++n) {
      plane[n] = noise(&seed);
    }
    if (kind != WHITE) {
      fftw_execute(forward);
      for (size_t k = (size_t)(20000.0 / rate * FRAMES); k <= FRAMES / 2; ++k) {
        spectrum[k][0] = 0.0;
        spectrum[k][1] = 0.0;
      }
      fftw_execute(backward);
    }
    for (size_t n = 0; n < FRAMES; ++n) {
      const double sample = kind == WHITE ? plane[n] : plane[n] / FRAMES;
      audio.samples[2 * n + c] =
          (float)(fade_at(n, FRAMES, 2000) *
                  (kind == CLIPPED ? planish_clamp(sample, -0.6, 0.6) : sample));
    }
  }
  fftw_destroy_plan(forward);
  fftw_destroy_plan(backward);
  fftw_free(plane);
  fftw_free(spectrum);
  return audio;
}

static double difference_to_padding(const Audio *audio)
{
  const double padded = fmax(padded_peak(audio, 0), padded_peak(audio, 1));
  return db(measure(audio).magnitude) - db(padded);
}

static void agrees_with_padding_of_the_whole(void **state)
{
  (void)state;
  static const struct {
    NoiseKind kind;
    const char *name;
    double tolerance;
  } kinds[] = {{LIMITED, "limited to 20 kHz", 0.001},
               {CLIPPED, "limited, then clipped", 0.01},
               {WHITE, "white", 0.01}};
  static const double rates[] = {44100, 48000};
  for (size_t k = 0; k < 3; ++k) {
    for (size_t r = 0; r < 2; ++r) {
      double worst = 0.0;
      for (uint32_t seed = 1; seed <= SEEDS; ++seed) {
        Audio audio = noise_of(kinds[k].kind, rates[r], seed * 77);
        worst = fmax(worst, fabs(difference_to_padding(&audio)));
        free(audio.samples);
      }
      printf("    noise, %s, %.0f Hz: within %.6f dB\n", kinds[k].name, rates[r], worst);
      assert_true(worst <= kinds[k].tolerance);
    }
  }
}

static void agrees_with_padding_on_music(void **state)
{
  (void)state;
  size_t found = 0;
  for (size_t i = 0; i < sizeof shared_music_names / sizeof *shared_music_names; ++i) {
    Audio audio = shared_music(shared_music_names[i]);
    if (audio.samples == NULL) {
      printf("    SKIPPED, not there: %s\n", shared_music_names[i]);
      continue;
    }
    /* An excerpt, driven 12 dB into a clip: the whole would take seconds to pad. */
    enum { EXCERPT = 122000 };
    audio.frames = audio.frames < EXCERPT ? audio.frames : EXCERPT;
    for (size_t n = 0; n < audio.frames * audio.channels; ++n) {
      audio.samples[n] = (float)planish_clamp(4.0 * (double)audio.samples[n], -0.9, 0.9);
    }
    const double difference = difference_to_padding(&audio);
    printf("    %s: %+.6f dB\n", shared_music_names[i], difference);
    assert_true(fabs(difference) <= 0.005);
    ++found;
    free(audio.samples);
  }
  if (found == 0) {
    skip();
  }
}

static void blocks_change_no_bit(void **state)
{
  (void)state;
  Audio audio = noise_of(CLIPPED, 44100.0, 5);
  const PlanishTruePeakFftResult whole = measure_in(&audio, audio.frames);
  static const size_t blocks[] = {1, 63, 8191};
  for (size_t i = 0; i < 3; ++i) {
    const PlanishTruePeakFftResult is = measure_in(&audio, blocks[i]);
    assert_true(is.magnitude == whole.magnitude);
    assert_true(is.frame == whole.frame);
    assert_int_equal(is.channel, whole.channel);
  }
  free(audio.samples);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(tech_3341_true_peak),
      cmocka_unit_test(every_phase_of_a_tone_reads_the_same),
      cmocka_unit_test(two_samples_peak_between_them),
      cmocka_unit_test(shortest_files_and_silence),
      cmocka_unit_test(agrees_with_padding_of_the_whole),
      cmocka_unit_test(agrees_with_padding_on_music),
      cmocka_unit_test(blocks_change_no_bit),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
