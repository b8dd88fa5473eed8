/* The noise that is left when the music pauses: the quietest stretch of 0.3 s or more in which the
 * level stands still, within 3 dB from one 50 ms to the next. A tail that dies away does not stand
 * still, digital black is no noise.
 *
 * Thread: one at a time an object. Real-time safe. */
#ifndef PLANISH_HARNESS_PAUSES_H
#define PLANISH_HARNESS_PAUSES_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { PLANISH_PAUSES_WINDOWS = 6 };

typedef struct {
  double rate;
  double pole; /* of what takes the offset out, under 10 Hz */
  double offset[2];
  double power;     /* of the window under way */
  double low_power; /* of it, under 300 Hz */
  double low_pole;
  double low[2];
  uint64_t frame;
  uint64_t window; /* under way */
  uint64_t window_end;
  uint64_t window_from;
  double powers[PLANISH_PAUSES_WINDOWS]; /* the last ones, a ring */
  double low_powers[PLANISH_PAUSES_WINDOWS];
  bool found;
  double floor;     /* mean square of the quietest stretch, over both channels */
  double low_share; /* of it, under 300 Hz: 0..1 */
  uint64_t at;      /* frame at which it begins */
} PlanishPauses;

void planish_pauses_reset(PlanishPauses *pauses, double rate);

void planish_pauses_process(PlanishPauses *pauses, const float *interleaved, size_t frames);

#endif
