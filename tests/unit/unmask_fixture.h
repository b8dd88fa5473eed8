/* The unmasking equaliser's law on whole signals, and signals of which the truth is known. */
#ifndef PLANISH_TESTS_UNMASK_FIXTURE_H
#define PLANISH_TESTS_UNMASK_FIXTURE_H

#include "plugins/unmask/law.h"
#include "tests/unit/arena_fixture.h"
#include "tests/unit/long_spectra.h"
#include "ttl/unmask_ports.h"

/* The port's defaults, but for the range: all that there is. */
static inline UnmaskSettings whole_range(void)
{
  return (UnmaskSettings){0.5, 3.0, 2.0, 0.0, 1.5, {{80.0, 14000.0}, {1.0, 0.0}}};
}

/* What the moves of all bands did over a signal. */
typedef struct {
  double largest;            /* of any band at any moment, dB */
  double ripple;             /* the widest way of any band once settled, dB */
  double steepest;           /* dB a second */
  double mean[UNMASK_BANDS]; /* once settled */
  double frequency[UNMASK_BANDS];
  double hidden; /* mean over bands and time, of what counts (over 0), dB */
  uint32_t bands;
} Watched;

/* What is told of the moves is what they are. */
static inline void check_readings(const UnmaskLaw *law)
{
  uint32_t most = 0;
  uint32_t least = 0;
  for (uint32_t i = 1; i < law->bands.count; ++i) {
    most = law->moves.move[i] > law->moves.move[most] ? i : most;
    least = law->moves.move[i] < law->moves.move[least] ? i : least;
  }
  const double lift = fmax(law->moves.move[most], 0.0);
  const double cut = fmax(-law->moves.move[least], 0.0);
  const double *const frequency = law->bands.frequency;
  assert_true(law->largest_lift.db == lift && law->largest_cut.db == cut);
  assert_true(law->largest_lift.frequency == (lift > 0.0 ? frequency[most] : 0.0));
  assert_true(law->largest_cut.frequency == (cut > 0.0 ? frequency[least] : 0.0));
}

/* Settled is what comes after `from` seconds. */
static inline Watched watch(const Audio *audio, const UnmaskSettings *settings, double from)
{
  static UnmaskLaw law;
  memset(&law, 0, sizeof law);
  PlanishArena counting = planish_arena_counting();
  assert_int_equal(unmask_law_setup(&law, &counting, audio->rate), PLANISH_OK);
  PlanishArena arena = arena_for(counting);
  assert_int_equal(unmask_law_setup(&law, &arena, audio->rate), PLANISH_OK);
  unmask_law_reset(&law);
  unmask_law_set(&law, settings);

  Watched watched = {.bands = law.bands.count};
  double last[UNMASK_BANDS] = {0.0};
  double lowest[UNMASK_BANDS];
  double highest[UNMASK_BANDS];
  uint32_t settled = 0;
  const uint32_t hop = law.engine.hop;
  double samples[2][PLANISH_SPECTRAL_BLOCK];
  double *const channels[2] = {samples[0], samples[1]};
  for (size_t at = 0; at + hop <= audio->frames; at += hop) {
    for (uint32_t n = 0; n < hop; n += PLANISH_SPECTRAL_BLOCK) {
      memcpy(samples[0], audio->channel[0] + at + n, sizeof samples[0]);
      memcpy(samples[1], audio->channel[1] + at + n, sizeof samples[1]);
      unmask_law_process(&law, channels, 2, PLANISH_SPECTRAL_BLOCK);
    }
    check_readings(&law);
    const bool counts = (double)at / audio->rate >= from;
    for (uint32_t i = 0; i < law.bands.count; ++i) {
      const double move = law.moves.move[i];
      watched.largest = fmax(watched.largest, fabs(move));
      watched.steepest = fmax(watched.steepest, fabs(move - last[i]) * audio->rate / hop);
      last[i] = move;
      if (counts) {
        lowest[i] = settled == 0 ? move : fmin(lowest[i], move);
        highest[i] = settled == 0 ? move : fmax(highest[i], move);
        watched.mean[i] += move;
        watched.ripple = fmax(watched.ripple, highest[i] - lowest[i]);
        watched.hidden += fmax(0.0, law.moves.hidden[i]);
      }
    }
    settled += counts ? 1 : 0;
  }
  for (uint32_t i = 0; i < law.bands.count; ++i) {
    watched.mean[i] /= settled;
    watched.frequency[i] = law.bands.frequency[i];
  }
  watched.hidden /= (double)settled * law.bands.count;
  unmask_law_release(&law);
  free(arena.block);
  return watched;
}

static inline double largest_mean(const Watched *watched)
{
  double largest = 0.0;
  for (uint32_t i = 0; i < watched->bands; ++i) {
    largest = fmax(largest, fabs(watched->mean[i]));
  }
  return largest;
}

/* Adds noise of equal power in every octave of a range, at a level (dB of mean square, a channel),
 * the same in neither channel, 24 s at 48 kHz. */
static inline void add_noise(Audio *audio, uint32_t seed, double from, double to, double level)
{
  Audio noise = pink_noise(seed);
  const size_t length = noise.frames;
  double *const x = fftw_malloc(length * sizeof *x);
  Bin *const bins = fftw_malloc((length / 2 + 1) * sizeof *bins);
  fftw_plan there = fftw_plan_dft_r2c_1d((int)length, x, (fftw_complex *)bins, FFTW_ESTIMATE);
  fftw_plan back = fftw_plan_dft_c2r_1d((int)length, (fftw_complex *)bins, x, FFTW_ESTIMATE);
  for (int c = 0; c < 2; ++c) {
    memcpy(x, noise.channel[c], length * sizeof *x);
    fftw_execute(there);
    for (size_t k = 0; k <= length / 2; ++k) {
      const double hz = (double)k * noise.rate / (double)length;
      const double inside = hz >= from && hz <= to ? 1.0 : 0.0;
      bins[k][0] *= inside;
      bins[k][1] *= inside;
    }
    fftw_execute(back);
    double power = 0.0;
    for (size_t n = 0; n < length; ++n) {
      power += x[n] * x[n];
    }
    const double gain = pow(10.0, level / 20.0) / sqrt(power / (double)length);
    for (size_t n = 0; n < length; ++n) {
      audio->channel[c][n] += gain * x[n];
    }
  }
  fftw_destroy_plan(there);
  fftw_destroy_plan(back);
  fftw_free(x);
  fftw_free(bins);
  audio_free(&noise);
}

static inline Audio silence_of(double rate, size_t frames)
{
  Audio audio = {.frames = frames, .rate = rate};
  audio.channel[0] = calloc(frames, sizeof(double));
  audio.channel[1] = calloc(frames, sizeof(double));
  return audio;
}

#endif
