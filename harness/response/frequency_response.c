#include "harness/response/frequency_response.h"

#include "harness/measure/spectrum.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

static const double pi = 3.14159265358979323846;
static const double longest_wait = 20.0;  /* s */
static const double same_share = 1.15e-4; /* 0.001 dB */
static const double same_floor = 1e-7;    /* -140 dB */
static const double sure_delay = 2e-6;    /* s */
static const double sure_share = 0.1;     /* of the delay */

typedef struct {
  PlanishSpectrum *spectrum;
  size_t frames; /* of a period */
  float *signal;
  float *out[2];
  double complex *in_bins;
  double complex *out_bins[2];
  double complex *before; /* the answers of the last period but one */
  size_t *lines;          /* of each frequency */
} Bench;

double planish_response_highest(double rate)
{
  return fmin(PLANISH_RESPONSE_HIGHEST_HZ, 0.475 * rate);
}

static size_t period_for(double rate)
{
  size_t frames = 1024;
  while ((double)frames < 1.25 * rate) {
    frames *= 2;
  }
  return frames;
}

static bool bench_setup(Bench *bench, double rate, size_t count)
{
  const size_t frames = period_for(rate);
  bench->frames = frames;
  bench->spectrum = planish_spectrum_new(frames);
  bench->signal = malloc(frames * sizeof *bench->signal);
  bench->in_bins = calloc(frames / 2 + 1, sizeof *bench->in_bins);
  bench->before = calloc(count + 1, sizeof *bench->before);
  bench->lines = calloc(count + 1, sizeof *bench->lines);
  bool done = bench->spectrum != NULL && bench->signal != NULL && bench->in_bins != NULL &&
              bench->before != NULL && bench->lines != NULL;
  for (int c = 0; c < 2; ++c) {
    bench->out[c] = malloc(frames * sizeof *bench->out[c]);
    bench->out_bins[c] = calloc(frames / 2 + 1, sizeof *bench->out_bins[c]);
    done = done && bench->out[c] != NULL && bench->out_bins[c] != NULL;
  }
  return done;
}

static void bench_release(Bench *bench)
{
  planish_spectrum_free(bench->spectrum);
  free(bench->signal);
  free(bench->in_bins);
  free(bench->before);
  free(bench->lines);
  for (int c = 0; c < 2; ++c) {
    free(bench->out[c]);
    free(bench->out_bins[c]);
  }
}

/* Knuth's MMIX generator (TAOCP 2, 3.3.4), constants from memory: the same noise each time. */
static double random_turns(uint64_t *state)
{
  *state = *state * 6364136223846793005u + 1442695040888963407u;
  return (double)(*state >> 11) / 9007199254740992.0;
}

/* |H|^2 of the analog prototype, with A = 10^(gain/40), x = f/f0 - f0/f: (x^2 + (A/Q)^2) over
 * (x^2 + 1/(A Q)^2) (R. Bristow-Johnson, Audio EQ Cookbook). */
double planish_noise_bells(const PlanishNoise *noise, double hz)
{
  double level = 0.0;
  for (size_t n = 0; n < noise->bell_count; ++n) {
    const PlanishNoiseBell *bell = &noise->bells[n];
    const double a = pow(10.0, bell->gain / 40.0);
    const double x = hz / bell->hz - bell->hz / hz;
    const double over = a / bell->q;
    const double under = 1.0 / (a * bell->q);
    level += 10.0 * log10((x * x + over * over) / (x * x + under * under));
  }
  return level;
}

/* Leaves the bins of what is played: of the samples as floats hold them. */
static bool make_noise(Bench *bench, double rate, const PlanishNoise *shape)
{
  double *noise = malloc(bench->frames * sizeof *noise);
  if (noise == NULL) {
    return false;
  }
  const double hz_a_line = rate / (double)bench->frames;
  uint64_t seed = 1;
  for (size_t k = 1; k < bench->frames / 2; ++k) {
    const double complex turn = planish_spectrum_turn(random_turns(&seed));
    const double hz = hz_a_line * (double)k;
    const bool inside = hz >= 10.0 && hz <= 0.49 * rate;
    bench->in_bins[k] =
        inside ? turn / sqrt(hz) * pow(10.0, planish_noise_bells(shape, hz) / 20.0) : 0.0;
  }
  planish_spectrum_back(bench->spectrum, bench->in_bins, noise);
  double power = 0.0;
  for (size_t n = 0; n < bench->frames; ++n) {
    power += noise[n] * noise[n];
  }
  const double rms = sqrt(power / (double)bench->frames);
  const double gain = pow(10.0, shape->level / 20.0) * sqrt(0.5) / rms;
  for (size_t n = 0; n < bench->frames; ++n) {
    bench->signal[n] = (float)(gain * noise[n]);
  }
  free(noise);
  planish_spectrum_forward(bench->spectrum, bench->signal, bench->in_bins);
  return true;
}

static double complex line_answer(const Bench *bench, PlanishProbeChannel channel, uint32_t latency,
                                  size_t k)
{
  const double complex early = planish_spectrum_turn((double)k / (double)bench->frames * latency);
  const double complex in = bench->in_bins[k];
  return early *
         planish_probe_answer(channel, bench->out_bins[0][k] / in, bench->out_bins[1][k] / in);
}

/* Lines to either side that count. */
static int reach_of(size_t line)
{
  return (int)((exp2(1.0 / 192.0) - 1.0) * (double)line);
}

/* The turn of the phase from one line to the next, in radians: the mean of the lines around, each
 * by its power. Exact for a delay of any length up to half a period. */
static double turn_at(const Bench *bench, PlanishProbeChannel channel, uint32_t latency,
                      size_t line, int reach)
{
  double complex sum = 0.0;
  double complex before = line_answer(bench, channel, latency, line - (size_t)reach);
  for (int j = 1 - reach; j <= reach; ++j) {
    const double complex next = line_answer(bench, channel, latency, (size_t)((ptrdiff_t)line + j));
    sum += next * conj(before);
    before = next;
  }
  return carg(sum);
}

/* The value at the middle of a parabola through 2 m + 1 lines (Savitzky, Golay 1964, in closed
 * form): weights 3 (3 m^2 + 3 m - 1 - 5 j^2) / ((2 m - 1) (2 m + 1) (2 m + 3)). The turn of a
 * delay, *turn from line to line, is taken out first: it would bend the parabola. */
static double complex answer_at(const Bench *bench, PlanishProbeChannel channel, uint32_t latency,
                                size_t line, double *turn)
{
  const int half = reach_of(line);
  *turn = turn_at(bench, channel, latency, line, half < 1 ? 1 : half);
  if (half < 1) {
    return line_answer(bench, channel, latency, line);
  }
  const double m = half;
  double complex sum = 0.0;
  for (int j = -half; j <= half; ++j) {
    const double weight = 3.0 * (3.0 * m * m + 3.0 * m - 1.0 - 5.0 * j * j);
    sum += weight * planish_spectrum_turn(-*turn / (2.0 * pi) * j) *
           line_answer(bench, channel, latency, (size_t)((ptrdiff_t)line + j));
  }
  return sum / ((2.0 * m - 1.0) * (2.0 * m + 1.0) * (2.0 * m + 3.0));
}

/* How far the lines around lie off a parabola through them, rms in the complex plane, re `answer`:
 * of its three terms (orthogonal: 1, j, and j^2 less its mean) what is left over has 2 m - 2
 * degrees of freedom. 0 of a stage that is linear and stands. */
static double scatter_at(const Bench *bench, PlanishProbeChannel channel, uint32_t latency,
                         size_t line, double turn, double complex answer)
{
  const int half = reach_of(line) < 3 ? 3 : reach_of(line);
  const double m = half;
  double complex sums[3] = {0.0};
  double squares[3] = {0.0};
  double power = 0.0;
  for (int j = -half; j <= half; ++j) {
    const double complex at = planish_spectrum_turn(-turn / (2.0 * pi) * j) *
                              line_answer(bench, channel, latency, (size_t)((ptrdiff_t)line + j));
    const double terms[3] = {1.0, j, (double)j * j - m * (m + 1.0) / 3.0};
    for (int t = 0; t < 3; ++t) {
      sums[t] += terms[t] * at;
      squares[t] += terms[t] * terms[t];
    }
    power += creal(at * conj(at));
  }
  for (int t = 0; t < 3; ++t) {
    power -= creal(sums[t] * conj(sums[t])) / squares[t];
  }
  return sqrt(fmax(0.0, power) / (2.0 * m - 2.0)) / cabs(answer);
}

static void choose_lines(Bench *bench, PlanishFrequencyResponse *response, double rate,
                         const double *hz, size_t count)
{
  const double hz_a_line = rate / (double)bench->frames;
  for (size_t n = 0; n < count; ++n) {
    const size_t line = (size_t)lrint(hz[n] / hz_a_line);
    if (response->count > 0 && line <= bench->lines[response->count - 1]) {
      continue;
    }
    bench->lines[response->count] = line;
    response->hz[response->count++] = hz_a_line * (double)line;
  }
}

/* One period through the stage. */
static bool run_period(Bench *bench, PlanishProbe *probe, const PlanishProbeSetup *setup,
                       PlanishFrequencyResponse *response, PlanishError *error)
{
  if (!planish_probe_run(probe, bench->signal, bench->out[0], bench->out[1], bench->frames,
                         error)) {
    return false;
  }
  for (int c = 0; c < 2; ++c) {
    planish_spectrum_forward(bench->spectrum, bench->out[c], bench->out_bins[c]);
  }
  response->settled = true;
  for (size_t n = 0; n < response->count; ++n) {
    double turn = 0.0;
    const size_t line = bench->lines[n];
    const double complex answer = answer_at(bench, setup->channel, response->latency, line, &turn);
    response->answers[n] = answer;
    response->delays[n] = cabs(answer) > same_floor
                              ? -turn / (2.0 * pi) * (double)bench->frames / setup->rate
                              : (double)NAN;
    response->levels[n] = 20.0 * log10(cabs(answer));
    const double change = cabs(answer - bench->before[n]);
    response->settled = response->settled && change <= same_share * cabs(answer) + same_floor;
    bench->before[n] = answer;
  }
  return true;
}

/* The phase from frequency to frequency, by as many whole turns as the delay between them asks. */
static void unwrap(PlanishFrequencyResponse *response)
{
  double before = (double)NAN;
  for (size_t n = 0; n < response->count; ++n) {
    const double delay = response->delays[n];
    double phase = isnan(delay) ? (double)NAN : carg(response->answers[n]) * 180.0 / pi;
    if (!isnan(phase) && !isnan(before)) {
      const double step = response->hz[n] - response->hz[n - 1];
      const double expected = before - 360.0 * step * (delay + response->delays[n - 1]) / 2.0;
      phase += 360.0 * nearbyint((expected - phase) / 360.0);
    }
    response->phases[n] = phase;
    before = phase;
  }
}

/* Half of the scatter's power turns the phase; a delay is read from the lines at both ends of the
 * reach, which err apart. */
static void hide_unsure_delays(const Bench *bench, const PlanishProbeSetup *setup,
                               PlanishFrequencyResponse *response)
{
  for (size_t n = 0; n < response->count; ++n) {
    const double delay = response->delays[n];
    const size_t line = bench->lines[n];
    const double seconds_a_turn = (double)bench->frames / setup->rate / (2.0 * pi);
    const double scatter = scatter_at(bench, setup->channel, response->latency, line,
                                      -delay / seconds_a_turn, response->answers[n]);
    const double error = scatter / (2.0 * fmax(1.0, reach_of(line))) * seconds_a_turn;
    if (error > sure_delay && error > sure_share * fabs(delay)) {
      response->delays[n] = (double)NAN;
    }
  }
}

static bool measure(Bench *bench, const PlanishProbeSetup *setup,
                    PlanishFrequencyResponse *response, PlanishError *error)
{
  PlanishProbe *probe = planish_probe_new(setup, error);
  if (probe == NULL) {
    return false;
  }
  response->latency = planish_probe_latency(probe);
  const double period = (double)bench->frames / setup->rate;
  const double least = setup->plugin->settles + response->latency / setup->rate + 2.0 * period;
  bool done = true;
  while (done && (response->seconds < least ||
                  (!response->settled && response->seconds < least + longest_wait))) {
    done = run_period(bench, probe, setup, response, error);
    response->seconds += period;
    planish_probe_tell(setup, "magnitude", fmin(1.0, response->seconds / least));
  }
  planish_probe_free(probe);
  unwrap(response);
  hide_unsure_delays(bench, setup, response);
  return done;
}

static PlanishFrequencyResponse *response_for(size_t count)
{
  PlanishFrequencyResponse *response = calloc(1, sizeof *response);
  if (response == NULL) {
    return NULL;
  }
  response->hz = calloc(count + 1, sizeof *response->hz);
  response->answers = calloc(count + 1, sizeof *response->answers);
  response->levels = calloc(count + 1, sizeof *response->levels);
  response->phases = calloc(count + 1, sizeof *response->phases);
  response->delays = calloc(count + 1, sizeof *response->delays);
  if (response->hz == NULL || response->answers == NULL || response->levels == NULL ||
      response->phases == NULL || response->delays == NULL) {
    planish_frequency_response_free(response);
    return NULL;
  }
  return response;
}

PlanishFrequencyResponse *planish_frequency_response_new(const PlanishProbeSetup *setup,
                                                         const PlanishNoise *noise,
                                                         const double *hz, size_t count,
                                                         PlanishError *error)
{
  PlanishFrequencyResponse *response = response_for(count);
  Bench bench = {0};
  const bool ready = response != NULL && bench_setup(&bench, setup->rate, count) &&
                     make_noise(&bench, setup->rate, noise);
  bool done = ready;
  if (ready) {
    choose_lines(&bench, response, setup->rate, hz, count);
    done = measure(&bench, setup, response, error);
  } else {
    planish_fail_memory(error);
  }
  bench_release(&bench);
  if (!done) {
    planish_frequency_response_free(response);
    return NULL;
  }
  return response;
}

void planish_frequency_response_free(PlanishFrequencyResponse *response)
{
  if (response != NULL) {
    free(response->hz);
    free(response->answers);
    free(response->levels);
    free(response->phases);
    free(response->delays);
    free(response);
  }
}

double planish_frequency_response_level(const PlanishFrequencyResponse *response, double hz)
{
  size_t n = 1;
  while (n + 1 < response->count && response->hz[n] < hz) {
    n += 1;
  }
  const double from = log(response->hz[n - 1]);
  const double share = (log(hz) - from) / (log(response->hz[n]) - from);
  const double low = response->levels[n - 1];
  return low + share * (response->levels[n] - low);
}
