/* The limiter stage on a mix: what it costs, and how well it keeps its ceiling on content that
 * reaches up to half the rate. */
#include "tests/unit/audio_measures.h"
#include "tests/unit/stage_driver.h"
#include "tests/unit/stems.h"
#include "ttl/limiter_ports.h"

static double gain(double db)
{
  return pow(10.0, db / 20.0);
}

/* The mix through the stage at its defaults but for drive, with the latency's silence behind it. */
static Audio limited(const Audio *mix, double drive, double *reduction)
{
  StageDriver driver;
  const uint32_t latency = planish_stage.latency(mix->rate, NULL);
  Audio result = audio_copy(mix, latency);
  stage_driver_new(&driver, &planish_stage, mix->rate);
  driver.values[LIMITER_INPUT_GAIN] = (float)drive;
  *reduction = 0.0;
  const size_t step = 48000;
  for (size_t at = 0; at < result.frames; at += step) {
    double *const part[2] = {result.channel[0] + at, result.channel[1] + at};
    const double *const in[2] = {part[0], part[1]};
    const size_t left = result.frames - at;
    stage_driver_run(&driver, in, part, 2, left < step ? left : step);
    *reduction = fmax(*reduction, (double)driver.values[LIMITER_REDUCTION]);
  }
  stage_driver_free(&driver);
  return result;
}

/* Goal: at most 0.2 dB over on content to half the rate, which no detector can promise. */
static void mixes_stay_under_the_ceiling(void **state)
{
  (void)state;
  for (int seed = 1; seed <= 2; ++seed) {
    Audio mix;
    if (!stems_read(&mix, seed)) {
      print_message("skipped: mixes_stay_under_the_ceiling (no stems)\n");
      skip();
      return;
    }
    static const double drives[] = {8.0, 13.0};
    for (size_t i = 0; i < 2; ++i) {
      double reduction;
      Audio result = limited(&mix, drives[i], &reduction);
      const double over = audio_true_peak(&result) + 1.0;
      printf("stems %d, %+.0f dB of drive, %.1f dB of reduction: over %+.4f dB\n", seed, drives[i],
             reduction, over);
      assert_true(over <= 0.2);
      audio_free(&result);
    }
    audio_free(&mix);
  }
}

/* Goal: 4 LU won over the mix at the ceiling cost at most 0.7 dB of extra drive. */
static void four_units_won_cost_little(void **state)
{
  (void)state;
  for (int seed = 1; seed <= 2; ++seed) {
    Audio mix;
    if (!stems_read(&mix, seed)) {
      print_message("skipped: four_units_won_cost_little (no stems)\n");
      skip();
      return;
    }
    const double level = gain(-1.0 - audio_true_peak(&mix));
    for (size_t n = 0; n < mix.frames; ++n) {
      mix.channel[0][n] *= level;
      mix.channel[1][n] *= level;
    }
    const double before = audio_loudness(&mix);
    double drive = 4.5;
    double reduction = 0.0;
    for (int i = 0; i < 4; ++i) {
      Audio result = limited(&mix, drive, &reduction);
      drive += 4.0 - (audio_loudness(&result) - before);
      audio_free(&result);
    }
    printf("stems %d: 4 LU won from %.2f LUFS at -1 dBTP with %.3f dB of drive, %.2f dB extra "
           "(largest reduction %.2f dB)\n",
           seed, before, drive, drive - 4.0, reduction);
    assert_true(drive - 4.0 <= 0.7);
    audio_free(&mix);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(mixes_stay_under_the_ceiling),
      cmocka_unit_test(four_units_won_cost_little),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
