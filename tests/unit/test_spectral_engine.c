/* The engine against what it promises: reconstruction, bits, latency, even work, and the sidebands
 * of a moving gain. */
#include "tests/unit/spectral_fixture.h"

#include <fftw3.h>
#include <stdio.h>

/* dB of (y[n + delay] - gain x[n]) re x. */
static double error_db(const double *y, const double *x, double gain, uint32_t delay,
                       uint32_t frames)
{
  double error = 0.0;
  double power = 0.0;
  for (uint32_t n = 0; n + delay < frames; ++n) {
    const double e = y[n + delay] - gain * x[n];
    error += e * e;
    power += x[n] * x[n];
  }
  return 10.0 * log10(error / power + 1e-40);
}

/* With a gain of 0 everywhere what came through the transforms must cancel the delayed input: what
 * is left is their error. Windows whose squares do not add up, a latency off by a frame or a wrong
 * twiddle leave more than -60 dB. */
static void check_reconstruction(uint32_t length)
{
  const uint32_t frames = 8 * length;
  const uint32_t latency = planish_spectral_engine_latency(length);
  double *x = spectral_noise(frames, 7);
  double *other = spectral_noise(frames, 8);
  double *left = spectral_copy(x, frames);
  double *right = spectral_copy(other, frames);
  SpectralFixture f;
  assert_int_equal(latency, length * 5 / 4);
  spectral_fixture_new(&f, length);
  f.added = -1.0F;
  spectral_run(&f, left, right, frames, 32);
  const double silence =
      fmax(error_db(left, x, 0.0, latency, frames), error_db(right, other, 0.0, latency, frames));
  memcpy(left, x, frames * sizeof *x);
  memset(right, 0, frames * sizeof *right);
  spectral_fixture_reset(&f);
  f.added = 1.0F;
  spectral_run(&f, left, right, frames, 32);
  const double twice = error_db(left, x, 2.0, latency, frames);
  const double leak = error_db(right, x, 0.0, latency, frames);
  printf("frame %5u: full path off by %.1f dB, gain of 2 by %.1f dB, other channel %.1f dB\n",
         length, silence, twice, leak);
  assert_true(silence <= -130.0 && twice <= -130.0 && leak <= -130.0);
  spectral_fixture_free(&f);
  free(x);
  free(other);
  free(left);
  free(right);
}

static void the_full_path_reconstructs(void **state)
{
  (void)state;
  for (uint32_t length = PLANISH_FFT_SHORTEST; length <= 16384; length *= 2) {
    check_reconstruction(length);
  }
}

static void neutral_is_the_delayed_input_bit_for_bit(void **state)
{
  (void)state;
  enum { FRAMES = 40000, LENGTH = 4096 };
  SpectralFixture f;
  spectral_fixture_new(&f, LENGTH);
  const uint32_t latency = planish_spectral_engine_latency(LENGTH);
  double *x = spectral_noise(FRAMES, 3);
  double *y = spectral_copy(x, FRAMES);
  spectral_run(&f, y, NULL, FRAMES, 32);
  for (uint32_t n = 0; n < FRAMES; ++n) {
    assert_true(y[n] == (n < latency ? 0.0 : x[n - latency]));
  }
  spectral_fixture_free(&f);
  free(x);
  free(y);
}

/* The gain differs from hop to hop, so that a step that ran in the wrong hop would show. */
static void blocks_and_a_second_life_change_no_bit(void **state)
{
  (void)state;
  enum { FRAMES = 30000, LENGTH = 2048 };
  static const uint32_t blocks[] = {32, 1, 31, 32};
  double *const x = spectral_noise(FRAMES, 5);
  double *first = NULL;
  SpectralFixture f;
  spectral_fixture_new(&f, LENGTH);
  for (size_t i = 0; i < 4; ++i) {
    double *left = spectral_copy(x, FRAMES);
    double *right = spectral_copy(x, FRAMES);
    spectral_fixture_reset(&f);
    f.swing_db = 10.0;
    spectral_run(&f, left, right, FRAMES, blocks[i]);
    if (first == NULL) {
      first = left;
      assert_memory_not_equal(first, x, FRAMES * sizeof *x);
    } else {
      assert_memory_equal(first, left, FRAMES * sizeof *left);
      free(left);
    }
    free(right);
  }
  spectral_fixture_free(&f);
  free(first);
  free(x);
}

/* A gain that turns with frequency is a delay: what is off is the windows' mismatch alone. The
 * wrong way round both channels would be early, and 0 dB off. */
static void complex_gains_keep_their_direction(void **state)
{
  (void)state;
  enum { FRAMES = 40000, LENGTH = 4096, DELAY = 3 };
  SpectralFixture f;
  spectral_fixture_new(&f, LENGTH);
  f.delay = DELAY;
  const uint32_t latency = planish_spectral_engine_latency(LENGTH) + DELAY;
  double *x[2] = {spectral_noise(FRAMES, 11), spectral_noise(FRAMES, 12)};
  double *y[2] = {spectral_copy(x[0], FRAMES), spectral_copy(x[1], FRAMES)};
  spectral_run(&f, y[0], y[1], FRAMES, 32);
  for (int c = 0; c < 2; ++c) {
    const double off = error_db(y[c], x[c], 1.0, latency, FRAMES);
    printf("a delay of %d samples in channel %d: off by %.1f dB\n", DELAY, c, off);
    assert_true(off <= -50.0);
    free(x[c]);
    free(y[c]);
  }
  spectral_fixture_free(&f);
}

/* Parseval: over half the bins the sum is 3/16 length^2 of both channels' mean squares together. */
static void the_power_is_that_of_both_channels(void **state)
{
  (void)state;
  enum { FRAMES = 20480, LENGTH = 4096 };
  SpectralFixture f;
  spectral_fixture_new(&f, LENGTH);
  double *left = spectral_noise(FRAMES, 13);
  double *right = spectral_noise(FRAMES, 14);
  for (uint32_t n = 0; n < FRAMES; ++n) {
    left[n] = 0.8 * sin(0.3 * n);
    right[n] = 0.2 * sin(0.7 * n);
  }
  spectral_run(&f, left, right, FRAMES, 32);
  const double truth = 0.1875 * LENGTH * LENGTH * (0.5 * 0.64 + 0.5 * 0.04);
  const double off = f.power / truth - 1.0;
  printf("power of both channels off by %.2g\n", off);
  assert_true(fabs(off) <= 1e-3);
  spectral_fixture_free(&f);
  free(left);
  free(right);
}

/* Gains of a former life are forgotten, even under a law that lays none. */
static void without_a_law_a_second_life_is_neutral(void **state)
{
  (void)state;
  enum { FRAMES = 12000, LENGTH = 1024 };
  SpectralFixture f;
  spectral_fixture_new(&f, LENGTH);
  const uint32_t latency = planish_spectral_engine_latency(LENGTH);
  double *x = spectral_noise(FRAMES, 9);
  double *y = spectral_copy(x, FRAMES);
  f.added = -0.5F;
  spectral_run(&f, y, NULL, FRAMES, 32);
  memcpy(y, x, FRAMES * sizeof *x);
  planish_spectral_engine_reset(&f.engine, &(PlanishSpectralLaw){NULL, NULL, NULL, 0, false});
  spectral_run(&f, y, NULL, FRAMES, 32);
  for (uint32_t n = 0; n < FRAMES; ++n) {
    assert_true(y[n] == (n < latency ? 0.0 : x[n - latency]));
  }
  spectral_fixture_free(&f);
  free(x);
  free(y);
}

/* A sine in a dip that moves by 10 dB, twice a second; energy further than 150 Hz off, re all,
 * under a Blackman-Harris window of 0.7 s. A gain that is held for a hop and not faded makes -35
 * dB. */
static double sidebands(uint32_t length)
{
  enum { FRAMES = 65536, FROM = 16384, COUNT = 32768 };
  static const double hz = 2900.0;
  SpectralFixture f;
  double *const x = fftw_malloc(FRAMES * sizeof *x);
  fftw_complex *const bins = fftw_malloc((COUNT / 2 + 1) * sizeof *bins);
  spectral_fixture_new(&f, length);
  f.swing_db = 10.0;
  f.dip = hz;
  for (uint32_t n = 0; n < FRAMES; ++n) {
    x[n] = 0.5 * sin(2.0 * PLANISH_PI * hz / f.rate * n);
  }
  spectral_run(&f, x, NULL, FRAMES, 32);
  for (uint32_t n = 0; n < COUNT; ++n) {
    const double u = 2.0 * PLANISH_PI * (n + 0.5) / COUNT;
    x[FROM + n] *= 0.35875 - 0.48829 * cos(u) + 0.14128 * cos(2.0 * u) - 0.01168 * cos(3.0 * u);
  }
  fftw_plan plan = fftw_plan_dft_r2c_1d(COUNT, x + FROM, bins, FFTW_ESTIMATE);
  fftw_execute(plan);
  double near = 0.0;
  double far = 0.0;
  for (uint32_t k = 0; k <= COUNT / 2; ++k) {
    const double power = bins[k][0] * bins[k][0] + bins[k][1] * bins[k][1];
    *(fabs(k * f.rate / COUNT - hz) > 150.0 ? &far : &near) += power;
  }
  fftw_destroy_plan(plan);
  fftw_free(x);
  fftw_free(bins);
  spectral_fixture_free(&f);
  return 10.0 * log10(far / (near + far));
}

static void a_moving_gain_makes_no_sidebands(void **state)
{
  (void)state;
  const double normal = sidebands(4096);
  const double short_one = sidebands(2048);
  printf("sidebands of a moving dip: frame 4096 %.1f dB, 2048 %.1f dB\n", normal, short_one);
  assert_true(normal <= -80.0);
  assert_true(short_one <= -60.0);
}

/* The declared cost of what runs in a block of 64 frames. All at once would be hop / 64. */
static void work_is_spread_evenly(void **state)
{
  (void)state;
  for (uint32_t length = 2048; length <= 8192; length *= 2) {
    SpectralFixture f;
    spectral_fixture_new(&f, length);
    double quiet[32] = {0.0};
    double *const audio[2] = {quiet, NULL};
    uint64_t worst = 0;
    uint64_t all = 0;
    const uint32_t blocks = 8 * f.engine.hop / 64;
    for (uint32_t b = 0; b < blocks; ++b) {
      uint64_t cost = planish_spectral_engine_process(&f.engine, audio, 1, 32);
      cost += planish_spectral_engine_process(&f.engine, audio, 1, 32);
      worst = cost > worst ? cost : worst;
      all += cost;
    }
    const double ratio = (double)worst * blocks / (double)all;
    printf("frame %u: worst block of 64 is %.3f of the mean\n", length, ratio);
    assert_int_equal(all, 8 * f.engine.schedule.total);
    assert_true(ratio <= 1.2);
    spectral_fixture_free(&f);
  }
}

enum { AHEAD = 3, EXTRA_LENGTH = 1024 };

static void lay_both(void *context, uint32_t index)
{
  SpectralFixture *const f = context;
  (void)index;
  for (uint32_t k = 0; k <= f->engine.length / 2; ++k) {
    planish_spectral_engine_lay(&f->engine, k, (PlanishComplex){f->added, 0.0F});
    planish_spectral_path_lay(&f->engine.aside, f->engine.length, k, (PlanishComplex){0.5F, 0.0F});
  }
}

static void want_aside(void *context)
{
  SpectralFixture *const f = context;
  f->engine.aside_wanted = f->swing_db > 0.0;
}

/* Power of y against gain times what came `late` frames before, dB, from a frame on. */
static double off_by(const double *y, const double *x, double gain, uint32_t late, uint32_t from,
                     uint32_t to)
{
  double off = 0.0;
  double all = 0.0;
  for (uint32_t n = from; n < to; ++n) {
    const double truth = gain * x[n - late];
    off += (y[n] - truth) * (y[n] - truth);
    all += truth * truth;
  }
  return 10.0 * log10(off / all + 1e-30);
}

/* Later by the hops ahead; the aside is there when it is asked for, and gone when it is not. */
static void laws_look_ahead_and_aside(void **state)
{
  (void)state;
  enum { FRAMES = 24576, HALF = FRAMES / 2 };
  static const PlanishSpectralExtras extras = {AHEAD, true};
  const uint32_t hop = EXTRA_LENGTH / PLANISH_SPECTRAL_OVERLAP;
  SpectralFixture f = {.added = 0.0F};
  PlanishArena counting = planish_arena_counting();
  planish_spectral_engine_setup_with(&f.engine, &counting, EXTRA_LENGTH, &extras);
  planish_spectral_engine_release(&f.engine);
  PlanishArena arena = arena_for(counting);
  planish_spectral_engine_setup_with(&f.engine, &arena, EXTRA_LENGTH, &extras);
  double *const x = spectral_noise(FRAMES, 11);
  double *const aside = calloc(FRAMES, sizeof *aside);
  for (uint32_t ahead = 0; ahead <= AHEAD; ahead += AHEAD) {
    for (int loud = 0; loud <= 1; ++loud) {
      const PlanishTask task = {lay_both, &f, 1, 12};
      double *const y = spectral_copy(x, FRAMES);
      const uint32_t late = planish_spectral_engine_latency(EXTRA_LENGTH) + ahead * hop;
      planish_spectral_engine_look_ahead(&f.engine, ahead);
      planish_spectral_engine_reset(&f.engine,
                                    &(PlanishSpectralLaw){want_aside, &f, &task, 1, false});
      f.added = loud == 1 ? 1.0F : 0.0F;
      for (uint32_t n = 0; n < FRAMES; n += 32) {
        f.swing_db = n < HALF ? 1.0 : 0.0;
        planish_spectral_engine_process_aside(&f.engine, (double *const[]){y + n, NULL},
                                              (double *const[]){aside + n, NULL}, 1, 32);
      }
      const double off = off_by(y, x, 1.0 + loud, late, late, FRAMES);
      const double aside_off = off_by(aside, x, 0.5, late, late + 6 * hop, HALF);
      printf("ahead %u, gain %d: off by %.1f dB, aside by %.1f dB\n", ahead, 1 + loud, off,
             aside_off);
      assert_true(loud == 1 ? off <= -130.0 : off <= -299.0);
      assert_true(aside_off <= -130.0);
      for (uint32_t n = HALF + 7 * hop; n < FRAMES; ++n) {
        assert_true(aside[n] == 0.0);
      }
      free(y);
    }
  }
  planish_spectral_engine_release(&f.engine);
  free(arena.block);
  free(x);
  free(aside);
}

/* 43, 85, 171 ms at every usual rate. */
static void frames_scale_with_the_rate(void **state)
{
  (void)state;
  static const struct {
    double rate;
    uint32_t length;
  } cases[] = {{44100.0, 4096},
               {48000.0, 4096},
               {88200.0, 8192},
               {96000.0, 8192},
               {176400, 16384},
               {192000.0, 16384},
               {384000.0, 32768},
               {22050.0, 2048},
               {32000.0, 2048},
               {8000.0, 512},
               /* An octave's middle is 67.9 kHz, the next one's below 33.9 kHz. */
               {67000.0, 4096},
               {69000.0, 8192},
               {35000.0, 4096},
               {33000.0, 2048},
               {1.0, PLANISH_FFT_SHORTEST}};
  for (size_t i = 0; i < sizeof cases / sizeof *cases; ++i) {
    assert_int_equal(planish_spectral_frame_length(cases[i].rate, 4096), cases[i].length);
  }
}

static float any_float(uint32_t *seed)
{
  *seed = *seed * 1664525U + 1013904223U;
  return (float)(int32_t)*seed / 4294967296.0F;
}

/* What works on stretches of bins against what works on one, wherever they begin and end. */
static void stretches_of_bins_are_as_single_ones(void **state)
{
  (void)state;
  enum { LENGTH = 256, HALF = LENGTH / 2 };
  static PlanishComplex spectrum[LENGTH];
  static PlanishComplex one_by_one[LENGTH];
  static PlanishComplex at_once[LENGTH];
  static float power[HALF + 1];
  const PlanishSpectralPath single = {.gains = one_by_one};
  const PlanishSpectralPath all = {.gains = at_once};
  const PlanishSpectralEngine engine = {.spectrum = spectrum, .length = LENGTH};
  uint32_t seed = 5;
  for (uint32_t k = 0; k < LENGTH; ++k) {
    spectrum[k].re = any_float(&seed);
    spectrum[k].im = k % HALF == 0 ? 0.0F : any_float(&seed);
  }
  for (uint32_t from = 0; from <= HALF + 1; ++from) {
    for (uint32_t to = from; to <= HALF + 1; ++to) {
      memset(one_by_one, 0, sizeof one_by_one);
      memset(at_once, 0, sizeof at_once);
      planish_spectral_engine_powers(&engine, power, from, to);
      planish_spectral_path_lay_all(&all, LENGTH, spectrum + from, from, to);
      for (uint32_t k = from; k < to; ++k) {
        assert_true(power[k - from] == planish_spectral_power(spectrum, LENGTH, k));
        planish_spectral_path_lay(&single, LENGTH, k, spectrum[k]);
      }
      for (uint32_t k = 0; k < LENGTH; ++k) {
        assert_true(one_by_one[k].re == at_once[k].re && one_by_one[k].im == at_once[k].im);
      }
    }
  }
}

/* A law whose gains are real does by half a spectrum what it would do by a whole one. */
static void real_gains_need_no_mirror_images(void **state)
{
  (void)state;
  enum { FRAMES = 9000, LENGTH = 1024 };
  double *const x[2] = {spectral_noise(FRAMES, 2), spectral_noise(FRAMES, 2)};
  for (int real = 0; real < 2; ++real) {
    SpectralFixture f;
    float gains[LENGTH / 2 + 1];
    uint32_t seed = 3;
    spectral_fixture_new(&f, LENGTH);
    planish_spectral_engine_reset(&f.engine, &(PlanishSpectralLaw){NULL, NULL, NULL, 0, real != 0});
    for (uint32_t k = 0; k <= LENGTH / 2; ++k) {
      gains[k] = k == LENGTH / 2 ? gains[k - 1] : any_float(&seed);
      if (real == 0) {
        planish_spectral_engine_lay(&f.engine, k, (PlanishComplex){gains[k], 0.0F});
      }
    }
    if (real != 0) {
      planish_spectral_path_lay_real(&f.engine.path, LENGTH, gains, 0, 300);
      planish_spectral_path_lay_real(&f.engine.path, LENGTH, gains + 300, 300, LENGTH / 2);
    }
    spectral_run(&f, x[real], NULL, FRAMES, 32);
    spectral_fixture_free(&f);
  }
  assert_memory_equal(x[0], x[1], FRAMES * sizeof(double));
  free(x[0]);
  free(x[1]);
}

/* Whole blocks of the grid go into rows, and out, otherwise than what is left of them. */
static void whole_blocks_are_as_single_frames(void **state)
{
  (void)state;
  enum { FRAMES = 12000, LENGTH = 1024, WHOLE = 32 };
  double *const x[2] = {spectral_noise(FRAMES, 7), spectral_noise(FRAMES, 7)};
  double *const y[2] = {spectral_noise(FRAMES, 8), spectral_noise(FRAMES, 8)};
  for (uint32_t i = 0; i < 2; ++i) {
    const uint32_t block = i == 0 ? WHOLE : 1;
    SpectralFixture f;
    spectral_fixture_new(&f, LENGTH);
    f.swing_db = 10.0;
    for (uint32_t at = 0; at < FRAMES; at += block) {
      double *const audio[2] = {x[i] + at, y[i] + at};
      planish_spectral_engine_process(&f.engine, audio, 2, block);
    }
    spectral_fixture_free(&f);
  }
  assert_memory_equal(x[0], x[1], FRAMES * sizeof(double));
  assert_memory_equal(y[0], y[1], FRAMES * sizeof(double));
  for (int i = 0; i < 2; ++i) {
    free(x[i]);
    free(y[i]);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_full_path_reconstructs),
      cmocka_unit_test(neutral_is_the_delayed_input_bit_for_bit),
      cmocka_unit_test(blocks_and_a_second_life_change_no_bit),
      cmocka_unit_test(complex_gains_keep_their_direction),
      cmocka_unit_test(the_power_is_that_of_both_channels),
      cmocka_unit_test(without_a_law_a_second_life_is_neutral),
      cmocka_unit_test(a_moving_gain_makes_no_sidebands),
      cmocka_unit_test(work_is_spread_evenly),
      cmocka_unit_test(laws_look_ahead_and_aside),
      cmocka_unit_test(frames_scale_with_the_rate),
      cmocka_unit_test(stretches_of_bins_are_as_single_ones),
      cmocka_unit_test(real_gains_need_no_mirror_images),
      cmocka_unit_test(whole_blocks_are_as_single_frames),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
