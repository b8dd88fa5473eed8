#include "harness/response/level_curve.h"

#include "harness/measure/spectrum.h"

#include <math.h>
#include <stdlib.h>

static const double two_pi = 6.28318530717958647693;
static const double shortest_stretch = 0.1; /* s */
static const double least_periods = 4.0;
static const double longest_wait = 10.0; /* s, at one level */
static const double same = 0.0005;       /* dB */
static const double nothing = -200.0;    /* dBFS: what lies below counts as equal */

typedef struct {
  const PlanishProbeSetup *setup;
  PlanishProbe *probe;
  double turns;   /* of the tone, a frame */
  size_t frames;  /* of a stretch; even */
  size_t periods; /* in a stretch */
  PlanishSpectrum *spectrum;
  double complex *bins[2];
  double at; /* frames since the start */
  float *tone;
  float *out[2];
} Bench;

static size_t common_divisor(size_t a, size_t b)
{
  while (b > 0) {
    const size_t rest = a % b;
    a = b;
    b = rest;
  }
  return a;
}

/* The length that holds whole periods best. They have no divisor in common with its frames: so what
 * folds back at half the rate meets no harmonic. */
static void choose_stretch(Bench *bench, double rate)
{
  const double turns = bench->turns;
  const size_t least = 2 * (size_t)ceil(fmax(shortest_stretch * rate, least_periods / turns) / 2.0);
  double smallest = HUGE_VAL;
  bench->frames = least;
  bench->periods = (size_t)nearbyint(turns * (double)least);
  for (size_t frames = least; frames <= least + least / 2; frames += 2) {
    const size_t periods = (size_t)nearbyint(turns * (double)frames);
    const double off = fabs(turns * (double)frames - (double)periods);
    if (off < smallest - 1e-12 && common_divisor(frames, periods) == 1) {
      smallest = off;
      bench->frames = frames;
      bench->periods = periods;
    }
  }
  bench->turns = (double)bench->periods / (double)bench->frames;
}

static double run_stretch(Bench *bench, double amplitude, PlanishError *error)
{
  for (size_t n = 0; n < bench->frames; ++n) {
    const double turns = fmod(bench->turns * (bench->at + (double)n), 1.0);
    bench->tone[n] = (float)(amplitude * sin(two_pi * turns));
  }
  bench->at += (double)bench->frames;
  if (!planish_probe_run(bench->probe, bench->tone, bench->out[0], bench->out[1], bench->frames,
                         error)) {
    return (double)NAN;
  }
  const double complex left = planish_spectrum_at(bench->out[0], bench->frames, bench->turns);
  const double complex right = planish_spectrum_at(bench->out[1], bench->frames, bench->turns);
  const double complex answer = planish_probe_answer(bench->setup->channel, left, right);
  return 20.0 * log10(2.0 * cabs(answer) / (double)bench->frames);
}

/* Of the stretch that was read last. */
static void read_harmonics(Bench *bench, PlanishToneReading *reading)
{
  for (int c = 0; c < 2; ++c) {
    planish_spectrum_forward(bench->spectrum, bench->out[c], bench->bins[c]);
  }
  double powers[PLANISH_TONE_HARMONICS + 1] = {0.0};
  double rest = 0.0;
  for (size_t k = 1; k < bench->frames / 2; ++k) {
    const double size =
        cabs(planish_probe_answer(bench->setup->channel, bench->bins[0][k], bench->bins[1][k]));
    const size_t order = k / bench->periods;
    if (k % bench->periods != 0) {
      rest += size * size;
    } else if (order <= PLANISH_TONE_HARMONICS + 1) {
      powers[order - 1] = size * size;
    }
  }
  for (size_t n = 0; n < PLANISH_TONE_HARMONICS; ++n) {
    const bool is_there = powers[0] > 0.0 && (n + 2) * bench->periods < bench->frames / 2;
    reading->harmonics[n] = is_there ? 10.0 * log10(powers[n + 1] / powers[0]) : (double)NAN;
  }
  reading->rest = powers[0] > 0.0 ? 10.0 * log10(rest / powers[0]) : (double)NAN;
}

static bool is_same(double a, double b)
{
  return fabs(fmax(a, nothing) - fmax(b, nothing)) <= same;
}

/* NAN on failure. */
static double settle(Bench *bench, double level, double least_seconds, bool *settled,
                     PlanishError *error)
{
  const double amplitude = pow(10.0, level / 20.0);
  const double stretch = (double)bench->frames / bench->setup->rate;
  double last[3] = {(double)INFINITY, (double)INFINITY, (double)INFINITY};
  double seconds = 0.0;
  bool steady = false;
  while (!isnan(last[0]) &&
         (seconds < least_seconds || (!steady && seconds < least_seconds + longest_wait))) {
    last[2] = last[1];
    last[1] = last[0];
    last[0] = run_stretch(bench, amplitude, error);
    steady = is_same(last[0], last[1]) && is_same(last[0], last[2]);
    seconds += stretch;
  }
  *settled = *settled && steady;
  return last[0];
}

static bool bench_setup(Bench *bench, const PlanishProbeSetup *setup, double hz,
                        PlanishError *error)
{
  bench->setup = setup;
  bench->turns = hz / setup->rate;
  choose_stretch(bench, setup->rate);
  bench->spectrum = planish_spectrum_new(bench->frames);
  bench->bins[0] = malloc((bench->frames / 2 + 1) * sizeof *bench->bins[0]);
  bench->bins[1] = malloc((bench->frames / 2 + 1) * sizeof *bench->bins[1]);
  bench->tone = malloc(bench->frames * sizeof *bench->tone);
  bench->out[0] = malloc(bench->frames * sizeof *bench->out[0]);
  bench->out[1] = malloc(bench->frames * sizeof *bench->out[1]);
  if (bench->tone == NULL || bench->out[0] == NULL || bench->out[1] == NULL ||
      bench->spectrum == NULL || bench->bins[0] == NULL || bench->bins[1] == NULL) {
    return planish_fail_memory(error);
  }
  bench->probe = planish_probe_new(setup, error);
  return bench->probe != NULL;
}

static void bench_release(Bench *bench)
{
  planish_probe_free(bench->probe);
  free(bench->tone);
  free(bench->out[0]);
  free(bench->out[1]);
  planish_spectrum_free(bench->spectrum);
  free(bench->bins[0]);
  free(bench->bins[1]);
}

bool planish_tone_readings(const PlanishProbeSetup *setup, double hz, const double *in,
                           PlanishToneReading *readings, size_t count, bool *settled,
                           PlanishError *error)
{
  Bench bench = {0};
  *settled = true;
  if (!bench_setup(&bench, setup, hz, error)) {
    bench_release(&bench);
    return false;
  }
  const double latency = planish_probe_latency(bench.probe) / setup->rate;
  const double stretch = (double)bench.frames / setup->rate;
  bool done = true;
  for (size_t n = 0; done && n < count; ++n) {
    const double least = latency + 3.0 * stretch + (n == 0 ? setup->plugin->settles : 0.0);
    readings[n].tone = settle(&bench, in[n], least, settled, error);
    done = !isnan(readings[n].tone);
    if (done) {
      read_harmonics(&bench, &readings[n]);
    }
    planish_probe_tell(setup, "static curve", ((double)n + 1.0) / (double)count);
  }
  bench_release(&bench);
  return done;
}

bool planish_level_curve(const PlanishProbeSetup *setup, double hz, const double *in, double *out,
                         size_t count, bool *settled, PlanishError *error)
{
  PlanishToneReading *readings = calloc(count + 1, sizeof *readings);
  if (readings == NULL) {
    return planish_fail_memory(error);
  }
  const bool done = planish_tone_readings(setup, hz, in, readings, count, settled, error);
  for (size_t n = 0; done && n < count; ++n) {
    out[n] = readings[n].tone;
  }
  free(readings);
  return done;
}
