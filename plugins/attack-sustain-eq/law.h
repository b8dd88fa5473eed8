/* The law of the stage: an engine, the share of each bin that is attack, and one gain for both
 * parts.
 *
 *   gain = attack's curve * share + sustain's curve * (1 - share)
 *
 * laid as what it adds to 1, so that both parts add up to the input whatever the shares are.
 *
 * Thread: one at a time. All but setup and release are real-time safe. */
#ifndef PLANISH_ATTACK_SUSTAIN_EQ_LAW_H
#define PLANISH_ATTACK_SUSTAIN_EQ_LAW_H

#include "common/dsp/arena.h"
#include "common/dsp/spectral_engine.h"
#include "plugins/attack-sustain-eq/shares.h"
#include "plugins/attack-sustain-eq/tone.h"

#include <stdbool.h>

enum { ATTACK_LAW_PARTS = 16 };

typedef struct {
  AttackSharesSettings shares;
  ToneSettings attack;
  ToneSettings sustain;
} AttackSettings;

/* What a frequency is moved by. */
typedef struct {
  float gain; /* a factor; 1: nothing */
  uint32_t bin;
} AttackMove;

typedef struct {
  PlanishSpectralEngine engine;
  AttackShares shares;
  AttackSettings wanted; /* taken over at the start of each hop */
  Tone attack;
  Tone sustain;
  bool set;            /* `wanted` has changed */
  bool turned;         /* ... since the hop before: curves are made anew */
  bool listening;      /* somebody listens to a part: taken over likewise */
  float *powers;       /* [most ahead + 1][bins], a ring: the input's */
  float *attack_curve; /* gains by bin */
  float *sustain_curve;
  float *share;       /* of the bins under work, ... */
  float *added;       /* ... what their gains add, ... */
  float *far;         /* ... and how far they are from 1 */
  uint32_t read_bins; /* so many from the lowest on are read for moves */
  uint32_t most_ahead;
  uint32_t ahead;
  uint32_t newest; /* place in the ring */
  double rate;
  double hop_keep;     /* how much of the readings a hop leaves */
  double power;        /* running sums over bins: of the input, ... */
  double attack_power; /* ... of what counts as attack, ... */
  double result_power; /* ... and of the result */
  AttackMove moving;   /* the largest of the hop under work so far, ... */
  AttackMove moved;    /* ... and of the hop before */
} AttackLaw;

/* `longest` is the largest median time, ms. PLANISH_NO_MEMORY where there is no plan. */
PlanishStatus attack_law_setup(AttackLaw *law, PlanishArena *arena, double rate, double longest);

/* With a look-ahead in hops. */
void attack_law_reset(AttackLaw *law, uint32_t ahead);

/* In force from the next hop on. */
void attack_law_set(AttackLaw *law, const AttackSettings *settings);

/* points: attack and sustain as they are in the result, or NULL when nobody listens. */
void attack_law_process(AttackLaw *law, double *const *audio, double *(*points)[2],
                        uint32_t channels, uint32_t frames);

/* Frame of the engine and hops of a look-ahead, at a rate. */
uint32_t attack_law_length(double rate);
uint32_t attack_law_hops(double rate, double ms);

/* Over the last third of a second: the share of the power that counts as attack, 0..1, and the
 * change of gain in dB. */
double attack_law_share(const AttackLaw *law);
double attack_law_change(const AttackLaw *law);

/* The largest move of any frequency that is heard, up to 24 kHz, in the hop before: dB, and where,
 * Hz; 0 where nothing is moved. */
double attack_law_largest(const AttackLaw *law);
double attack_law_largest_freq(const AttackLaw *law);

/* Fine on zeros, and twice. */
void attack_law_release(AttackLaw *law);

#endif
