/* A mix on arrival: what is wrong with it, where, how bad, and what to do about it.
 *
 * The file comes as a stream of blocks of any length; memory does not grow with it, and the result
 * does not depend on where the blocks end. What each detector looks for stands in its header:
 * band_edge.h, channels.h, clicks.h, gaps.h, pauses.h, peak_pile.h, word_length.h, and
 * measure/clipped_runs.h. Limits and words stand in judge_*.c.
 *
 * Thread: one at a time an object; new() and free() from one at a time, as FFTW's planner asks. Not
 * real-time safe. */
#ifndef PLANISH_HARNESS_CHECK_H
#define PLANISH_HARNESS_CHECK_H

#include "harness/audio/audio_reader.h"
#include "harness/check/finding.h"
#include "harness/measure/measure.h"

/* What the samples came in. */
typedef struct {
  double rate;       /* Hz */
  uint32_t channels; /* in the file: 1 or 2 */
  PlanishReaderWord word;
} PlanishCheckSource;

typedef struct {
  PlanishCheckSource source;
  PlanishMeasurement measurement;
  PlanishFindings findings; /* the worst first, else in the order of PlanishFindingKind */
  unsigned bits_used;       /* see word_length.h */
  double pause_floor;       /* dBFS, mean square: noise in the quietest still stretch, see pauses.h;
                               NAN where the level never stands still */
  double pause_floor_at;    /* s */
  double band_edge;         /* Hz, above which there is nothing; NAN: none found */
} PlanishCheckResult;

typedef struct PlanishCheck PlanishCheck;

/* Rate within PLANISH_MEASURE_MIN_RATE..MAX_RATE. NULL outside of it, or without memory. */
PlanishCheck *planish_check_new(const PlanishCheckSource *source);
/* NULL is allowed. */
void planish_check_free(PlanishCheck *check);

/* Finite samples of two channels, those of a frame side by side; of a mono file the same twice, as
 * the reader gives them. */
void planish_check_process(PlanishCheck *check, const float *interleaved, size_t frames);

/* Ends the stream. Frames `silenced` held samples that were no numbers, and the file was `cut`
 * short (see audio_reader.h). To be called once, last before free. */
void planish_check_finish(PlanishCheck *check, const PlanishPlaces *silenced, bool cut,
                          PlanishCheckResult *result);

#endif
