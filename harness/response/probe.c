#include "harness/response/probe.h"

#include "harness/base/interrupt.h"
#include "harness/host/instance.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { BLOCK = 1024 };

struct PlanishProbe {
  PlanishProbeSetup setup;
  PlanishInstance *instance;
  uint32_t latency;
};

static const struct {
  const char *name;
  float left, right; /* what of the signal goes in */
} channels[] = {
    [PLANISH_PROBE_STEREO] = {"stereo", 1.0f, 1.0f}, [PLANISH_PROBE_MID] = {"mid", 1.0f, 1.0f},
    [PLANISH_PROBE_SIDE] = {"side", 1.0f, -1.0f},    [PLANISH_PROBE_LEFT] = {"left", 1.0f, 0.0f},
    [PLANISH_PROBE_RIGHT] = {"right", 0.0f, 1.0f},
};

bool planish_probe_channel(const char *name, PlanishProbeChannel *channel)
{
  for (size_t n = 0; n < sizeof channels / sizeof *channels; ++n) {
    if (strcmp(channels[n].name, name) == 0) {
      *channel = (PlanishProbeChannel)n;
      return true;
    }
  }
  return false;
}

const char *planish_probe_channel_name(PlanishProbeChannel channel)
{
  return channels[channel].name;
}

PlanishProbe *planish_probe_new(const PlanishProbeSetup *setup, PlanishError *error)
{
  PlanishProbe *probe = calloc(1, sizeof *probe);
  if (probe == NULL) {
    planish_fail_memory(error);
    return NULL;
  }
  probe->setup = *setup;
  probe->instance = planish_instance_new(setup->plugin, setup->rate, error);
  if (probe->instance == NULL) {
    planish_probe_free(probe);
    return NULL;
  }
  for (uint32_t n = 0; setup->values != NULL && n < setup->plugin->port_count; ++n) {
    if (setup->plugin->ports[n].kind == PLANISH_PLUGIN_CONTROL_INPUT) {
      planish_instance_set_at(probe->instance, n, setup->values[n]);
    }
  }
  planish_instance_activate(probe->instance);
  planish_instance_run(probe->instance, NULL, NULL, 0);
  probe->latency = planish_instance_latency(probe->instance);
  return probe;
}

void planish_probe_free(PlanishProbe *probe)
{
  if (probe != NULL) {
    planish_instance_free(probe->instance);
    free(probe);
  }
}

uint32_t planish_probe_latency(const PlanishProbe *probe)
{
  return probe->latency;
}

static bool check_block(const PlanishProbe *probe, const float *left, const float *right,
                        size_t frames, PlanishError *error)
{
  const char *uri = probe->setup.plugin->uri;
  for (size_t n = 0; n < frames; ++n) {
    if (!isfinite(left[n]) || !isfinite(right[n])) {
      return planish_fail(error, PLANISH_BAD_USE,
                          "a stage put out what is no number: %s: change its settings", uri);
    }
  }
  return planish_instance_latency(probe->instance) == probe->latency ||
         planish_fail(error, PLANISH_BAD_USE,
                      "a stage's latency changed while it ran: %s: change its settings", uri);
}

bool planish_probe_run(PlanishProbe *probe, const float *x, float *left, float *right,
                       size_t frames, PlanishError *error)
{
  float in[2][BLOCK];
  const float to_left = channels[probe->setup.channel].left;
  const float to_right = channels[probe->setup.channel].right;
  for (size_t at = 0; at < frames; at += BLOCK) {
    const size_t length = frames - at < BLOCK ? frames - at : BLOCK;
    for (size_t n = 0; n < length; ++n) {
      in[0][n] = to_left * x[at + n];
      in[1][n] = to_right * x[at + n];
    }
    planish_instance_run(probe->instance, (const float *const[2]){in[0], in[1]},
                         (float *const[2]){left + at, right + at}, (uint32_t)length);
    if (!check_block(probe, left + at, right + at, length, error) ||
        !planish_interrupt_check(error)) {
      return false;
    }
  }
  return true;
}

void planish_probe_tell(const PlanishProbeSetup *setup, const char *what, double share)
{
  if (setup->told != NULL) {
    setup->told(setup->told_user, what, 0, share);
  }
}

double complex planish_probe_answer(PlanishProbeChannel channel, double complex left,
                                    double complex right)
{
  switch (channel) {
  case PLANISH_PROBE_LEFT:
    return left;
  case PLANISH_PROBE_RIGHT:
    return right;
  case PLANISH_PROBE_MID:
    return (left + right) / 2.0;
  case PLANISH_PROBE_SIDE:
    return (left - right) / 2.0;
  case PLANISH_PROBE_STEREO:
    break;
  }
  const double power = (creal(left * conj(left)) + creal(right * conj(right))) / 2.0;
  const double complex sum = left + right;
  const double size = cabs(sum);
  return size > 0.0 ? sum / size * sqrt(power) : sqrt(power);
}
