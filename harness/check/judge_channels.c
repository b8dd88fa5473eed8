#include "harness/check/judge.h"

#include "common/dsp/maths.h"

#include <math.h>

#define SILENT_DB    (-90.0)
#define FAR_APART_DB 50.0
#define SAME         0.9999

/* A kick and a bass in the middle make the low end of any mix alike; where left and right work
 * against each other there, and are no more than unrelated on the whole, one is turned. */
#define AGAINST       (-0.9)
#define LOW_AGAINST   (-0.5)
#define UNRELATED     0.05
#define ODDLY_AGAINST (-0.15)

#define BALANCE_NOTE_LU    1.5
#define BALANCE_WARNING_LU 3.0

#define OFFSET_NOTE_DB    (-66.0)
#define OFFSET_WARNING_DB (-50.0)

static const PlanishFindingChannel channel_names[2] = {PLANISH_OF_LEFT, PLANISH_OF_RIGHT};

/* What less than a second says of balance, likeness and mean is music. */
static bool is_long(const PlanishCheckResult *result)
{
  return result->measurement.duration >= 1.0;
}

/* True where there is no stereo to speak of. */
static bool judge_silence(const PlanishReadings *readings, PlanishCheckResult *result)
{
  const double left = planish_channels_level(readings->channels, 0);
  const double right = planish_channels_level(readings->channels, 1);
  if (left < SILENT_DB && right < SILENT_DB) {
    PlanishFinding *finding = planish_finding_add(&result->findings, PLANISH_FINDING_SILENT,
                                                  PLANISH_FAULT, "the file is silent");
    planish_finding_remedy(finding, "export it again");
    return true;
  }
  if (left < SILENT_DB || right < SILENT_DB || fabs(left - right) > FAR_APART_DB) {
    const int silent = left < right ? 0 : 1;
    PlanishFindings *findings = &result->findings;
    PlanishFinding *finding =
        fmin(left, right) < SILENT_DB
            ? planish_finding_add(findings, PLANISH_FINDING_CHANNEL_SILENT, PLANISH_FAULT,
                                  "the channel is silent")
            : planish_finding_add(findings, PLANISH_FINDING_CHANNEL_SILENT, PLANISH_FAULT,
                                  "%.0f dB under the other channel, as good as silent",
                                  fabs(left - right));
    finding->channel = channel_names[silent];
    planish_finding_remedy(finding, "export it again, with both channels");
    return true;
  }
  return false;
}

/* True where the channels are the same, but for level. */
static bool judge_width(const PlanishReadings *readings, PlanishCheckResult *result)
{
  PlanishFindings *findings = &result->findings;
  if (result->source.channels == 1) {
    PlanishFinding *finding = planish_finding_add(findings, PLANISH_FINDING_MONO, PLANISH_NOTE,
                                                  "mono: taken as dual mono");
    planish_finding_remedy(finding, "ask for the stereo mix, if there is one");
    return true;
  }
  const double correlation = planish_channels_correlation(&readings->channels->whole);
  if (!is_long(result) || (readings->channels->differ && !(correlation > SAME))) {
    return false;
  }
  PlanishFinding *finding = planish_finding_add(
      findings, PLANISH_FINDING_CHANNELS_IDENTICAL, PLANISH_WARNING,
      "left and right are the same%s", readings->channels->differ ? " but for their level" : "");
  planish_finding_value(finding, correlation, "correlation");
  planish_finding_remedy(finding, "ask whether mono is meant, and for the stereo mix if not");
  return true;
}

static void judge_polarity(const PlanishReadings *readings, PlanishCheckResult *result)
{
  const double whole = planish_channels_correlation(&readings->channels->whole);
  const double low = planish_channels_correlation(&readings->channels->low);
  const bool turned = whole < AGAINST || (low < LOW_AGAINST && whole < UNRELATED);
  if (!turned && !(whole < ODDLY_AGAINST)) {
    return;
  }
  PlanishFinding *finding = planish_finding_add(
      &result->findings, PLANISH_FINDING_POLARITY, turned ? PLANISH_FAULT : PLANISH_WARNING,
      "left and right work against each other: correlation %.2f, %.2f under 150 Hz", whole, low);
  planish_finding_value(finding, whole, "correlation");
  planish_finding_remedy(finding, "ask which channel is turned; the sheet mends it with "
                                  "input: {polarity: {right: inverted}}");
}

static void judge_balance(const PlanishReadings *readings, PlanishCheckResult *result)
{
  const double balance = planish_channels_balance(readings->channels);
  if (!(fabs(balance) >= BALANCE_NOTE_LU) || isinf(balance)) {
    return;
  }
  PlanishFinding *finding =
      planish_finding_add(&result->findings, PLANISH_FINDING_IMBALANCE,
                          fabs(balance) >= BALANCE_WARNING_LU ? PLANISH_WARNING : PLANISH_NOTE,
                          "louder than the other by %.1f LU", fabs(balance));
  finding->channel = channel_names[balance > 0.0 ? 0 : 1];
  planish_finding_value(finding, fabs(balance), "LU");
  planish_finding_remedy(finding,
                         "ask whether it is meant; the sheet mends it with "
                         "input: {balance: %.1f}",
                         balance);
}

static void judge_offset(const PlanishReadings *readings, PlanishCheckResult *result)
{
  const int channels = result->source.channels == 1 ? 1 : 2;
  for (int c = 0; c < channels; ++c) {
    const double offset = planish_channels_offset(readings->channels, c);
    const double level = planish_level_of(fabs(offset));
    if (level < OFFSET_NOTE_DB) {
      continue;
    }
    PlanishFinding *finding =
        planish_finding_add(&result->findings, PLANISH_FINDING_OFFSET,
                            level < OFFSET_WARNING_DB ? PLANISH_NOTE : PLANISH_WARNING,
                            "DC of %+.5f (%.1f dBFS)", offset, level);
    finding->channel = channels == 1 ? PLANISH_OF_BOTH : channel_names[c];
    planish_finding_value(finding, level, "dBFS");
    planish_finding_remedy(finding, "the sheet takes it out with input: {dc: remove}");
  }
}

void planish_judge_channels(const PlanishReadings *readings, PlanishCheckResult *result)
{
  if (!judge_silence(readings, result)) {
    const bool mono = judge_width(readings, result);
    if (!mono && is_long(result)) {
      judge_polarity(readings, result);
    }
    if (is_long(result)) {
      judge_balance(readings, result);
    }
  }
  if (is_long(result)) {
    judge_offset(readings, result);
  }
}
