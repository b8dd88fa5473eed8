#include "harness/check/clicks.h"

#include <math.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#define ORDER 24

/* Cells of 0.25 ms: those before and behind the click that are left out, since the prediction errs
 * for as long as a click is in its past, and those on either side that it is compared with. */
#define CELLS_PER_S 4000.0
#define BEFORE      1
#define BEHIND      3
#define AROUND      48
#define RING        128 /* over 2 AROUND + 1 */

#define FRAMES_MS 20.0 /* of which each prediction is made */

#define LEAST_RATIO 10.0 /* 20 dB */
#define CLEAR_RATIO 20.0 /* 26 dB */
#define ALIKE       0.5
#define LEAST_SHARE 0.1
#define LEAST_LEVEL 3.16e-3 /* -50 dBFS */

typedef struct {
  double residual; /* largest */
  double sound;    /* largest */
  uint64_t frame;  /* of the largest residual */
} Cell;

typedef struct {
  double *past;               /* ORDER samples, then those of a block */
  double predictor[2][ORDER]; /* of the block, and of the one before */
  Cell ring[RING];
  PlanishPlaces found;
} Channel;

struct PlanishClicks {
  double rate;
  size_t block; /* frames of a prediction */
  size_t filled;
  uint64_t frame; /* of the first one of the block under way */
  uint64_t cell;  /* under way */
  uint64_t cell_end;
  Channel channel[2];
};

static uint64_t end_of_cell(const PlanishClicks *clicks)
{
  return (uint64_t)((double)(clicks->cell + 1) * clicks->rate / CELLS_PER_S + 0.5);
}

PlanishClicks *planish_clicks_new(double rate)
{
  PlanishClicks *clicks = rate >= 8000.0 && rate <= 384000.0 ? calloc(1, sizeof *clicks) : NULL;
  if (clicks == NULL) {
    return NULL;
  }
  clicks->rate = rate;
  clicks->block = (size_t)(FRAMES_MS * rate / 1000.0);
  clicks->cell_end = end_of_cell(clicks);
  for (int c = 0; c < 2; ++c) {
    clicks->channel[c].past = calloc(ORDER + clicks->block, sizeof(double));
  }
  if (clicks->channel[0].past == NULL || clicks->channel[1].past == NULL) {
    planish_clicks_free(clicks);
    return NULL;
  }
  return clicks;
}

void planish_clicks_free(PlanishClicks *clicks)
{
  if (clicks != NULL) {
    free(clicks->channel[0].past);
    free(clicks->channel[1].past);
    free(clicks);
  }
}

/* Durbin's recursion. */
static void predict(const double *r, double *predictor)
{
  double a[ORDER] = {0.0};
  double error = r[0] * (1.0 + 1e-9) + 1e-20; /* a floor of -90 dB keeps it well behaved */
  for (size_t i = 0; i < ORDER; ++i) {
    double sum = r[i + 1];
    for (size_t j = 0; j < i; ++j) {
      sum -= a[j] * r[i - j];
    }
    const double k = sum / error;
    double next[ORDER];
    memcpy(next, a, sizeof next);
    next[i] = k;
    for (size_t j = 0; j < i; ++j) {
      next[j] = a[j] - k * a[i - 1 - j];
    }
    memcpy(a, next, sizeof a);
    error *= 1.0 - k * k;
    if (!(error > 0.0)) {
      break;
    }
  }
  memcpy(predictor, a, sizeof a);
}

/* From the block's own samples. */
static void choose_predictor(const PlanishClicks *clicks, Channel *channel)
{
  const double *x = channel->past + ORDER;
  double r[ORDER + 1];
  for (size_t lag = 0; lag <= ORDER; ++lag) {
    double sum = 0.0;
    for (size_t n = lag; n < clicks->block; ++n) {
      sum += x[n] * x[n - lag];
    }
    r[lag] = sum;
  }
  memcpy(channel->predictor[1], channel->predictor[0], sizeof channel->predictor[0]);
  predict(r, channel->predictor[0]);
}

/* The cell in the middle of the ring: everything around it is known. */
static void look_at(const PlanishClicks *clicks, Channel *channel)
{
  if (clicks->cell < (uint64_t)2 * AROUND) {
    return;
  }
  const uint64_t middle = clicks->cell - AROUND;
  const Cell *cell = &channel->ring[middle % RING];
  double before = 0.0;
  double behind = 0.0;
  double sound = 0.0;
  for (uint64_t c = middle - AROUND; c <= middle + AROUND; ++c) {
    const Cell *other = &channel->ring[c % RING];
    if (c + BEFORE < middle) {
      before = fmax(before, other->residual);
      sound = fmax(sound, other->sound);
    } else if (c > middle + BEHIND) {
      behind = fmax(behind, other->residual);
      sound = fmax(sound, other->sound);
    } else if (other->residual > cell->residual) {
      return;
    }
  }
  const double peak = cell->residual;
  const bool alone = peak > LEAST_RATIO * fmax(before, behind) &&
                     (peak > CLEAR_RATIO * behind || before > ALIKE * behind);
  if (alone && peak > LEAST_SHARE * sound && peak > LEAST_LEVEL) {
    planish_places_add(&channel->found, cell->frame);
  }
}

static void end_cell(PlanishClicks *clicks)
{
  for (int c = 0; c < 2; ++c) {
    look_at(clicks, &clicks->channel[c]);
  }
  clicks->cell += 1;
  clicks->cell_end = end_of_cell(clicks);
  for (int c = 0; c < 2; ++c) {
    clicks->channel[c].ring[clicks->cell % RING] = (Cell){0.0, 0.0, 0};
  }
}

static double residual_of(const double *predictor, const double *x)
{
  double foreseen = 0.0;
  for (size_t i = 0; i < ORDER; ++i) {
    foreseen += predictor[i] * x[-1 - (ptrdiff_t)i];
  }
  return fabs(x[0] - foreseen);
}

/* A click spoils the prediction of its own block for everything else in it, a sudden change that
 * of the block before: the better of the two counts. */
static void take_sample(Channel *channel, size_t n, uint64_t cell, uint64_t frame)
{
  const double *x = channel->past + ORDER + n;
  const double residual =
      fmin(residual_of(channel->predictor[0], x), residual_of(channel->predictor[1], x));
  Cell *to = &channel->ring[cell % RING];
  to->sound = fmax(to->sound, fabs(x[0]));
  if (residual > to->residual) {
    to->residual = residual;
    to->frame = frame;
  }
}

static void take_block(PlanishClicks *clicks)
{
  for (int c = 0; c < 2; ++c) {
    choose_predictor(clicks, &clicks->channel[c]);
  }
  for (size_t n = 0; n < clicks->block; ++n) {
    const uint64_t frame = clicks->frame + n;
    if (frame == clicks->cell_end) {
      end_cell(clicks);
    }
    take_sample(&clicks->channel[0], n, clicks->cell, frame);
    take_sample(&clicks->channel[1], n, clicks->cell, frame);
  }
  for (int c = 0; c < 2; ++c) {
    double *past = clicks->channel[c].past;
    memmove(past, past + clicks->block, ORDER * sizeof *past);
  }
  clicks->frame += clicks->block;
  clicks->filled = 0;
}

void planish_clicks_process(PlanishClicks *clicks, const float *interleaved, size_t frames)
{
  for (size_t n = 0; n < frames; ++n) {
    clicks->channel[0].past[ORDER + clicks->filled] = (double)interleaved[2 * n];
    clicks->channel[1].past[ORDER + clicks->filled] = (double)interleaved[2 * n + 1];
    clicks->filled += 1;
    if (clicks->filled == clicks->block) {
      take_block(clicks);
    }
  }
}

const PlanishPlaces *planish_clicks_found(const PlanishClicks *clicks, uint32_t channel)
{
  return &clicks->channel[channel].found;
}
