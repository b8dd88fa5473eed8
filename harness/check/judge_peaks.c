#include "harness/check/judge.h"

#include "common/dsp/loudness.h"
#include "common/dsp/maths.h"

#include <math.h>

#define HEADROOM_DB (-0.9)

/* What a limiter has held piles up so. */
#define PILED_SHARE 0.005
#define PILED_COUNT 10

#define LIMITED_PLR 9.0
#define DENSE_PLR   7.0

static const PlanishFindingChannel channel_names[2] = {PLANISH_OF_LEFT, PLANISH_OF_RIGHT};

static void add_clipped(const PlanishRunsAt *runs, PlanishFindingChannel channel,
                        PlanishSeverity severity, const char *where, PlanishCheckResult *result)
{
  if (runs->places.count == 0) {
    return;
  }
  PlanishFinding *finding =
      planish_finding_add(&result->findings, PLANISH_FINDING_CLIPPED, severity,
                          "clipped %s: %llu run%s, the longest of %llu frames", where,
                          (unsigned long long)runs->places.count,
                          runs->places.count == 1 ? "" : "s", (unsigned long long)runs->longest);
  finding->channel = channel;
  planish_finding_places(finding, &runs->places, result->source.rate);
  planish_finding_value(finding, (double)runs->longest, "frames");
  planish_finding_remedy(finding, "ask for the mix with its level lowered ahead of the export; "
                                  "what was cut off cannot be brought back");
}

static bool judge_clipping(const PlanishReadings *readings, PlanishCheckResult *result)
{
  const size_t before = result->findings.count;
  for (int c = 0; c < (result->source.channels == 1 ? 1 : 2); ++c) {
    const PlanishFindingChannel channel =
        result->source.channels == 1 ? PLANISH_OF_BOTH : channel_names[c];
    const PlanishClippedRuns *runs = readings->runs[c];
    add_clipped(&runs->at_full_scale, channel, PLANISH_FAULT, "at full scale", result);
    add_clipped(&runs->at_highest, channel, PLANISH_FAULT, "at its highest value", result);
    add_clipped(&runs->at_lowest, channel, PLANISH_FAULT, "at its lowest value", result);
  }
  return result->findings.count > before;
}

static void judge_overs(const PlanishReadings *readings, bool clipped, PlanishCheckResult *result)
{
  const PlanishMeasurement *m = &result->measurement;
  const PlanishPlaces *over = &readings->pile->over;
  if (m->sample_peak > 0.0 && !clipped) {
    PlanishFinding *finding = planish_finding_add(
        &result->findings, PLANISH_FINDING_OVER_FULL_SCALE, PLANISH_NOTE,
        "peaks over full scale, up to %+.2f dBFS, none cut off", m->sample_peak);
    planish_finding_places(finding, over, PLANISH_LOUDNESS_STEPS_PER_S);
    planish_finding_value(finding, m->sample_peak, "dBFS");
    planish_finding_remedy(finding, "nothing is lost in float; the sheet's input: brings it down");
  } else if (over->count > 0) {
    PlanishFinding *finding = planish_finding_add(
        &result->findings, PLANISH_FINDING_OVER_BETWEEN_SAMPLES, PLANISH_WARNING,
        "over full scale between samples, up to %+.2f dBTP", m->true_peak);
    planish_finding_places(finding, over, PLANISH_LOUDNESS_STEPS_PER_S);
    planish_finding_value(finding, m->true_peak, "dBTP");
    planish_finding_remedy(finding, "ask for the mix %.0f dB lower, and without a limiter",
                           ceil(m->true_peak + 1.0));
  } else if (m->true_peak > HEADROOM_DB) {
    PlanishFinding *finding =
        planish_finding_add(&result->findings, PLANISH_FINDING_NO_HEADROOM, PLANISH_NOTE,
                            "little headroom: peaks up to %.2f dBTP", m->true_peak);
    planish_finding_value(finding, m->true_peak, "dBTP");
    planish_finding_remedy(finding, "ask whether the mix was raised to full scale or limited");
  }
}

static void judge_limiting(const PlanishReadings *readings, PlanishCheckResult *result)
{
  const PlanishMeasurement *m = &result->measurement;
  const bool of_samples =
      planish_peak_pile_share(readings->samples) > planish_peak_pile_share(readings->pile);
  const PlanishPeakPile *pile = of_samples ? readings->samples : readings->pile;
  const double share = planish_peak_pile_share(pile);
  const uint64_t count = planish_peak_pile_count(pile);
  const bool piled = share >= PILED_SHARE && count >= PILED_COUNT;
  if (!piled && !(m->plr < DENSE_PLR)) {
    return;
  }
  PlanishFinding *finding = planish_finding_add(
      &result->findings, PLANISH_FINDING_LIMITED,
      piled && m->plr < LIMITED_PLR ? PLANISH_WARNING : PLANISH_NOTE,
      "%s: peak to loudness %.1f LU, %.1f %% of the peaks within 0.2 dB of the highest",
      piled ? "limited already" : "dense", m->plr, 100.0 * share);
  planish_finding_value(finding, m->plr, "LU");
  planish_finding_remedy(finding, "ask for the mix without its limiter, beside this one");
}

void planish_judge_peaks(const PlanishReadings *readings, PlanishCheckResult *result)
{
  const bool clipped = judge_clipping(readings, result);
  judge_overs(readings, clipped, result);
  judge_limiting(readings, result);
}
