#include "harness/distortion/level_tier.h"

#include "common/dsp/maths.h"

#include <stdlib.h>

enum {
  SPAN = PLANISH_FIT_CORE + 2 * PLANISH_FIT_MARGIN, /* units */
  FRAMES = SPAN - PLANISH_FIT_LEVEL_FRAME + 1,
  /* Gains stand at PLANISH_FIT_LEVEL_NODE units from one another, one of them where the core
   * begins. */
  BEFORE_CORE = PLANISH_FIT_MARGIN / PLANISH_FIT_LEVEL_NODE,
  FIRST_NODE = PLANISH_FIT_MARGIN - BEFORE_CORE * PLANISH_FIT_LEVEL_NODE, /* units */
  NODES = (SPAN - FIRST_NODE - 1) / PLANISH_FIT_LEVEL_NODE + 1,
  CORE_NODES = PLANISH_FIT_CORE / PLANISH_FIT_LEVEL_NODE,
  BANDS = PLANISH_LEVEL_BANDS,
};

static const double edges[BANDS - 1] = {200.0, 800.0, 3200.0}; /* Hz */
static const double steadiness = 1e-4; /* of a band's mean power: holds gains of silence at 1 */
/* A gain is worth telling where the cell has this share of its band's mean power, and the band, in
 * that channel, this share of all: beyond, it is some other band's leakage that is scaled, or
 * chance. */
static const double quietest_cell = 0.1;
static const double quietest_band = 1e-4;
/* And it is a gain at all where it explains this share of what is lacking; else it is chance. Of
 * few values any gain explains much: there the share must be one that chance reaches so seldom. */
static const double real_share = 0.25;
static const double chance = 1e-5;

typedef enum { MID_SIDE, LEFT_RIGHT, VIEWS } View;

/* Of one channel in one band of one frame, or around one node: power, product with the rest. */
typedef struct {
  double power;
  double rest;
  double lack; /* the rest's own power */
} Cell;

/* Least squares on straight lines between nodes. */
typedef struct {
  Cell at[NODES];
  double between[NODES]; /* of a node with the next */
  double change[NODES];  /* found: gain - 1 */
} Line;

struct PlanishLevelTier {
  const PlanishFitPlans *plans;
  size_t band_end[BANDS]; /* bins */
  double real[BANDS];     /* share from which on a gain is told */
  double *window;         /* square root of Hann */
  PlanishPair *spectra;   /* of all frames */
  PlanishPair *frame;
  Cell cells[FRAMES][BANDS][VIEWS][2];
  Line lines[BANDS][VIEWS][2];
  /* Of a pass. */
  double explained[BANDS][VIEWS];
  double power[BANDS][VIEWS][2];
  uint64_t count; /* nodes */
  double lowest;
  double highest;
  double sum; /* of power times dB */
  double weight;
  /* Of the last pass. */
  View view[BANDS];
  double telling[BANDS][VIEWS][2]; /* least power of a node to be told of */
};

/* The share of the variance of d normal values that one fitted factor explains is distributed as
 * Beta(1/2, (d - 1)/2) (the squared correlation of chance), whose tail goes with (1 - share)^((d -
 * 1) / 2). A node has some two frames of its own, with two values in each bin, of which the window
 * leaves two thirds independent. */
static double share_beyond_chance(size_t bins)
{
  const double values = 2.0 * 2.0 * 2.0 / 3.0 * (double)bins;
  return planish_max(real_share, 1.0 - pow(chance, 2.0 / planish_max(values - 1.0, 1.0)));
}

static void design(PlanishLevelTier *tier)
{
  const size_t length = PLANISH_FIT_LEVEL_FRAME * tier->plans->unit;
  for (size_t n = 0; n < length; ++n) {
    tier->window[n] = sin(PLANISH_PI * ((double)n + 0.5) / (double)length);
  }
  for (int b = 0; b < BANDS - 1; ++b) {
    const double bin = edges[b] / tier->plans->rate * (double)length;
    tier->band_end[b] = (size_t)planish_min(bin + 0.5, 0.5 * (double)length);
  }
  tier->band_end[BANDS - 1] = length / 2;
  for (int b = 0; b < BANDS; ++b) {
    /* The first bin of all is that of 0 Hz. */
    const size_t from = b == 0 ? 1 : tier->band_end[b - 1];
    tier->real[b] = share_beyond_chance(tier->band_end[b] - from);
  }
}

PlanishLevelTier *planish_level_tier_new(const PlanishFitPlans *plans)
{
  PlanishLevelTier *tier = calloc(1, sizeof *tier);
  if (tier == NULL) {
    return NULL;
  }
  const size_t length = PLANISH_FIT_LEVEL_FRAME * plans->unit;
  tier->plans = plans;
  tier->window = calloc(length, sizeof *tier->window);
  tier->spectra = planish_fit_buffer(FRAMES * length);
  tier->frame = planish_fit_buffer(length);
  if (tier->window == NULL || tier->spectra == NULL || tier->frame == NULL) {
    planish_level_tier_free(tier);
    return NULL;
  }
  design(tier);
  return tier;
}

void planish_level_tier_free(PlanishLevelTier *tier)
{
  if (tier != NULL) {
    free(tier->window);
    fftw_free(tier->spectra);
    fftw_free(tier->frame);
    free(tier);
  }
}

static void forget_pass(PlanishLevelTier *tier)
{
  memset(tier->explained, 0, sizeof tier->explained);
  memset(tier->power, 0, sizeof tier->power);
  tier->count = 0;
  tier->lowest = 0.0;
  tier->highest = 0.0;
  tier->sum = 0.0;
  tier->weight = 0.0;
}

void planish_level_tier_reset(PlanishLevelTier *tier)
{
  forget_pass(tier);
  for (int b = 0; b < BANDS; ++b) {
    tier->view[b] = MID_SIDE;
    for (int n = 0; n < 2 * VIEWS; ++n) {
      tier->telling[b][n / 2][n % 2] = HUGE_VAL;
    }
  }
}

/* What of the last pass is known: power of band, view and channel. */
static void choose(PlanishLevelTier *tier, double whole, int band)
{
  const double *explained = tier->explained[band];
  tier->view[band] = explained[LEFT_RIGHT] > explained[MID_SIDE] ? LEFT_RIGHT : MID_SIDE;
  for (int n = 0; n < 2 * VIEWS; ++n) {
    const double power = tier->power[band][n / 2][n % 2];
    tier->telling[band][n / 2][n % 2] =
        power > quietest_band * whole ? quietest_cell * power / (double)tier->count : HUGE_VAL;
  }
}

void planish_level_tier_begin(PlanishLevelTier *tier)
{
  double whole = 0.0;
  for (int b = 0; b < BANDS; ++b) {
    whole += tier->power[b][MID_SIDE][0] + tier->power[b][MID_SIDE][1];
  }
  for (int b = 0; b < BANDS && tier->count > 0; ++b) {
    choose(tier, whole, b);
  }
  forget_pass(tier);
}

static void transform(const PlanishLevelTier *tier, const PlanishPair *from, PlanishPair *to)
{
  const size_t length = PLANISH_FIT_LEVEL_FRAME * tier->plans->unit;
  for (size_t n = 0; n < length; ++n) {
    to[n] = (PlanishPair){tier->window[n] * from[n].re, tier->window[n] * from[n].im};
  }
  planish_fit_run(tier->plans->level_forward, to);
}

static double along(PlanishPair a, PlanishPair b)
{
  return a.re * b.re + a.im * b.im;
}

/* Sums over the bins of a band. Left is mid + side, right mid - side; halved, so that the two views
 * have the same power in all. */
static void gather(const PlanishLevelTier *tier, const PlanishPair *linear, size_t from, size_t to,
                   Cell cell[VIEWS][2])
{
  const size_t length = PLANISH_FIT_LEVEL_FRAME * tier->plans->unit;
  Cell mid = {0.0, 0.0, 0.0};
  Cell side = {0.0, 0.0, 0.0};
  Cell across = {0.0, 0.0, 0.0};
  for (size_t k = from; k < to; ++k) {
    PlanishPair m;
    PlanishPair s;
    PlanishPair rest_m;
    PlanishPair rest_s;
    planish_pair_open(linear[k], linear[(length - k) % length], &m, &s);
    planish_pair_open(tier->frame[k], tier->frame[(length - k) % length], &rest_m, &rest_s);
    mid.power += along(m, m);
    mid.rest += along(rest_m, m);
    mid.lack += along(rest_m, rest_m);
    side.power += along(s, s);
    side.rest += along(rest_s, s);
    side.lack += along(rest_s, rest_s);
    across.power += 2.0 * along(m, s);
    across.rest += along(rest_m, s) + along(rest_s, m);
    across.lack += 2.0 * along(rest_m, rest_s);
  }
  cell[MID_SIDE][0] = mid;
  cell[MID_SIDE][1] = side;
  for (int c = 0; c < 2; ++c) {
    const double sign = c == 0 ? 0.5 : -0.5;
    cell[LEFT_RIGHT][c] = (Cell){0.5 * (mid.power + side.power) + sign * across.power,
                                 0.5 * (mid.rest + side.rest) + sign * across.rest,
                                 0.5 * (mid.lack + side.lack) + sign * across.lack};
  }
}

static void analyse(PlanishLevelTier *tier, const PlanishPair *linear, const PlanishPair *rest)
{
  const size_t unit = tier->plans->unit;
  const size_t length = PLANISH_FIT_LEVEL_FRAME * unit;
  for (size_t f = 0; f < FRAMES; ++f) {
    transform(tier, linear + f * unit, tier->spectra + f * length);
    transform(tier, rest + f * unit, tier->frame);
    size_t from = 0;
    for (int b = 0; b < BANDS; ++b) {
      gather(tier, tier->spectra + f * length, from, tier->band_end[b], tier->cells[f][b]);
      from = tier->band_end[b];
    }
  }
}

/* Where a frame's middle stands: after which node, and how far towards the next. */
static size_t node_of(size_t frame, double *share)
{
  const size_t units = frame + PLANISH_FIT_LEVEL_FRAME / 2 - FIRST_NODE;
  *share = (double)(units % PLANISH_FIT_LEVEL_NODE) / PLANISH_FIT_LEVEL_NODE;
  return units / PLANISH_FIT_LEVEL_NODE;
}

/* Thomas's elimination for three diagonals. */
static void solve(Line *line)
{
  double mean = 0.0;
  for (int n = 0; n < NODES; ++n) {
    mean += line->at[n].power / NODES;
  }
  const double held = steadiness * mean + 1e-280;
  double ratio[NODES];
  double diagonal = line->at[0].power + held;
  line->change[0] = line->at[0].rest / diagonal;
  for (int n = 1; n < NODES; ++n) {
    const double below = line->between[n - 1];
    ratio[n] = below / diagonal;
    diagonal = line->at[n].power + held - below * ratio[n];
    line->change[n] = (line->at[n].rest - below * line->change[n - 1]) / diagonal;
  }
  for (int n = NODES - 1; n > 0; --n) {
    line->change[n - 1] -= ratio[n] * line->change[n];
  }
}

static void fit(PlanishLevelTier *tier, int band, int view, int channel)
{
  Line *line = &tier->lines[band][view][channel];
  memset(line, 0, sizeof *line);
  for (size_t f = 0; f < FRAMES; ++f) {
    double share;
    const size_t node = node_of(f, &share);
    const Cell cell = tier->cells[f][band][view][channel];
    line->at[node].power += (1.0 - share) * (1.0 - share) * cell.power;
    line->at[node].rest += (1.0 - share) * cell.rest;
    line->at[node].lack += (1.0 - share) * cell.lack;
    if (share > 0.0) {
      line->at[node + 1].power += share * share * cell.power;
      line->at[node + 1].rest += share * cell.rest;
      line->at[node + 1].lack += share * cell.lack;
      line->between[node] += share * (1.0 - share) * cell.power;
    }
  }
  solve(line);
}

static void note(PlanishLevelTier *tier, int band, int view, int channel)
{
  const Line *line = &tier->lines[band][view][channel];
  const double telling = tier->telling[band][view][channel];
  for (int n = BEFORE_CORE; n < BEFORE_CORE + CORE_NODES; ++n) {
    const Cell cell = line->at[n];
    const double explained = cell.rest * line->change[n];
    tier->explained[band][view] += explained;
    tier->power[band][view][channel] += cell.power;
    if (view != (int)tier->view[band] || !(cell.power > telling)) {
      continue;
    }
    tier->weight += cell.power;
    if (explained > tier->real[band] * cell.lack) {
      const double gain = planish_level_of(planish_max(fabs(1.0 + line->change[n]), 1e-6));
      tier->lowest = planish_min(tier->lowest, gain);
      tier->highest = planish_max(tier->highest, gain);
      tier->sum += cell.power * fabs(gain);
    }
  }
}

/* Changes of gain at a frame, as a symmetric matrix of mid and side. */
typedef struct {
  double mid;
  double side;
  double across;
} Matrix;

static Matrix matrix_at(const PlanishLevelTier *tier, int band, size_t frame)
{
  const View view = tier->view[band];
  double change[2];
  double share;
  const size_t node = node_of(frame, &share);
  for (int c = 0; c < 2; ++c) {
    const double *found = tier->lines[band][view][c].change;
    change[c] = share > 0.0 ? found[node] + share * (found[node + 1] - found[node]) : found[node];
  }
  const double half = 0.5 * (change[0] + change[1]);
  return view == MID_SIDE ? (Matrix){change[0], change[1], 0.0}
                          : (Matrix){half, half, 0.5 * (change[0] - change[1])};
}

/* The bin and its opposite, from mid and side. */
static void lay_on(const PlanishPair *linear, size_t k, size_t opposite, Matrix gain,
                   PlanishPair *to)
{
  PlanishPair m;
  PlanishPair s;
  planish_pair_open(linear[k], linear[opposite], &m, &s);
  const PlanishPair mid = {gain.mid * m.re + gain.across * s.re,
                           gain.mid * m.im + gain.across * s.im};
  const PlanishPair side = {gain.side * s.re + gain.across * m.re,
                            gain.side * s.im + gain.across * m.im};
  to[k] = (PlanishPair){mid.re - side.im, mid.im + side.re};
  to[opposite] = (PlanishPair){mid.re + side.im, side.re - mid.im};
}

static void synthesise(PlanishLevelTier *tier, PlanishPair *change)
{
  const size_t unit = tier->plans->unit;
  const size_t length = PLANISH_FIT_LEVEL_FRAME * unit;
  /* Squared windows, one unit apart, add up to half of FRAME units. */
  const double scale = 2.0 / (PLANISH_FIT_LEVEL_FRAME * (double)length);
  memset(change, 0, SPAN * unit * sizeof *change);
  for (size_t f = 0; f < FRAMES; ++f) {
    const PlanishPair *linear = tier->spectra + f * length;
    size_t k = 0;
    for (int b = 0; b < BANDS; ++b) {
      const Matrix gain = matrix_at(tier, b, f);
      for (; k < tier->band_end[b]; ++k) {
        lay_on(linear, k, (length - k) % length, gain, tier->frame);
      }
    }
    tier->frame[length / 2] = (PlanishPair){0.0, 0.0};
    planish_fit_run(tier->plans->level_back, tier->frame);
    for (size_t n = 0; n < length; ++n) {
      change[f * unit + n].re += scale * tier->window[n] * tier->frame[n].re;
      change[f * unit + n].im += scale * tier->window[n] * tier->frame[n].im;
    }
  }
}

void planish_level_tier_process(PlanishLevelTier *tier, const PlanishPair *linear,
                                const PlanishPair *rest, PlanishPair *change)
{
  analyse(tier, linear, rest);
  for (int b = 0; b < BANDS; ++b) {
    for (int n = 0; n < 2 * VIEWS; ++n) {
      fit(tier, b, n / 2, n % 2);
      note(tier, b, n / 2, n % 2);
    }
  }
  tier->count += CORE_NODES;
  synthesise(tier, change);
}

PlanishLevelRange planish_level_tier_range(const PlanishLevelTier *tier)
{
  if (!(tier->weight > 0.0)) {
    return (PlanishLevelRange){0.0, 0.0, 0.0};
  }
  return (PlanishLevelRange){tier->lowest, tier->highest, tier->sum / tier->weight};
}
