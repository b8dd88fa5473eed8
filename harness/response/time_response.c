#include "harness/response/time_response.h"

#include "harness/measure/spectrum.h"

#include <math.h>
#include <stdlib.h>

static const double longest = 2.0;           /* s */
static const double impulse_share = 1e-10;   /* of the energy, at each end */
static const double step_share = 1e-4;       /* of the largest value */
static const double shortest_silence = 0.05; /* s */
static const double shortest_tone = 0.5;     /* s at the low level */
static const double longest_ahead = 0.5;     /* s that may be shown before an event */

/* One run of a stage: what goes in, and what came out on both channels. */
typedef struct {
  size_t frames;
  size_t event; /* the frame of it at the input */
  uint32_t latency;
  float *in;
  float *out[2];
} Take;

static void take_release(Take *take)
{
  free(take->in);
  free(take->out[0]);
  free(take->out[1]);
}

static bool take_setup(Take *take, size_t event, size_t after)
{
  take->event = event;
  take->frames = event + take->latency + after;
  take->in = calloc(take->frames, sizeof *take->in);
  take->out[0] = calloc(take->frames, sizeof *take->out[0]);
  take->out[1] = calloc(take->frames, sizeof *take->out[1]);
  return take->in != NULL && take->out[0] != NULL && take->out[1] != NULL;
}

static double value_at(const Take *take, PlanishProbeChannel channel, size_t frame)
{
  const double left = (double)take->out[0][frame];
  const double right = (double)take->out[1][frame];
  switch (channel) {
  case PLANISH_PROBE_LEFT:
    return left;
  case PLANISH_PROBE_RIGHT:
    return right;
  case PLANISH_PROBE_SIDE:
    return (left - right) / 2.0;
  case PLANISH_PROBE_STEREO:
  case PLANISH_PROBE_MID:
    break;
  }
  return (left + right) / 2.0;
}

static PlanishTimeResponse *response_for(size_t count)
{
  PlanishTimeResponse *response = calloc(1, sizeof *response);
  if (response == NULL) {
    return NULL;
  }
  response->count = count;
  response->seconds = calloc(count + 1, sizeof *response->seconds);
  response->values = calloc(count + 1, sizeof *response->values);
  if (response->seconds == NULL || response->values == NULL) {
    planish_time_response_free(response);
    return NULL;
  }
  return response;
}

void planish_time_response_free(PlanishTimeResponse *response)
{
  if (response != NULL) {
    free(response->seconds);
    free(response->values);
    free(response);
  }
}

/* Frames of an output, from first to one before last. */
typedef struct {
  size_t first, last;
} Span;

static Span impulse_span(const Take *take, PlanishProbeChannel channel, Span whole)
{
  double energy = 0.0;
  for (size_t n = whole.first; n < whole.last; ++n) {
    energy += value_at(take, channel, n) * value_at(take, channel, n);
  }
  Span span = whole;
  double ahead = 0.0;
  double behind = 0.0;
  while (span.first < span.last && ahead <= impulse_share * energy) {
    ahead += pow(value_at(take, channel, span.first++), 2.0);
  }
  while (span.last > span.first && behind <= impulse_share * energy) {
    behind += pow(value_at(take, channel, --span.last), 2.0);
  }
  span.first -= span.first > whole.first ? 1 : 0;
  span.last += span.last < whole.last ? 1 : 0;
  return span;
}

static Span step_span(const Take *take, PlanishProbeChannel channel, Span whole)
{
  double most = 0.0;
  for (size_t n = whole.first; n < whole.last; ++n) {
    most = fmax(most, fabs(value_at(take, channel, n)));
  }
  const double end = value_at(take, channel, whole.last - 1);
  Span span = whole;
  while (span.first < span.last && fabs(value_at(take, channel, span.first)) <= step_share * most) {
    span.first += 1;
  }
  while (span.last > span.first &&
         fabs(value_at(take, channel, span.last - 1) - end) <= step_share * most) {
    span.last -= 1;
  }
  return span;
}

/* A few frames more than matter, the event always among them. */
static PlanishTimeResponse *cut(const Take *take, const PlanishProbeSetup *setup,
                                PlanishTimeEvent event, double amplitude)
{
  enum { MARGIN = 16 };
  const size_t at = take->event + take->latency;
  const size_t ahead = (size_t)fmin(longest_ahead * setup->rate, (double)at);
  const Span whole = {at - ahead, take->frames};
  const Span matters = event == PLANISH_TIME_IMPULSE ? impulse_span(take, setup->channel, whole)
                                                     : step_span(take, setup->channel, whole);
  const size_t first =
      (size_t)fmax((double)whole.first, fmin((double)matters.first, (double)at) - MARGIN);
  const size_t last =
      (size_t)fmin((double)whole.last, fmax((double)matters.last, (double)at) + MARGIN);
  PlanishTimeResponse *response = response_for(last - first);
  for (size_t n = 0; response != NULL && n < response->count; ++n) {
    response->seconds[n] = ((double)(first + n) - (double)at) / setup->rate;
    response->values[n] = value_at(take, setup->channel, first + n) / amplitude;
  }
  return response;
}

PlanishTimeResponse *planish_time_response_new(const PlanishProbeSetup *setup,
                                               PlanishTimeEvent event, double level,
                                               PlanishError *error)
{
  PlanishProbe *probe = planish_probe_new(setup, error);
  if (probe == NULL) {
    return NULL;
  }
  Take take = {.latency = planish_probe_latency(probe)};
  const double wait = fmax(setup->plugin->settles, shortest_silence) * setup->rate;
  const double amplitude = (double)(float)pow(10.0, level / 20.0);
  PlanishTimeResponse *response = NULL;
  bool done =
      take_setup(&take, take.latency + (size_t)ceil(wait), (size_t)ceil(longest * setup->rate));
  if (done) {
    const size_t end = event == PLANISH_TIME_IMPULSE ? take.event + 1 : take.frames;
    for (size_t n = take.event; n < end; ++n) {
      take.in[n] = (float)amplitude;
    }
    done = planish_probe_run(probe, take.in, take.out[0], take.out[1], take.frames, error);
    response = done ? cut(&take, setup, event, amplitude) : NULL;
  }
  if (response == NULL && (error == NULL || error->outcome == PLANISH_DONE)) {
    planish_fail_memory(error);
  }
  planish_probe_tell(setup, event == PLANISH_TIME_IMPULSE ? "impulse" : "step", 1.0);
  take_release(&take);
  planish_probe_free(probe);
  return response;
}

/* Size of a tone in a window of frames around one. */
static double tone_at(const Take *take, const PlanishProbeSetup *setup, const float *in,
                      double turns, size_t middle)
{
  const double half = 1.0 / turns;
  const ptrdiff_t reach = (ptrdiff_t)ceil(half) - 1;
  double complex sum = 0.0;
  for (ptrdiff_t j = -reach; j <= reach; ++j) {
    const size_t n = (size_t)((ptrdiff_t)middle + j);
    const double x = in == NULL ? value_at(take, setup->channel, n) : (double)in[n];
    const double window = 0.5 + 0.5 * creal(planish_spectrum_turn((double)j / half / 2.0));
    sum += window * x * planish_spectrum_turn(-turns * (double)j);
  }
  return cabs(sum);
}

static PlanishTimeResponse *read_burst(const Take *take, const PlanishProbeSetup *setup, double hz)
{
  const double rate = setup->rate;
  const size_t before = (size_t)(PLANISH_BURST_BEFORE * hz) + 1;
  const size_t after = (size_t)((PLANISH_BURST_LENGTH + PLANISH_BURST_AFTER) * hz) - 1;
  PlanishTimeResponse *response = response_for(before + after);
  for (size_t n = 0; response != NULL && n < before + after; ++n) {
    const double frames = ((double)n - (double)before) * rate / hz;
    const size_t at = (size_t)(ptrdiff_t)lrint((double)take->event + frames);
    const double in = tone_at(take, setup, take->in, hz / rate, at);
    const double out = tone_at(take, setup, NULL, hz / rate, at + take->latency);
    response->seconds[n] = ((double)at - (double)take->event) / rate;
    response->values[n] = 20.0 * log10(out / in);
  }
  return response;
}

PlanishTimeResponse *planish_burst_response_new(const PlanishProbeSetup *setup, double hz,
                                                double level, PlanishError *error)
{
  PlanishProbe *probe = planish_probe_new(setup, error);
  if (probe == NULL) {
    return NULL;
  }
  const double rate = setup->rate;
  Take take = {.latency = planish_probe_latency(probe)};
  const double wait = fmax(setup->plugin->settles, shortest_tone) + 2.0 / hz;
  const double after = PLANISH_BURST_LENGTH + PLANISH_BURST_AFTER + 2.0 / hz;
  const double low = pow(10.0, PLANISH_BURST_LOW_LEVEL / 20.0);
  const double high = pow(10.0, level / 20.0);
  PlanishTimeResponse *response = NULL;
  if (take_setup(&take, take.latency + (size_t)ceil(wait * rate), (size_t)ceil(after * rate))) {
    const size_t end = take.event + (size_t)lrint(PLANISH_BURST_LENGTH * rate);
    for (size_t n = 0; n < take.frames; ++n) {
      const double turns = fmod(hz / rate * ((double)n - (double)take.event), 1.0);
      const double amplitude = n >= take.event && n < end ? high : low;
      take.in[n] = (float)(amplitude * cimag(planish_spectrum_turn(turns)));
    }
    if (planish_probe_run(probe, take.in, take.out[0], take.out[1], take.frames, error)) {
      response = read_burst(&take, setup, hz);
    }
  }
  if (response == NULL && (error == NULL || error->outcome == PLANISH_DONE)) {
    planish_fail_memory(error);
  }
  planish_probe_tell(setup, "burst", 1.0);
  take_release(&take);
  planish_probe_free(probe);
  return response;
}
