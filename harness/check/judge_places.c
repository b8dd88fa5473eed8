#include "harness/check/judge.h"

#include "common/dsp/maths.h"

#include <math.h>

/* Sound this far under the loudness of the file may begin or end at once. */
#define CUT_UNDER_LU 20.0

#define LEAST_BITS 12

#define LONG_HEAD 1.0 /* s */
#define LONG_TAIL 5.0

static const PlanishFindingChannel line_names[PLANISH_GAPS_LINES] = {
    PLANISH_OF_LEFT, PLANISH_OF_RIGHT, PLANISH_OF_BOTH};

/* Of words as short as that rounding makes steps and black of its own. */
static bool is_coarse(const PlanishCheckResult *result)
{
  return result->bits_used > 0 && result->bits_used < LEAST_BITS;
}

static void judge_clicks(const PlanishReadings *readings, PlanishCheckResult *result)
{
  for (uint32_t c = 0; c < (result->source.channels == 1 ? 1U : 2U); ++c) {
    const PlanishPlaces *found = planish_clicks_found(readings->clicks, c);
    if (found->count > 0 && !is_coarse(result)) {
      PlanishFinding *finding = planish_finding_add(
          &result->findings, PLANISH_FINDING_CLICKS, PLANISH_WARNING, "%llu click%s",
          (unsigned long long)found->count, found->count == 1 ? "" : "s");
      finding->channel = result->source.channels == 1 ? PLANISH_OF_BOTH : line_names[c];
      planish_finding_places(finding, found, result->source.rate);
      planish_finding_remedy(finding, "listen there; ask for the mix without them");
    }
  }
}

/* A channel that is silent throughout has been told of. */
static bool is_told(const PlanishFindings *findings)
{
  bool told = false;
  for (size_t n = 0; n < findings->count; ++n) {
    told = told || findings->finding[n].kind == PLANISH_FINDING_CHANNEL_SILENT;
  }
  return told;
}

static void judge_gaps(const PlanishReadings *readings, PlanishCheckResult *result)
{
  const double rate = result->source.rate;
  for (int n = 0; n < PLANISH_GAPS_LINES; ++n) {
    const PlanishGapsLine *line = &readings->gaps->line[n];
    if (line->dropouts.count > 0 && !is_coarse(result)) {
      PlanishFinding *finding = planish_finding_add(
          &result->findings, PLANISH_FINDING_DROPOUT, PLANISH_FAULT,
          "%llu dropout%s to digital black, the longest of %.1f ms",
          (unsigned long long)line->dropouts.count, line->dropouts.count == 1 ? "" : "s",
          1000.0 * (double)line->longest_dropout / rate);
      finding->channel = line_names[n];
      planish_finding_places(finding, &line->dropouts, rate);
      planish_finding_value(finding, 1000.0 * (double)line->longest_dropout / rate, "ms");
      planish_finding_remedy(finding, "export the mix again");
    }
    if (line->stretches.count > 0 && (n == PLANISH_GAPS_BOTH || !is_told(&result->findings))) {
      PlanishFinding *finding =
          planish_finding_add(&result->findings, PLANISH_FINDING_BLACK, PLANISH_NOTE,
                              "digital black%s, the longest of %.2f s",
                              n == PLANISH_GAPS_BOTH ? " in the middle" : " in one channel alone",
                              (double)line->longest_stretch / rate);
      finding->channel = line_names[n];
      planish_finding_places(finding, &line->stretches, rate);
      planish_finding_value(finding, (double)line->longest_stretch / rate, "s");
      planish_finding_remedy(finding, "listen whether the sound dies away ahead of it");
    }
  }
}

static void add_end(PlanishCheckResult *result, PlanishFindingKind kind, PlanishSeverity severity,
                    const char *what, double peak, double seconds)
{
  const double level = planish_level_of(peak);
  PlanishFinding *finding =
      planish_finding_add(&result->findings, kind, severity, "%s (%.1f dBFS)", what, level);
  planish_finding_value(finding, level, "dBFS");
  if (kind != PLANISH_FINDING_EXCERPT) {
    finding->count = 1;
    finding->times = 1;
    finding->time[0] = seconds;
  }
  planish_finding_remedy(finding, kind == PLANISH_FINDING_EXCERPT
                                      ? "fine for an excerpt; else ask for the whole of it"
                                      : "listen; ask for the mix with some room at both ends");
}

/* Cut at both ends it is a piece out of the middle, and meant. */
static void judge_cuts(const PlanishReadings *readings, PlanishCheckResult *result)
{
  const double limit =
      planish_gain_of(planish_max(result->measurement.integrated, -60.0) - CUT_UNDER_LU);
  const double head = readings->gaps->head_peak;
  const double tail = planish_gaps_tail_peak(readings->gaps);
  const double end = (double)planish_gaps_tail(readings->gaps) / result->source.rate;
  if (head > limit && tail > limit) {
    add_end(result, PLANISH_FINDING_EXCERPT, PLANISH_NOTE,
            "sound stands at the very start and the very end", planish_max(head, tail), 0.0);
  } else if (head > limit) {
    add_end(result, PLANISH_FINDING_HEAD_CUT, PLANISH_WARNING,
            "cut off: sound stands at the very start", head, 0.0);
  } else if (tail > limit) {
    add_end(result, PLANISH_FINDING_TAIL_CUT, PLANISH_WARNING,
            end < result->measurement.duration
                ? "cut off: sound stands where the digital black of the end begins"
                : "cut off: sound stands at the very end",
            tail, end);
  }
}

static void judge_silence(const PlanishReadings *readings, PlanishCheckResult *result)
{
  const PlanishGaps *gaps = readings->gaps;
  const double head = (double)gaps->first / result->source.rate;
  const double last = (double)(gaps->last + 1) / result->source.rate;
  const double tail = result->measurement.duration - last;
  if (gaps->sounds && head >= LONG_HEAD) {
    PlanishFinding *finding =
        planish_finding_add(&result->findings, PLANISH_FINDING_HEAD_SILENCE, PLANISH_NOTE,
                            "%.2f s of silence ahead of the music", head);
    planish_finding_value(finding, head, "s");
    planish_finding_remedy(finding, "trim it, unless it is meant");
  }
  if (gaps->sounds && tail >= LONG_TAIL) {
    PlanishFinding *finding =
        planish_finding_add(&result->findings, PLANISH_FINDING_TAIL_SILENCE, PLANISH_NOTE,
                            "%.2f s of silence behind the music", tail);
    planish_finding_value(finding, tail, "s");
    finding->count = 1;
    finding->times = 1;
    finding->time[0] = last;
    planish_finding_remedy(finding, "trim it, unless it is meant");
  }
}

void planish_judge_places(const PlanishReadings *readings, PlanishCheckResult *result)
{
  judge_clicks(readings, result);
  judge_gaps(readings, result);
  judge_cuts(readings, result);
  judge_silence(readings, result);
}
