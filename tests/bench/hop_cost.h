/* What a hop of a spectral stage costs beside FFTW's bare transforms, and how evenly it falls on
 * blocks. Thread CPU time, the least of many rounds: what other processes take is not counted. */
#ifndef PLANISH_TESTS_HOP_COST_H
#define PLANISH_TESTS_HOP_COST_H

#include <fftw3.h>
#include <stdint.h>
#include <string.h>
#include <time.h>

enum { ROUNDS = 300 };

static inline double seconds(void)
{
  struct timespec now;
  clock_gettime(CLOCK_THREAD_CPUTIME_ID, &now);
  return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

/* What reading the clock takes, which is no part of a block. */
static inline double clock_time(void)
{
  double least = 1.0;
  for (int round = 0; round < ROUNDS; ++round) {
    const double start = seconds();
    const double time = seconds() - start;
    least = time < least ? time : least;
  }
  return least;
}

typedef struct {
  double hop;   /* seconds */
  double worst; /* block over the mean */
} Cost;

/* Of a hop of `blocks` blocks, each of which block() runs and times. */
static inline Cost cost_of_hop(double (*block)(void *context), void *context, uint32_t blocks)
{
  enum { MOST_BLOCKS = 1600 };
  static double least[MOST_BLOCKS];
  Cost cost = {0.0, 0.0};
  for (uint32_t b = 0; b < blocks; ++b) {
    least[b] = 1.0;
  }
  for (uint32_t round = 0; round < ROUNDS * blocks; ++round) {
    const double time = block(context);
    least[round % blocks] = time < least[round % blocks] ? time : least[round % blocks];
  }
  const double clock = clock_time();
  for (uint32_t b = 0; b < blocks; ++b) {
    least[b] -= clock;
    cost.hop += least[b];
    cost.worst = least[b] > cost.worst ? least[b] : cost.worst;
  }
  cost.worst *= blocks / cost.hop;
  return cost;
}

/* A complex transform in one go, seconds. */
static inline double bare_time(uint32_t length)
{
  fftwf_complex *const a = fftwf_alloc_complex(length);
  fftwf_complex *const b = fftwf_alloc_complex(length);
  fftwf_plan plan = fftwf_plan_dft_1d((int)length, a, b, FFTW_FORWARD, FFTW_ESTIMATE);
  double least = 1.0;
  memset(a, 0, length * sizeof *a);
  for (int round = 0; round < ROUNDS; ++round) {
    const double start = seconds();
    fftwf_execute(plan);
    const double time = seconds() - start;
    least = time < least ? time : least;
  }
  fftwf_destroy_plan(plan);
  fftwf_free(a);
  fftwf_free(b);
  return least - clock_time();
}

#endif
