/* Plays a result at the loudness of the input: a listening aid.
 *
 * The gain is the ratio of the K-weighted powers (ITU-R BS.1770-4 Annex 1) of the delayed input
 * and the result, over a window that begins anew after each change of a control and grows to 3 s,
 * then one pole of that time. So a change is settled within a fraction of a second, and what is
 * settled is calm. The gain stands still while the input is under -60 LUFS, and stays within
 * +-24 dB.
 *
 * While it works it also reads the loudness of both, as one pole of 3 s whatever controls do: the
 * result's before the gain.
 *
 * Thread: audio. All but set-up are real-time safe. */
#ifndef PLANISH_FRAME_MATCH_H
#define PLANISH_FRAME_MATCH_H

#include "common/dsp/glide.h"
#include "common/dsp/k_weighting.h"

#include <stdbool.h>
#include <stdint.h>

/* The values of the port loudness_match. */
typedef enum {
  PLANISH_MATCH_OFF = 0,
  PLANISH_MATCH_FOLLOW = 1,
  PLANISH_MATCH_HOLD = 2,
} PlanishMatchMode;

typedef struct {
  PlanishKWeightingCoefs coefs;
  PlanishKWeighting weighting[2][2]; /* [input, result][channel] */
  PlanishGlide gain;                 /* dB */
  double power[2];                   /* mean over the window; of the input, of the result */
  double sum[2][2];                  /* over the grid interval so far; [input, result][channel] */
  double reading[2];                 /* mean power for those who look; input, result */
  uint32_t read;                     /* grid intervals in it, up to 3 s */
  double input_now;                  /* mean power of the input over some 100 ms */
  double now_share;                  /* what a grid interval adds to it */
  uint32_t delay;                    /* grid intervals from a change to its whole effect */
  uint32_t waiting;                  /* of these, still to come */
  uint32_t heard;                    /* grid intervals in the window */
  uint32_t shortest;                 /* the window before its first result counts */
  uint32_t longest;                  /* 3 s */
  uint32_t arrival;                  /* the part of delay beyond the latency */
  uint32_t phase;                    /* frames since the last grid frame */
  PlanishMatchMode mode;
  bool again;  /* a control changed while one before it was still awaited */
  bool frozen; /* `hold` has its gain */
  bool rests;  /* what is played is not the stage's result */
} PlanishMatch;

void planish_match_setup(PlanishMatch *match, PlanishArena *arena, double rate);

/* Off, at 0 dB. */
void planish_match_reset(PlanishMatch *match);

/* At a grid frame. */
void planish_match_set_mode(PlanishMatch *match, PlanishMatchMode mode);

/* A control that changes the sound was moved, at a grid frame; the result follows `latency` frames
 * later. */
void planish_match_restart(PlanishMatch *match, uint32_t latency);

/* The stage was reset, at a grid frame; its result is whole again `latency` frames later. What was
 * heard of it so far counts no more. */
void planish_match_discard(PlanishMatch *match, uint32_t latency);

/* While the stage plays something for listening alone the gain stands still: it belongs to the
 * whole, and a small part of that raised to the loudness of all would be followed by all of it
 * raised as much. At a grid frame; latency as above. */
void planish_match_rest(PlanishMatch *match, bool rests, uint32_t latency);

/* Off, and its gain has arrived at 0 dB: there is nothing to do. */
static inline bool planish_match_is_idle(const PlanishMatch *match)
{
  return match->mode == PLANISH_MATCH_OFF && !planish_glide_is_moving(&match->gain) &&
         match->gain.target == 0.0;
}

/* Looks at `frames` frames up to the next grid frame (not across it) of the delayed input and of
 * the result, and turns the result up or down in place. */
void planish_match_process(PlanishMatch *match, const double *const input[2],
                           double *const result[2], uint32_t frames);

/* dB. */
static inline double planish_match_gain(const PlanishMatch *match)
{
  return match->gain.value;
}

/* Loudness of the input (0) or of the result (1), LUFS; PLANISH_MATCH_NOTHING while it is less, or
 * the match is off. */
#define PLANISH_MATCH_NOTHING (-70.0)
double planish_match_loudness(const PlanishMatch *match, int which);

#endif
