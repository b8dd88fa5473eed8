/* One running plugin on two channels. A plugin with one input and one output is run once for each
 * channel, with the same settings.
 *
 * Ports hold their defaults at first. Life: new, set..., activate, run..., deactivate, free.
 * Thread: one at a time an instance; run, set, get and latency are as real-time safe as the plugin
 * is. */
#ifndef PLANISH_HARNESS_INSTANCE_H
#define PLANISH_HARNESS_INSTANCE_H

#include "harness/base/error.h"
#include "harness/host/plugin.h"

#include <stdbool.h>
#include <stdint.h>

typedef struct PlanishInstance PlanishInstance;

/* Rate in Hz. NULL with PLANISH_BAD_USE where the plugin refuses. `plugin` must outlive it. */
PlanishInstance *planish_instance_new(const PlanishPlugin *plugin, double rate,
                                      PlanishError *error);
/* Deactivates if need be. NULL is allowed. */
void planish_instance_free(PlanishInstance *instance);

const PlanishPlugin *planish_instance_plugin(const PlanishInstance *instance);

/* Sets a control input; it takes effect in the next run. The value is handed over as it is, also
 * out of range. False: no such control input. */
bool planish_instance_set(PlanishInstance *instance, const char *symbol, float value);
void planish_instance_set_at(PlanishInstance *instance, uint32_t port, float value);

/* What a control port holds; NAN: no such port. */
float planish_instance_get(const PlanishInstance *instance, const char *symbol);
float planish_instance_get_at(const PlanishInstance *instance, uint32_t port);

void planish_instance_activate(PlanishInstance *instance);
void planish_instance_deactivate(PlanishInstance *instance);

/* `frames` may be 0 (then the buffers may be NULL, and the plugin writes its latency). An output
 * may be the input of any channel where the plugin allows it (it must not be lv2:inPlaceBroken). */
void planish_instance_run(PlanishInstance *instance, const float *const in[2], float *const out[2],
                          uint32_t frames);

/* Frames, as the last run left it; 0 for a plugin that reports none. */
uint32_t planish_instance_latency(const PlanishInstance *instance);

/* For tests of odd hosts: connects any port to a place of the caller's, or NULL, on both channels.
 * Lasts for control ports; audio ports are connected anew in each run. */
void planish_instance_connect(PlanishInstance *instance, uint32_t port, void *place);

#endif
