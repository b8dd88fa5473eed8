#include "harness/check/judge.h"

#include "common/dsp/maths.h"

#include <math.h>

/* Edges this near to half the rate are those of any converter. */
#define NEAR_TO_TOP 0.93

/* From this rate on an edge under three quarters of half the rate is a lower rate's. */
#define HIGH_RATE       50000.0
#define SHARE_OF_RAISED 0.75

/* Coders of low and middling bit rates stop between these, of high ones up to the third; above
 * that stops what was at 44.1 kHz once. Common practice of the coders tried in the tests. */
#define LOWEST_CODER_HZ  13000.0
#define MIDDLE_CODER_HZ  19000.0
#define HIGHEST_CODER_HZ 20900.0

/* A word that is as much longer than what it holds was once a shorter one. */
#define SPARE_BITS 4

/* Noise is told of where the music stands well above it. */
#define NOISE_UNDER_LU   30.0
#define NOISE_NOTE_DB    (-75.0)
#define NOISE_WARNING_DB (-60.0)
#define LOW_NOISE_SHARE  0.8

static void judge_file(const PlanishReadings *readings, PlanishCheckResult *result)
{
  PlanishFindings *findings = &result->findings;
  if (readings->cut) {
    PlanishFinding *finding =
        planish_finding_add(findings, PLANISH_FINDING_CUT_SHORT, PLANISH_FAULT,
                            "the file is cut short: its header promises more audio");
    finding->count = finding->times = 1;
    finding->time[0] = result->measurement.duration;
    planish_finding_remedy(finding, "copy or export it again; what is there was checked");
  }
  const uint64_t silenced = readings->silenced->count;
  if (silenced > 0) {
    PlanishFinding *finding =
        planish_finding_add(findings, PLANISH_FINDING_NOT_A_NUMBER, PLANISH_FAULT,
                            "%llu frame%s with samples that are no numbers, taken as silence",
                            (unsigned long long)silenced, silenced == 1 ? "" : "s");
    planish_finding_places(finding, readings->silenced, result->source.rate);
    planish_finding_remedy(finding, "export the mix again: a plug-in of the mix has failed");
  }
}

static void judge_word(PlanishCheckResult *result)
{
  const PlanishReaderWord *word = &result->source.word;
  const unsigned used = result->bits_used;
  PlanishFindings *findings = &result->findings;
  PlanishFinding *finding = NULL;
  if (used == 0 || word->lossy) {
    return;
  }
  if (word->floating && used > 16 && used <= 24) {
    finding = planish_finding_add(findings, PLANISH_FINDING_WORD_LENGTH, PLANISH_NOTE,
                                  "float samples on a grid of %u bit", used);
    planish_finding_remedy(finding, "nothing is wrong; the mix was a fixed-point file once");
  } else if (word->bits <= 16 && !word->floating && used + SPARE_BITS > word->bits) {
    finding = planish_finding_add(findings, PLANISH_FINDING_WORD_LENGTH,
                                  word->bits < 16 ? PLANISH_WARNING : PLANISH_NOTE,
                                  "a word length of %u bit", word->bits);
    planish_finding_remedy(finding, "ask for the mix in 24 bit or float");
  } else if (used <= 16 || (!word->floating && used + SPARE_BITS <= word->bits && used < 24)) {
    finding = planish_finding_add(findings, PLANISH_FINDING_WORD_LENGTH, PLANISH_WARNING,
                                  "%u bit in a file of %u bit%s", used, word->bits,
                                  word->floating ? " float" : "");
    planish_finding_remedy(finding, "ask for the mix as it left the mixer, in 24 bit or float");
  }
  if (finding != NULL) {
    planish_finding_value(finding, used, "bit");
  }
}

static void add_loss(PlanishCheckResult *result, PlanishSeverity severity, double edge)
{
  PlanishFinding *finding = planish_finding_add(
      &result->findings, PLANISH_FINDING_CODED_WITH_LOSS, severity,
      "nothing above %.1f kHz: the mark of a coder with loss, or of a converter", edge / 1000.0);
  planish_finding_value(finding, edge, "Hz");
  planish_finding_remedy(finding, "ask whether the mix was ever an MP3 or the like, and for the "
                                  "original if so");
}

static void add_raised(PlanishCheckResult *result, double edge)
{
  PlanishFinding *finding =
      planish_finding_add(&result->findings, PLANISH_FINDING_RATE_RAISED, PLANISH_WARNING,
                          "nothing above %.1f kHz in a file of %g kHz: its rate was raised",
                          edge / 1000.0, result->source.rate / 1000.0);
  planish_finding_value(finding, edge, "Hz");
  planish_finding_remedy(finding, "ask for the mix at the rate at which it was mixed");
}

static void judge_band(const PlanishReadings *readings, PlanishCheckResult *result)
{
  const double rate = result->source.rate;
  const double edge = readings->edge.edge;
  if (result->source.word.lossy) {
    PlanishFinding *finding = planish_finding_add(
        &result->findings, PLANISH_FINDING_CODED_WITH_LOSS, PLANISH_WARNING, "coded with loss");
    planish_finding_remedy(finding, "ask for the mix as WAV, AIFF or FLAC");
    return;
  }
  if (!(edge > 0.0) || edge > NEAR_TO_TOP * rate / 2.0) {
    return;
  }
  if (rate >= HIGH_RATE) {
    if (edge < SHARE_OF_RAISED * rate / 2.0) {
      add_raised(result, edge);
    }
  } else if (edge < LOWEST_CODER_HZ || edge > HIGHEST_CODER_HZ) {
    add_raised(result, edge);
  } else {
    add_loss(result, edge < MIDDLE_CODER_HZ ? PLANISH_WARNING : PLANISH_NOTE, edge);
  }
}

static void judge_rate(PlanishCheckResult *result)
{
  static const double usual[] = {44100.0, 48000.0, 88200.0, 96000.0, 176400.0, 192000.0};
  const double rate = result->source.rate;
  for (size_t n = 0; n < sizeof usual / sizeof *usual; ++n) {
    if (rate == usual[n]) {
      return;
    }
  }
  PlanishFinding *finding =
      planish_finding_add(&result->findings, PLANISH_FINDING_ODD_RATE, PLANISH_NOTE,
                          "an unusual sample rate, %g Hz", rate);
  planish_finding_value(finding, rate, "Hz");
  planish_finding_remedy(finding, "ask at which rate it was mixed; the sheet's rate: converts it");
}

static void judge_noise(const PlanishReadings *readings, PlanishCheckResult *result)
{
  const double floor = result->pause_floor;
  if (!(floor > NOISE_NOTE_DB && floor < result->measurement.integrated - NOISE_UNDER_LU)) {
    return;
  }
  const bool low = readings->pauses->low_share > LOW_NOISE_SHARE;
  PlanishFinding *finding =
      planish_finding_add(&result->findings, PLANISH_FINDING_NOISE,
                          floor > NOISE_WARNING_DB ? PLANISH_WARNING : PLANISH_NOTE,
                          "%s of %.1f dBFS in a pause", low ? "hum or rumble" : "noise", floor);
  planish_finding_value(finding, floor, "dBFS");
  finding->count = 1;
  finding->times = 1;
  finding->time[0] = result->pause_floor_at;
  planish_finding_remedy(finding, "a master at -9 LUFS lifts it to %.0f dBFS: %s",
                         floor - 9.0 - result->measurement.integrated,
                         low ? "find its source in the mix" : "ask whether the mix can be cleaned");
}

void planish_judge_source(const PlanishReadings *readings, PlanishCheckResult *result)
{
  judge_file(readings, result);
  judge_word(result);
  judge_band(readings, result);
  judge_rate(result);
  judge_noise(readings, result);
}
