#include "harness/report/loops.h"

#include "harness/report/block_powers.h"

#include <math.h>

#define SOUNDS      (-40.0) /* LU under the loudest stretch: quieter is no music */
#define FLOOR       (-25.0) /* LU under the loudest: what comes out of less counts as this */
#define APART       2.0     /* s */
#define LEAST_TAKEN (-0.1)  /* dB */

const char *planish_loop_name(PlanishLoopKind kind)
{
  static const char *const names[] = {"loudest", "quietest", "largest rise", "ending"};
  return names[kind];
}

static double sum_of(const float *powers, size_t start, size_t count)
{
  double sum = 0.0;
  for (size_t n = start; n < start + count; ++n) {
    sum += (double)powers[n];
  }
  return sum;
}

static size_t find_loudest(const float *powers, size_t count, size_t length, double *most)
{
  size_t best = 0;
  *most = -1.0;
  for (size_t start = 0; start + length <= count; ++start) {
    const double sum = sum_of(powers, start, length);
    if (sum > *most) {
      *most = sum;
      best = start;
    }
  }
  return best;
}

static size_t find_quietest(const float *powers, size_t count, size_t length, double most)
{
  const double least = most * pow(10.0, SOUNDS / 10.0);
  size_t best = 0;
  double quietest = HUGE_VAL;
  for (size_t start = 0; start + length <= count; ++start) {
    const double sum = sum_of(powers, start, length);
    /* Sound from end to end: a fade or a start within it would be found instead of a quiet part. */
    const size_t edge = length < 10 ? length : 10;
    const bool sounds =
        sum_of(powers, start, edge) * (double)length >= least * (double)edge &&
        sum_of(powers, start + length - edge, edge) * (double)length >= least * (double)edge;
    if (sounds && sum < quietest) {
      quietest = sum;
      best = start;
    }
  }
  return best;
}

static size_t find_rise(const float *powers, size_t count, size_t length, double most)
{
  const size_t half = length / 2;
  const double floor = most * pow(10.0, FLOOR / 10.0) * (double)half / (double)length;
  size_t best = 0;
  double steepest = -1.0;
  for (size_t start = 0; start + length <= count; ++start) {
    const double before = fmax(sum_of(powers, start, half), floor);
    const double after = sum_of(powers, start + half, half);
    const double rise = before > 0.0 ? after / before : 0.0;
    if (rise > steepest) {
      steepest = rise;
      best = start;
    }
  }
  return best;
}

void planish_loops_find(const float *powers, size_t count, size_t length,
                        PlanishSpan loops[PLANISH_LOOP_KINDS])
{
  length = length < count ? length : count;
  double most = 0.0;
  loops[PLANISH_LOOP_LOUDEST] = (PlanishSpan){find_loudest(powers, count, length, &most), length};
  loops[PLANISH_LOOP_QUIETEST] = (PlanishSpan){find_quietest(powers, count, length, most), length};
  loops[PLANISH_LOOP_RISE] = (PlanishSpan){find_rise(powers, count, length, most), length};
  loops[PLANISH_LOOP_ENDING] = (PlanishSpan){count - length, length};
}

double planish_gain_at(const PlanishReportGains *gains, double seconds)
{
  const double place = seconds / gains->interval;
  const bool within = place >= 0.0 && place < (double)gains->count;
  return within ? (double)gains->gains[(size_t)place] : 0.0;
}

double planish_gain_together(const PlanishReportGains *gains, size_t count, double seconds)
{
  double sum = 0.0;
  for (size_t n = 0; n < count; ++n) {
    sum += gains[n].in_branch ? 0.0 : planish_gain_at(&gains[n], seconds);
  }
  return sum;
}

static PlanishMoment moment_at(const PlanishReportGains *gains, size_t count, double seconds)
{
  PlanishMoment moment = {.at = seconds, .gain = planish_gain_together(gains, count, seconds)};
  for (size_t n = 0; n < count; ++n) {
    const double own = planish_gain_at(&gains[n], seconds);
    if (!gains[n].in_branch && own < moment.its_gain) {
      moment.its_gain = own;
      moment.hardest = n;
    }
  }
  return moment;
}

static bool is_apart(const PlanishMoment *moments, size_t found, double seconds)
{
  for (size_t n = 0; n < found; ++n) {
    if (fabs(moments[n].at - seconds) < APART) {
      return false;
    }
  }
  return true;
}

size_t planish_moments_find(const PlanishReportGains *gains, size_t count,
                            PlanishMoment moments[PLANISH_REPORT_MOMENTS])
{
  size_t found = 0;
  while (count > 0 && found < PLANISH_REPORT_MOMENTS) {
    const double step = gains[0].interval;
    double hardest = LEAST_TAKEN;
    double at = -1.0;
    for (size_t n = 0; n < gains[0].count; ++n) {
      const double seconds = ((double)n + 0.5) * step;
      const double gain = planish_gain_together(gains, count, seconds);
      if (gain < hardest && is_apart(moments, found, seconds)) {
        hardest = gain;
        at = seconds;
      }
    }
    if (at < 0.0) {
      break;
    }
    moments[found++] = moment_at(gains, count, at);
  }
  return found;
}
