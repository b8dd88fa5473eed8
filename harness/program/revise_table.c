#include "harness/program/revise_table.h"

#include "harness/base/json.h"
#include "harness/base/text.h"
#include "harness/compare/compare_json.h"
#include "harness/program/figures.h"

#include <math.h>
#include <string.h>

static void print_time(double seconds)
{
  /* In tenths first, so that 59.96 does not become 0:60.0. */
  const long tenths = lround(10.0 * seconds);
  planish_text_print(stdout, "%ld:%02ld.%ld", tenths / 600, tenths / 10 % 60, tenths % 10);
}

/* A number to six digits, else the text itself. */
static const char *shorter(char *text, size_t size, const char *whole)
{
  double number = 0.0;
  if (whole == NULL || !planish_text_number(whole, &number)) {
    return whole == NULL ? "none" : whole;
  }
  planish_text_format(text, size, "%.6g", number);
  return text;
}

static void print_change(const PlanishSettingChange *change)
{
  double then = 0.0;
  double now = 0.0;
  const char *unit = change->now == NULL ? "" : change->unit; /* "none" has none */
  const char *space = unit[0] == '\0' ? "" : " ";
  switch (change->kind) {
  case PLANISH_SETTING_ADDED:
    planish_text_print(stdout, "  + stage %s (%s)\n", change->where, change->now);
    return;
  case PLANISH_SETTING_REMOVED:
    planish_text_print(stdout, "  - stage %s (%s)\n", change->where, change->then);
    return;
  case PLANISH_SETTING_MOVED:
    planish_text_print(stdout, "  stage %s moved from place %s to %s\n", change->where,
                       change->then, change->now);
    return;
  case PLANISH_SETTING_VALUE:
    break;
  }
  char texts[2][32];
  const char *shown[] = {shorter(texts[0], sizeof texts[0], change->then),
                         shorter(texts[1], sizeof texts[1], change->now)};
  const bool alike = strcmp(shown[0], shown[1]) == 0;
  planish_text_print(stdout, "  %-28s %s -> %s%s%s", change->where, alike ? change->then : shown[0],
                     alike ? change->now : shown[1], space, unit);
  if (change->then != NULL && change->now != NULL && planish_text_number(change->then, &then) &&
      planish_text_number(change->now, &now) && change->unit[0] != '\0') {
    planish_text_print(stdout, "  (%+g)", now - then);
  }
  (void)fputc('\n', stdout);
}

static void print_settings(const PlanishRevision *revision)
{
  const PlanishSettingChanges *settings = &revision->settings;
  planish_text_print(stdout, "settings  %s\n",
                     !revision->has_settings ? "those of the old master"
                     : settings->count == 0  ? "nothing changed"
                                             : "changed:");
  for (size_t n = 0; n < settings->count; ++n) {
    print_change(&settings->list[n]);
  }
}

static void print_bands(const double *nominal, const double *change, size_t count)
{
  enum { A_LINE = 5 };
  for (size_t n = 0; n < count; ++n) {
    planish_text_print(stdout, "%s%g Hz %+.1f dB%s", n % A_LINE == 0 ? "      " : "", nominal[n],
                       change[n], n + 1 == count || (n + 1) % A_LINE == 0 ? "\n" : ", ");
  }
}

static void print_stretch(const PlanishMixStretch *stretch)
{
  planish_text_print(stdout, "    ");
  print_time(stretch->from);
  planish_text_print(stdout, " to ");
  print_time(stretch->to);
  if (isfinite(stretch->difference)) {
    planish_text_print(stdout, ": differs by %.1f dB re the old mix", stretch->difference);
  } else {
    planish_text_print(stdout, ": the old mix is silent");
  }
  planish_text_print(stdout, "%s\n",
                     !stretch->listed           ? ""
                     : stretch->band_count == 0 ? "; no third octave by 0.25 dB"
                                                : "; third octaves:");
  print_bands(stretch->nominal, stretch->change, stretch->band_count);
}

/* Third octaves of the whole. */
static void print_spectrum(const PlanishComparison *comparison)
{
  double nominal[PLANISH_THIRD_OCTAVES_MAX];
  double change[PLANISH_THIRD_OCTAVES_MAX];
  size_t count = 0;
  for (size_t n = 0; n < comparison->octaves[0].count; ++n) {
    const double by = planish_compare_band_change(comparison, n);
    if (fabs(by) >= PLANISH_MIX_BAND &&
        planish_compare_band(&comparison->octaves[0], n) > PLANISH_MIX_FLOOR) {
      nominal[count] = comparison->octaves[0].band[n].nominal;
      change[count++] = by;
    }
  }
  planish_text_print(stdout, "  spectrum of the whole, equally loud:%s\n",
                     count == 0 ? " no third octave changed by 0.25 dB" : "");
  print_bands(nominal, change, count);
}

static void print_stretches(const PlanishMixChanges *mix)
{
  const double length = (double)mix->comparison->overlap / mix->comparison->rate;
  if (mix->count == 0) {
    planish_text_print(stdout, "  no stretch differs by more than %g dB re the old mix\n",
                       mix->level);
    return;
  }
  planish_text_print(stdout,
                     "  %zu stretch%s over %g dB re the old mix, %.1f s of %.1f s, in the old "
                     "mix's time:\n",
                     mix->count, mix->count == 1 ? "" : "es", mix->level, mix->changed, length);
  for (size_t n = 0; n < mix->count; ++n) {
    print_stretch(&mix->stretches[n]);
  }
}

/* A recall file may come from anywhere: no path out of it moves the terminal. */
static void print_paths(const PlanishRevision *revision)
{
  char line[8400]; /* two paths and some words */
  planish_text_line(line, sizeof line, "mix       %s -> %s", revision->mix_path[0],
                    revision->mix_path[1]);
  planish_text_print(stdout, "%s\n", line);
}

/* "-18.50 -> -18.40 LUFS (+0.10)" */
static void print_step(double before, double after, const char *unit)
{
  char from[PLANISH_FIGURE];
  char to[PLANISH_FIGURE];
  char change[PLANISH_FIGURE];
  planish_figure(from, before, "");
  planish_figure(to, after, unit);
  planish_figure_change(change, before, after, "");
  planish_text_print(stdout, change[0] == '\0' ? "%s -> %s%s" : "%s -> %s (%s)", from, to, change);
}

static void print_mix(const PlanishRevision *revision)
{
  if (!revision->has_mix) {
    planish_text_print(stdout, "mix       %s\n",
                       !revision->mix_known ? "not compared: a sheet knows none"
                       : revision->mix_same ? "the same samples"
                                            : "another one; not compared, since one of the two "
                                              "is no longer there");
    return;
  }
  const PlanishMixChanges *mix = &revision->mix;
  const PlanishComparison *comparison = mix->comparison;
  const PlanishMeasurement *a = &comparison->measurement[0];
  const PlanishMeasurement *b = &comparison->measurement[1];
  print_paths(revision);
  planish_text_print(stdout, "  loudness ");
  print_step(a->integrated, b->integrated, "LUFS");
  planish_text_print(stdout, ", true peak ");
  print_step(a->true_peak, b->true_peak, "dBTP");
  (void)fputc('\n', stdout);
  if (comparison->frames[0] != comparison->frames[1]) {
    planish_text_print(stdout, "  length %.3f -> %.3f s\n",
                       (double)comparison->frames[0] / comparison->rate,
                       (double)comparison->frames[1] / comparison->rate);
  }
  if (comparison->same_samples) {
    planish_text_print(stdout, "  the same samples\n");
    return;
  }
  if (!comparison->related) {
    planish_text_print(stdout, "  nothing alike: held against each other as they stand\n");
  } else {
    planish_text_print(stdout, "  new one later by %.3f frames, matched by %+.2f dB\n", mix->delay,
                       mix->gain);
  }
  print_stretches(mix);
  print_spectrum(comparison);
}

static void print_master(const PlanishRevision *revision, const char *words,
                         const PlanishRevisedMaster *master)
{
  if (!master->known) {
    return;
  }
  char loudness[PLANISH_FIGURE];
  char peak[PLANISH_FIGURE];
  planish_figure(loudness, master->loudness, "LUFS");
  planish_figure(peak, master->true_peak, "dBTP");
  planish_text_print(stdout, "%-9s %s, %s", words, loudness, peak);
  planish_figure_change(loudness, revision->then.loudness, master->loudness, "LU");
  planish_figure_change(peak, revision->then.true_peak, master->true_peak, "dB");
  if (master != &revision->then && revision->then.known && loudness[0] != '\0' && peak[0] != '\0') {
    planish_text_print(stdout, " (%s, %s)", loudness, peak);
  }
  if (revision->by != NULL && isfinite(master->moved_to)) {
    planish_text_print(stdout, ", %s at %.2f %s", revision->by, master->moved_to,
                       revision->by_unit);
    if (master != &revision->then && revision->then.known) {
      planish_text_print(stdout, " (%+.2f)", master->moved_to - revision->then.moved_to);
    }
  }
  (void)fputc('\n', stdout);
  if (master->has_spectrum) {
    planish_text_print(stdout, "  spectrum against the old master, equally loud:%s\n",
                       master->band_count == 0 ? " no third octave changed by 0.25 dB" : "");
    print_bands(master->nominal, master->change, master->band_count);
  }
}

void planish_revise_table(const PlanishReviseJob *job, const PlanishRevision *revision)
{
  planish_text_print(stdout, "from %s\nto   %s\n", job->side[0].path, job->side[1].path);
  print_settings(revision);
  print_mix(revision);
  print_master(revision, "old", &revision->then);
  print_master(revision, "new", &revision->noted);
  print_master(revision, "as set", &revision->kept);
  print_master(revision, revision->landing_missed ? "missed" : "landed", &revision->landed);
}

static const char *kind_word(PlanishSettingChangeKind kind)
{
  return kind == PLANISH_SETTING_VALUE     ? "value"
         : kind == PLANISH_SETTING_ADDED   ? "added"
         : kind == PLANISH_SETTING_REMOVED ? "removed"
                                           : "moved";
}

static void json_settings(PlanishJson *json, const PlanishRevision *revision)
{
  if (!revision->has_settings) {
    planish_json_null(json, "settings");
    return;
  }
  planish_json_array_begin(json, "settings");
  for (size_t n = 0; n < revision->settings.count; ++n) {
    const PlanishSettingChange *change = &revision->settings.list[n];
    planish_json_object_begin(json, NULL);
    planish_json_string(json, "kind", kind_word(change->kind));
    planish_json_string(json, "where", change->where);
    planish_json_string(json, "old", change->then);
    planish_json_string(json, "new", change->now);
    planish_json_string(json, "unit", change->unit);
    planish_json_object_end(json);
  }
  planish_json_array_end(json);
}

static void json_bands(PlanishJson *json, const double *nominal, const double *change, size_t count)
{
  planish_json_array_begin(json, "bands");
  for (size_t n = 0; n < count; ++n) {
    planish_json_object_begin(json, NULL);
    planish_json_number(json, "nominal_hz", nominal[n]);
    planish_json_number(json, "change_db", change[n]);
    planish_json_object_end(json);
  }
  planish_json_array_end(json);
}

static void json_stretches(PlanishJson *json, const PlanishMixChanges *mix)
{
  planish_json_array_begin(json, "stretches");
  for (size_t n = 0; n < mix->count; ++n) {
    const PlanishMixStretch *stretch = &mix->stretches[n];
    planish_json_object_begin(json, NULL);
    planish_json_number(json, "from_s", stretch->from);
    planish_json_number(json, "to_s", stretch->to);
    planish_json_number(json, "difference_db", stretch->difference);
    if (stretch->listed) {
      json_bands(json, stretch->nominal, stretch->change, stretch->band_count);
    } else {
      planish_json_null(json, "bands");
    }
    planish_json_object_end(json);
  }
  planish_json_array_end(json);
}

static void json_mix(PlanishJson *json, const PlanishRevision *revision)
{
  if (!revision->has_mix) {
    planish_json_null(json, "mix");
    return;
  }
  const PlanishMixChanges *mix = &revision->mix;
  const PlanishComparison *comparison = mix->comparison;
  const PlanishMeasurement *a = &comparison->measurement[0];
  const PlanishMeasurement *b = &comparison->measurement[1];
  planish_json_object_begin(json, "mix");
  planish_json_string(json, "old", revision->mix_path[0]);
  planish_json_string(json, "new", revision->mix_path[1]);
  planish_json_number(json, "delay_frames", mix->delay);
  planish_json_number(json, "gain_db", mix->gain);
  planish_json_number(json, "level_db", mix->level);
  planish_json_number(json, "length_change_s",
                      ((double)comparison->frames[1] - (double)comparison->frames[0]) /
                          comparison->rate);
  planish_json_number(json, "loudness_change_lu", b->integrated - a->integrated);
  planish_json_number(json, "true_peak_change_db", b->true_peak - a->true_peak);
  planish_json_number(json, "changed_s", mix->changed);
  json_stretches(json, mix);
  planish_json_array_begin(json, "third_octaves");
  for (size_t n = 0; n < comparison->octaves[0].count; ++n) {
    planish_json_object_begin(json, NULL);
    planish_json_number(json, "nominal_hz", comparison->octaves[0].band[n].nominal);
    planish_json_number(json, "change_db", planish_compare_band_change(comparison, n));
    planish_json_object_end(json);
  }
  planish_json_array_end(json);
  planish_json_object_end(json);
}

static void json_master(PlanishJson *json, const char *key, const PlanishRevisedMaster *master)
{
  if (!master->known) {
    planish_json_null(json, key);
    return;
  }
  planish_json_object_begin(json, key);
  planish_json_number(json, "integrated_lufs", master->loudness);
  planish_json_number(json, "true_peak_dbtp", master->true_peak);
  planish_json_number(json, "moved_to", master->moved_to);
  if (master->has_spectrum) {
    json_bands(json, master->nominal, master->change, master->band_count);
  } else {
    planish_json_null(json, "bands");
  }
  planish_json_object_end(json);
}

void planish_revise_json(const PlanishReviseJob *job, const PlanishRevision *revision)
{
  PlanishJson json = planish_json_on(stdout);
  planish_json_object_begin(&json, NULL);
  planish_json_string(&json, "old", job->side[0].path);
  planish_json_string(&json, "new", job->side[1].path);
  json_settings(&json, revision);
  if (revision->mix_known) {
    planish_json_bool(&json, "mix_same", revision->mix_same);
  } else {
    planish_json_null(&json, "mix_same");
  }
  json_mix(&json, revision);
  planish_json_string(&json, "moved", revision->by);
  planish_json_string(&json, "moved_unit", revision->by == NULL ? NULL : revision->by_unit);
  json_master(&json, "master_old", &revision->then);
  json_master(&json, "master_new", &revision->noted);
  json_master(&json, "master_kept", &revision->kept);
  json_master(&json, "master_landed", &revision->landed);
  planish_json_bool(&json, "landing_missed", revision->landing_missed);
  planish_json_object_end(&json);
}
