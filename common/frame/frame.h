/* The frame that a stage stands in: one instance of it, without the LV2 ABI (descriptor.c).
 *
 * What happens to a block, in this order: the input is cleaned; `channels` picks what the stage
 * gets; the stage works; mix; output gain; loudness match; listen; bypass; the fade of a switch in
 * silence. All of it acts on the difference between the stage's result and its delayed input, in
 * double precision, so what the stage leaves alone comes out bit for bit.
 *
 * Clean means: NaN, Inf, denormals, and whatever is over 2^20 (+120 dB) are 0.
 *
 * Thread: new and free from any thread; the rest one at a time. activate and run are real-time
 * safe. */
#ifndef PLANISH_FRAME_FRAME_H
#define PLANISH_FRAME_FRAME_H

#include "common/dsp/crossfade.h"
#include "common/dsp/delay.h"
#include "common/dsp/glide.h"
#include "common/frame/controls.h"
#include "common/frame/match.h"
#include "common/frame/stage.h"

/* The values of the port `channels`. */
typedef enum {
  PLANISH_CHANNELS_STEREO = 0,
  PLANISH_CHANNELS_MID = 1,
  PLANISH_CHANNELS_SIDE = 2,
  PLANISH_CHANNELS_LEFT = 3,
  PLANISH_CHANNELS_RIGHT = 4,
} PlanishChannels;

/* The values of the port `listen`; further ones are the stage's points. */
typedef enum {
  PLANISH_LISTEN_RESULT = 0,
  PLANISH_LISTEN_DIFFERENCE = 1,
  PLANISH_LISTEN_POINTS = 2,
} PlanishListen;

/* A switch of marked controls in silence: fade out, reset, wait until the new latency is filled,
 * fade in. */
typedef struct {
  PlanishCrossfade fade; /* old end: silence */
  uint32_t filling;      /* frames left until the stage's result is whole after the reset */
} PlanishSwitch;

/* Scratch for the frames between two grid frames. */
typedef struct {
  double dry[2][PLANISH_GRID];       /* delayed input */
  double wet[2][PLANISH_GRID];       /* the stage's result, in its own channels */
  double reference[2][PLANISH_GRID]; /* delayed input times the stage's plain gain, likewise */
  double point[PLANISH_MAX_POINTS][2][PLANISH_GRID];
  double out[2][PLANISH_GRID];
  double heard[2][2][PLANISH_GRID]; /* [listening old, new] */
} PlanishScratch;

typedef struct {
  const PlanishStage *stage;
  void *state;
  double rate;
  PlanishControls controls;
  PlanishChannels channels;
  PlanishDelay delay[2];
  uint32_t latency;
  PlanishGlide mix;         /* 0..1 */
  PlanishGlide output_gain; /* dB */
  PlanishMatch match;
  PlanishCrossfade match_heard; /* new: the difference is taken after the match */
  PlanishCrossfade listen_fade;
  uint32_t listen_old;
  uint32_t listen_new;
  PlanishCrossfade bypass; /* old: the delayed input; new: the result */
  PlanishSwitch switching;
  PlanishScratch scratch;
  uint32_t phase; /* frames since the last grid frame */
  bool fresh;     /* no frame since activate */
} PlanishFrame;

/* NULL and *status when memory is short or the stage refuses the rate. */
PlanishFrame *planish_frame_new(const PlanishStage *stage, double rate, PlanishStatus *status);

void planish_frame_free(PlanishFrame *frame);

/* buffer: of a control one float, of audio as many as run() is told; NULL disconnects. */
void planish_frame_connect(PlanishFrame *frame, uint32_t port, void *buffer);

void planish_frame_activate(PlanishFrame *frame);

/* Any number of frames, 0 included. Inputs and outputs may be the same buffers, also crossed. */
void planish_frame_run(PlanishFrame *frame, uint32_t frames);

/* Shared by frame.c and blend.c. */

/* From scratch.dry and scratch.wet to scratch.out. */
void planish_frame_blend(PlanishFrame *frame, uint32_t frames);

/* What the stage works on of a frame: `channel` 0 or 1 of stereo, or the one chosen part. */
static inline double planish_frame_part(PlanishChannels channels, int channel, double left,
                                        double right)
{
  switch (channels) {
  case PLANISH_CHANNELS_STEREO:
    return channel == 0 ? left : right;
  case PLANISH_CHANNELS_MID:
    return 0.5 * (left + right);
  case PLANISH_CHANNELS_SIDE:
    return 0.5 * (left - right);
  case PLANISH_CHANNELS_LEFT:
    return left;
  case PLANISH_CHANNELS_RIGHT:
    return right;
  }
  return 0.0;
}

static inline bool planish_frame_is_stereo(const PlanishFrame *frame)
{
  return frame->channels == PLANISH_CHANNELS_STEREO;
}

/* Whether `listen` is, or is leaving, `value` or above. */
bool planish_frame_listens_from(const PlanishFrame *frame, uint32_t value);

#endif
