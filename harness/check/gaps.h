/* Where there is no sound: silence at the head and the tail, sound that is cut off there, and
 * stretches of digital black (nothing but zeros) in between.
 *
 * Black that begins while sound still stands is a dropout: a mix does not stop within a
 * millisecond. A channel alone may drop out as well.
 *
 * Thread: one at a time an object. Real-time safe. */
#ifndef PLANISH_HARNESS_GAPS_H
#define PLANISH_HARNESS_GAPS_H

#include "harness/measure/places.h"

#include <stdbool.h>

/* Frames of 1 ms at the highest rate. */
#define PLANISH_GAPS_EDGE 384

enum { PLANISH_GAPS_LEFT, PLANISH_GAPS_RIGHT, PLANISH_GAPS_BOTH };
#define PLANISH_GAPS_LINES 3

/* One channel, or both. */
typedef struct {
  double recent[PLANISH_GAPS_EDGE]; /* magnitudes of the last 1 ms of sound, a ring */
  uint64_t sounding;                /* frames that were not 0 */
  uint64_t black;                   /* frames of 0 under way */
  uint64_t shared;                  /* of these, with both channels at 0 */
  bool abrupt;                      /* the stretch under way began while sound stood */
  PlanishPlaces dropouts;
  uint64_t longest_dropout; /* frames */
  PlanishPlaces stretches;  /* of black that began in quiet; both channels alone */
  uint64_t longest_stretch;
} PlanishGapsLine;

typedef struct {
  double rate;
  uint32_t edge;    /* frames of 1 ms */
  uint64_t frame;   /* frames so far */
  uint64_t first;   /* frame of the first sound over -80 dBFS */
  uint64_t last;    /* and of the last */
  bool sounds;      /* there is any */
  double head_peak; /* of the first 1 ms */
  PlanishGapsLine line[PLANISH_GAPS_LINES];
} PlanishGaps;

void planish_gaps_reset(PlanishGaps *gaps, double rate);

void planish_gaps_process(PlanishGaps *gaps, const float *interleaved, size_t frames);

/* The peak of the last 1 ms of the file. */
double planish_gaps_tail_peak(const PlanishGaps *gaps);

#endif
