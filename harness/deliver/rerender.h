/* A master rendered again at another rate, from the first limiter of its chain on, by the recall
 * file beside it: what conversion does to peaks comes ahead of the limiters then.
 *
 * The stages ahead of the first limiter (lv2:LimiterPlugin) on the main path run at the mix's rate,
 * as they did; what comes out of them is converted, and the rest of the chain runs at the new rate
 * with the settings as they landed. The controls that held the ceiling (those that the recall file
 * names, else every control `ceiling` from there on) go down where the result is over it.
 *
 * Errors: PLANISH_BAD_USE where there is no recall file, or no limiter; PLANISH_BAD_AUDIO where
 * master or mix are no longer those that it tells of; those of a render.
 * Thread: that of the host. */
#ifndef PLANISH_HARNESS_RERENDER_H
#define PLANISH_HARNESS_RERENDER_H

#include "harness/deliver/source.h"
#include "harness/host/host.h"

typedef struct {
  const char *master;
  PlanishHost *host;
  double rate;        /* Hz */
  double ceiling;     /* dBTP */
  uint64_t frames;    /* of the result: to be cut, or followed by black */
  const char *beside; /* a path in the folder of which temporary files stand */
  PlanishSourceTell tell;
  void *user;
} PlanishRerenderJob;

/* Whether there is a recall file beside a master, by which it could be rendered again. */
bool planish_rerender_check(const char *master, PlanishError *error);

/* The result as a source at job->rate. `stage` gets the name of the first limiter; free() gives it
 * back. */
PlanishSource *planish_rerender(const PlanishRerenderJob *job, char **stage, PlanishError *error);

#endif
