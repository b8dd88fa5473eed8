/* A report on sound that is made up: a mix with quiet and loud parts, what stages made of it, the
 * master, and a reference. Names hold what HTML would take for its own. */
#ifndef PLANISH_TESTS_PAGE_FIXTURE_H
#define PLANISH_TESTS_PAGE_FIXTURE_H

#include "common/dsp/maths.h"
#include "harness/report/report.h"
#include "tests/harness/files_fixture.h"

enum { PAGE_RATE = 48000, PAGE_VERSIONS = 6, PAGE_GAINS = 2, PAGE_BANDS = 31, PAGE_CHUNK = 4096 };

#define PAGE_HOSTILE "</script><b>&amp; \"two\"  'one'"
/* Nowhere to break, and wider than a telephone. */
#define PAGE_LONG "averyverylongnameofareferencewithoutanyplacetobreakit.wav"

typedef struct {
  double seconds;
  PlanishReportVersion versions[PAGE_VERSIONS];
  PlanishMeasurement measured[PAGE_VERSIONS];
  float *gains[PAGE_GAINS];
  PlanishReportGains gain[PAGE_GAINS];
  double hz[PAGE_BANDS];
  double levels[3][PAGE_BANDS];
  PlanishReportCurve curves[3];
  PlanishReportBands bands;
  PlanishReportPage report;
} PageFixture;

/* Loudness goes in sections of 8 s; the last second fades away. */
static inline double page_envelope(double t, double seconds)
{
  static const double sections[] = {0.05, 0.12, 0.3, 0.06, 0.35, 0.25};
  const double section = sections[(int)(t / 8.0) % 6];
  const double beat = exp(-6.0 * fmod(t, 0.5));
  return section * (0.35 + 0.65 * beat) * planish_smoothstep(seconds - t);
}

static inline void page_frame(int version, double t, double seconds, unsigned *seed, float *frame)
{
  static const double drives[PAGE_VERSIONS] = {1.0, 1.1, 2.0, 3.2, 3.2, 2.6};
  const double envelope = page_envelope(t, seconds);
  const double pitch = version == 5 ? 98.0 : 110.0;
  const double tone = sin(2.0 * PLANISH_PI * pitch * t) + 0.4 * sin(2.0 * PLANISH_PI * 1234.5 * t);
  for (int c = 0; c < 2; ++c) {
    *seed = *seed * 1664525U + 1013904223U;
    const double noise = (double)(*seed >> 8) / 8388608.0 - 1.0;
    const double sound = drives[version] * envelope * (0.6 * tone + (c == 0 ? 0.5 : 0.4) * noise);
    const double shaped = version < 2 ? sound : 0.89 * tanh(sound / 0.89);
    /* As a file of 24 bit holds it. */
    frame[c] = (float)(floor(shaped * 8388608.0 + 0.5) / 8388608.0);
  }
}

static inline void page_track(PageFixture *page, int version, double rate, const char *beside)
{
  PlanishError error = {0};
  PlanishTrack *track = planish_track_new(beside, 0, &error);
  PlanishMeasure *measure = planish_measure_new(rate, 2);
  const uint64_t frames = (uint64_t)(page->seconds * rate);
  float block[2 * PAGE_CHUNK];
  unsigned seed = 7;
  for (uint64_t at = 0; track != NULL && at < frames; at += PAGE_CHUNK) {
    const size_t count = frames - at < PAGE_CHUNK ? (size_t)(frames - at) : PAGE_CHUNK;
    for (size_t n = 0; n < count; ++n) {
      page_frame(version, (double)(at + n) / rate, page->seconds, &seed, &block[2 * n]);
    }
    planish_measure_process(measure, block, count);
    if (!planish_track_write(track, block, count, &error)) {
      abort();
    }
  }
  planish_measure_finish(measure, &page->measured[version]);
  planish_measure_free(measure);
  page->versions[version].track = track;
}

static inline void page_tracks(PageFixture *page, const char *beside)
{
  static const struct {
    const char *name;
    PlanishVersionKind kind;
  } versions[PAGE_VERSIONS] = {
      {"mix <&>.wav", PLANISH_VERSION_MIX},     {"tidy", PLANISH_VERSION_STAGE},
      {"first-limiter", PLANISH_VERSION_STAGE}, {PAGE_HOSTILE, PLANISH_VERSION_STAGE},
      {"master.wav", PLANISH_VERSION_MASTER},   {PAGE_LONG, PLANISH_VERSION_REFERENCE},
  };
  for (int v = 0; v < PAGE_VERSIONS; ++v) {
    page->versions[v].name = versions[v].name;
    page->versions[v].kind = versions[v].kind;
    page_track(page, v, PAGE_RATE, beside);
    page->versions[v].measured =
        versions[v].kind == PLANISH_VERSION_STAGE ? NULL : &page->measured[v];
  }
}

static inline void page_series(PageFixture *page)
{
  const double interval = 0.02;
  const size_t count = (size_t)(page->seconds / interval);
  for (int g = 0; g < PAGE_GAINS; ++g) {
    page->gains[g] = calloc(count, sizeof(float));
    for (size_t n = 0; n < count; ++n) {
      const double t = (double)n * interval;
      page->gains[g][n] = (float)(-(4.0 + 6.0 * g) * page_envelope(t, page->seconds));
    }
    page->gain[g] = (PlanishReportGains){g == 0 ? "first-limiter" : PAGE_HOSTILE,
                                         "reduction",
                                         page->gains[g],
                                         count,
                                         interval,
                                         false};
  }
  static const char *const names[] = {"mix", "master", "reference"};
  static const PlanishVersionKind kinds[] = {PLANISH_VERSION_MIX, PLANISH_VERSION_MASTER,
                                             PLANISH_VERSION_REFERENCE};
  for (int band = 0; band < PAGE_BANDS; ++band) {
    page->hz[band] = 1000.0 * pow(10.0, (band - 17) / 10.0);
    for (int c = 0; c < 3; ++c) {
      page->levels[c][band] = -20.0 - 0.03 * (band - 10) * (band - 10) - c * (band % 5) * 0.5;
    }
  }
  for (int c = 0; c < 3; ++c) {
    page->curves[c] = (PlanishReportCurve){names[c], kinds[c], page->levels[c]};
  }
  page->bands = (PlanishReportBands){page->hz, PAGE_BANDS, page->curves, 3};
}

static const int page_decimals[] = {2, 1, 1, 1, 1};

static const char *const page_punch_columns[] = {"mix", "master", "reference"};
static const double page_punch_values[3][3] = {
    {9.1, 7.2, 6.8}, {11.4, 9.0, (double)NAN}, {-3.5, -2.2, -2.9}};
static const PlanishReportRow page_punch_rows[] = {
    {"whole", "dB", page_punch_values[0]},
    {"below 120 Hz", "dB", page_punch_values[1]},
    {"30 to 60 Hz over 60 to 120 Hz", "dB", page_punch_values[2]},
};
static const PlanishReportTable page_punch = {
    "onset over body", page_punch_columns, page_decimals, 3, page_punch_rows, 3};

static const char *const page_account_columns[] = {
    "loudness won, LU", "level part, dB", "distortion, dB", "over mask, p95, dB", "audible, %"};
static const double page_account_values[3][5] = {{0.12, -41.0, -104.2, -60.0, 0.0},
                                                 {6.41, -28.4, -46.9, -24.1, 0.3},
                                                 {9.8, -25.0, -35.5, -11.0, 4.2}};
static const PlanishReportRow page_account_rows[] = {
    {"tidy", "", page_account_values[0]},
    {"first-limiter", "", page_account_values[1]},
    {"the whole chain", "", page_account_values[2]},
};
static const PlanishReportTable page_account = {"stage", page_account_columns, page_decimals,
                                                5,       page_account_rows,    3};

static const PlanishReportFinding page_findings[] = {
    {PLANISH_NOTE, "16 bit in a file of 24", NULL, "ask for the file before it was cut down"},
    {PLANISH_WARNING, "3 clipped runs in the left channel, longest 7 samples",
     "0:12.1, 0:14.6, 0:33.0", "ask for an export at lower level"},
    {PLANISH_FAULT, PAGE_HOSTILE, "0:00.0", "mend it"},
};
static const PlanishReportFinding page_faults[] = {
    {PLANISH_WARNING, "1.24 dB of extra drive", NULL,
     "listen at matched loudness, or ask for less"},
};

static inline void page_make(PageFixture *page, double seconds, const char *beside)
{
  memset(page, 0, sizeof *page);
  page->seconds = seconds;
  page_tracks(page, beside);
  page_series(page);
  page->report = (PlanishReportPage){
      .title = "master " PAGE_HOSTILE,
      .mix = "mix <&>.wav",
      .program = "planish 0",
      .verdict = PLANISH_VERDICT_LANDED,
      .target_loudness = page->measured[4].integrated,
      .target_ceiling = -1.0,
      .faults = page_faults,
      .fault_count = 1,
      .versions = page->versions,
      .version_count = PAGE_VERSIONS,
      .rate = PAGE_RATE,
      .gains = page->gain,
      .gain_count = PAGE_GAINS,
      .bands = &page->bands,
      .punch = &page_punch,
      .account = &page_account,
      .findings = page_findings,
      .finding_count = 3,
      .checked = true,
      .settings = "planish: 1\nstages:\n  - {stage: limiter, name: first-limiter}\n# " PAGE_HOSTILE,
  };
}

static inline void page_free(PageFixture *page)
{
  for (int v = 0; v < PAGE_VERSIONS; ++v) {
    planish_track_free(page->versions[v].track);
  }
  for (int g = 0; g < PAGE_GAINS; ++g) {
    free(page->gains[g]);
  }
}

#endif
