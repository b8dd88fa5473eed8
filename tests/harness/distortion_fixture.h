/* Pairs of signals for tests of the account of distortion: a mix, what can be done to it, and both
 * as tracks. */
#ifndef PLANISH_TESTS_DISTORTION_FIXTURE_H
#define PLANISH_TESTS_DISTORTION_FIXTURE_H

#include "common/dsp/biquad.h"
#include "common/dsp/maths.h"
#include "harness/distortion/distortion.h"
#include "tests/harness/files_fixture.h"
#include "tests/unit/cmocka_headers.h"
#include "tests/unit/stems.h"

enum { SOUND_RATE = 48000 };

static inline double sound_noise(uint64_t *seed)
{
  *seed = *seed * 6364136223846793005u + 1442695040888963407u;
  return (double)(*seed >> 11) / 4503599627370496.0 - 1.0;
}

static inline Audio sound_of(size_t frames)
{
  Audio audio = {.frames = frames, .rate = SOUND_RATE};
  for (int c = 0; c < 2; ++c) {
    audio.channel[c] = calloc(frames + 1, sizeof(double));
    if (audio.channel[c] == NULL) {
      abort();
    }
  }
  return audio;
}

/* Plucked notes, bursts of noise twice a second, a bass, hiss up to half the rate: peaks at -6
 * dBFS. */
static inline Audio sound_mix(size_t frames)
{
  Audio audio = sound_of(frames);
  uint64_t seed = 7;
  double low[2] = {0.0, 0.0};
  double peak = 0.0;
  for (size_t n = 0; n < frames; ++n) {
    const double t = (double)n / SOUND_RATE;
    const double note = 110.0 * exp2(floor(4.0 * t * 7.0 / 4.0) / 12.0 - floor(t));
    const double pluck = exp(-4.0 * fmod(t, 0.25));
    const double hit = exp(-25.0 * fmod(t, 0.5));
    for (int c = 0; c < 2; ++c) {
      const double white = sound_noise(&seed);
      low[c] += 0.2 * (white - low[c]);
      double x = 0.3 * sin(2.0 * PLANISH_PI * 55.0 * t) + 0.6 * hit * white + 0.003 * white;
      for (int h = 1; h < 12; ++h) {
        x += 0.25 / h * pluck * sin(2.0 * PLANISH_PI * note * h * t + 0.5 * h * (c + 1));
      }
      audio.channel[c][n] = x + 0.15 * low[c];
      peak = fmax(peak, fabs(audio.channel[c][n]));
    }
  }
  for (size_t n = 0; n < frames; ++n) {
    audio.channel[0][n] *= 0.5 / peak;
    audio.channel[1][n] *= 0.5 / peak;
  }
  return audio;
}

static bool sound_is_invented; /* there are no stems */

/* `seconds` of the stems' mix from the 4th second on; an invented one where there are none. */
static inline Audio sound_music(double seconds)
{
  const size_t frames = (size_t)(seconds * SOUND_RATE);
  const size_t start = 4 * SOUND_RATE;
  Audio stems;
  if (!stems_read(&stems, 1) || stems.frames < start + frames) {
    print_message("no stems: an invented mix instead\n");
    sound_is_invented = true;
    return sound_mix(frames);
  }
  Audio audio = sound_of(frames);
  for (int c = 0; c < 2; ++c) {
    memcpy(audio.channel[c], stems.channel[c] + start, frames * sizeof(double));
  }
  audio_free(&stems);
  return audio;
}

static inline void sound_scale(Audio *audio, double gain)
{
  for (size_t n = 0; n < audio->frames; ++n) {
    audio->channel[0][n] *= gain;
    audio->channel[1][n] *= gain;
  }
}

static inline void sound_clip(Audio *audio, double at)
{
  for (int c = 0; c < 2; ++c) {
    for (size_t n = 0; n < audio->frames; ++n) {
      audio->channel[c][n] = planish_clamp(audio->channel[c][n], -at, at);
    }
  }
}

static inline void sound_filter(double *x, size_t frames, const PlanishBiquadCoefs *coefs)
{
  PlanishBiquad state = {0.0, 0.0};
  for (size_t n = 0; n < frames; ++n) {
    x[n] = planish_biquad_process(&state, coefs, x[n]);
  }
}

/* Left and right become mid and side, or back. */
static inline void sound_to_mid_side(Audio *audio)
{
  for (size_t n = 0; n < audio->frames; ++n) {
    const double left = audio->channel[0][n];
    const double right = audio->channel[1][n];
    audio->channel[0][n] = 0.5 * (left + right);
    audio->channel[1][n] = 0.5 * (left - right);
  }
}

static inline void sound_to_left_right(Audio *audio)
{
  sound_to_mid_side(audio);
  sound_scale(audio, 2.0);
}

/* A bell by the bilinear transform: the usual form of a second-order peak (from memory). */
static inline PlanishBiquadCoefs sound_bell(double hz, double gain_db, double q)
{
  const double w = 2.0 * PLANISH_PI * hz / SOUND_RATE;
  const double root = pow(10.0, gain_db / 40.0);
  const double alpha = sin(w) / (2.0 * q);
  const double a0 = 1.0 + alpha / root;
  return (PlanishBiquadCoefs){(1.0 + alpha * root) / a0, -2.0 * cos(w) / a0,
                              (1.0 - alpha * root) / a0, -2.0 * cos(w) / a0,
                              (1.0 - alpha / root) / a0};
}

static inline PlanishBiquadCoefs sound_high_pass(double hz, double q)
{
  const double w = 2.0 * PLANISH_PI * hz / SOUND_RATE;
  const double alpha = sin(w) / (2.0 * q);
  const double a0 = 1.0 + alpha;
  const double b = 0.5 * (1.0 + cos(w)) / a0;
  return (PlanishBiquadCoefs){b, -2.0 * b, b, -2.0 * cos(w) / a0, (1.0 - alpha) / a0};
}

/* What four moves of a careful hand look like. */
static inline void sound_bells(double *x, size_t frames)
{
  static const double bells[4][3] = {
      {80.0, 1.5, 0.7}, {400.0, -2.0, 1.0}, {3000.0, 1.0, 1.4}, {10000.0, 2.0, 0.7}};
  for (int n = 0; n < 4; ++n) {
    const PlanishBiquadCoefs coefs = sound_bell(bells[n][0], bells[n][1], bells[n][2]);
    sound_filter(x, frames, &coefs);
  }
}

/* Signal `frames` of silence may stand ahead of, and behind. */
static inline PlanishTrack *sound_track(const Audio *audio)
{
  PlanishError error = {0};
  PlanishTrack *track = planish_track_new(in_folder("x"), audio->frames, &error);
  assert_non_null(track);
  float piece[2 * 1024];
  for (size_t at = 0; at < audio->frames; at += 1024) {
    const size_t count = audio->frames - at < 1024 ? audio->frames - at : 1024;
    for (size_t n = 0; n < count; ++n) {
      piece[2 * n] = (float)audio->channel[0][at + n];
      piece[2 * n + 1] = (float)audio->channel[1][at + n];
    }
    assert_true(planish_track_write(track, piece, count, &error));
  }
  return track;
}

static inline void sound_print(const char *name, const PlanishDistortion *d)
{
  printf("%-34s not linear %7.2f, level %7.2f, distortion %7.2f dB, gain %+.2f %+.2f mean %.3f, "
         "NMR p95 %6.1f, audible %5.1f %%, won %+.2f LU\n",
         name, d->not_linear, d->level, d->distortion, d->gain_lowest, d->gain_highest,
         d->gain_mean, d->nmr_p95, 100.0 * d->audible, d->loudness_won);
  fflush(stdout);
}

static inline PlanishDistortion sound_account(const char *name, const Audio *before,
                                              const Audio *after)
{
  PlanishError error = {0};
  PlanishTrack *from = sound_track(before);
  PlanishTrack *to = sound_track(after);
  PlanishDistortion found;
  assert_true(planish_distortion_pair(from, to, before->rate, &found, &error));
  planish_track_free(from);
  planish_track_free(to);
  sound_print(name, &found);
  return found;
}

#endif
