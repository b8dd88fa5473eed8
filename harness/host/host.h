/* A small LV2 host: one bundle loaded alone, plugins by URI. With instance.h, all that it takes to
 * run a stage on buffers; a test of a stage reads
 *
 *   PlanishError error = {0};
 *   PlanishHost *host = planish_host_open(&error);   // the staged bundle: PLANISH_BUNDLE, which
 *                                                    // meson sets for tests, or see bundle.h
 *   const PlanishPlugin *plugin = planish_host_plugin(host, "urn:planish:limiter", &error);
 *   PlanishInstance *limiter = planish_instance_new(plugin, 48000, &error);
 *   planish_instance_set(limiter, "input_gain", 3.0f);
 *   planish_instance_activate(limiter);
 *   planish_instance_run(limiter, (const float *[]){left, right},
 *                        (float *[]){out_left, out_right}, frames);   // any size; may be in place
 *   uint32_t latency = planish_instance_latency(limiter);
 *   float reduction = planish_instance_get(limiter, "reduction");
 *   planish_instance_free(limiter);
 *   planish_host_free(host);
 *
 * and links harness_dep (meson.build). error.text says what went wrong where something is NULL.
 *
 * Opening loads no specification, so it takes a few milliseconds. LV2_PATH is searched, in a world
 * of its own, only when a plugin or preset outside the bundle is asked for.
 * Thread: lilv is called from one thread; different instances may run on different threads. */
#ifndef PLANISH_HARNESS_HOST_H
#define PLANISH_HARNESS_HOST_H

#include "harness/base/error.h"
#include "harness/host/plugin.h"

#include <stdint.h>

typedef struct PlanishHost PlanishHost;

/* Loads the bundle in the folder `bundle`. NULL with PLANISH_BAD_USE where it holds no plugin. */
PlanishHost *planish_host_new(const char *bundle, PlanishError *error);

/* The same for the bundle that planish_bundle_find(NULL) finds. */
PlanishHost *planish_host_open(PlanishError *error);

/* Gives back plugins too; instances must be gone before. NULL is allowed. */
void planish_host_free(PlanishHost *host);

/* The plugins of the bundle, in order of URI. */
uint32_t planish_host_count(const PlanishHost *host);
const char *planish_host_uri(const PlanishHost *host, uint32_t n);

/* A plugin by URI or by the short name after "urn:planish:". Belongs to the host. NULL with
 * PLANISH_BAD_USE, naming the nearest one of the bundle. */
const PlanishPlugin *planish_host_plugin(PlanishHost *host, const char *name, PlanishError *error);

/* Whether lilv takes a text for a URI without a word: a scheme, a colon, and none of the characters
 * that a URI cannot hold (RFC 3986). */
bool planish_host_is_uri(const char *text);

/* For preset.h: the bundle alone, and what LV2_PATH has (loaded at the first call; NULL without
 * memory). */
LilvWorld *planish_host_world(PlanishHost *host);
LilvWorld *planish_host_foreign_world(PlanishHost *host, PlanishError *error);

#endif
