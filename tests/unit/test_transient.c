/* Attacks and decays of levels whose followers have a closed form. */
#include "common/dsp/transient.h"

#include "common/dsp/held_envelope.h"
#include "common/dsp/maths.h"
#include "common/dsp/tanh.h"
#include "tests/unit/arena_fixture.h"
#include "tests/unit/cmocka_headers.h"
#include "tests/unit/limiter_signals.h"
#include "tests/unit/one_frame.h"

#include <math.h>
#include <stdio.h>

enum { RATE = 48000 };

#define LENGTH 30.0
#define RANGE  12.0

typedef struct {
  PlanishTransient transient;
  PlanishTransientTimes times;
  void *block;
} Detector;

static Detector detector_of(void)
{
  Detector detector = {.times = planish_transient_times(LENGTH, RATE)};
  PlanishArena counting = planish_arena_counting();
  planish_transient_setup(&detector.transient, &counting, RATE);
  PlanishArena filling = arena_for(counting);
  detector.block = filling.block;
  planish_transient_setup(&detector.transient, &filling, RATE);
  planish_transient_reset(&detector.transient);
  return detector;
}

/* A square wave of half the rate: every frame has the power. */
static TransientShares hear_power(Detector *detector, int n, double power)
{
  const double x = n % 2 == 0 ? sqrt(power) : -sqrt(power);
  return next_shares(&detector->transient, &detector->times, RANGE, (double[]){x, 0.5 * x}, 2);
}

static double way_of_frame(double ms)
{
  return 1.0 - exp(-1000.0 / (ms * RATE));
}

static TransientShares hear(Detector *detector, double x)
{
  return next_shares(&detector->transient, &detector->times, RANGE, (double[]){x, 0.5 * x}, 2);
}

static double share_of(double way)
{
  return way > 0.0 ? tanh(1.5 * way / RANGE) : 0.0;
}

/* Up by 20 dB, by one frame so large that the mean of the power over 2 ms is there at once: the
 * fast follower is 20 (1 - e^(-t/0.5)) dB up, the slow one 20 (1 - e^(-t/30)), t in ms. */
static void an_attack_is_what_lies_between_two_rises(void **state)
{
  (void)state;
  Detector detector = detector_of();
  for (int n = 0; n < 3 * RATE; ++n) {
    hear_power(&detector, n, 1e-4);
  }
  const double mean = way_of_frame(2.0);
  double furthest = 0.0;
  for (int n = 0; n < RATE / 2; ++n) {
    const double power = n == 0 ? (1e-2 - (1.0 - mean) * 1e-4) / mean : 1e-2;
    const TransientShares found = hear_power(&detector, n, power);
    const double t = 1000.0 * (n + 1) / RATE;
    const double way = 20.0 * (exp(-t / LENGTH) - exp(-t / 0.5));
    furthest = fmax(furthest, fabs(found.attack - share_of(way - 0.5)));
    assert_true(found.decay == 0.0);
  }
  printf("    attack off its closed form by %.2g\n", furthest);
  assert_true(furthest < 1e-6);
  assert_true(hear_power(&detector, 0, 1e-2).attack == 0.0);
  free(detector.block);
}

/* Back again: after the hold the mean of the power falls with 2 ms, the fast follower of its level
 * with 60, the late one with 60 + 6 * 30. */
static void a_decay_is_what_lies_between_two_falls(void **state)
{
  (void)state;
  Detector detector = detector_of();
  for (int n = 0; n < 3 * RATE; ++n) {
    hear_power(&detector, n, 1e-2);
  }
  const int hold = (int)planish_hold_frames(PLANISH_TRANSIENT_HOLD_MS, RATE);
  double fast = -20.0;
  double late = -20.0;
  double furthest = 0.0;
  for (int n = 0; n < RATE; ++n) {
    const TransientShares found = hear_power(&detector, n, 1e-4);
    const double t = fmax(1000.0 * (n + 2 - hold) / RATE, 0.0);
    const double level = 10.0 * log10(1e-4 + (1e-2 - 1e-4) * exp(-t / 2.0));
    fast += way_of_frame(60.0) * (level - fast);
    late += way_of_frame(240.0) * (level - late);
    furthest = fmax(furthest, fabs(found.decay - share_of(late - fast - 1.5)));
    assert_true(found.attack == 0.0);
  }
  printf("    decay off its closed form by %.2g\n", furthest);
  assert_true(furthest < 1e-6);
  free(detector.block);
}

/* However far the level falls or rises, the slow followers are 40 dB away at most: read with a
 * range so wide that the share is not full. */
static void no_way_is_longer_than_the_cap(void **state)
{
  (void)state;
  enum { WIDE = 100 };
  Detector detector = detector_of();
  double attack = 0.0;
  double decay = 0.0;
  for (int n = 0; n < 2 * RATE; ++n) {
    const double x = n < RATE ? sin(2.0 * PLANISH_PI * 500.0 / RATE * n) : 0.0;
    const TransientShares found =
        next_shares(&detector.transient, &detector.times, WIDE, (double[]){x, 0.0}, 2);
    attack = fmax(attack, found.attack);
    decay = fmax(decay, found.decay);
  }
  const double attack_way = atanh(attack) * WIDE / 1.5 + 0.5;
  const double decay_way = atanh(decay) * WIDE / 1.5 + 1.5;
  printf("    from silence %.3f dB up, to silence %.3f dB down\n", attack_way, decay_way);
  assert_true(fabs(attack_way - 40.0) < 1e-3 && fabs(decay_way - 40.0) < 1e-3);
  free(detector.block);
}

/* After silence an attack begins 40 dB up, whatever its level. */
static void the_level_does_not_matter(void **state)
{
  (void)state;
  Detector loud = detector_of();
  Detector soft = detector_of();
  double furthest = 0.0;
  for (int n = 0; n < RATE / 2; ++n) {
    const double x = sin(2.0 * PLANISH_PI * 500.0 / RATE * n);
    const TransientShares one = hear(&loud, x);
    const TransientShares other = hear(&soft, 0.001 * x);
    if (n > 100) {
      furthest = fmax(furthest, fabs(one.attack - other.attack));
    }
  }
  printf("    60 dB down: shares differ by at most %.4f\n", furthest);
  assert_true(furthest < 0.02);
  free(loud.block);
  free(soft.block);
}

/* The followers and shares a frame at a time, as transient.h has them. */
typedef struct {
  double mean[2];
  double power[2][2000]; /* of the last frames, a ring */
  double fast;
  double slow;
  double lingering;
} Plain;

static double plain_level(Plain *plain, const Detector *detector, int n, const double *x)
{
  double largest = 0.0;
  for (int c = 0; c < 2; ++c) {
    plain->mean[c] += detector->transient.mean_step * (x[c] * x[c] - plain->mean[c]);
    plain->power[c][n % 2000] = plain->mean[c];
    for (int back = 0; back < (int)detector->transient.hold && back <= n; ++back) {
      largest = planish_max(largest, plain->power[c][(n - back) % 2000]);
    }
  }
  return planish_level_of_power(largest + 1e-12);
}

static double plain_follow(double now, double target, double rise, double fall)
{
  return now + (target > now ? rise : fall) * (target - now);
}

static TransientShares plain_next(Plain *plain, const Detector *detector, int n, const double *x)
{
  const PlanishTransientTimes *by = &detector->times;
  const double level = plain_level(plain, detector, n, x);
  plain->fast = plain_follow(plain->fast, level, by->fast, by->fall);
  plain->slow =
      planish_max(plain_follow(plain->slow, level, by->slow, by->fall), plain->fast - 40.0);
  plain->lingering =
      planish_min(plain_follow(plain->lingering, level, by->fast, by->linger), plain->fast + 40.0);
  const double up = plain->fast - plain->slow - 0.5;
  const double down = plain->lingering - plain->fast - 1.5;
  return (TransientShares){up > 0.0 ? planish_tanh(1.5 * up / RANGE) : 0.0,
                           down > 0.0 ? planish_tanh(1.5 * down / RANGE) : 0.0};
}

static void blocks_are_as_frames(void **state)
{
  (void)state;
  static Plain plain = {.fast = -120.0, .slow = -120.0, .lingering = -120.0};
  Detector detector = detector_of();
  uint64_t seed = 11;
  for (int n = 0; n < 12000;) {
    double x[2][PLANISH_GRID];
    double attack[PLANISH_GRID];
    double decay[PLANISH_GRID];
    const uint32_t count = 1 + signal_random(&seed) % PLANISH_GRID;
    for (uint32_t i = 0; i < count; ++i) {
      const double loud = (n + (int)i) % 3000 < 700 ? 0.8 : 0.05;
      x[0][i] = loud * signal_uniform(&seed);
      x[1][i] = 0.7 * loud * signal_uniform(&seed);
    }
    planish_transient_process(&detector.transient, &detector.times, RANGE,
                              (const double *const[2]){x[0], x[1]}, 2, attack, decay, count);
    for (uint32_t i = 0; i < count; ++i) {
      const TransientShares expected =
          plain_next(&plain, &detector, n + (int)i, (double[]){x[0][i], x[1][i]});
      assert_true(attack[i] == expected.attack && decay[i] == expected.decay);
    }
    n += (int)count;
  }
  free(detector.block);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(blocks_are_as_frames),
      cmocka_unit_test(an_attack_is_what_lies_between_two_rises),
      cmocka_unit_test(a_decay_is_what_lies_between_two_falls),
      cmocka_unit_test(no_way_is_longer_than_the_cap),
      cmocka_unit_test(the_level_does_not_matter),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
