/* planish compare: what differs between two files, lined up and equally loud. */
#include "harness/base/json.h"
#include "harness/base/text.h"
#include "harness/compare/compare.h"
#include "harness/compare/compare_json.h"
#include "harness/program/commands.h"
#include "harness/program/options.h"
#include "harness/program/progress.h"
#include "harness/program/warnings.h"

#include <math.h>

static const char help[] =
    "Usage: planish compare [OPTION]... A B\n"
    "Lines B up with A (within 2 s, to a part of a frame), brings it to A's level, and\n"
    "says what is left: null depth, loudness, peaks, third octaves, punch. Files of\n"
    "different rates are compared at the higher one.\n"
    "\n"
    "      --tolerance=DB    a regression check: exit 1 if the difference, or what one has\n"
    "                        before the other begins or beyond its end, re the louder, is\n"
    "                        over DB, e.g. -100; or if one channel's polarity is turned\n"
    "      --plain           neither line up nor match level: the files as they are\n"
    "      --json            for machines\n"
    "      --silence-bad     take samples that are no number as silence\n"
    "      --help\n"
    "\n"
    "  planish compare mix.wav master.wav\n"
    "  planish compare --plain --tolerance=-100 last-year.wav again.wav\n"
    "\n"
    "Exit: 0 done, within tolerance; 1 over tolerance; 2 bad usage; 3 unusable audio;\n"
    "4 could not read.\n";

static void print_number(const char *name, double value, int decimals, const char *unit)
{
  if (isfinite(value)) {
    planish_text_print(stdout, "  %-22s %+9.*f %s\n", name, decimals,
                       planish_text_unsigned_zero(value, decimals), unit);
  } else {
    planish_text_print(stdout, "  %-22s %9s\n", name, "-");
  }
}

static void print_null(const char *name, double value)
{
  if (isinf(value)) {
    planish_text_print(stdout, "  %-22s %9s\n", name, "nothing is left");
  } else {
    print_number(name, value, 1, "dB re the louder");
  }
}

static void print_level(double level, const char *unit)
{
  if (isfinite(level)) {
    planish_text_print(stdout, ", %.2f %s", level, unit);
  }
}

static void print_files(const char *const path[2], const PlanishComparison *result)
{
  for (int n = 0; n < 2; ++n) {
    char time[PLANISH_TEXT_TIME];
    const PlanishMeasurement *m = &result->measurement[n];
    planish_text_print(stdout, "%c  %s: %s%g Hz, %s", n == 0 ? 'A' : 'B', path[n],
                       result->channels[n] == 1 ? "mono taken as dual mono, " : "",
                       result->file_rate[n],
                       planish_text_of_time(time, (double)result->frames[n] / result->rate));
    print_level(m->integrated, "LUFS");
    print_level(m->true_peak, "dBTP");
    planish_text_print(stdout, "%s\n", isfinite(m->true_peak) ? "" : ", silent");
  }
  if (result->file_rate[0] != result->file_rate[1]) {
    planish_text_print(stdout, "   different rates: %c converted to %g Hz\n",
                       result->file_rate[0] < result->rate ? 'A' : 'B', result->rate);
  }
  if (result->frames[0] != result->frames[1]) {
    planish_text_print(stdout, "   different lengths: %llu and %llu frames\n",
                       (unsigned long long)result->frames[0],
                       (unsigned long long)result->frames[1]);
  }
}

static void print_alignment(const PlanishCompareSetup *setup, const PlanishComparison *result)
{
  const PlanishAlignment *alignment = &result->alignment;
  if (result->same_samples) {
    planish_text_print(stdout, "  the same samples\n");
    return;
  }
  if (setup->plain) {
    planish_text_print(stdout, "  as they are: not lined up, not matched in level\n");
  } else if (!result->related && (result->differing > 0 || result->overlap == 0)) {
    planish_text_print(stdout, "  nothing alike within %g s: compared as they stand\n",
                       (double)planish_aligner_range(result->rate) / result->rate);
  } else if (result->related) {
    print_number("B is later by", alignment->delay, 4, "frames");
    print_number("correlation there", alignment->correlation, 2, "");
  }
  if (alignment->turned[0] || alignment->turned[1]) {
    planish_text_print(stdout, "  polarity turned: %s\n",
                       !alignment->turned[1]   ? "left"
                       : !alignment->turned[0] ? "right"
                                               : "both channels");
  }
  if (result->differing == 0 && result->overlap > 0) {
    planish_text_print(stdout, "  the same samples where both have any\n");
  }
}

static void print_punch(const char *name, const PlanishPunchOf *a, const PlanishPunchOf *b)
{
  char onsets[40];
  planish_text_format(onsets, sizeof onsets, "dB, %llu onset%s", (unsigned long long)a->onsets,
                      a->onsets == 1 ? "" : "s");
  print_number(name, b->punch - a->punch, 2, onsets);
}

static void print_levels(const PlanishComparison *result)
{
  const PlanishMeasurement *a = &result->measurement[0];
  const PlanishMeasurement *b = &result->measurement[1];
  print_number("loudness, B less A", b->integrated - a->integrated, 2, "LU");
  print_number("true peak", b->true_peak - a->true_peak, 2, "dB");
  print_number("sample peak", b->sample_peak - a->sample_peak, 2, "dB");
  print_number("peak to loudness", b->plr - a->plr, 2, "LU");
  print_punch("punch", &result->punch[0].full, &result->punch[1].full);
  print_punch("punch, 40 to 100 Hz", &result->punch[0].low, &result->punch[1].low);
}

static void print_octaves(const PlanishComparison *result)
{
  planish_text_print(stdout, "\n  third octave    B less A, equally loud     null\n");
  for (size_t n = 0; n < result->octaves[0].count; ++n) {
    const double change = planish_compare_band_change(result, n);
    const double null = planish_compare_band_null(result, n);
    if (!isfinite(change)) {
      continue;
    }
    planish_text_print(stdout, "  %9g Hz  %+18.2f dB  ", result->octaves[0].band[n].nominal,
                       change);
    if (isfinite(null)) {
      planish_text_print(stdout, "%+12.1f dB\n", null);
    } else {
      planish_text_print(stdout, "%12s\n", "-");
    }
  }
}

static void print_result(const PlanishCompareSetup *setup, const PlanishComparison *result)
{
  print_files(setup->path, result);
  print_alignment(setup, result);
  if (result->same_samples) {
    return;
  }
  if (!setup->plain) {
    print_number("gain of B for the null", result->gain, 3, "dB");
  }
  print_null("null", result->null_depth);
  print_null("null, equally loud", result->null_at_loudness);
  if (isfinite(result->largest_difference)) {
    char time[PLANISH_TEXT_TIME];
    planish_text_print(stdout, "  %-22s %+9.1f dBFS at %s\n", "largest difference",
                       result->largest_difference,
                       planish_text_of_time(time, result->largest_at / result->rate));
  }
  for (int n = 0; n < 2; ++n) {
    if (isfinite(result->ahead[n])) {
      print_number(n == 0 ? "A ahead of B's start" : "B ahead of A's start", result->ahead[n], 1,
                   "dB re the louder");
    }
    if (isfinite(result->beyond[n])) {
      print_number(n == 0 ? "A behind B's end" : "B behind A's end", result->beyond[n], 1,
                   "dB re the louder");
    }
  }
  print_levels(result);
  print_octaves(result);
}

/* What one has where the other has nothing, where it is over the tolerance. */
static bool judge_rest(double tolerance, const PlanishComparison *result, PlanishError *error)
{
  static const char *const words[2][2] = {
      {"A goes on where B has ended", "A begins before B does"},
      {"B goes on where A has ended", "B begins before A does"}};
  for (int n = 0; n < 2; ++n) {
    const bool before = result->ahead[n] > tolerance;
    if (before || result->beyond[n] > tolerance) {
      return planish_fail(
          error, PLANISH_MISSED, "over tolerance: %s, %.1f dB re the louder, %.1f dB allowed",
          words[n][before], before ? result->ahead[n] : result->beyond[n], tolerance);
    }
  }
  return true;
}

static bool judge(double tolerance, const PlanishComparison *result, PlanishError *error)
{
  if (isnan(tolerance) || planish_compare_within(result, tolerance)) {
    return true;
  }
  if (result->overlap == 0) {
    return planish_fail(error, PLANISH_MISSED, "nothing to compare: the files do not overlap");
  }
  if (result->null_depth > tolerance) {
    return planish_fail(error, PLANISH_MISSED,
                        "over tolerance: the difference is %.1f dB re the louder, %.1f dB allowed",
                        result->null_depth, tolerance);
  }
  return judge_rest(tolerance, result, error) &&
         planish_fail(error, PLANISH_MISSED,
                      "over tolerance: the polarity of one channel is turned, %s",
                      result->alignment.turned[0] ? "left" : "right");
}

static bool compare(const PlanishCompareSetup *setup, bool as_json, double tolerance,
                    PlanishError *error)
{
  PlanishComparison result;
  PlanishProgress *progress = setup->user;
  const bool done = planish_compare(setup, &result, error);
  planish_progress_end(progress);
  if (!done) {
    return false;
  }
  for (int n = 0; n < 2; ++n) {
    planish_warn_of_cut(setup->path[n], result.cut[n]);
    planish_warn_of_silenced(setup->path[n], result.silenced[n]);
  }
  if (as_json) {
    PlanishJson json = planish_json_on(stdout);
    planish_compare_json(&json, NULL, setup->path, tolerance, &result);
  } else {
    print_result(setup, &result);
  }
  return judge(tolerance, &result, error);
}

bool planish_command_compare(int argc, char **argv, PlanishError *error)
{
  bool as_json;
  double tolerance;
  PlanishProgress progress = planish_progress_new();
  PlanishCompareSetup setup = {.tell = planish_progress_tell, .user = &progress};
  const PlanishOption options[] = {
      {"tolerance", PLANISH_OPTION_NUMBER, &tolerance},
      {"plain", PLANISH_OPTION_FLAG, &setup.plain},
      {"json", PLANISH_OPTION_FLAG, &as_json},
      {"silence-bad", PLANISH_OPTION_FLAG, &setup.silence_bad},
  };
  int first = 0;
  if (!planish_options_read(argc, argv, help, options, sizeof options / sizeof *options, &first,
                            error)) {
    return false;
  }
  if (argc - first != 2) {
    return planish_fail(error, PLANISH_BAD_USE, "give A B: see planish compare --help");
  }
  if (!isnan(tolerance) && !(tolerance >= -400.0 && tolerance <= 0.0)) {
    return planish_fail(error, PLANISH_BAD_USE, "out of range: --tolerance=%g: give -400 to 0 dB",
                        tolerance);
  }
  setup.path[0] = argv[first];
  setup.path[1] = argv[first + 1];
  return compare(&setup, as_json, tolerance, error);
}
