/* Holds a stage's binary, which was built with the generated header, against the Turtle of the
 * staged bundle, as lilv reads it. Built once for each stage: STAGE_HEADER, STAGE_PORTS. */
#include STAGE_HEADER

#include "harness/host/host.h"
#include "harness/host/instance.h"
#include "tests/unit/cmocka_headers.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const PlanishPorts *const table = &STAGE_PORTS;

static PlanishHost *host;
static const PlanishPlugin *plugin;

static PlanishPluginPortKind kind_of(uint32_t index)
{
  switch (table->ports[index].kind) {
  case PLANISH_PORT_INPUT:
    return PLANISH_PLUGIN_CONTROL_INPUT;
  case PLANISH_PORT_OUTPUT:
    return PLANISH_PLUGIN_CONTROL_OUTPUT;
  case PLANISH_PORT_AUDIO:
    return index < 2 ? PLANISH_PLUGIN_AUDIO_INPUT : PLANISH_PLUGIN_AUDIO_OUTPUT;
  }
  return PLANISH_PLUGIN_OTHER;
}

static void ports_are_the_same(void **state)
{
  (void)state;
  assert_int_equal(plugin->port_count, table->port_count);
  for (uint32_t i = 0; i < table->port_count; ++i) {
    const PlanishPort *built = &table->ports[i];
    const PlanishPluginPort *told = &plugin->ports[i];
    assert_string_equal(built->symbol, told->symbol);
    assert_int_equal(kind_of(i), told->kind);
    if (built->kind == PLANISH_PORT_AUDIO) {
      continue;
    }
    assert_true(built->minimum == told->minimum);
    assert_true(built->maximum == told->maximum);
    assert_true(built->toggled == told->toggled);
    assert_true(built->whole == (told->whole || told->enumeration));
    if (built->kind == PLANISH_PORT_INPUT) {
      assert_true(built->initial == told->initial);
      assert_true(!built->rebuilds || told->not_automatic);
    }
  }
  assert_int_equal(table->latency, plugin->latency);
  assert_int_equal(table->enabled, plugin->enabled);
}

/* A host shows these words and nothing else. */
static void ports_have_words(void **state)
{
  (void)state;
  assert_true(strlen(plugin->comment) > 20);
  for (uint32_t i = 0; i < plugin->port_count; ++i) {
    const PlanishPluginPort *port = &plugin->ports[i];
    const size_t short_length = strlen(port->short_name);
    const bool worded = strlen(port->comment) > 10 && short_length > 0 && short_length <= 16;
    const bool measured = port->kind == PLANISH_PLUGIN_AUDIO_INPUT ||
                          port->kind == PLANISH_PLUGIN_AUDIO_OUTPUT || port->toggled ||
                          port->point_count > 0 || port->has_unit || port->whole;
    if (!worded || !measured) {
      printf("%s %s: %s\n", plugin->uri, port->symbol,
             worded ? "no unit, no scale points" : "comment or short name missing or too long");
    }
    assert_true(worded && measured);
  }
}

static void enumerations_are_whole(void **state)
{
  (void)state;
  for (uint32_t i = 0; i < plugin->port_count; ++i) {
    const PlanishPluginPort *port = &plugin->ports[i];
    /* Some hosts allow no value but a scale point, so only true enumerations have them. */
    assert_true(port->enumeration == (port->point_count > 0));
    if (port->enumeration) {
      assert_int_equal(port->point_count, (int)(port->maximum - port->minimum) + 1);
      for (uint32_t p = 0; p < port->point_count; ++p) {
        assert_true(port->points[p].value == port->minimum + (float)p);
        assert_true(port->points[p].label[0] != '\0');
      }
    }
  }
}

static int open_host(void **state)
{
  (void)state;
  PlanishError error = {0};
  host = planish_host_open(&error);
  plugin = host == NULL ? NULL : planish_host_plugin(host, table->uri, &error);
  if (plugin == NULL) {
    printf("%s\n", error.text);
  }
  return plugin == NULL ? -1 : 0;
}

static int close_host(void **state)
{
  (void)state;
  planish_host_free(host);
  return 0;
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(ports_are_the_same),
      cmocka_unit_test(ports_have_words),
      cmocka_unit_test(enumerations_are_whole),
  };
  return cmocka_run_group_tests(tests, open_host, close_host);
}
