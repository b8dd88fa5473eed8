/* Where there is no sound: silence at the head and the tail, sound that is cut off there, and
 * stretches of digital black in between: zeros, or no more than the dither of the file's words.
 *
 * Black that begins while sound still stands is a dropout: a mix does not stop within a
 * millisecond. A channel alone may drop out as well, also for good; where black of a second or more
 * comes to it gently it is a stretch of its own. Where both stop at once, and nothing follows, the
 * tail is cut off.
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
  uint64_t sounding;                /* frames that were not black */
  uint64_t black;                   /* frames of black under way */
  uint64_t shared;                  /* of these, with both channels black */
  bool abrupt;                      /* the stretch under way began while sound stood */
  PlanishPlaces dropouts;
  uint64_t longest_dropout; /* frames */
  PlanishPlaces stretches;  /* of black that began in quiet */
  uint64_t longest_stretch;
} PlanishGapsLine;

typedef struct {
  double rate;
  double black;     /* largest magnitude of it */
  uint32_t edge;    /* frames of 1 ms */
  uint64_t frame;   /* frames so far */
  uint64_t first;   /* frame of the first sound over -80 dBFS */
  uint64_t last;    /* and of the last */
  bool sounds;      /* there is any */
  double head_peak; /* of the first 1 ms */
  PlanishGapsLine line[PLANISH_GAPS_LINES];
} PlanishGaps;

/* `bits` of the file's words; 0: float, or none that is known. */
void planish_gaps_reset(PlanishGaps *gaps, double rate, unsigned bits);

void planish_gaps_process(PlanishGaps *gaps, const float *interleaved, size_t frames);

/* Ends the stream. To be called once, ahead of what follows. */
void planish_gaps_finish(PlanishGaps *gaps);

/* The peak of the last 1 ms of sound ahead of the end of the file, or of the black that it ends
 * with, and the frame at which that is. */
double planish_gaps_tail_peak(const PlanishGaps *gaps);
uint64_t planish_gaps_tail(const PlanishGaps *gaps);

#endif
