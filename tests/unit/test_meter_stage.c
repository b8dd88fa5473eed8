/* The meter against closed forms and EBU Tech 3341's cases of true peak (from memory). The cases of
 * loudness stand in test_loudness: it is the same code. */
#include "common/dsp/maths.h"
#include "tests/unit/audio_measures.h"
#include "tests/unit/stage_driver.h"
#include "ttl/meter_ports.h"

#include <math.h>
#include <stdio.h>

static const double rates[] = {32000.0, 44100.0, 48000.0, 88200.0, 96000.0, 192000.0};
enum { RATES = sizeof rates / sizeof *rates };

static Audio tone(double rate, double seconds, double hz, double left, double right, double phase)
{
  Audio audio = {.frames = (size_t)(seconds * rate), .rate = rate};
  for (int c = 0; c < 2; ++c) {
    audio.channel[c] = malloc(audio.frames * sizeof(double));
    for (size_t n = 0; n < audio.frames; ++n) {
      audio.channel[c][n] =
          (c == 0 ? left : right) * sin(2.0 * PLANISH_PI * hz / rate * (double)n + phase);
    }
  }
  return audio;
}

/* Plays it into a running meter, and checks that nothing was changed. */
static void play(StageDriver *driver, const Audio *audio)
{
  Audio out = audio_copy(audio, 0);
  const double *const from[2] = {audio->channel[0], audio->channel[1]};
  stage_driver_run(driver, from, out.channel, 2, audio->frames);
  for (int c = 0; c < 2; ++c) {
    assert_memory_equal(out.channel[c], audio->channel[c], audio->frames * sizeof(double));
  }
  audio_free(&out);
}

static void close_to(const char *what, float is, double expected, double within)
{
  printf("  %-28s %9.4f (%.4f +-%g)\n", what, (double)is, expected, within);
  assert_true(fabs((double)is - expected) <= within);
}

/* A full-scale sine of 997 Hz in both channels reads 0.0 LUFS (BS.1770 Annex 1: -3.01 in one). */
static void a_tone_reads_what_it_is(void **state)
{
  (void)state;
  for (size_t r = 0; r < RATES; ++r) {
    StageDriver driver;
    stage_driver_new(&driver, &planish_stage, rates[r]);
    driver.values[METER_COMPARE_LOUDNESS] = -23.0F;
    Audio audio = tone(rates[r], 5.0, 997.0, 0.1, 0.1, 0.0);
    play(&driver, &audio);
    printf("%.0f Hz\n", rates[r]);
    const double within = rates[r] < 44100.0 ? 0.1 : 0.02;
    close_to("momentary", driver.values[METER_MOMENTARY], -20.0, within);
    close_to("short-term", driver.values[METER_SHORT_TERM], -20.0, within);
    close_to("integrated", driver.values[METER_INTEGRATED], -20.0, within);
    close_to("difference", driver.values[METER_DIFFERENCE], 3.0, within);
    close_to("true peak", driver.values[METER_TRUE_PEAK], -20.0, 0.01);
    close_to("peak to loudness", driver.values[METER_PLR], 0.0, within + 0.01);
    close_to("correlation", driver.values[METER_CORRELATION], 1.0, 1e-6);
    close_to("mono loss", driver.values[METER_MONO_LOSS], 0.0, 1e-4);
    close_to("mid", driver.values[METER_MID_LEVEL], -23.0103, 0.01);
    close_to("side", driver.values[METER_SIDE_LEVEL], -120.0, 0.0);
    audio_free(&audio);
    stage_driver_free(&driver);
  }
}

/* Left 0.2, right -0.1: mid 0.05, side 0.15; a quarter turn apart: unrelated. */
static void channels_are_told_apart(void **state)
{
  (void)state;
  StageDriver driver;
  stage_driver_new(&driver, &planish_stage, 48000.0);
  Audio audio = tone(48000.0, 4.0, 1000.0, 0.2, -0.1, 0.0);
  play(&driver, &audio);
  close_to("out of phase: correlation", driver.values[METER_CORRELATION], -1.0, 1e-6);
  close_to("mid", driver.values[METER_MID_LEVEL], 20.0 * log10(0.05) - 3.0103, 0.001);
  close_to("side", driver.values[METER_SIDE_LEVEL], 20.0 * log10(0.15) - 3.0103, 0.001);
  /* Powers of L and R: 0.04 + 0.01; in mono twice 0.05^2. */
  close_to("mono loss", driver.values[METER_MONO_LOSS], 10.0 * log10(0.05 / 0.005), 0.001);
  audio_free(&audio);
  stage_driver_reset(&driver);
  audio = tone(48000.0, 4.0, 1000.0, 0.2, 0.2, 0.0);
  Audio other = tone(48000.0, 4.0, 1000.0, 0.2, 0.2, 0.5 * PLANISH_PI);
  memcpy(audio.channel[1], other.channel[1], audio.frames * sizeof(double));
  play(&driver, &audio);
  close_to("a quarter turn: correlation", driver.values[METER_CORRELATION], 0.0, 1e-4);
  close_to("mono loss", driver.values[METER_MONO_LOSS], 3.0103, 0.001);
  audio_free(&audio);
  audio_free(&other);
  stage_driver_free(&driver);
}

/* As in test_measure: what the fold-down loses counts though it leaves silence. Of 800 blocks a few
 * lie across the border, and the last is not read yet. */
static void what_vanishes_in_mono_counts(void **state)
{
  (void)state;
  StageDriver driver;
  stage_driver_new(&driver, &planish_stage, 48000.0);
  Audio opposite = tone(48000.0, 60.0, 1000.0, 0.1, -0.1, 0.0);
  Audio alike = tone(48000.0, 20.0, 1000.0, 0.1, 0.1, 0.0);
  play(&driver, &opposite);
  close_to("all opposite: mono loss", driver.values[METER_MONO_LOSS], 60.0, 0.0);
  play(&driver, &alike);
  close_to("a quarter left", driver.values[METER_MONO_LOSS], 10.0 * log10(4.0), 0.05);
  audio_free(&opposite);
  audio_free(&alike);
  stage_driver_free(&driver);
}

/* Cases 15 to 19: a quarter of the rate, at phases whose samples miss the peak. */
static void tech_3341_true_peaks(void **state)
{
  (void)state;
  static const struct {
    double amplitude;
    double share; /* of the rate */
    double phase; /* degrees */
    double expected;
  } cases[] = {{0.5, 0.25, 0.0, -6.0},
               {0.5, 0.25, 45.0, -6.0},
               {0.5, 1.0 / 6.0, 60.0, -6.0},
               {0.5, 0.125, 67.5, -6.0},
               {1.41, 0.25, 45.0, 3.0}};
  for (size_t r = 0; r < RATES; ++r) {
    for (size_t i = 0; i < sizeof cases / sizeof *cases; ++i) {
      StageDriver driver;
      stage_driver_new(&driver, &planish_stage, rates[r]);
      Audio audio = tone(rates[r], 1.0, cases[i].share * rates[r], cases[i].amplitude,
                         cases[i].amplitude, cases[i].phase * PLANISH_PI / 180.0);
      /* The standard's signals fade in: what a hard start adds is not asked for. */
      for (size_t n = 0; n < 4800; ++n) {
        for (int c = 0; c < 2; ++c) {
          audio.channel[c][n] *= 0.5 - 0.5 * cos(PLANISH_PI * (double)n / 4800.0);
        }
      }
      play(&driver, &audio);
      const double is = (double)driver.values[METER_TRUE_PEAK];
      printf("  Tech 3341 #%zu at %.0f Hz: %.3f dBTP\n", 15 + i, rates[r], is);
      assert_true(is <= cases[i].expected + 0.2 && is >= cases[i].expected - 0.4);
      audio_free(&audio);
      stage_driver_free(&driver);
    }
  }
}

static void pausing_and_reset(void **state)
{
  (void)state;
  StageDriver driver;
  stage_driver_new(&driver, &planish_stage, 48000.0);
  Audio quiet = tone(48000.0, 4.0, 997.0, 0.1, 0.1, 0.0);
  Audio loud = tone(48000.0, 4.0, 997.0, 0.5, 0.5, 0.0);
  play(&driver, &quiet);
  driver.values[METER_MEASURING] = 0.0F;
  play(&driver, &loud);
  close_to("paused: integrated", driver.values[METER_INTEGRATED], -20.0, 0.02);
  close_to("true peak", driver.values[METER_TRUE_PEAK], -20.0, 0.02);
  driver.values[METER_MEASURING] = 1.0F;
  driver.values[METER_RESET] = 1.0F;
  play(&driver, &loud);
  close_to("anew: integrated", driver.values[METER_INTEGRATED], 20.0 * log10(0.5), 0.02);
  /* Held down it works once; let go, nothing happens. */
  play(&driver, &quiet);
  driver.values[METER_RESET] = 0.0F;
  play(&driver, &quiet);
  close_to("held peak", driver.values[METER_TRUE_PEAK], 20.0 * log10(0.5), 0.02);
  close_to("peak of 3 s", driver.values[METER_TRUE_PEAK_NOW], -20.0, 0.02);
  driver.values[METER_RESET] = 1.0F;
  play(&driver, &quiet);
  close_to("again: true peak", driver.values[METER_TRUE_PEAK], -20.0, 0.02);
  audio_free(&loud);
  audio_free(&quiet);
  stage_driver_free(&driver);
}

static void silence_reads_nothing(void **state)
{
  (void)state;
  StageDriver driver;
  stage_driver_new(&driver, &planish_stage, 48000.0);
  Audio audio = tone(48000.0, 4.0, 997.0, 0.0, 0.0, 0.0);
  play(&driver, &audio);
  close_to("integrated", driver.values[METER_INTEGRATED], -70.0, 0.0);
  close_to("true peak", driver.values[METER_TRUE_PEAK], -120.0, 0.0);
  close_to("plr", driver.values[METER_PLR], 0.0, 0.0);
  close_to("difference", driver.values[METER_DIFFERENCE], 0.0, 0.0);
  close_to("correlation", driver.values[METER_CORRELATION], 0.0, 0.0);
  for (uint32_t i = 0; i < planish_stage.ports->port_count; ++i) {
    const PlanishPort *port = &planish_stage.ports->ports[i];
    assert_true(driver.values[i] >= port->minimum && driver.values[i] <= port->maximum);
  }
  audio_free(&audio);
  stage_driver_free(&driver);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_tone_reads_what_it_is),
      cmocka_unit_test(channels_are_told_apart),
      cmocka_unit_test(what_vanishes_in_mono_counts),
      cmocka_unit_test(tech_3341_true_peaks),
      cmocka_unit_test(pausing_and_reset),
      cmocka_unit_test(silence_reads_nothing),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
