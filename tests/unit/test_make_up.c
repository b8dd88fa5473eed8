/* Make-up gives back what K-weighted power says, not what the mean of the decibels says. */
#include "common/dsp/make_up.h"
#include "common/dsp/maths.h"
#include "tests/unit/arena_fixture.h"
#include "tests/unit/cmocka_headers.h"

#include <math.h>
#include <stdio.h>

#define RATE 48000.0

enum { SECOND = 48000 };

typedef struct {
  PlanishMakeUp make_up;
  PlanishArena arena;
} Fixture;

static void fixture_new(Fixture *f)
{
  PlanishArena arena = planish_arena_counting();
  planish_make_up_setup(&f->make_up, &arena, RATE);
  f->arena = arena_for(arena);
  PlanishArena fill = f->arena;
  planish_make_up_setup(&f->make_up, &fill, RATE);
}

/* 1 kHz in bursts, loud for a second in four and 12 dB down for the rest, of which `loud` dB are
 * taken from the bursts. Sums of power before, after and with make-up; returns the last make-up. */
static double run(Fixture *f, int seconds, double loud, double *before, double *given)
{
  double gain[PLANISH_GRID];
  double dry[PLANISH_GRID];
  double wet[PLANISH_GRID];
  *before = 0.0;
  *given = 0.0;
  for (int at = 0; at < seconds * SECOND; at += PLANISH_GRID) {
    for (int i = 0; i < PLANISH_GRID; ++i) {
      const bool burst = (at + i) / SECOND % 4 == 3;
      dry[i] = (burst ? 0.4 : 0.1) * sin(2.0 * PLANISH_PI * 1000.0 / RATE * (at + i));
      wet[i] = dry[i] * pow(10.0, (burst ? -loud : 0.0) / 20.0);
    }
    planish_make_up_process(&f->make_up, (double *const[]){dry, dry}, (double *const[]){wet, wet},
                            2, PLANISH_GRID, gain);
    for (int i = 0; i < PLANISH_GRID; ++i) {
      const double out = wet[i] * pow(10.0, gain[i] / 20.0);
      *before += dry[i] * dry[i];
      *given += out * out;
    }
  }
  return gain[PLANISH_GRID - 1];
}

/* The true loss: 10 lg of (16 + 3) / (16 g^2 + 3). */
static void it_gives_back_power(void **state)
{
  (void)state;
  Fixture f;
  fixture_new(&f);
  double before;
  double given;
  const double loud = 3.0;
  const double last = run(&f, 80, loud, &before, &given);
  const double loss = 10.0 * log10(19.0 / (16.0 * pow(10.0, -loud / 10.0) + 3.0));
  const double left = 10.0 * log10(given / before);
  printf("true loss %.3f dB, mean of the decibels %.3f, make-up at the end %.3f; whole off by "
         "%+.4f dB\n",
         loss, 0.25 * loud, last, left);
  assert_true(fabs(last - loss) < 0.35);
  assert_true(fabs(left) <= 0.02);
  assert_true(fabs(loss - 0.25 * loud) > 1.0);
  free(f.arena.block);
}

static void what_is_not_changed_gets_nothing(void **state)
{
  (void)state;
  Fixture f;
  fixture_new(&f);
  double before;
  double given;
  assert_true(run(&f, 6, 0.0, &before, &given) == 0.0);
  free(f.arena.block);
}

/* Silence holds it; a change of everything by 2 dB is given back as 2 dB. */
static void silence_holds_it(void **state)
{
  (void)state;
  Fixture f;
  fixture_new(&f);
  double gain[PLANISH_GRID];
  double dry[PLANISH_GRID];
  double wet[PLANISH_GRID];
  double held = 0.0;
  for (int at = 0; at < 60 * SECOND; at += PLANISH_GRID) {
    for (int i = 0; i < PLANISH_GRID; ++i) {
      const double height = at < 30 * SECOND ? 0.2 : 1e-5;
      dry[i] = height * sin(2.0 * PLANISH_PI * 1000.0 / RATE * (at + i));
      wet[i] = dry[i] * (at < 30 * SECOND ? pow(10.0, -0.1) : 2.0);
    }
    planish_make_up_process(&f.make_up, (double *const[]){dry, NULL}, (double *const[]){wet, NULL},
                            1, PLANISH_GRID, gain);
    held = at < 30 * SECOND ? gain[PLANISH_GRID - 1] : held;
  }
  printf("2 dB taken: %.5f given; after half a minute of hiss %.5f\n", held, gain[0]);
  assert_true(fabs(held - 2.0) < 0.01);
  assert_true(fabs(gain[0] - 2.0) < 0.01);
  free(f.arena.block);
}

/* Loud without a change, loud with 3 dB taken, of which much is owed as the make-up comes slowly,
 * then 20 dB down: the quiet does not pay for it, but for 0.2 dB. */
static void the_quiet_pays_little_for_the_loud(void **state)
{
  (void)state;
  Fixture f;
  fixture_new(&f);
  double gain[PLANISH_GRID];
  double dry[PLANISH_GRID];
  double wet[PLANISH_GRID];
  double most = 0.0;
  double last = 0.0;
  double steepest = 0.0;
  for (int at = 0; at < 60 * SECOND; at += PLANISH_GRID) {
    const double height = at < 40 * SECOND ? 0.4 : 0.04;
    const double taken = at < 20 * SECOND ? 1.0 : pow(10.0, -0.15);
    for (int i = 0; i < PLANISH_GRID; ++i) {
      dry[i] = height * sin(2.0 * PLANISH_PI * 1000.0 / RATE * (at + i));
      wet[i] = taken * dry[i];
    }
    planish_make_up_process(&f.make_up, (double *const[]){dry, NULL}, (double *const[]){wet, NULL},
                            1, PLANISH_GRID, gain);
    for (int i = 0; i < PLANISH_GRID; ++i) {
      most = fmax(most, gain[i]);
      steepest = fmax(steepest, fabs(gain[i] - last));
      last = gain[i];
    }
  }
  printf("3 dB taken, more owed: at most %.4f given; %.2g dB a frame\n", most, steepest);
  assert_true(most <= 3.0 + 10.0 * log10(1.047));
  assert_true(most >= 2.5);
  /* A dB takes some 0.2 s. */
  assert_true(steepest <= 2.0 / (0.2 * RATE));
  free(f.arena.block);
}

/* What is under -70 LUFS does not count, what is over it does: 1 kHz, where K-weighting undoes the
 * standard's -0.691 dB, on one channel. */
static void the_gate_is_that_of_the_standard(void **state)
{
  (void)state;
  for (int loudness = -71; loudness <= -69; loudness += 2) {
    Fixture f;
    fixture_new(&f);
    double gain[PLANISH_GRID];
    double dry[PLANISH_GRID];
    double wet[PLANISH_GRID];
    for (int at = 0; at < 5 * SECOND; at += PLANISH_GRID) {
      for (int i = 0; i < PLANISH_GRID; ++i) {
        dry[i] = sqrt(2.0) * pow(10.0, loudness / 20.0) *
                 sin(2.0 * PLANISH_PI * 1000.0 / RATE * (at + i));
        wet[i] = dry[i] * pow(10.0, -0.1);
      }
      planish_make_up_process(&f.make_up, (double *const[]){dry, NULL},
                              (double *const[]){wet, NULL}, 1, PLANISH_GRID, gain);
    }
    printf("2 dB taken at %d LUFS: %.4f given\n", loudness, gain[0]);
    assert_true(loudness == -71 ? gain[0] == 0.0 : fabs(gain[0] - 2.0) < 0.1);
    free(f.arena.block);
  }
}

/* One frame at the frame's limit of +120 dB, halved, between ten seconds of which 1 dB is taken. */
static void a_click_is_soon_forgotten(void **state)
{
  (void)state;
  Fixture f;
  fixture_new(&f);
  double gain[PLANISH_GRID];
  double dry[PLANISH_GRID];
  double wet[PLANISH_GRID];
  double before = 0.0;
  for (int at = 0; at < 40 * SECOND; at += PLANISH_GRID) {
    const bool clicks = at == 10 * SECOND;
    for (int i = 0; i < PLANISH_GRID; ++i) {
      dry[i] = 0.2 * sin(2.0 * PLANISH_PI * 1000.0 / RATE * (at + i));
      wet[i] = dry[i] * pow(10.0, -0.05);
    }
    before = clicks ? gain[PLANISH_GRID - 1] : before;
    dry[0] = clicks ? 1048576.0 : dry[0];
    wet[0] = clicks ? 524288.0 : wet[0];
    planish_make_up_process(&f.make_up, (double *const[]){dry, NULL}, (double *const[]){wet, NULL},
                            1, PLANISH_GRID, gain);
  }
  printf("1 dB taken: %.4f given, half a minute after a click %.4f\n", before, gain[0]);
  assert_true(fabs(before - 1.0) < 0.01);
  assert_true(fabs(gain[0] - 1.0) < 0.05);
  free(f.arena.block);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(it_gives_back_power),
      cmocka_unit_test(what_is_not_changed_gets_nothing),
      cmocka_unit_test(silence_holds_it),
      cmocka_unit_test(the_quiet_pays_little_for_the_loud),
      cmocka_unit_test(the_gate_is_that_of_the_standard),
      cmocka_unit_test(a_click_is_soon_forgotten),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
