/* What a page needs to know of a whole version, found in one pass over its track.
 * Memory: some kB, and block powers (block_powers.h). Thread: one at a time. */
#ifndef PLANISH_HARNESS_SURVEY_H
#define PLANISH_HARNESS_SURVEY_H

#include "harness/audio/track.h"
#include "harness/report/block_powers.h"

#define PLANISH_OUTLINE_COLUMNS 720
#define PLANISH_EDGE_COLUMNS    360
#define PLANISH_HEAD_SECONDS    2.0
#define PLANISH_TAIL_SECONDS    6.0

/* The wave as it is drawn: in each column the lowest and the highest sample of both channels. */
typedef struct {
  float lowest[PLANISH_OUTLINE_COLUMNS];
  float highest[PLANISH_OUTLINE_COLUMNS];
} PlanishOutline;

typedef struct {
  PlanishBlockPowers *blocks;
  uint64_t frames;
  double rate;
  float peak; /* the largest magnitude of a sample */
  PlanishOutline outline;
  float head[PLANISH_EDGE_COLUMNS]; /* largest magnitude in each column of the first seconds */
  float tail[PLANISH_EDGE_COLUMNS]; /* and of the last */
} PlanishSurvey;

/* Reads the whole track. planish_survey_free() gives its memory back, also after a failure. Ends
 * early with PLANISH_INTERRUPTED. */
bool planish_survey_make(PlanishSurvey *survey, PlanishTrack *track, double rate,
                         PlanishError *error);
void planish_survey_free(PlanishSurvey *survey);

#endif
