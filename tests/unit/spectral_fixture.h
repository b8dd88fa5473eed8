/* An engine under a simple law: one gain on all bins, which may stand or swing. */
#ifndef PLANISH_TESTS_SPECTRAL_FIXTURE_H
#define PLANISH_TESTS_SPECTRAL_FIXTURE_H

#include "tests/unit/cmocka_headers.h"

#include "common/dsp/maths.h"
#include "common/dsp/spectral_bins.h"
#include "tests/unit/arena_fixture.h"

typedef struct {
  PlanishSpectralEngine engine;
  void *block;
  float added;     /* the gain less 1 */
  double swing_db; /* 0: `added` stands; else the gain swings so far down, twice a second */
  double delay;    /* if not 0: instead of all this, so many samples */
  double power;    /* of the last spectrum, all bins */
  double dip;      /* 0: on all bins alike; else its centre in Hz, Q 30 */
  double rate;
  uint32_t hops;
} SpectralFixture;

enum { LAW_STEPS = 8, LAW_COST = 12 };

static inline void law_begin(void *context)
{
  SpectralFixture *const f = context;
  if (f->swing_db > 0.0) {
    const double time = (double)f->hops * f->engine.hop / f->rate;
    const double db = 0.5 * f->swing_db * (sin(4.0 * PLANISH_PI * time) - 1.0);
    f->added = (float)(planish_gain_of(db) - 1.0);
  }
  ++f->hops;
  f->power = 0.0;
}

static inline void law_lay(void *context, uint32_t index)
{
  SpectralFixture *const f = context;
  const uint32_t share = f->engine.length / 2 / LAW_STEPS;
  const uint32_t last = index == LAW_STEPS - 1 ? 1 : 0;
  for (uint32_t k = index * share; k < (index + 1) * share + last; ++k) {
    double part = 1.0;
    if (f->dip > 0.0 && k > 0) {
      const double at = k * f->rate / f->engine.length / f->dip;
      const double off = 30.0 * (at - 1.0 / at);
      part = 1.0 / (1.0 + off * off);
    }
    PlanishComplex added = {(float)(part * (double)f->added), 0.0F};
    if (f->delay != 0.0) {
      const double turn = -2.0 * PLANISH_PI * k * f->delay / f->engine.length;
      added = (PlanishComplex){(float)(cos(turn) - 1.0), (float)sin(turn)};
    }
    planish_spectral_engine_lay(&f->engine, k, added);
    f->power += (double)planish_spectral_engine_power(&f->engine, k);
  }
}

static inline void spectral_fixture_reset(SpectralFixture *f)
{
  const PlanishTask task = {law_lay, f, LAW_STEPS, LAW_COST};
  planish_spectral_engine_reset(&f->engine, &(PlanishSpectralLaw){law_begin, f, &task, 1, false});
  f->hops = 0;
}

static inline void spectral_fixture_new(SpectralFixture *f, uint32_t length)
{
  memset(f, 0, sizeof *f);
  PlanishArena counting = planish_arena_counting();
  assert_int_equal(planish_spectral_engine_setup(&f->engine, &counting, length), PLANISH_OK);
  PlanishArena arena = arena_for(counting);
  f->block = arena.block;
  f->rate = 48000.0;
  assert_int_equal(planish_spectral_engine_setup(&f->engine, &arena, length), PLANISH_OK);
  assert_int_equal(arena.used, counting.used);
  spectral_fixture_reset(f);
}

static inline void spectral_fixture_free(SpectralFixture *f)
{
  planish_spectral_engine_release(&f->engine);
  planish_spectral_engine_release(&f->engine);
  free(f->block);
}

/* In place, in random blocks of 1..`most` frames; `right` may be NULL. */
static inline void spectral_run(SpectralFixture *f, double *left, double *right, uint32_t frames,
                                uint32_t most)
{
  uint32_t seed = 1;
  for (uint32_t at = 0; at < frames;) {
    seed = seed * 1664525U + 1013904223U;
    uint32_t block = 1 + (seed >> 8) % most;
    block = block > frames - at ? frames - at : block;
    double *const audio[2] = {left + at, right == NULL ? NULL : right + at};
    planish_spectral_engine_process(&f->engine, audio, right == NULL ? 1 : 2, block);
    at += block;
  }
}

/* White, within +-0.5; free() it. */
static inline double *spectral_noise(uint32_t frames, uint32_t seed)
{
  double *x = malloc(frames * sizeof *x);
  assert_non_null(x);
  for (uint32_t n = 0; n < frames; ++n) {
    seed = seed * 1664525U + 1013904223U;
    x[n] = (double)(int32_t)seed / 4294967296.0;
  }
  return x;
}

static inline double *spectral_copy(const double *x, uint32_t frames)
{
  double *y = malloc(frames * sizeof *y);
  assert_non_null(y);
  memcpy(y, x, frames * sizeof *y);
  return y;
}

#endif
