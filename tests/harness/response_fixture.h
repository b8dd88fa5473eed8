/* Plugins under measurement, with their controls. */
#ifndef PLANISH_TESTS_RESPONSE_FIXTURE_H
#define PLANISH_TESTS_RESPONSE_FIXTURE_H

#include "harness/host/host.h"
#include "harness/response/probe.h"
#include "tests/unit/cmocka_headers.h"

enum { MOST_PORTS = 16, RATE = 48000 };

static const double pi = 3.14159265358979323846;

static PlanishHost *host;
static float values[MOST_PORTS];

static inline PlanishProbeSetup setup_of(const char *name, PlanishProbeChannel channel)
{
  const PlanishPlugin *plugin = planish_host_plugin(host, name, NULL);
  assert_non_null(plugin);
  for (uint32_t n = 0; n < plugin->port_count; ++n) {
    values[n] = plugin->ports[n].initial;
  }
  return (PlanishProbeSetup){.plugin = plugin, .values = values, .rate = RATE, .channel = channel};
}

static inline void set(const PlanishProbeSetup *setup, const char *symbol, float value)
{
  values[planish_plugin_find(setup->plugin, symbol)] = value;
}

#endif
