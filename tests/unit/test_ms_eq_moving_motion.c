/* Bands of the equaliser that move, heard against a design on every frame. */
#include "common/dsp/eq_design.h"
#include "common/dsp/gain_smoother.h"
#include "common/dsp/held_envelope.h"
#include "common/dsp/side_chain.h"
#include "tests/unit/ms_eq_moving_fixture.h"
#include "tests/unit/one_frame.h"

enum { LENGTH = 48000 };

typedef struct {
  PlanishEqFit fit;
  PlanishHeldEnvelope envelope;
  PlanishGainSmoother smoother;
  PlanishSvf region;
  PlanishSvf svf;
  PlanishEqSections sections;
  double taps[PLANISH_EQ_TAPS];
  double line[PLANISH_EQ_TAPS]; /* the newest first */
} Exact;

static void design(Exact *exact, const Band *band, double gain)
{
  const PlanishEqSetting setting = {(PlanishEqType)(band->type - 1), 2, band->frequency, gain,
                                    (double)(float)band->q};
  PlanishEqPrototype prototype;
  planish_eq_prototype(&setting, RATE, &prototype);
  planish_eq_sections(&prototype, &exact->sections);
  planish_eq_correction(&exact->fit, &prototype, exact->taps);
}

static double filtered(Exact *exact, double in)
{
  PlanishTwo x = planish_both(in);
  planish_svf_process(&exact->svf, &exact->sections.section[0], &x, 1);
  memmove(exact->line + 1, exact->line, (PLANISH_EQ_TAPS - 1) * sizeof(double));
  exact->line[0] = x[0];
  double y = 0.0;
  for (int k = 0; k < PLANISH_EQ_TAPS; ++k) {
    y += exact->taps[k] * exact->line[k];
  }
  return y;
}

/* One channel with level, curve, smoothing and design on every frame, or the design held for `hold`
 * frames, as is often done. For a cut by a low shelf or a peak; in place. */
static void move_exactly(const Moving *moving, double *x, size_t frames, unsigned hold)
{
  static Exact exact;
  memset(&exact, 0, sizeof exact);
  PlanishArena arena = planish_arena_counting();
  const uint32_t held = 2 + (moving->band.type == MS_EQ_B1_TYPE_LOW_SHELF ? 1200 : 600);
  planish_held_envelope_setup(&exact.envelope, &arena, held);
  void *block = aligned_alloc(PLANISH_ALIGNMENT, arena.used);
  assert_non_null(block);
  arena = planish_arena_filling(block, arena.used);
  planish_held_envelope_setup(&exact.envelope, &arena, held);
  planish_eq_fit_setup(&exact.fit, RATE);
  const PlanishSvfCoefs region = planish_side_chain_band(
      moving->band.type == MS_EQ_B1_TYPE_LOW_SHELF ? PLANISH_BAND_LOW_SHELF : PLANISH_BAND_PEAKING,
      planish_side_chain_tangent(moving->band.frequency, RATE), (double)(float)moving->band.q);
  const PlanishGainCurve curve = {.threshold = moving->threshold,
                                  .slope_above = 0.5,
                                  .knee = 6.0,
                                  .range_above = fabs(moving->move)};
  const PlanishGainTimes times = planish_gain_times(moving->attack, moving->release, RATE);
  for (size_t n = 0; n < frames; ++n) {
    PlanishTwo heard = planish_both(x[n]);
    planish_svf_process(&exact.region, &region, &heard, 1);
    const double power = next_envelope(&exact.envelope, heard[0], held);
    const PlanishGainParts target = planish_gain_curve_at(&curve, planish_level_of_power(power));
    planish_gain_smoother_next(&exact.smoother, &times, target);
    if (n % hold == 0) {
      design(&exact, &moving->band, moving->band.gain - exact.smoother.above);
    }
    x[n] = filtered(&exact, x[n]);
  }
  free(block);
}

static double rms_db(const double *a, const double *b, size_t length)
{
  double power = 0.0;
  for (size_t n = 0; n < length; ++n) {
    const double d = a[n] - (b != NULL ? b[n] : 0.0);
    power += d * d;
  }
  return 10.0 * log10(power / (double)length + 1e-40);
}

static const Moving bass = {
    {MS_EQ_B1_TYPE_LOW_SHELF, 0, 150.0, 1.0, 0.7071, 2}, -3.0, -24.0, 10, 80};
static const Moving peak = {{MS_EQ_B1_TYPE_PEAKING, 0, 800.0, 0.0, 1.0, 2}, -3.0, -40.0, 10, 80};
static const Moving quick = {{MS_EQ_B1_TYPE_PEAKING, 0, 3000.0, 0.0, 1.0, 2}, -6.0, -50.0, 1, 20};

/* Goal: -70 dB beside the result of a design on every frame, and 50 dB under the change itself.
 * What is left is the wait for the next step (8 frames at most), where a level rises. */
static void moves_as_a_design_on_every_frame_does(void **state)
{
  (void)state;
  enum { FRAMES = 3 * RATE };
  static const Moving *const cases[] = {&bass, &peak, &quick};
  for (size_t i = 0; i < 3; ++i) {
    Signal ours = music(FRAMES);
    Signal ideal = music(FRAMES);
    Signal held = music(FRAMES);
    Signal dry = music(FRAMES);
    StageDriver driver = driver_with(cases[i]);
    run(&driver, &ours, 0, FRAMES);
    move_exactly(cases[i], ideal.channel[0], FRAMES, 1);
    move_exactly(cases[i], held.channel[0], FRAMES, PLANISH_GRID);
    const double level = rms_db(ideal.channel[0], NULL, FRAMES);
    const double work = rms_db(ideal.channel[0], dry.channel[0], FRAMES) - level;
    const double error = rms_db(ours.channel[0], ideal.channel[0], FRAMES) - level;
    const double blockwise = rms_db(held.channel[0], ideal.channel[0], FRAMES) - level;
    printf("%.0f Hz, attack %.0f ms: %.1f dB beside a design on every frame (held for %d frames: "
           "%.1f); the change itself is %.1f; moved by %.2f dB\n",
           cases[i]->band.frequency, cases[i]->attack, error, PLANISH_GRID, blockwise, work,
           (double)driver.values[MS_EQ_LARGEST_MOVE]);
    assert_true(error <= -70.0 && error <= work - 50.0);
    assert_true(blockwise > error + 6.0);
    stage_driver_free(&driver);
    free_signal(&ours);
    free_signal(&ideal);
    free_signal(&held);
    free_signal(&dry);
  }
}

/* Energy above 1.5 kHz of a tone of 100 Hz that swells and falls, moved. */
static double roughness(const Moving *moving, unsigned hold)
{
  Signal signal = sine(LENGTH, 100.0, RATE);
  for (size_t n = 0; n < LENGTH; ++n) {
    const double t = (double)n / RATE;
    const double swell =
        planish_smoothstep((t - 0.3) / 0.05) - planish_smoothstep((t - 0.6) / 0.05);
    signal.channel[0][n] *= 0.05 + 0.5 * swell;
    signal.channel[1][n] = signal.channel[0][n];
  }
  if (hold == 0) {
    StageDriver driver = driver_with(moving);
    run(&driver, &signal, 0, LENGTH);
    stage_driver_free(&driver);
  } else {
    move_exactly(moving, signal.channel[0], LENGTH, hold);
  }
  const double energy = energy_above(signal.channel[0], LENGTH, 1500.0, RATE);
  free_signal(&signal);
  return energy;
}

static void moves_without_zipper(void **state)
{
  (void)state;
  static const double attacks[] = {3.0, 10.0, 50.0};
  for (size_t i = 0; i < 3; ++i) {
    Moving moving = bass;
    moving.attack = attacks[i];
    const double ours = roughness(&moving, 0);
    const double ideal = roughness(&moving, 1);
    const double held = roughness(&moving, PLANISH_GRID);
    printf("a swell under 100 Hz, attack %2.0f ms: %.1f dB above 1.5 kHz; design on every frame "
           "%.1f, held for %d frames %.1f\n",
           attacks[i], ours, ideal, PLANISH_GRID, held);
    assert_true(ours <= -110.0 && ours <= ideal + 3.0);
    assert_true(held > -90.0);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(moves_as_a_design_on_every_frame_does),
      cmocka_unit_test(moves_without_zipper),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
