#include "harness/check/gaps.h"

#include <math.h>
#include <string.h>

#define SOUND            1e-4  /* -80 dBFS */
#define STANDING         3e-3  /* -50 dBFS: what a fade to black has passed long before its end */
#define SHORTEST_DROPOUT 0.001 /* s */
#define SHORTEST_STRETCH 0.1

void planish_gaps_reset(PlanishGaps *gaps, double rate)
{
  *gaps = (PlanishGaps){.rate = rate};
  gaps->edge = (uint32_t)fmin(fmax(rate / 1000.0, 1.0), PLANISH_GAPS_EDGE);
}

static double recent_peak(const PlanishGaps *gaps, const PlanishGapsLine *line)
{
  double peak = 0.0;
  for (uint32_t n = 0; n < gaps->edge; ++n) {
    peak = fmax(peak, line->recent[n]);
  }
  return peak;
}

/* Black has ended, with sound: black at the tail is no gap. */
static void end_black(PlanishGaps *gaps, int which)
{
  PlanishGapsLine *line = &gaps->line[which];
  const bool head = line->sounding == 0;
  const bool of_both = which != PLANISH_GAPS_BOTH && line->shared > line->black * 9 / 10;
  const double seconds = (double)line->black / gaps->rate;
  const uint64_t began = gaps->frame - line->black;
  if (head || of_both) {
    return;
  }
  if (line->abrupt && seconds >= SHORTEST_DROPOUT) {
    planish_places_add(&line->dropouts, began);
    line->longest_dropout =
        line->black > line->longest_dropout ? line->black : line->longest_dropout;
  } else if (which == PLANISH_GAPS_BOTH && seconds >= SHORTEST_STRETCH) {
    planish_places_add(&line->stretches, began);
    line->longest_stretch =
        line->black > line->longest_stretch ? line->black : line->longest_stretch;
  }
}

static void take(PlanishGaps *gaps, int which, double magnitude, bool both_black)
{
  PlanishGapsLine *line = &gaps->line[which];
  if (magnitude > 0.0) {
    if (line->black > 0) {
      end_black(gaps, which);
    }
    line->black = 0;
    line->shared = 0;
    line->recent[line->sounding % gaps->edge] = magnitude;
    line->sounding += 1;
    return;
  }
  if (line->black == 0) {
    line->abrupt = recent_peak(gaps, line) > STANDING;
  }
  line->black += 1;
  line->shared += both_black;
}

void planish_gaps_process(PlanishGaps *gaps, const float *interleaved, size_t frames)
{
  for (size_t n = 0; n < frames; ++n) {
    const double left = fabs((double)interleaved[2 * n]);
    const double right = fabs((double)interleaved[2 * n + 1]);
    const double both = fmax(left, right);
    if (gaps->frame < gaps->edge) {
      gaps->head_peak = fmax(gaps->head_peak, both);
    }
    if (both > SOUND) {
      gaps->first = gaps->sounds ? gaps->first : gaps->frame;
      gaps->last = gaps->frame;
      gaps->sounds = true;
    }
    take(gaps, PLANISH_GAPS_LEFT, left, !(both > 0.0));
    take(gaps, PLANISH_GAPS_RIGHT, right, !(both > 0.0));
    take(gaps, PLANISH_GAPS_BOTH, both, !(both > 0.0));
    gaps->frame += 1;
  }
}

double planish_gaps_tail_peak(const PlanishGaps *gaps)
{
  const PlanishGapsLine *both = &gaps->line[PLANISH_GAPS_BOTH];
  return both->black >= gaps->edge ? 0.0 : recent_peak(gaps, both);
}
