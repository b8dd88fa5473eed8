#include "presets-demo/mix/singer.h"

#include "presets-demo/mix/arithmetic.h"
#include "presets-demo/mix/filter.h"
#include "presets-demo/mix/random.h"
#include "presets-demo/mix/score.h"
#include "presets-demo/mix/struck.h"

#include <stdbool.h>
#include <string.h>

enum { FORMANTS = 5, GRID = 32, MOST_HARMONICS = 90 };

/* Averages of men's vowels (Peterson, Barney 1952, from memory), raised a little; two more above.
 */
typedef struct {
  double hertz[FORMANTS];
  double level[FORMANTS]; /* dB */
} Vowel;

static const char vowel_names[] = "aeiou";
static const Vowel vowels[] = {
    {{760.0, 1180.0, 2600.0, 3300.0, 4500.0}, {0.0, -3.0, -10.0, -11.0, -15.0}},
    {{560.0, 1880.0, 2620.0, 3350.0, 4500.0}, {0.0, -7.0, -9.0, -11.0, -15.0}},
    {{330.0, 2250.0, 2950.0, 3500.0, 4600.0}, {0.0, -10.0, -10.0, -11.0, -15.0}},
    {{590.0, 920.0, 2500.0, 3250.0, 4400.0}, {0.0, -4.0, -14.0, -13.0, -18.0}},
    {{350.0, 900.0, 2350.0, 3200.0, 4300.0}, {0.0, -11.0, -18.0, -16.0, -22.0}},
};

static const double bandwidths[FORMANTS] = {110.0, 120.0, 160.0, 220.0, 300.0};

typedef struct {
  PlanishDemoRandom random;
  PlanishDemoFilter formant[FORMANTS];
  double hertz[FORMANTS]; /* where the formants are now */
  double gain[FORMANTS];
  double pitch; /* now, semitones */
  double drift; /* slow wander of the pitch, semitones */
  double turns;
  double vibrato;
  double loudness;
  double source_low; /* of the one-pole tilt */
  double tilt;
  double slope[MOST_HARMONICS]; /* 1/k */
} Singer;

/* The next but one degree of E minor above a pitch of the scale; a minor third above any other. */
static double third_above(double pitch)
{
  static const int minor[] = {0, 2, 3, 5, 7, 8, 10, 12, 14};
  const int above = ((int)pitch - 40) % 12;
  for (size_t i = 0; i + 2 < sizeof minor / sizeof minor[0]; ++i) {
    if (minor[i] == above) {
      return pitch + (double)(minor[i + 2] - minor[i]);
    }
  }
  return pitch + 3.0;
}

/* Harmonics 1 .. K of equal slope 1/k, faded out where they near the top of the band. */
static double harmonics(const double *slope, double turns, double hertz)
{
  const double twice = 2.0 * planish_demo_cosine(turns);
  double before = 0.0;
  double now = planish_demo_sine(turns);
  double sum = 0.0;
  double room = 17000.0 / 3000.0;
  for (int k = 0; k < MOST_HARMONICS; ++k) {
    room -= hertz / 3000.0;
    if (room <= 0.0) {
      break;
    }
    sum += now * planish_min(1.0, room) * slope[k];
    const double next = twice * now - before;
    before = now;
    now = next;
  }
  return sum;
}

static void move_mouth(Singer *singer, const Vowel *vowel, double share)
{
  for (size_t i = 0; i < FORMANTS; ++i) {
    singer->hertz[i] += share * (vowel->hertz[i] - singer->hertz[i]);
    singer->gain[i] += share * (planish_gain_of(vowel->level[i]) - singer->gain[i]);
    planish_demo_filter_tune(&singer->formant[i],
                             (PlanishDemoBand){PLANISH_DEMO_BAND_PASS, singer->hertz[i],
                                               singer->hertz[i] / bandwidths[i], 0.0},
                             PLANISH_DEMO_RATE);
  }
}

static double through_mouth(Singer *singer, double x)
{
  double sum = 0.0;
  for (size_t i = 0; i < FORMANTS; ++i) {
    /* Signs in turn, so that neighbours add up between their peaks. */
    const double gain = i % 2 == 0 ? singer->gain[i] : -singer->gain[i];
    sum += gain * planish_demo_filter_process(&singer->formant[i], x);
  }
  return sum;
}

typedef struct {
  double pitch;
  double held;  /* seconds since the note began */
  double asked; /* loudness */
  double speed; /* share a frame towards it */
  double glide; /* share a frame towards the pitch */
} Moment;

static double sung_frame(Singer *singer, const Moment *moment)
{
  singer->pitch += moment->glide * (moment->pitch - singer->pitch);
  singer->loudness += moment->speed * (moment->asked - singer->loudness);
  singer->drift += 0.0006 * (0.5 * planish_demo_random_even(&singer->random) - singer->drift);
  singer->vibrato += 5.4 / PLANISH_DEMO_RATE;
  const double depth = 0.28 * planish_smoothstep((moment->held - 0.22) / 0.5);
  const double wave = depth * planish_demo_sine(singer->vibrato);
  const double hertz = planish_demo_hertz(singer->pitch + wave + 4.0 * singer->drift);
  singer->turns += hertz / PLANISH_DEMO_RATE;
  singer->turns = singer->turns >= 1.0 ? singer->turns - 1.0 : singer->turns;
  const double tone = harmonics(singer->slope, singer->turns, hertz);
  const double breath = 0.05 * planish_demo_random_even(&singer->random);
  /* A louder voice is also a brighter one. */
  const double x = singer->loudness * (tone * (1.0 + 0.12 * wave) + breath);
  singer->source_low += singer->tilt * (x - singer->source_low);
  const double bright = 0.35 + 0.65 * singer->loudness;
  return through_mouth(singer, singer->source_low + bright * 0.5 * (x - singer->source_low));
}

static void consonant(char onset, double at, double force, PlanishDemoRandom *random, double *line,
                      size_t frames)
{
  const bool hissed = onset == 's';
  const double ahead = (hissed ? 0.085 : 0.02) * PLANISH_DEMO_RATE;
  if ((onset != 's' && onset != 't') || at < ahead || at >= (double)frames) {
    return;
  }
  const PlanishDemoNoise noise = hissed ? (PlanishDemoNoise){5200.0, 11000.0, 0.02, 0.2, 0.20}
                                        : (PlanishDemoNoise){2600.0, 8000.0, 0.0, 0.035, 0.35};
  PlanishDemoNoise scaled = noise;
  scaled.level *= force;
  const size_t start = (size_t)(at - ahead);
  planish_demo_hiss(scaled, random, line + start, frames - start);
}

/* Air drawn in ahead of a phrase. */
static void breathe(double at, double force, PlanishDemoRandom *random, double *line, size_t frames)
{
  const double ahead = 0.34 * PLANISH_DEMO_RATE;
  if (at < ahead + 0.3 * PLANISH_DEMO_RATE || at >= (double)frames) {
    return;
  }
  const size_t start = (size_t)(at - ahead);
  const size_t length = frames - start < 14400 ? frames - start : 14400;
  planish_demo_hiss((PlanishDemoNoise){1300.0, 5500.0, 0.12, 0.7, 0.05 * force}, random,
                    line + start, length);
}

static double force_of(const PlanishDemoSyllable *syllable)
{
  const size_t bar = (size_t)(syllable->at / (double)PLANISH_DEMO_STEPS);
  switch (planish_demo_score_section(bar)) {
  case PLANISH_DEMO_QUIET:
    return 0.42;
  case PLANISH_DEMO_VERSE:
    return 0.78;
  case PLANISH_DEMO_CHORUS:
  default:
    return 1.0;
  }
}

static void sing_syllable(Singer *singer, const PlanishDemoTake *take,
                          const PlanishDemoSyllable *syllable, bool first, double *line,
                          size_t frames)
{
  const double late = take->late + 0.007 * planish_demo_random_bell(&singer->random);
  const double at = planish_demo_score_frame(syllable->at) + late * PLANISH_DEMO_RATE;
  const double stop = planish_demo_score_frame(syllable->at + syllable->steps - 0.25);
  const double sung = take->thirds ? third_above(syllable->pitch) : syllable->pitch;
  const double force =
      force_of(syllable) * (1.0 + 0.12 * planish_demo_random_bell(&singer->random));
  const Vowel *vowel = &vowels[strchr(vowel_names, syllable->vowel) - vowel_names];
  Moment moment = {sung + take->detune, 0.0, force, planish_demo_approach(0.025),
                   planish_demo_approach(syllable->onset == '-' ? 0.05 : 0.022)};
  if (first) {
    breathe(at, force, &singer->random, line, frames);
    singer->pitch = moment.pitch - 1.2;
  }
  consonant(syllable->onset, at, force, &singer->random, line, frames);
  /* The tail of 0.25 s is sung into silence or, shorter, into the next syllable's start. */
  const size_t end = (size_t)stop;
  for (size_t n = (size_t)at; n < end && n < frames; ++n) {
    if ((n - (size_t)at) % GRID == 0) {
      move_mouth(singer, vowel, 0.02);
    }
    moment.held += 1.0 / PLANISH_DEMO_RATE;
    line[n] += sung_frame(singer, &moment);
  }
}

/* The voice dies away after a syllable, up to where the next one starts. */
static void let_go(Singer *singer, double from_step, double to_frame, double *line, size_t frames)
{
  Moment moment = {singer->pitch - 0.3, 0.0, 0.0, planish_demo_approach(0.03),
                   planish_demo_approach(0.1)};
  for (size_t n = (size_t)planish_demo_score_frame(from_step - 0.25);
       n < (size_t)to_frame && n < frames; ++n) {
    line[n] += sung_frame(singer, &moment);
    if (singer->loudness < 1e-5) {
      break;
    }
  }
}

void planish_demo_sing(const PlanishDemoTake *take, double *line, size_t frames)
{
  size_t count;
  const PlanishDemoSyllable *song = planish_demo_score_song(&count);
  Singer singer = {.random = planish_demo_random(take->seed), .pitch = 60.0};
  singer.tilt = planish_demo_approach(1.0 / (2.0 * PLANISH_PI * 2200.0));
  move_mouth(&singer, &vowels[0], 1.0);
  for (int k = 0; k < MOST_HARMONICS; ++k) {
    singer.slope[k] = 1.0 / (double)(k + 1);
  }
  double sung_to = -100.0;
  for (size_t i = 0; i < count; ++i) {
    const size_t bar = (size_t)(song[i].at / (double)PLANISH_DEMO_STEPS);
    if (bar < take->from_bar || bar >= take->to_bar) {
      continue;
    }
    const bool first = song[i].at - sung_to > 1.5;
    sing_syllable(&singer, take, &song[i], first, line, frames);
    sung_to = song[i].at + song[i].steps;
    const double next = i + 1 < count ? planish_demo_score_frame(song[i + 1].at) : (double)frames;
    let_go(&singer, sung_to, next, line, frames);
  }
}
