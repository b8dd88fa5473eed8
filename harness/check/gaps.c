#include "harness/check/gaps.h"

#include <math.h>
#include <string.h>

#define SOUND            1e-4  /* -80 dBFS */
#define STANDING         3e-3  /* -50 dBFS: what a fade to black has passed long before its end */
#define SHORTEST_DROPOUT 0.001 /* s */
#define SHORTEST_STRETCH 0.1
#define SHORTEST_OF_ONE  1.0 /* of a channel alone, which may rest for a while by nature */

#define DITHER_STEPS  2.5 /* triangular dither and rounding stay under it */
#define LONGEST_WORD  24  /* of which dither is looked for */
#define SHORTEST_WORD 16

void planish_gaps_reset(PlanishGaps *gaps, double rate, unsigned bits)
{
  const unsigned word = bits == 0 || bits > LONGEST_WORD ? LONGEST_WORD
                        : bits < SHORTEST_WORD           ? SHORTEST_WORD
                                                         : bits;
  *gaps = (PlanishGaps){.rate = rate, .black = ldexp(DITHER_STEPS, 1 - (int)word)};
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

/* Black has ended, with sound or with the file. */
static void end_black(PlanishGaps *gaps, int which)
{
  PlanishGapsLine *line = &gaps->line[which];
  const bool alone = which != PLANISH_GAPS_BOTH;
  const bool of_both = alone && line->shared > line->black * 9 / 10;
  const double seconds = (double)line->black / gaps->rate;
  const double own_seconds = (double)(line->black - line->shared) / gaps->rate;
  const uint64_t began = gaps->frame - line->black;
  if (of_both) {
    return;
  }
  if (line->abrupt && seconds >= SHORTEST_DROPOUT) {
    planish_places_add(&line->dropouts, began);
    line->longest_dropout =
        line->black > line->longest_dropout ? line->black : line->longest_dropout;
  } else if (alone ? own_seconds >= SHORTEST_OF_ONE : seconds >= SHORTEST_STRETCH) {
    planish_places_add(&line->stretches, began);
    line->longest_stretch =
        line->black > line->longest_stretch ? line->black : line->longest_stretch;
  }
}

static void take(PlanishGaps *gaps, int which, double magnitude, bool both_black)
{
  PlanishGapsLine *line = &gaps->line[which];
  if (magnitude > gaps->black) {
    /* What lies ahead of all sound is the head. */
    if (line->black > 0 && (line->sounding > 0 || which != PLANISH_GAPS_BOTH)) {
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
    const bool both_black = !(both > gaps->black);
    take(gaps, PLANISH_GAPS_LEFT, left, both_black);
    take(gaps, PLANISH_GAPS_RIGHT, right, both_black);
    take(gaps, PLANISH_GAPS_BOTH, both, both_black);
    gaps->frame += 1;
  }
}

void planish_gaps_finish(PlanishGaps *gaps)
{
  for (int which = PLANISH_GAPS_LEFT; which <= PLANISH_GAPS_RIGHT; ++which) {
    if (gaps->line[which].black > 0) {
      end_black(gaps, which);
    }
  }
}

double planish_gaps_tail_peak(const PlanishGaps *gaps)
{
  return recent_peak(gaps, &gaps->line[PLANISH_GAPS_BOTH]);
}

uint64_t planish_gaps_tail(const PlanishGaps *gaps)
{
  return gaps->frame - gaps->line[PLANISH_GAPS_BOTH].black;
}
