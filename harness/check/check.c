#include "harness/check/check.h"

#include "common/dsp/maths.h"
#include "harness/check/judge.h"
#include "harness/check/word_length.h"

#include <math.h>
#include <stdlib.h>

#define PIECE 1024

struct PlanishCheck {
  PlanishCheckSource source;
  PlanishMeasure *measure;
  PlanishBandEdge *edge;
  PlanishClicks *clicks;
  PlanishChannels channels;
  PlanishGaps gaps;
  PlanishPauses pauses;
  PlanishPeakPile pile;
  PlanishSamplePile samples;
  PlanishWordLength word;
  float mono[PIECE];
};

PlanishCheck *planish_check_new(const PlanishCheckSource *source)
{
  const bool in_range =
      source->rate >= PLANISH_MEASURE_MIN_RATE && source->rate <= PLANISH_MEASURE_MAX_RATE;
  PlanishCheck *check = in_range ? calloc(1, sizeof *check) : NULL;
  if (check == NULL) {
    return NULL;
  }
  check->source = *source;
  check->measure = planish_measure_new(source->rate, source->channels);
  check->edge = planish_band_edge_new(source->rate);
  check->clicks = planish_clicks_new(source->rate);
  if (check->measure == NULL || check->edge == NULL || check->clicks == NULL) {
    planish_check_free(check);
    return NULL;
  }
  planish_measure_watch(check->measure, planish_peak_pile_add, &check->pile);
  planish_channels_reset(&check->channels, source->rate);
  planish_gaps_reset(&check->gaps, source->rate, source->word.floating ? 0 : source->word.bits);
  planish_sample_pile_reset(&check->samples, source->rate);
  planish_pauses_reset(&check->pauses, source->rate);
  return check;
}

void planish_check_free(PlanishCheck *check)
{
  if (check != NULL) {
    planish_measure_free(check->measure);
    planish_band_edge_free(check->edge);
    planish_clicks_free(check->clicks);
    free(check);
  }
}

static void measure_piece(PlanishCheck *check, const float *interleaved, size_t frames)
{
  if (check->source.channels == 2) {
    planish_measure_process(check->measure, interleaved, frames);
    return;
  }
  for (size_t n = 0; n < frames; ++n) {
    check->mono[n] = interleaved[2 * n];
  }
  planish_measure_process(check->measure, check->mono, frames);
}

void planish_check_process(PlanishCheck *check, const float *interleaved, size_t frames)
{
  for (size_t done = 0; done < frames;) {
    const size_t piece = frames - done < PIECE ? frames - done : PIECE;
    const float *from = interleaved + 2 * done;
    measure_piece(check, from, piece);
    planish_band_edge_process(check->edge, from, piece);
    planish_clicks_process(check->clicks, from, piece);
    planish_channels_process(&check->channels, from, piece);
    planish_gaps_process(&check->gaps, from, piece);
    planish_sample_pile_process(&check->samples, from, piece);
    planish_pauses_process(&check->pauses, from, piece);
    planish_word_length_process(&check->word, from, 2 * piece);
    done += piece;
  }
}

/* The worst first; those alike stay in order. */
static void sort(PlanishFindings *findings)
{
  PlanishFindings sorted = {0};
  for (int severity = PLANISH_FAULT; severity >= PLANISH_NOTE; --severity) {
    for (int kind = 0; kind < PLANISH_FINDING_KINDS; ++kind) {
      for (size_t n = 0; n < findings->count; ++n) {
        const PlanishFinding *finding = &findings->finding[n];
        if ((int)finding->severity == severity && (int)finding->kind == kind) {
          sorted.finding[sorted.count++] = *finding;
        }
      }
    }
  }
  *findings = sorted;
}

static void fill_readings(const PlanishCheck *check, PlanishCheckResult *result)
{
  const PlanishPauses *pauses = &check->pauses;
  const PlanishBandEdgeFound edge = planish_band_edge_find(check->edge);
  result->source = check->source;
  result->bits_used = planish_word_length_bits(&check->word);
  result->pause_floor = pauses->found ? planish_level_of_power(pauses->floor) : (double)NAN;
  result->pause_floor_at = pauses->found ? (double)pauses->at / check->source.rate : (double)NAN;
  result->band_edge = edge.edge > 0.0 ? edge.edge : (double)NAN;
}

void planish_check_finish(PlanishCheck *check, const PlanishPlaces *silenced, bool cut,
                          PlanishCheckResult *result)
{
  *result = (PlanishCheckResult){0};
  planish_measure_finish(check->measure, &result->measurement);
  planish_gaps_finish(&check->gaps);
  fill_readings(check, result);
  const PlanishReadings readings = {
      .runs = {planish_measure_clipped(check->measure, 0),
               planish_measure_clipped(check->measure, 1)},
      .clicks = check->clicks,
      .gaps = &check->gaps,
      .channels = &check->channels,
      .pauses = &check->pauses,
      .pile = &check->pile,
      .samples = &check->samples.pile,
      .edge = planish_band_edge_find(check->edge),
      .silenced = silenced,
      .cut = cut,
  };
  planish_judge_source(&readings, result);
  planish_judge_channels(&readings, result);
  planish_judge_peaks(&readings, result);
  planish_judge_places(&readings, result);
  sort(&result->findings);
}
