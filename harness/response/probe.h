/* A stage under test: settings held still, one signal on the channel that is looked at, and what
 * comes out of the stage there.
 *
 * The signal x goes to the stage's inputs as the channel says, and the answer is read from its
 * outputs l and r:
 *
 *   stereo  x, x     the mean power of l and r
 *   mid     x, x     (l + r) / 2
 *   side    x, -x    (l - r) / 2
 *   left    x, 0     l
 *   right   0, x     r
 *
 * Thread: one at a time a probe. */
#ifndef PLANISH_HARNESS_PROBE_H
#define PLANISH_HARNESS_PROBE_H

#include "harness/base/error.h"
#include "harness/host/plugin.h"

#include <complex.h>
#include <stdbool.h>
#include <stdint.h>

typedef enum {
  PLANISH_PROBE_STEREO,
  PLANISH_PROBE_MID,
  PLANISH_PROBE_SIDE,
  PLANISH_PROBE_LEFT,
  PLANISH_PROBE_RIGHT,
} PlanishProbeChannel;

/* Reads a channel's name; false: it is none. */
bool planish_probe_channel(const char *name, PlanishProbeChannel *channel);
const char *planish_probe_channel_name(PlanishProbeChannel channel);

/* What is looked at. */
typedef struct {
  const PlanishPlugin *plugin;
  const float *values; /* of control inputs, by port index; NULL: the defaults */
  const char *preset;  /* where they come from, told with what is measured; NULL: from none */
  double rate;         /* Hz */
  PlanishProbeChannel channel;
  /* How far a measurement has come, `share` from 0 to 1; may be NULL. */
  void (*told)(void *user, const char *what, unsigned number, double share);
  void *told_user;
} PlanishProbeSetup;

typedef struct PlanishProbe PlanishProbe;

/* The stage, activated, as after a start: no signal has been there. `setup` is copied; what it
 * points to must outlive the probe. NULL with PLANISH_BAD_USE where the plugin refuses. */
PlanishProbe *planish_probe_new(const PlanishProbeSetup *setup, PlanishError *error);
/* NULL is allowed. */
void planish_probe_free(PlanishProbe *probe);

/* Frames. */
uint32_t planish_probe_latency(const PlanishProbe *probe);

/* Runs the stage on `frames` frames of x. Fails where it puts out what is no number, where its
 * latency changes, and when the program is interrupted. */
bool planish_probe_run(PlanishProbe *probe, const float *x, float *left, float *right,
                       size_t frames, PlanishError *error);

/* Tells how far a measurement has come, if setup->told asks for it. */
void planish_probe_tell(const PlanishProbeSetup *setup, const char *what, double share);

/* The channel's answer from those of the two outputs at one frequency. For stereo the phase is
 * that of the sum. */
double complex planish_probe_answer(PlanishProbeChannel channel, double complex left,
                                    double complex right);

#endif
