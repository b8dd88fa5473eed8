/* The resonance stage through the LV2 ABI: latencies, the wait that a render plays ahead, and a
 * tone that never stops. */
#include "harness/measure/spectrum.h"
#include "tests/frame/takes.h"
#include "tests/unit/cmocka_headers.h"

#include <math.h>
#include <stdio.h>

enum { RATE = 48000, SECONDS = 12 };

/* A window and a quarter of it, which lasts the same at every rate. */
static void latency_is_a_window_and_a_hop(void **state)
{
  (void)state;
  static const struct {
    double rate;
    float window;
    uint32_t frames;
  } cases[] = {{44100, 0, 2560},  {48000, 0, 2560},  {48000, 1, 5120},
               {48000, 2, 10240}, {96000, 1, 10240}, {192000, 1, 20480}};
  for (size_t i = 0; i < sizeof cases / sizeof *cases; ++i) {
    Audio in = audio_new(512);
    Take take = take_of(stage_named("resonance"), cases[i].rate);
    take_move(&take, 0, "window", cases[i].window);
    uint32_t latency = 0;
    Audio out = take_run(&take, &in, &latency);
    printf("  %.0f Hz, window %.0f: %u frames\n", cases[i].rate, (double)cases[i].window, latency);
    assert_int_equal(latency, cases[i].frames);
    audio_free(&out);
    audio_free(&in);
  }
}

/* What is left of a tone in noise, dB, over a second that begins at `second`. */
static double left_at(const Audio *out, const Audio *in, uint32_t latency, uint32_t second)
{
  const uint32_t from = second * RATE;
  const double was = planish_spectrum_line(in->channel[0] + from, RATE, 2000.0 / RATE);
  const double is = planish_spectrum_line(out->channel[0] + from + latency, RATE, 2000.0 / RATE);
  return 20.0 * log10(is / was);
}

/* Once it has waited as long as its Turtle says, the cut stands, and goes no further than asked. */
static void check_tone(float phase)
{
  const PlanishPlugin *resonance = stage_named("resonance");
  Audio in = audio_sine((SECONDS + 1) * RATE, RATE, 2000.0, 0.05f);
  uint64_t seed = 3;
  for (uint32_t n = 0; n < in.frames; ++n) {
    in.channel[0][n] += (float)random_within(&seed, -0.1, 0.1);
    in.channel[1][n] += (float)random_within(&seed, -0.1, 0.1);
  }
  Take take = take_of(resonance, RATE);
  take_move(&take, 0, "max_cut", 9.0f);
  take_move(&take, 0, "phase", phase);
  uint32_t latency = 0;
  Audio out = take_run(&take, &in, &latency);
  const double early = left_at(&out, &in, latency, 0);
  const double settled = left_at(&out, &in, latency, (uint32_t)resonance->settles);
  const double end = left_at(&out, &in, latency, SECONDS - 1);
  printf("  a tone that never stops: %.2f dB in the first second, %.2f after %.0f s, %.2f at the "
         "end\n",
         early, settled, resonance->settles, end);
  assert_true(early >= -0.1);
  assert_true(fabs(settled + 9.0) <= 0.05);
  assert_true(fabs(end - settled) <= 0.2);
  audio_free(&out);
  audio_free(&in);
}

static void a_constant_tone_is_cut_after_the_wait(void **state)
{
  (void)state;
  check_tone(1.0f);
  check_tone(0.0f);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(latency_is_a_window_and_a_hop),
      cmocka_unit_test(a_constant_tone_is_cut_after_the_wait),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
