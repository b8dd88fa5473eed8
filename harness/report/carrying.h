/* Chooses which stretches of which versions a page carries, and makes their excerpts.
 *
 * The whole of everything where that fits; else the loops (loops.h) and the hardest moments, with
 * some seconds around them as long as there is room; then only the loudest loop of the stages, and
 * of references; then shorter loops, the loudest last. Words get shorter, 24, 20, 16 bit, before
 * loops do. What a choice would take is reckoned from the loudest seconds of each version.
 *
 * A reference is another piece: for each loop it has a stretch of its own, its loudest for the
 * loudest, which plays in that loop's place.
 * Memory: the excerpts, 30 MB at most. Thread: one at a time. */
#ifndef PLANISH_HARNESS_CARRYING_H
#define PLANISH_HARNESS_CARRYING_H

#include "harness/report/excerpt.h"
#include "harness/report/loops.h"
#include "harness/report/survey.h"

#define PLANISH_LOOP_SECONDS 15

/* A stretch of one version. */
typedef struct {
  size_t version;
  PlanishSpan span; /* in the version's own time */
  size_t place;     /* block of the piece at which it plays: span.start but for references */
  int loop;         /* the kind of loop that it stands for; -1: any within it */
  PlanishExcerpt excerpt;
} PlanishCarried;

typedef struct {
  unsigned bits;
  bool whole;
  bool few_of_stages;     /* the stages have the loudest loop alone */
  bool few_of_references; /* and references too */
  PlanishSpan loops[PLANISH_LOOP_KINDS];
  size_t moment_blocks; /* length of the loop around a moment; 0: not carried */
  PlanishCarried *carried;
  size_t count;
} PlanishCarrying;

/* `surveys`: one a version. planish_carrying_free() gives the memory back, also after a failure. */
bool planish_carrying_make(PlanishCarrying *carrying, const PlanishReportPage *report,
                           const PlanishSurvey *surveys, const PlanishMoment *moments,
                           size_t moment_count, size_t largest, PlanishError *error);
void planish_carrying_free(PlanishCarrying *carrying);

/* The loop around a moment, within a piece of `blocks`. */
PlanishSpan planish_moment_span(const PlanishMoment *moment, size_t length, size_t blocks);

/* The factor by which a version's excerpts were turned down to fit under full scale. */
double planish_carried_gain(const PlanishSurvey *survey);

#endif
