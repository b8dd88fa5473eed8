/* A mix that is mended and converted as it is read. */
#include "harness/audio/audio_reader.h"
#include "harness/audio/rate_converter.h"
#include "tests/harness/files_fixture.h"
#include "tests/unit/cmocka_headers.h"

enum { LENGTH = 60000, WAVF = SF_FORMAT_WAV | SF_FORMAT_FLOAT };

static float *music;

static int open_all(void **state)
{
  music = make_music(LENGTH);
  return make_folder(state);
}

static int close_all(void **state)
{
  free(music);
  return remove_folder(state);
}

/* All of it, `block` frames at a time. */
static float *read_all(PlanishReader *reader, size_t block, size_t *frames)
{
  PlanishError error = {0};
  const size_t length = (size_t)planish_reader_frames(reader);
  float *samples = malloc(2 * length * sizeof *samples);
  size_t got = 1;
  *frames = 0;
  while (got > 0) {
    const size_t left = length - *frames;
    assert_true(planish_reader_read(reader, samples + 2 * *frames, left < block ? left : block,
                                    &got, &error));
    *frames += got;
  }
  assert_int_equal(*frames, length);
  return samples;
}

static float *read_mended(const char *path, const PlanishReaderOptions *options)
{
  PlanishError error = {0};
  size_t frames = 0;
  PlanishReader *reader = planish_reader_open(path, options, &error);
  assert_non_null(reader);
  float *samples = read_all(reader, 777, &frames);
  planish_reader_free(reader);
  return samples;
}

static void neutral_mending_changes_no_bit(void **state)
{
  (void)state;
  const char *path = write_audio("mix.wav", WAVF, 48000, 2, music, LENGTH);
  const PlanishReaderOptions options = {.rate = 48000.0};
  float *read = read_mended(path, &options);
  assert_memory_equal(read, music, 2 * LENGTH * sizeof *music);
  free(read);
}

static void channels_are_mended_in_their_order(void **state)
{
  (void)state;
  const char *path = write_audio("mix.wav", WAVF, 48000, 2, music, LENGTH);
  /* gains of left from left, left from right, right from left, right from right */
  static const struct {
    PlanishMending mending;
    double gain[2][2];
  } cases[] = {
      {{.invert = {true, false}}, {{-1, 0}, {0, 1}}},
      {{.invert = {false, true}}, {{1, 0}, {0, -1}}},
      {{.swap = true}, {{0, 1}, {1, 0}}},
      /* polarity is that of the mix's channel, balance that of the result's */
      {{.swap = true, .invert = {true, false}}, {{0, 1}, {-1, 0}}},
      {{.balance = 6.0}, {{0.7079457843841379, 0}, {0, 1.4125375446227544}}},
      {{.balance = -2.0}, {{1.1220184543019633, 0}, {0, 0.8912509381337456}}},
      {{.balance = 6.0, .swap = true}, {{0, 0.7079457843841379}, {1.4125375446227544, 0}}},
  };
  for (size_t k = 0; k < sizeof cases / sizeof *cases; ++k) {
    const PlanishReaderOptions options = {.mending = cases[k].mending};
    float *read = read_mended(path, &options);
    for (size_t n = 0; n < LENGTH; ++n) {
      for (size_t c = 0; c < 2; ++c) {
        const double wanted = cases[k].gain[c][0] * (double)music[2 * n] +
                              cases[k].gain[c][1] * (double)music[2 * n + 1];
        assert_true(fabs((double)read[2 * n + c] - wanted) < 6e-8);
      }
    }
    free(read);
  }
}

static void dc_is_gone_and_nothing_else(void **state)
{
  (void)state;
  static const double planted[2] = {0.03, -0.0007};
  double before[2] = {0.0, 0.0};
  float *shifted = malloc(2 * LENGTH * sizeof *shifted);
  for (size_t n = 0; n < 2 * LENGTH; ++n) {
    before[n % 2] += (double)music[n] / LENGTH;
    shifted[n] = (float)((double)music[n] + planted[n % 2]);
  }
  const char *path = write_audio("dc.wav", WAVF, 48000, 2, shifted, LENGTH);
  const PlanishReaderOptions options = {.mending = {.remove_dc = true}};
  PlanishError error = {0};
  PlanishReader *reader = planish_reader_open(path, &options, &error);
  size_t frames = 0;
  float *read = read_all(reader, 5000, &frames);
  double left[2] = {0.0, 0.0};
  double largest = 0.0;
  for (size_t n = 0; n < 2 * LENGTH; ++n) {
    left[n % 2] += (double)read[n] / LENGTH;
    largest = fmax(largest, fabs((double)read[n] - ((double)music[n] - before[n % 2])));
  }
  for (size_t c = 0; c < 2; ++c) {
    print_message("DC found: off by %.1e\n",
                  planish_reader_dc(reader, (uint32_t)c) - planted[c] - before[c]);
    assert_true(fabs(planish_reader_dc(reader, (uint32_t)c) - planted[c] - before[c]) < 4e-9);
  }
  print_message("DC left: %.1e, %.1e; the rest off by at most %.1e\n", left[0], left[1], largest);
  assert_true(fabs(left[0]) < 1e-9 && fabs(left[1]) < 1e-9 && largest < 6e-8);
  planish_reader_free(reader);
  free(read);
  free(shifted);
}

static void mono_stays_mono_while_both_are_alike(void **state)
{
  (void)state;
  PlanishError error = {0};
  const char *path = write_audio("mono.wav", WAVF, 48000, 1, music, LENGTH);
  PlanishReader *reader = planish_reader_open(path, NULL, &error);
  assert_int_equal(planish_reader_channels(reader), 1);
  planish_reader_free(reader);
  PlanishReaderOptions options = {.mending = {.invert = {true, true}, .remove_dc = true}};
  reader = planish_reader_open(path, &options, &error);
  assert_int_equal(planish_reader_channels(reader), 1);
  planish_reader_free(reader);
  options = (PlanishReaderOptions){.mending = {.balance = 1.0}};
  reader = planish_reader_open(path, &options, &error);
  assert_int_equal(planish_reader_channels(reader), 2);
  planish_reader_free(reader);
}

static void lengths_are_exact(void **state)
{
  (void)state;
  assert_int_equal(planish_converted_frames(44100, 44100, 48000), 48000);
  assert_int_equal(planish_converted_frames(1, 384000, 8000), 1);
  assert_int_equal(planish_converted_frames(147, 44100, 48000), 160);
  assert_int_equal(planish_converted_frames(148, 44100, 48000), 161);
  assert_int_equal(planish_converted_frames(1000000000000ULL, 44100, 384000), 8707482993197ULL);
  static const int rates[][2] = {{44100, 48000}, {96000, 44100}, {48000, 48001},
                                 {384000, 8000}, {8000, 192000}, {88200, 44100}};
  static const size_t lengths[] = {1, 2, 100, 4096, 50000};
  for (size_t k = 0; k < sizeof rates / sizeof *rates; ++k) {
    for (size_t n = 0; n < sizeof lengths / sizeof *lengths; ++n) {
      PlanishError error = {0};
      const char *path = write_audio("mix.wav", WAVF, rates[k][0], 2, music, lengths[n]);
      const PlanishReaderOptions options = {.rate = rates[k][1]};
      PlanishReader *reader = planish_reader_open(path, &options, &error);
      size_t frames = 0;
      float *read = read_all(reader, 4096, &frames);
      assert_int_equal(frames, llround((double)lengths[n] * rates[k][1] / rates[k][0]) > 0
                                   ? llround((double)lengths[n] * rates[k][1] / rates[k][0])
                                   : 1);
      assert_true(planish_reader_rate(reader) == rates[k][1]);
      assert_true(planish_reader_file_rate(reader) == rates[k][0]);
      planish_reader_free(reader);
      free(read);
    }
  }
}

/* A tone at the one rate is that tone at the other, in time to a thousandth of a frame and clean.
 */
static void a_tone_is_converted_cleanly_and_in_time(void **state)
{
  (void)state;
  static const struct {
    int from;
    int to;
    double hz;
  } cases[] = {{44100, 48000, 1000.0},  {44100, 48000, 18000.0}, {96000, 44100, 997.0},
               {96000, 44100, 19000.0}, {48000, 96000, 15000.0}, {192000, 48000, 50.0}};
  for (size_t k = 0; k < sizeof cases / sizeof *cases; ++k) {
    const double turn = 2.0 * acos(-1.0) * cases[k].hz;
    float *tone = malloc(2 * LENGTH * sizeof *tone);
    for (size_t n = 0; n < LENGTH; ++n) {
      tone[2 * n] = (float)(0.5 * sin(turn * (double)n / cases[k].from));
      tone[2 * n + 1] = -tone[2 * n];
    }
    const char *path = write_audio("tone.wav", WAVF, cases[k].from, 2, tone, LENGTH);
    const PlanishReaderOptions options = {.rate = cases[k].to};
    PlanishError error = {0};
    PlanishReader *reader = planish_reader_open(path, &options, &error);
    size_t frames = 0;
    float *read = read_all(reader, 4096, &frames);
    double sum = 0.0;
    size_t count = 0;
    for (size_t n = frames / 4; n < 3 * frames / 4; ++n) {
      const double wanted = 0.5 * sin(turn * (double)n / cases[k].to);
      const double off = (double)read[2 * n] - wanted;
      sum += off * off;
      count += 1;
      assert_true(fabs((double)read[2 * n + 1] + (double)read[2 * n]) < 1e-6);
    }
    const double db = 10.0 * log10(sum / (double)count / 0.125);
    print_message("%d to %d Hz, %g Hz: all that is not the tone %.1f dB\n", cases[k].from,
                  cases[k].to, cases[k].hz, db);
    assert_true(db < -138.0);
    planish_reader_free(reader);
    free(read);
    free(tone);
  }
}

/* A tone over half the new rate is gone. */
static void what_the_new_rate_cannot_hold_is_gone(void **state)
{
  (void)state;
  float *tone = malloc(2 * LENGTH * sizeof *tone);
  for (size_t n = 0; n < 2 * LENGTH; ++n) {
    tone[n] = (float)(0.5 * sin(2.0 * acos(-1.0) * 30000.0 * (double)(n / 2) / 96000.0));
  }
  const char *path = write_audio("tone.wav", WAVF, 96000, 2, tone, LENGTH);
  const PlanishReaderOptions options = {.rate = 44100.0};
  float *read = read_mended(path, &options);
  double largest = 0.0;
  for (size_t n = 5000; n < 20000; ++n) {
    largest = fmax(largest, fabs((double)read[n]));
  }
  print_message("30 kHz at 44100 Hz: %.1f dB\n", 20.0 * log10(fmax(largest, 1e-20) / 0.5));
  assert_true(largest < 0.5e-7);
  free(read);
  free(tone);
}

/* Read in any blocks, from anywhere, it is the same to the bit. */
static void the_same_however_it_is_read(void **state)
{
  (void)state;
  PlanishError error = {0};
  const char *path = write_audio("mix.wav", WAVF, 44100, 2, music, LENGTH);
  const PlanishReaderOptions options = {.rate = 48000.0, .mending = {.balance = 1.0}};
  PlanishReader *reader = planish_reader_open(path, &options, &error);
  size_t frames = 0;
  float *whole = read_all(reader, 4096, &frames);
  static const size_t blocks[] = {1, 63, 1024, 65536};
  for (size_t k = 0; k < sizeof blocks / sizeof *blocks; ++k) {
    assert_true(planish_reader_seek(reader, 0, &error));
    float *again = read_all(reader, blocks[k], &frames);
    assert_memory_equal(whole, again, 2 * frames * sizeof *whole);
    free(again);
  }
  static const uint64_t places[] = {1, 30000, 29999, 0, 65000, 65305};
  for (size_t k = 0; k < sizeof places / sizeof *places; ++k) {
    float block[200];
    size_t got = 0;
    assert_true(planish_reader_seek(reader, places[k], &error));
    assert_true(planish_reader_read(reader, block, 100, &got, &error));
    assert_int_equal(got, frames - places[k] < 100 ? frames - places[k] : 100);
    assert_memory_equal(block, whole + 2 * places[k], 2 * got * sizeof *block);
  }
  planish_reader_free(reader);
  free(whole);
}

static void samples_that_are_no_number_are_told_at_their_time(void **state)
{
  (void)state;
  PlanishError error = {0};
  float *broken = malloc(2 * LENGTH * sizeof *broken);
  memcpy(broken, music, 2 * LENGTH * sizeof *broken);
  broken[2 * 44100] = NAN;
  const char *path = write_audio("broken.wav", WAVF, 44100, 2, broken, LENGTH);
  PlanishReaderOptions options = {.rate = 48000.0};
  PlanishReader *reader = planish_reader_open(path, &options, &error);
  float block[2048];
  size_t got = 1;
  bool done = true;
  while (done && got > 0) {
    done = planish_reader_read(reader, block, 1024, &got, &error);
  }
  assert_false(done);
  assert_int_equal(error.outcome, PLANISH_BAD_AUDIO);
  assert_non_null(strstr(error.text, "0:01.000"));
  planish_reader_free(reader);
  planish_error_clear(&error);
  options.mending.remove_dc = true;
  assert_null(planish_reader_open(path, &options, &error));
  assert_non_null(strstr(error.text, "0:01.000"));
  options.silence_bad = true;
  reader = planish_reader_open(path, &options, &error);
  size_t frames = 0;
  free(read_all(reader, 4096, &frames));
  assert_int_equal(planish_reader_silenced(reader), 1);
  planish_reader_free(reader);
  free(broken);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(neutral_mending_changes_no_bit),
      cmocka_unit_test(channels_are_mended_in_their_order),
      cmocka_unit_test(dc_is_gone_and_nothing_else),
      cmocka_unit_test(mono_stays_mono_while_both_are_alike),
      cmocka_unit_test(lengths_are_exact),
      cmocka_unit_test(a_tone_is_converted_cleanly_and_in_time),
      cmocka_unit_test(what_the_new_rate_cannot_hold_is_gone),
      cmocka_unit_test(the_same_however_it_is_read),
      cmocka_unit_test(samples_that_are_no_number_are_told_at_their_time),
  };
  return cmocka_run_group_tests(tests, open_all, close_all);
}
