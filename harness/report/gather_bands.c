/* Third octaves, punch, low end. */
#include "harness/report/gathering.h"

#include "harness/base/interrupt.h"
#include "harness/measure/punch.h"

#include <math.h>
#include <stdlib.h>

enum { BLOCK = 4096, BANDS = 30 }; /* 20 Hz to 16 kHz */

static double power_of(double db)
{
  return pow(10.0, db / 10.0);
}

static bool hear_octaves(const PlanishGathering *gathering, size_t version, PlanishError *error)
{
  PlanishTrack *track = gathering->versions[version].track;
  PlanishThirdOctaves *octaves = planish_third_octaves_new(gathering->job->stages->rate);
  const uint64_t frames = planish_track_frames(track);
  float block[2 * BLOCK];
  bool done = octaves != NULL || planish_fail_memory(error);
  for (uint64_t at = 0; done && at < frames; at += BLOCK) {
    const size_t wanted = frames - at < BLOCK ? (size_t)(frames - at) : BLOCK;
    done = planish_interrupt_check(error) && planish_track_read(track, at, block, wanted, error);
    if (done) {
      planish_third_octaves_process(octaves, block, wanted);
    }
  }
  if (done) {
    planish_third_octaves_finish(octaves, &gathering->octaves[version]);
  }
  planish_third_octaves_free(octaves);
  return done;
}

/* Mean power of left and right, over the loudness: what is compared is tone. */
static double level_of(const PlanishGathering *gathering, size_t version, size_t band)
{
  const double *level = gathering->octaves[version].band[band].level;
  const double power =
      0.5 * (power_of(level[PLANISH_BAND_LEFT]) + power_of(level[PLANISH_BAND_RIGHT]));
  return 10.0 * log10(power) - gathering->versions[version].measured->integrated;
}

static double level_between(const PlanishGathering *gathering, size_t version, size_t first,
                            size_t end)
{
  double power = 0.0;
  for (size_t band = first; band < end; ++band) {
    power += power_of(level_of(gathering, version, band));
  }
  return power > 0.0 ? 10.0 * log10(power) : -HUGE_VAL;
}

static double side_over_mid(const PlanishGathering *gathering, size_t version, size_t end)
{
  double mid = 0.0;
  double side = 0.0;
  for (size_t band = 0; band < end; ++band) {
    const double *level = gathering->octaves[version].band[band].level;
    mid += power_of(level[PLANISH_BAND_MID]);
    side += power_of(level[PLANISH_BAND_SIDE]);
  }
  return 10.0 * log10(side / mid);
}

static void fill_low_end(PlanishGathering *gathering, size_t column, size_t version)
{
  PlanishGatheredTable *low = &gathering->low_end;
  /* Bands of 20, 40 and 80 Hz on; up to that of 100 Hz, which ends at 112 Hz. */
  static const size_t bands[] = {0, 3, 6, 9};
  const size_t columns = low->table.column_count;
  for (size_t row = 0; row < 3; ++row) {
    low->values[row * columns + column] =
        level_between(gathering, version, bands[row], bands[row + 1]);
  }
  low->values[3 * columns + column] = side_over_mid(gathering, version, 8);
  low->columns[column] = gathering->versions[version].name;
  low->decimals[column] = 1;
}

static bool make_tables(PlanishGathering *gathering, size_t curves, PlanishError *error)
{
  static const char *const names[] = {"20 to 35 Hz over loudness", "35 to 71 Hz over loudness",
                                      "71 to 141 Hz over loudness", "side over mid under 112 Hz"};
  gathering->levels = calloc(curves * BANDS, sizeof *gathering->levels);
  gathering->curves = calloc(curves, sizeof *gathering->curves);
  if (gathering->levels == NULL || gathering->curves == NULL ||
      !planish_gathered_table_new(&gathering->low_end, "low end", 4, curves, error)) {
    return planish_fail_memory(error);
  }
  for (size_t row = 0; row < 4; ++row) {
    gathering->low_end.rows[row].name = names[row];
    gathering->low_end.rows[row].unit = "dB";
  }
  return true;
}

bool planish_gather_octaves(PlanishGathering *gathering, PlanishError *error)
{
  const double rate = gathering->job->stages->rate;
  const size_t bands =
      planish_third_octave_count(rate) < BANDS ? planish_third_octave_count(rate) : BANDS;
  size_t curves = 0;
  gathering->octaves = calloc(gathering->count, sizeof *gathering->octaves);
  if (gathering->octaves == NULL || !make_tables(gathering, gathering->count, error)) {
    return planish_fail_memory(error);
  }
  for (size_t v = 0; v < gathering->count; ++v) {
    const PlanishReportVersion *version = &gathering->versions[v];
    if (version->measured == NULL) {
      continue;
    }
    if (!hear_octaves(gathering, v, error)) {
      return false;
    }
    double *levels = gathering->levels + curves * BANDS;
    for (size_t band = 0; band < bands; ++band) {
      levels[band] = level_of(gathering, v, band);
      gathering->hz[band] = planish_third_octave_nominal(band);
    }
    fill_low_end(gathering, curves, v);
    gathering->curves[curves++] = (PlanishReportCurve){version->name, version->kind, levels};
  }
  gathering->low_end.table.column_count = curves;
  gathering->bands = (PlanishReportBands){gathering->hz, bands, gathering->curves, curves};
  return true;
}

/* Versions from `first` on that are heard in step; fills their rows. */
static bool hear_punch(PlanishGathering *gathering, size_t first, size_t count, PlanishError *error)
{
  PlanishPunch *punch = planish_punch_new(gathering->job->stages->rate, count);
  float(*blocks)[2 * BLOCK] = calloc(count, sizeof *blocks);
  const uint64_t frames = planish_track_frames(gathering->versions[first].track);
  bool done = (punch != NULL && blocks != NULL) || planish_fail_memory(error);
  for (uint64_t at = 0; done && at < frames; at += BLOCK) {
    const float *pointers[PLANISH_PUNCH_MAX_VERSIONS];
    const size_t wanted = frames - at < BLOCK ? (size_t)(frames - at) : BLOCK;
    done = planish_interrupt_check(error);
    for (size_t v = 0; done && v < count; ++v) {
      pointers[v] = blocks[v];
      done = planish_track_read(gathering->versions[first + v].track, at, blocks[v], wanted, error);
    }
    if (done) {
      planish_punch_process(punch, pointers, wanted);
    }
  }
  for (size_t v = 0; done && v < count; ++v) {
    const PlanishPunchResult result = planish_punch_result(punch, v);
    double *row = gathering->punch.values + 4 * (first + v);
    row[0] = result.full.punch;
    row[1] = (double)result.full.onsets;
    row[2] = result.low.punch;
    row[3] = (double)result.low.onsets;
  }
  free(blocks);
  planish_punch_free(punch);
  return done;
}

bool planish_gather_punch(PlanishGathering *gathering, PlanishError *error)
{
  static const char *const columns[] = {"whole, dB", "onsets", "40 to 100 Hz, dB", "onsets"};
  PlanishGatheredTable *punch = &gathering->punch;
  size_t lined_up = 0;
  if (!planish_gathered_table_new(punch, "version", gathering->count, 4, error)) {
    return false;
  }
  for (size_t n = 0; n < 4; ++n) {
    punch->columns[n] = columns[n];
    punch->decimals[n] = n % 2 == 0 ? 1 : 0;
  }
  for (size_t v = 0; v < gathering->count; ++v) {
    punch->rows[v].name = gathering->versions[v].name;
    lined_up += gathering->versions[v].kind != PLANISH_VERSION_REFERENCE;
  }
  /* All by the onsets of the mix, as many at once as there may be. */
  bool done = true;
  if (lined_up <= PLANISH_PUNCH_MAX_VERSIONS) {
    done = hear_punch(gathering, 0, lined_up, error);
  }
  for (size_t v = lined_up; done && v < gathering->count; ++v) {
    done = hear_punch(gathering, v, 1, error);
  }
  return done;
}
