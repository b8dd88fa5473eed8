#include "harness/check/finding.h"

#include "harness/base/text.h"

#include <math.h>

static const char *const kind_names[PLANISH_FINDING_KINDS] = {
    [PLANISH_FINDING_CUT_SHORT] = "cut_short",
    [PLANISH_FINDING_NOT_A_NUMBER] = "not_a_number",
    [PLANISH_FINDING_SILENT] = "silent",
    [PLANISH_FINDING_CHANNEL_SILENT] = "channel_silent",
    [PLANISH_FINDING_CHANNELS_IDENTICAL] = "channels_identical",
    [PLANISH_FINDING_MONO] = "mono",
    [PLANISH_FINDING_POLARITY] = "polarity",
    [PLANISH_FINDING_IMBALANCE] = "imbalance",
    [PLANISH_FINDING_OFFSET] = "dc",
    [PLANISH_FINDING_CLIPPED] = "clipped",
    [PLANISH_FINDING_OVER_FULL_SCALE] = "over_full_scale",
    [PLANISH_FINDING_OVER_BETWEEN_SAMPLES] = "over_between_samples",
    [PLANISH_FINDING_NO_HEADROOM] = "no_headroom",
    [PLANISH_FINDING_LIMITED] = "limited",
    [PLANISH_FINDING_CLICKS] = "clicks",
    [PLANISH_FINDING_DROPOUT] = "dropout",
    [PLANISH_FINDING_BLACK] = "digital_black",
    [PLANISH_FINDING_HEAD_CUT] = "head_cut",
    [PLANISH_FINDING_TAIL_CUT] = "tail_cut",
    [PLANISH_FINDING_EXCERPT] = "excerpt",
    [PLANISH_FINDING_HEAD_SILENCE] = "head_silence",
    [PLANISH_FINDING_TAIL_SILENCE] = "tail_silence",
    [PLANISH_FINDING_WORD_LENGTH] = "word_length",
    [PLANISH_FINDING_RATE_RAISED] = "rate_raised",
    [PLANISH_FINDING_CODED_WITH_LOSS] = "coded_with_loss",
    [PLANISH_FINDING_ODD_RATE] = "odd_rate",
    [PLANISH_FINDING_NOISE] = "noise",
};

PlanishFinding *planish_finding_add(PlanishFindings *findings, PlanishFindingKind kind,
                                    PlanishSeverity severity, const char *what, ...)
{
  findings->count += findings->count < PLANISH_FINDINGS_MAX;
  PlanishFinding *finding = &findings->finding[findings->count - 1];
  *finding = (PlanishFinding){.kind = kind, .severity = severity, .value = (double)NAN};
  va_list arguments;
  va_start(arguments, what);
  planish_text_vline(finding->what, sizeof finding->what, what, arguments);
  va_end(arguments);
  return finding;
}

void planish_finding_remedy(PlanishFinding *finding, const char *format, ...)
{
  va_list arguments;
  va_start(arguments, format);
  planish_text_vline(finding->remedy, sizeof finding->remedy, format, arguments);
  va_end(arguments);
}

void planish_finding_places(PlanishFinding *finding, const PlanishPlaces *places, double rate)
{
  finding->count = places->count;
  finding->times = planish_places_kept(places);
  for (size_t n = 0; n < finding->times; ++n) {
    finding->time[n] = (double)places->frame[n] / rate;
  }
}

void planish_finding_value(PlanishFinding *finding, double value, const char *unit)
{
  finding->value = value;
  finding->unit = unit;
}

const char *planish_finding_kind_name(PlanishFindingKind kind)
{
  return kind_names[kind];
}

const char *planish_finding_severity_name(PlanishSeverity severity)
{
  return severity == PLANISH_NOTE ? "note" : severity == PLANISH_WARNING ? "warning" : "fault";
}

const char *planish_finding_channel_name(PlanishFindingChannel channel)
{
  return channel == PLANISH_OF_LEFT ? "left" : channel == PLANISH_OF_RIGHT ? "right" : NULL;
}

size_t planish_findings_of(const PlanishFindings *findings, PlanishSeverity severity)
{
  size_t count = 0;
  for (size_t n = 0; n < findings->count; ++n) {
    count += findings->finding[n].severity == severity;
  }
  return count;
}
