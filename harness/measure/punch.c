#include "harness/measure/punch.h"

#include "common/dsp/arena.h"
#include "common/dsp/eq_design.h"
#include "common/dsp/maths.h"

#include <stdlib.h>

#define MIN_RATE 8000.0
#define MAX_RATE 384000.0

#define LOW_EDGE_HZ  40.0
#define HIGH_EDGE_HZ 100.0
#define EDGE_ORDER   4
#define FLOOR_POWER  1e-7 /* -70 dBFS */

/* Lengths in hops of 0.5 ms. */
enum {
  HOPS_PER_S = 2000,
  ONSET = 20,
  BEFORE = 100,
  BODY_FROM = 100,
  BODY_TO = 300,
  NEAR = 100,
  RING = 1024, /* a power of two over BEFORE + NEAR + BODY_TO */
};

enum { FULL, LOW, BANDS };

static const double least_rise[BANDS] = {3.98107170553497, 7.94328234724282}; /* 6, 9 dB */

/* Power of the last hops. */
typedef struct {
  double hop[RING];
} Powers;

typedef struct {
  PlanishSvf filter[2 * PLANISH_EQ_MAX_SECTIONS];
  double sum[BANDS];
  Powers powers[BANDS];
  double decibels[BANDS]; /* sum over the onsets */
} Version;

/* What looks for onsets in a band. */
typedef struct {
  uint64_t candidate; /* hop */
  double rise;        /* in power, at the candidate; 0: none */
  uint64_t count;
} Finder;

struct PlanishPunch {
  double rate;
  size_t versions;
  uint64_t frame;
  uint64_t hop;      /* under way */
  uint64_t hop_end;  /* frame */
  uint64_t hop_from; /* frame */
  PlanishEqSections high_pass;
  PlanishEqSections low_pass;
  PlanishTwo last; /* frame of the first version, for the treble */
  double treble_sum;
  Powers treble;
  Finder finder[BANDS];
  Version version[];
};

static uint64_t hop_end(const PlanishPunch *punch, uint64_t hop)
{
  return (uint64_t)((double)(hop + 1) * punch->rate / HOPS_PER_S + 0.5);
}

static void design(double rate, PlanishEqType type, double frequency, PlanishEqSections *sections)
{
  const PlanishEqSetting setting = {type, EDGE_ORDER, frequency, 0.0, sqrt(0.5)};
  PlanishEqPrototype prototype;
  planish_eq_prototype(&setting, rate, &prototype);
  planish_eq_sections(&prototype, sections);
}

PlanishPunch *planish_punch_new(double rate, size_t versions)
{
  if (!(rate >= MIN_RATE && rate <= MAX_RATE) || versions < 1 ||
      versions > PLANISH_PUNCH_MAX_VERSIONS) {
    return NULL;
  }
  const size_t size = sizeof(PlanishPunch) + versions * sizeof(Version);
  PlanishPunch *punch = aligned_alloc(PLANISH_ALIGNMENT, (size + PLANISH_ALIGNMENT - 1) /
                                                             PLANISH_ALIGNMENT * PLANISH_ALIGNMENT);
  if (punch == NULL) {
    return NULL;
  }
  memset(punch, 0, size);
  punch->rate = rate;
  punch->versions = versions;
  punch->hop_end = hop_end(punch, 0);
  design(rate, PLANISH_EQ_HIGH_PASS, LOW_EDGE_HZ, &punch->high_pass);
  design(rate, PLANISH_EQ_LOW_PASS, HIGH_EDGE_HZ, &punch->low_pass);
  return punch;
}

void planish_punch_free(PlanishPunch *punch)
{
  free(punch);
}

static double power_of(PlanishTwo x)
{
  const PlanishTwo square = x * x;
  return square[0] + square[1];
}

static void take_frames(const PlanishPunch *punch, Version *version, const float *interleaved,
                        size_t frames)
{
  for (size_t n = 0; n < frames; ++n) {
    PlanishTwo x = {(double)interleaved[2 * n], (double)interleaved[2 * n + 1]};
    version->sum[FULL] += power_of(x);
    for (unsigned s = 0; s < punch->high_pass.count; ++s) {
      planish_svf_process(&version->filter[s], &punch->high_pass.section[s], &x, 1);
    }
    for (unsigned s = 0; s < punch->low_pass.count; ++s) {
      planish_svf_process(&version->filter[PLANISH_EQ_MAX_SECTIONS + s],
                          &punch->low_pass.section[s], &x, 1);
    }
    version->sum[LOW] += power_of(x);
  }
}

static void take_treble(PlanishPunch *punch, const float *interleaved, size_t frames)
{
  for (size_t n = 0; n < frames; ++n) {
    const PlanishTwo x = {(double)interleaved[2 * n], (double)interleaved[2 * n + 1]};
    punch->treble_sum += power_of(x - punch->last);
    punch->last = x;
  }
}

/* Mean power of hops `from` up to `to`; before the first there is silence. */
static double mean_of(const Powers *powers, int64_t from, int64_t to)
{
  double sum = 0.0;
  for (int64_t hop = from < 0 ? 0 : from; hop < to; ++hop) {
    sum += powers->hop[hop % RING];
  }
  return sum / (double)(to - from);
}

/* How much the mean power rises at a hop; 0 where it is no onset. `floor` is the least power. */
static double rise_at(const Powers *powers, int64_t hop, double least, double floor)
{
  const double after = mean_of(powers, hop, hop + ONSET);
  const double before = mean_of(powers, hop - BEFORE, hop);
  return after > floor && after > least * before ? after - before : 0.0;
}

/* The onset's share in every version, if its body is audible in all. */
static void count_onset(PlanishPunch *punch, int band, int64_t hop)
{
  double decibels[PLANISH_PUNCH_MAX_VERSIONS];
  for (size_t v = 0; v < punch->versions; ++v) {
    const Powers *powers = &punch->version[v].powers[band];
    const double onset = mean_of(powers, hop, hop + ONSET);
    const double body = mean_of(powers, hop + BODY_FROM, hop + BODY_TO);
    if (!(onset > FLOOR_POWER && body > FLOOR_POWER)) {
      return;
    }
    decibels[v] = 10.0 * log10(onset / body);
  }
  for (size_t v = 0; v < punch->versions; ++v) {
    punch->version[v].decibels[band] += decibels[v];
  }
  punch->finder[band].count += 1;
}

/* Looks at the hop whose body has just passed, and settles the candidate once no better one can be
 * near. */
static void find_onsets(PlanishPunch *punch, int band, const Powers *powers, double floor)
{
  Finder *finder = &punch->finder[band];
  const int64_t hop = (int64_t)punch->hop + 1 - BODY_TO;
  if (hop < 0) {
    return;
  }
  const double rise = rise_at(powers, hop, least_rise[band], floor);
  if (rise > finder->rise) {
    finder->rise = rise;
    finder->candidate = (uint64_t)hop;
  } else if (finder->rise > 0.0 && (uint64_t)hop >= finder->candidate + NEAR) {
    count_onset(punch, band, (int64_t)finder->candidate);
    finder->rise = 0.0;
  }
}

static void end_hop(PlanishPunch *punch)
{
  const double scale = 0.5 / (double)(punch->hop_end - punch->hop_from);
  for (size_t v = 0; v < punch->versions; ++v) {
    Version *version = &punch->version[v];
    for (int band = 0; band < BANDS; ++band) {
      version->powers[band].hop[punch->hop % RING] = scale * version->sum[band];
      version->sum[band] = 0.0;
    }
  }
  punch->treble.hop[punch->hop % RING] = scale * punch->treble_sum;
  punch->treble_sum = 0.0;
  /* The difference of neighbours is 1 at a sixth of the rate: as loud as the sound itself there. */
  find_onsets(punch, FULL, &punch->treble, 0.0);
  find_onsets(punch, LOW, &punch->version[0].powers[LOW], FLOOR_POWER);
  punch->hop += 1;
  punch->hop_from = punch->hop_end;
  punch->hop_end = hop_end(punch, punch->hop);
}

void planish_punch_process(PlanishPunch *punch, const float *const *interleaved, size_t frames)
{
  size_t done = 0;
  while (done < frames) {
    const size_t left = (size_t)(punch->hop_end - punch->frame);
    const size_t piece = frames - done < left ? frames - done : left;
    for (size_t v = 0; v < punch->versions; ++v) {
      take_frames(punch, &punch->version[v], interleaved[v] + 2 * done, piece);
    }
    take_treble(punch, interleaved[0] + 2 * done, piece);
    punch->frame += piece;
    done += piece;
    if (punch->frame == punch->hop_end) {
      end_hop(punch);
    }
  }
}

static PlanishPunchOf result_of(const PlanishPunch *punch, size_t version, int band)
{
  const uint64_t count = punch->finder[band].count;
  return (PlanishPunchOf){count, count > 0 ? punch->version[version].decibels[band] / (double)count
                                           : (double)NAN};
}

PlanishPunchResult planish_punch_result(const PlanishPunch *punch, size_t version)
{
  return (PlanishPunchResult){result_of(punch, version, FULL), result_of(punch, version, LOW)};
}
