/* What differs between two files, once they are lined up and equally loud.
 *
 * Read three times over, in blocks; memory does not grow with the files.
 * 1. Both as they stand: measured, their third octaves, the delay between them (alignment.h), and
 *    whether they are the same samples.
 * 2. The second moved by the delay, over the frames that both have: the gain that leaves the least
 *    difference (least squares, one for both channels). A delay within 0.01 frames of a whole
 *    number is tried as that, too: sound that is cut off at its ends moves it so far.
 * 3. The same with that gain: the difference itself.
 * Files of different rates are compared at the higher one; the other is converted
 * (audio/rate_converter.h).
 *
 * Thread: one at a time; see alignment.h. */
#ifndef PLANISH_HARNESS_COMPARE_H
#define PLANISH_HARNESS_COMPARE_H

#include "harness/audio/audio_reader.h"
#include "harness/compare/alignment.h"
#include "harness/measure/measure.h"
#include "harness/measure/punch.h"
#include "harness/measure/third_octaves.h"

typedef struct {
  const char *path[2];
  bool plain; /* neither lined up nor level-matched */
  bool silence_bad;
  /* May be NULL. `share` runs from 0 to 1 over all. */
  void (*tell)(void *user, const char *what, unsigned number, double share);
  void *user;
} PlanishCompareSetup;

typedef struct {
  double rate;          /* at which they were compared, Hz */
  double file_rate[2];  /* Hz */
  uint64_t frames[2];   /* at `rate` */
  uint32_t channels[2]; /* of the files; 1: taken as dual mono */
  uint64_t silenced[2];
  bool cut[2];       /* the header promises more than there is */
  bool same_samples; /* same rate, length and samples (read as 32-bit float) */
  bool related;      /* they could be lined up (PLANISH_ALIGNMENT_UNRELATED), else they are compared
                        as they stand; true where that was not asked for */
  PlanishAlignment alignment;
  uint64_t from;             /* first frame of A that both have, lined up */
  uint64_t overlap;          /* frames that both have, lined up; 0: none, and what follows is NAN */
  uint64_t differing;        /* of these, frames that differ before gain */
  uint64_t first_difference; /* frame of A; meaningless for none */

  double gain;          /* dB, given to B for the least difference; -HUGE_VAL where nothing helps,
                           0 where A is silent */
  double loudness_gain; /* dB, given to B for equal integrated loudness; NAN for silence */
  double null_depth;    /* dB, the difference at `gain` re the louder of the two, in power over all
                           frames that both have; -HUGE_VAL for no difference */
  double null_at_loudness;   /* the same at `loudness_gain` */
  double largest_difference; /* dBFS, largest sample of the difference at `gain` */
  double largest_at;         /* frame of A */
  double ahead[2];  /* dB: of A and of B (at `gain`) what comes before the other begins, in power,
                       re the louder of the two; -HUGE_VAL for nothing */
  double beyond[2]; /* dB: of A and of B (at `gain`) what comes once the other has ended, but for as
                       many frames as the delay has moved out of reach; in power, re the louder of
                       the two; -HUGE_VAL for nothing */

  PlanishMeasurement measurement[2];
  PlanishThirdOctaveLevels octaves[2];
  PlanishThirdOctaveLevels difference; /* of the difference at `gain`, over the frames of both */
  PlanishPunchResult punch[2];         /* by the onsets of A, over the same frames */
} PlanishComparison;

bool planish_compare(const PlanishCompareSetup *setup, PlanishComparison *result,
                     PlanishError *error);

#endif
