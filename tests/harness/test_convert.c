/* Conversion of a master's rate, in doubles: pass band, stop band, length, digital black. */
#include "harness/audio/rate_converter.h"
#include "harness/deliver/convert.h"
#include "tests/harness/files_fixture.h"
#include "tests/unit/cmocka_headers.h"

static const double pi = 3.14159265358979323846;

typedef struct {
  double *samples; /* of both channels */
  size_t frames;
} Converted;

/* All of a file at a rate, in blocks of `block`. */
static Converted convert(const char *path, double rate, PlanishBlack black, size_t block)
{
  PlanishError error = {0};
  PlanishReader *reader = planish_reader_open(path, NULL, &error);
  assert_non_null(reader);
  const uint64_t frames =
      planish_converted_frames(planish_reader_frames(reader), planish_reader_rate(reader), rate);
  Converted result = {calloc(2 * frames + 2, sizeof(double)), 0};
  PlanishConvert *convert = planish_convert_new(reader, rate, black, &error);
  assert_non_null(convert);
  size_t got = 1;
  while (got > 0 && result.frames < frames) {
    assert_true(planish_convert_read(
        convert, result.samples + 2 * result.frames,
        block < frames - result.frames ? block : frames - result.frames, &got, &error));
    result.frames += got;
  }
  assert_int_equal(result.frames, frames);
  planish_convert_free(convert);
  planish_reader_free(reader);
  return result;
}

static const char *write_tone(double rate, double hz, size_t frames)
{
  float *samples = malloc(2 * frames * sizeof *samples);
  for (size_t n = 0; n < frames; ++n) {
    samples[2 * n] = (float)(0.5 * sin(2.0 * pi * hz / rate * (double)n));
    samples[2 * n + 1] = -samples[2 * n];
  }
  const char *path =
      write_audio("tone.wav", SF_FORMAT_WAV | SF_FORMAT_FLOAT, (int)rate, 2, samples, frames);
  free(samples);
  return path;
}

/* The line at `hz` in the middle half of the left channel: by a window whose side lobes are under
 * -250 dB. `in_phase` is that of the sine, `quadrature` of the cosine, both re 0.5. */
static void line_at(const Converted *sound, double rate, double hz, double *in_phase,
                    double *quadrature)
{
  const size_t first = sound->frames / 4;
  const size_t count = sound->frames / 2;
  double sum = 0.0;
  *in_phase = 0.0;
  *quadrature = 0.0;
  for (size_t n = 0; n < count; ++n) {
    const double edge = sin(pi * ((double)n + 0.5) / (double)count);
    const double window = pow(edge, 12.0);
    const double phase = 2.0 * pi * fmod(hz / rate * (double)(first + n), 1.0);
    sum += window;
    *in_phase += window * sound->samples[2 * (first + n)] * sin(phase);
    *quadrature += window * sound->samples[2 * (first + n)] * cos(phase);
  }
  *in_phase *= 4.0 / sum;
  *quadrature *= 4.0 / sum;
}

static const double pairs[][2] = {{48000, 44100}, {96000, 44100}, {192000, 44100},
                                  {88200, 44100}, {96000, 48000}, {44100, 48000},
                                  {44100, 96000}, {48000, 96000}, {48000, 192000}};
enum { PAIRS = sizeof pairs / sizeof *pairs };

/* Gain of tones up to 20 kHz, and their phase: the result is in time. */
static void the_pass_band_is_flat(void **state)
{
  (void)state;
  static const double tones[] = {50, 997, 5003, 10007, 15013, 18013, 19001, 20000};
  for (size_t p = 0; p < PAIRS; ++p) {
    double worst = 0.0;
    double late = 0.0;
    for (size_t t = 0; t < sizeof tones / sizeof *tones; ++t) {
      const char *path = write_tone(pairs[p][0], tones[t], (size_t)(2 * pairs[p][0]));
      Converted sound = convert(path, pairs[p][1], (PlanishBlack){0, 0}, 4096);
      double in_phase = 0.0;
      double quadrature = 0.0;
      line_at(&sound, pairs[p][1], tones[t], &in_phase, &quadrature);
      worst = fmax(worst, fabs(20.0 * log10(hypot(in_phase, quadrature))));
      late = fmax(late, fabs(atan2(quadrature, in_phase)));
      free(sound.samples);
    }
    printf("%6.0f to %6.0f Hz: pass band off by %.4f dB, phase by %.1e rad\n", pairs[p][0],
           pairs[p][1], worst, late);
    assert_true(worst < 0.01);
    assert_true(late < 1e-6);
  }
}

/* Tones that do not fit fold to where they must not be heard; those that do have images. */
static void the_stop_band_is_silent(void **state)
{
  (void)state;
  for (size_t p = 0; p < PAIRS; ++p) {
    const double from = pairs[p][0];
    const double to = pairs[p][1];
    const bool down = from > to;
    double worst = -400.0;
    for (int t = 0; t < 12; ++t) {
      /* Down: from half the new rate to nearly half the old; up: from 1 kHz to nearly half the
       * old rate. */
      const double hz = down ? 0.5 * to + 37.0 + (0.49 * from - 0.5 * to) * t / 11.0
                             : 1003.0 + (0.49 * from - 1003.0) * t / 11.0;
      const double stray = down ? fabs(hz - to * round(hz / to)) : from - hz;
      const char *path = write_tone(from, hz, (size_t)(2 * from));
      Converted sound = convert(path, to, (PlanishBlack){0, 0}, 4096);
      double in_phase = 0.0;
      double quadrature = 0.0;
      if (stray < 0.5 * to) {
        line_at(&sound, to, stray, &in_phase, &quadrature);
        worst = fmax(worst, 20.0 * log10(hypot(in_phase, quadrature)));
      }
      free(sound.samples);
    }
    printf("%6.0f to %6.0f Hz: %s at most %.1f dB\n", from, to, down ? "aliases" : "images", worst);
    assert_true(worst <= -180.0 && worst > -400.0);
  }
}

/* Half a second of black, a tone that begins and ends at once, half a second of black. */
static const char *write_island(size_t edge, size_t frames)
{
  float *samples = calloc(2 * frames, sizeof *samples);
  for (size_t n = edge; n < frames - edge; ++n) {
    samples[2 * n] = (float)(0.9 * cos(0.7 * (double)n));
    samples[2 * n + 1] = (float)(0.5 * cos(0.9 * (double)n));
  }
  const char *path =
      write_audio("island.wav", SF_FORMAT_WAV | SF_FORMAT_FLOAT, 48000, 2, samples, frames);
  free(samples);
  return path;
}

static size_t head_of(const Converted *sound)
{
  size_t n = 0;
  while (n < 2 * sound->frames && sound->samples[n] == 0.0) {
    n += 1;
  }
  return n / 2;
}

static size_t tail_of(const Converted *sound)
{
  size_t n = 0;
  while (n < 2 * sound->frames && sound->samples[2 * sound->frames - 1 - n] == 0.0) {
    n += 1;
  }
  return n / 2;
}

static void digital_black_stays_black(void **state)
{
  (void)state;
  enum { EDGE = 24000, WHOLE = 96000 };
  const char *path = write_island(EDGE, WHOLE);
  Converted sound = convert(path, 44100.0, (PlanishBlack){EDGE, EDGE}, 4096);
  Converted bare = convert(path, 44100.0, (PlanishBlack){0, 0}, 4096);
  double largest = 0.0;
  for (size_t n = 0; n < 2 * sound.frames; ++n) {
    largest = fmax(largest, fabs(sound.samples[n] - bare.samples[n]));
  }
  const size_t should = EDGE * 441 / 480;
  printf("black at 44.1 kHz: %zu and %zu frames of %zu (without: %zu and %zu); what was taken as "
         "black was at most %.1f dB\n",
         head_of(&sound), tail_of(&sound), should, head_of(&bare), tail_of(&bare),
         20.0 * log10(largest));
  /* All but the ringing, 10 ms. */
  assert_true(head_of(&sound) > should - 441 && head_of(&sound) <= should);
  assert_true(tail_of(&sound) > should - 441 && tail_of(&sound) <= should);
  assert_true(largest < 0x1p-24);
  free(sound.samples);
  free(bare.samples);
}

static void blocks_make_no_difference(void **state)
{
  (void)state;
  enum { EDGE = 2400, WHOLE = 12000 };
  const char *path = write_island(EDGE, WHOLE);
  const PlanishBlack black = {EDGE, EDGE};
  Converted whole = convert(path, 44100.0, black, 4096);
  static const size_t blocks[] = {1, 7, 1000};
  for (size_t n = 0; n < sizeof blocks / sizeof *blocks; ++n) {
    Converted parts = convert(path, 44100.0, black, blocks[n]);
    assert_int_equal(parts.frames, whole.frames);
    assert_memory_equal(parts.samples, whole.samples, 2 * whole.frames * sizeof(double));
    free(parts.samples);
  }
  free(whole.samples);
}

/* A file of nothing stays one. */
static void silence_stays_silence(void **state)
{
  (void)state;
  float *samples = calloc(2 * 5000, sizeof *samples);
  const char *path =
      write_audio("nothing.wav", SF_FORMAT_WAV | SF_FORMAT_FLOAT, 48000, 2, samples, 5000);
  Converted sound = convert(path, 44100.0, (PlanishBlack){5000, 0}, 4096);
  assert_int_equal(head_of(&sound), sound.frames);
  free(sound.samples);
  free(samples);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_pass_band_is_flat),     cmocka_unit_test(the_stop_band_is_silent),
      cmocka_unit_test(digital_black_stays_black), cmocka_unit_test(blocks_make_no_difference),
      cmocka_unit_test(silence_stays_silence),
  };
  return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
