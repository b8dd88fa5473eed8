/* The cut transform against FFTW in double precision, and its bits against other users of FFTW in
 * the same process. */
#include "tests/unit/spectral_fixture.h"

#include <dlfcn.h>
#include <fftw3.h>
#include <pthread.h>
#include <stdio.h>
#include <sys/wait.h>
#include <unistd.h>

typedef struct {
  PlanishSpectralFft fft;
  PlanishComplex *samples; /* a row */
  PlanishComplex *spectrum;
  void *block;
} Cut;

static void cut_take(Cut *cut, PlanishArena *arena, uint32_t length)
{
  assert_int_equal(planish_spectral_fft_setup(&cut->fft, arena, length), PLANISH_OK);
  cut->samples = planish_arena_take(arena, length / PLANISH_FFT_ROWS, sizeof *cut->samples);
  cut->spectrum = planish_arena_take(arena, length, sizeof *cut->spectrum);
}

static void cut_new(Cut *cut, uint32_t length)
{
  memset(cut, 0, sizeof *cut);
  PlanishArena counting = planish_arena_counting();
  cut_take(cut, &counting, length);
  PlanishArena arena = arena_for(counting);
  cut->block = arena.block;
  cut_take(cut, &arena, length);
}

static void cut_free(Cut *cut)
{
  planish_spectral_fft_release(&cut->fft);
  free(cut->block);
}

static void cut_forward(Cut *cut, const PlanishComplex *x)
{
  for (uint32_t row = 0; row < PLANISH_FFT_ROWS; ++row) {
    for (uint32_t n = 0; n < cut->fft.row; ++n) {
      cut->samples[n] = x[planish_spectral_fft_first(row) + n * PLANISH_FFT_ROWS];
    }
    planish_spectral_fft_forward_row(&cut->fft, cut->samples, cut->spectrum, row);
  }
  for (uint32_t part = 0; part < PLANISH_FFT_PARTS; ++part) {
    planish_spectral_fft_forward_part(&cut->fft, cut->spectrum, part);
  }
}

static void cut_backward(Cut *cut, const PlanishComplex *gains, PlanishComplex *x)
{
  for (uint32_t part = 0; part < PLANISH_FFT_PARTS; ++part) {
    planish_spectral_fft_backward_part(&cut->fft, cut->spectrum, gains, part);
  }
  for (uint32_t row = 0; row < PLANISH_FFT_ROWS; ++row) {
    planish_spectral_fft_backward_row(&cut->fft, cut->spectrum, cut->samples, row);
    for (uint32_t n = 0; n < cut->fft.row; ++n) {
      x[planish_spectral_fft_first(row) + n * PLANISH_FFT_ROWS] = cut->samples[n];
    }
  }
}

static void fill(PlanishComplex *x, uint32_t length)
{
  uint32_t seed = 11;
  for (uint32_t n = 0; n < length; ++n) {
    seed = seed * 1664525U + 1013904223U;
    x[n].re = (float)(int32_t)seed / 4294967296.0F;
    seed = seed * 1664525U + 1013904223U;
    x[n].im = (float)(int32_t)seed / 4294967296.0F;
  }
}

/* rms difference re rms, dB. */
static double apart(const PlanishComplex *x, fftw_complex *truth, double scale, uint32_t length)
{
  double error = 0.0;
  double power = 0.0;
  for (uint32_t n = 0; n < length; ++n) {
    const double re = (double)x[n].re - scale * truth[n][0];
    const double im = (double)x[n].im - scale * truth[n][1];
    error += re * re + im * im;
    power += scale * scale * (truth[n][0] * truth[n][0] + truth[n][1] * truth[n][1]);
  }
  return 10.0 * log10(error / power);
}

static void check_length(uint32_t length)
{
  Cut cut;
  cut_new(&cut, length);
  PlanishComplex *const x = aligned_alloc(64, length * sizeof *x);
  PlanishComplex *const gains = aligned_alloc(64, length * sizeof *gains);
  fftw_complex *const a = fftw_malloc(length * sizeof *a);
  fftw_complex *const b = fftw_malloc(length * sizeof *b);
  fftw_plan forward = fftw_plan_dft_1d((int)length, a, b, FFTW_FORWARD, FFTW_ESTIMATE);
  fftw_plan backward = fftw_plan_dft_1d((int)length, b, a, FFTW_BACKWARD, FFTW_ESTIMATE);
  fill(x, length);
  for (uint32_t n = 0; n < length; ++n) {
    a[n][0] = (double)x[n].re;
    a[n][1] = (double)x[n].im;
  }
  fftw_execute(forward);
  cut_forward(&cut, x);
  const double there = apart(cut.spectrum, b, 1.0, length);
  for (uint32_t k = 0; k < length; ++k) {
    /* i and a number of its own: neither real nor even. */
    const double gain = 0.5 + (double)k / length;
    gains[k] = (PlanishComplex){0.25F, (float)gain};
    const double re = 0.25 * b[k][0] - gain * b[k][1];
    b[k][1] = 0.25 * b[k][1] + gain * b[k][0];
    b[k][0] = re;
  }
  fftw_execute(backward);
  cut_backward(&cut, gains, x);
  const double back = apart(x, a, 1.0, length);
  printf("length %5u: forward off by %.1f dB, with gains and back %.1f dB\n", length, there, back);
  assert_true(there <= -135.0 && back <= -132.0);
  fftw_destroy_plan(forward);
  fftw_destroy_plan(backward);
  fftw_free(a);
  fftw_free(b);
  free(gains);
  free(x);
  cut_free(&cut);
}

static void both_ways_agree_with_the_definition(void **state)
{
  (void)state;
  for (uint32_t length = PLANISH_FFT_SHORTEST; length <= 32768; length *= 2) {
    check_length(length);
  }
}

static uint64_t hash_of_an_engine(void)
{
  enum { FRAMES = 16000 };
  SpectralFixture f;
  spectral_fixture_new(&f, 4096);
  f.swing_db = 10.0;
  double *x = spectral_noise(FRAMES, 4);
  spectral_run(&f, x, NULL, FRAMES, 32);
  spectral_fixture_free(&f);
  uint64_t hash = 14695981039346656037U;
  const unsigned char *bytes = (const unsigned char *)x;
  for (size_t i = 0; i < FRAMES * sizeof *x; ++i) {
    hash = (hash ^ bytes[i]) * 1099511628211U;
  }
  free(x);
  return hash;
}

static void *set_up_and_run(void *result)
{
  *(uint64_t *)result = hash_of_an_engine();
  return NULL;
}

/* FFTW's numbers of its flags, for the library that is opened by name. */
enum { MEASURE = 0, BACK = 1, THERE = -1 };

/* As another plug-in of the host might: measured plans of our lengths in the host's own FFTW. */
static bool plan_elsewhere(void)
{
  void *const library = dlopen("libfftw3f.so.3", RTLD_NOW | RTLD_GLOBAL);
  if (library == NULL) {
    return false;
  }
  void *(*plan)(int, void *, void *, int, unsigned) = NULL;
  void *const symbol = dlsym(library, "fftwf_plan_dft_1d");
  memcpy(&plan, &symbol, sizeof plan);
  for (int length = 64; length <= 4096; length *= 2) {
    float *a = aligned_alloc(64, (size_t)length * 8);
    float *b = aligned_alloc(64, (size_t)length * 8);
    if (plan == NULL || plan(length, a, b, THERE, MEASURE) == NULL ||
        plan(length, a, b, BACK, MEASURE) == NULL) {
      return false;
    }
    free(a);
    free(b);
  }
  return true;
}

static uint64_t hash_in_a_process(int kind)
{
  int ends[2];
  uint64_t hash = 0;
  assert_int_equal(pipe(ends), 0);
  const pid_t child = fork();
  if (child == 0) {
    uint64_t hashes[2] = {0, 0};
    if (kind == 1 && !plan_elsewhere()) {
      printf("skipped: a foreign FFTW (libfftw3f.so.3 cannot be opened)\n");
      fflush(stdout);
    }
    if (kind == 2) {
      pthread_t threads[2];
      for (int i = 0; i < 2; ++i) {
        pthread_create(&threads[i], NULL, set_up_and_run, &hashes[i]);
      }
      for (int i = 0; i < 2; ++i) {
        pthread_join(threads[i], NULL);
      }
      hashes[0] = hashes[0] == hashes[1] ? hashes[0] : 0;
    } else {
      hashes[0] = hash_of_an_engine();
    }
    _exit(write(ends[1], hashes, sizeof *hashes) == sizeof *hashes ? 0 : 1);
  }
  int status = 1;
  close(ends[1]);
  assert_int_equal(read(ends[0], &hash, sizeof hash), sizeof hash);
  close(ends[0]);
  waitpid(child, &status, 0);
  assert_int_equal(status, 0);
  return hash;
}

/* With FFTW_MEASURE instead of FFTW_ESTIMATE every second process has bits of its own. */
static void bits_are_the_same_in_every_process(void **state)
{
  (void)state;
  const uint64_t first = hash_in_a_process(0);
  int others = 0;
  for (int i = 1; i < 8; ++i) {
    others += hash_in_a_process(i) != first;
  }
  printf("results that differ over 8 processes, one after a foreign measured plan, one with two "
         "engines set up from two threads: %d\n",
         others);
  assert_int_equal(others, 0);
}

/* The same (but for the sign of 0) as complex gains of the same numbers make. */
static void real_gains_are_complex_ones_without_phase(void **state)
{
  (void)state;
  for (uint32_t length = PLANISH_FFT_SHORTEST; length <= 8192; length *= 2) {
    Cut cut;
    cut_new(&cut, length);
    PlanishComplex *const x = aligned_alloc(64, length * sizeof *x);
    PlanishComplex *const gains = aligned_alloc(64, length * sizeof *gains);
    float *const real = aligned_alloc(64, length * sizeof *real);
    fill(x, length);
    for (uint32_t k = 0; k <= length / 2; ++k) {
      real[k] = x[k].im;
      gains[k] = gains[(length - k) % length] = (PlanishComplex){real[k], 0.0F};
    }
    memcpy(cut.spectrum, x, length * sizeof *x);
    for (uint32_t part = 0; part < PLANISH_FFT_PARTS / 2; ++part) {
      planish_spectral_fft_backward_part(&cut.fft, cut.spectrum, gains, part);
      planish_spectral_fft_backward_real(&cut.fft, x, real, part);
    }
    for (uint32_t k = 0; k < length; ++k) {
      assert_true(x[k].re == cut.spectrum[k].re && x[k].im == cut.spectrum[k].im);
    }
    free(real);
    free(gains);
    free(x);
    cut_free(&cut);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(both_ways_agree_with_the_definition),
      cmocka_unit_test(real_gains_are_complex_ones_without_phase),
      cmocka_unit_test(bits_are_the_same_in_every_process),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
