#include "harness/report/survey.h"

#include "harness/base/interrupt.h"

#include <math.h>

enum { BLOCK = 4096 };

/* The column of `count` that frame `at` falls into, of a stretch of `length` frames. */
static size_t column_of(uint64_t at, uint64_t length, size_t count)
{
  return (size_t)((double)at * (double)count / (double)length);
}

static void note_highest(float *columns, uint64_t at, double length, float magnitude)
{
  if ((double)at < length) {
    float *column = &columns[column_of(at, (uint64_t)length, PLANISH_EDGE_COLUMNS)];
    *column = fmaxf(*column, magnitude);
  }
}

static void note_frame(PlanishSurvey *survey, uint64_t at, float left, float right)
{
  const size_t column = column_of(at, survey->frames, PLANISH_OUTLINE_COLUMNS);
  const float magnitude = fmaxf(fabsf(left), fabsf(right));
  PlanishOutline *outline = &survey->outline;
  outline->lowest[column] = fminf(outline->lowest[column], fminf(left, right));
  outline->highest[column] = fmaxf(outline->highest[column], fmaxf(left, right));
  survey->peak = fmaxf(survey->peak, magnitude);
  note_highest(survey->head, at, ceil(PLANISH_HEAD_SECONDS * survey->rate), magnitude);
  const double tail = ceil(PLANISH_TAIL_SECONDS * survey->rate);
  const double left_over = (double)(survey->frames - at);
  if (left_over <= tail) {
    note_highest(survey->tail, (uint64_t)(tail - left_over), tail, magnitude);
  }
}

bool planish_survey_make(PlanishSurvey *survey, PlanishTrack *track, double rate,
                         PlanishError *error)
{
  *survey = (PlanishSurvey){.rate = rate, .frames = planish_track_frames(track)};
  survey->blocks = planish_block_powers_new(rate);
  bool done = survey->blocks != NULL || planish_fail_memory(error);
  float block[2 * BLOCK];
  for (uint64_t at = 0; done && at < survey->frames; at += BLOCK) {
    const size_t frames = survey->frames - at < BLOCK ? (size_t)(survey->frames - at) : BLOCK;
    done =
        planish_interrupt_check(error) && planish_track_read(track, at, block, frames, error) &&
        (planish_block_powers_process(survey->blocks, block, frames) || planish_fail_memory(error));
    for (size_t n = 0; done && n < frames; ++n) {
      note_frame(survey, at + n, block[2 * n], block[2 * n + 1]);
    }
  }
  return done;
}

void planish_survey_free(PlanishSurvey *survey)
{
  planish_block_powers_free(survey->blocks);
  survey->blocks = NULL;
}
