/* What a stage is: a table of functions, and nothing of LV2.
 *
 * A stage defines one object, `const PlanishStage planish_stage`, and is linked with the frame,
 * which supplies everything that all stages share: ports, bypass, channels, mix, output gain,
 * matching of loudness, listening points, any block size, clean input, the delay of the dry signal.
 *
 * Life: setup once for counting, with release after it, and once for filling (see arena.h), then
 * any number of
 *   reset, set, process..., [set,] process...
 * and release at the end. All calls come from one thread at a time; all but setup and release come
 * from the audio thread and must not allocate, lock or call the system. Flush-to-zero is on during
 * reset, set and process.
 *
 * The grid: control values are looked at every PLANISH_GRID frames, counted from activate. set()
 * is called before process() at a grid frame where a value has changed, and once after each
 * reset(), where the stage stands on its values at once instead of gliding to them. A block that
 * process() receives never crosses a grid frame, so it has 1 to PLANISH_GRID frames, and whatever
 * the host's blocks are, the same frames must give the same samples. */
#ifndef PLANISH_FRAME_STAGE_H
#define PLANISH_FRAME_STAGE_H

#include "common/dsp/arena.h"
#include "common/dsp/glide.h"
#include "common/dsp/status.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Listening points that a stage may add to `result` and `difference`. */
#define PLANISH_MAX_POINTS 2

typedef enum {
  PLANISH_PORT_AUDIO,
  PLANISH_PORT_INPUT,  /* a control that the host sets */
  PLANISH_PORT_OUTPUT, /* a value that the stage reports */
} PlanishPortKind;

/* One port, as the generator writes it from the templates in ttl/. */
typedef struct {
  const char *symbol;
  PlanishPortKind kind;
  bool whole;     /* whole numbers alone: an enumeration, a count */
  bool toggled;   /* a switch: 1 for all that is over 0, else 0 */
  bool listening; /* for listening alone: off its default, the match of loudness rests */
  bool rebuilds;  /* changes latency or rebuilds state: switched in silence, followed by reset() */
  bool trigger;   /* a button: a press counts however short it is */
  float minimum;
  float maximum;
  float initial;
} PlanishPort;

/* What the frame knows of a stage's ports. Indices of common ports that a stage lacks are -1. */
typedef struct {
  const char *uri;
  const PlanishPort *ports;
  uint32_t port_count;
  int enabled;
  int output_gain;
  int listen;
  int loudness_match;
  int match_gain;
  int loudness_in;
  int loudness_out;
  int latency;
  int channels;
  int mix;
} PlanishPorts;

/* A stretch of audio between two grid frames. */
typedef struct {
  uint32_t channels; /* 1 (mid, side, left or right alone) or 2 (left, right); constant from one
                        reset() to the next */
  uint32_t frames;   /* 1..PLANISH_GRID */
  /* Input, replaced by the result. Clean: finite, at most 2^20 in magnitude. */
  double *audio[2];
  /* For a stage with an input gain: filled by it with the delayed input times the plain gain, the
   * reference of `listen` difference. NULL when nobody listens; untouched, it is the delayed
   * input. */
  double *reference[2];
  /* For a stage with listening points of its own: filled with their signals, [point][channel].
   * NULL when nobody listens. */
  double *(*points)[2];
} PlanishBlock;

typedef struct PlanishStage {
  const PlanishPorts *ports; /* from the generated header */

  size_t state_size; /* bytes of the stage's own struct; zeroed before each setup */

  /* Takes buffers from the arena and computes what depends on the rate alone. Counting and filling
   * may each have a `state` of their own, and each is released. Fails with PLANISH_BAD_RATE where
   * the method does not work. */
  PlanishStatus (*setup)(void *state, double rate, PlanishArena *arena);

  /* Forgets all history. Called before the first set() and after a switch in silence. */
  void (*reset)(void *state);

  /* The values of all ports, by port index, in range and whole where they must be. */
  void (*set)(void *state, const float *values);

  /* Frames between input and result. Depends on rate and ports marked `rebuilds` alone. With
   * values NULL: the largest that any setting can ask for. May be called before setup. NULL: 0. */
  uint32_t (*latency)(double rate, const float *values);

  void (*process)(void *state, const PlanishBlock *block);

  /* Writes the values of the stage's output ports, by port index. Called once at the end of each
   * run() that held a frame; `frames` is how many frames have passed since the last call. NULL:
   * the stage has none. */
  void (*report)(void *state, float *values, uint32_t frames);

  /* Gives back what does not come from the arena. NULL: nothing. Also called after
   * the counting pass and where setup failed, so that it may find a state half set up. */
  void (*release)(void *state);
} PlanishStage;

extern const PlanishStage planish_stage;

#endif
