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
  double turns;  /* of the tone, a frame */
  size_t frames; /* of a stretch */
  double at;     /* frames since the start */
  float *tone;
  float *out[2];
} Bench;

/* The length that holds whole periods best, so that nothing else leaks into the tone's line. */
static size_t choose_stretch(double turns, double rate)
{
  const size_t least = (size_t)ceil(fmax(shortest_stretch * rate, least_periods / turns));
  size_t best = least;
  double smallest = 1.0;
  for (size_t frames = least; frames <= least + least / 2; ++frames) {
    const double periods = turns * (double)frames;
    const double off = fabs(periods - nearbyint(periods));
    if (off < smallest - 1e-12) {
      smallest = off;
      best = frames;
    }
  }
  return best;
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
    return NAN;
  }
  const double complex left = planish_spectrum_at(bench->out[0], bench->frames, bench->turns);
  const double complex right = planish_spectrum_at(bench->out[1], bench->frames, bench->turns);
  const double complex answer = planish_probe_answer(bench->setup->channel, left, right);
  return 20.0 * log10(2.0 * cabs(answer) / (double)bench->frames);
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
  double last[3] = {INFINITY, INFINITY, INFINITY};
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
  bench->frames = choose_stretch(bench->turns, setup->rate);
  bench->tone = malloc(bench->frames * sizeof *bench->tone);
  bench->out[0] = malloc(bench->frames * sizeof *bench->out[0]);
  bench->out[1] = malloc(bench->frames * sizeof *bench->out[1]);
  if (bench->tone == NULL || bench->out[0] == NULL || bench->out[1] == NULL) {
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
}

bool planish_level_curve(const PlanishProbeSetup *setup, double hz, const double *in, double *out,
                         size_t count, bool *settled, PlanishError *error)
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
    out[n] = settle(&bench, in[n], least, settled, error);
    done = !isnan(out[n]);
    planish_probe_tell(setup, "static curve", ((double)n + 1.0) / (double)count);
  }
  bench_release(&bench);
  return done;
}
