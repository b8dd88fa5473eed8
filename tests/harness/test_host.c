#include "harness/host/bundle.h"
#include "harness/host/host.h"
#include "harness/host/instance.h"
#include "tests/unit/cmocka_headers.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static PlanishHost *open_host(void)
{
  PlanishError error = {0};
  PlanishHost *host = planish_host_open(&error);
  assert_string_equal(error.text, "");
  assert_non_null(host);
  return host;
}

static void facts_are_those_of_the_turtle(void **state)
{
  (void)state;
  PlanishHost *host = open_host();
  PlanishError error = {0};
  assert_int_equal(planish_host_count(host), 6);
  assert_string_equal(planish_host_uri(host, 1), "urn:planish:test-delay");
  const PlanishPlugin *plugin = planish_host_plugin(host, "test-delay", &error);
  assert_non_null(plugin);
  assert_ptr_equal(plugin, planish_host_plugin(host, "urn:planish:test-delay", &error));
  assert_string_equal(plugin->name, "Test delay");
  assert_string_equal(planish_plugin_short_uri(plugin), "test-delay");
  assert_int_equal(plugin->channels, 2);
  assert_int_equal(plugin->latency, 5);
  assert_int_equal(plugin->enabled, 4);
  assert_true(plugin->settles == 1.5);
  assert_int_equal(planish_plugin_find(plugin, "gains"), -1);

  const PlanishPluginPort *gain = &plugin->ports[planish_plugin_find(plugin, "gain")];
  assert_true(gain->minimum == -24.0f && gain->maximum == 24.0f && gain->initial == 0.0f);
  assert_string_equal(gain->unit, "dB");
  assert_int_equal(gain->kind, PLANISH_PLUGIN_CONTROL_INPUT);
  assert_true(plugin->ports[planish_plugin_find(plugin, "taps")].not_automatic);

  const PlanishPluginPort *shape = &plugin->ports[planish_plugin_find(plugin, "shape")];
  assert_true(shape->enumeration && shape->whole);
  assert_int_equal(shape->point_count, 3);
  assert_string_equal(shape->points[1].label, "low shelf");
  assert_true(shape->points[2].value == 2.0f);
  planish_host_free(host);
}

static void a_stage_runs_on_buffers(void **state)
{
  (void)state;
  PlanishHost *host = open_host();
  PlanishError error = {0};
  const PlanishPlugin *plugin = planish_host_plugin(host, "test-delay", &error);
  PlanishInstance *delay = planish_instance_new(plugin, 48000, &error);
  assert_non_null(delay);
  assert_true(planish_instance_set(delay, "taps", 3.0f));
  assert_false(planish_instance_set(delay, "latency", 3.0f));
  assert_false(planish_instance_set(delay, "tap", 3.0f));
  assert_true(isnan(planish_instance_get(delay, "tap")));
  planish_instance_activate(delay);
  planish_instance_run(delay, NULL, NULL, 0);
  assert_int_equal(planish_instance_latency(delay), 3);
  const float left[5] = {1, 2, 3, 4, 5};
  const float right[5] = {-1, -2, -3, -4, -5};
  float out[2][5];
  planish_instance_run(delay, (const float *[]){left, right}, (float *[]){out[0], out[1]}, 5);
  for (int n = 0; n < 5; ++n) {
    assert_true(out[0][n] == (n < 3 ? 0.0f : left[n - 3]));
    assert_true(out[1][n] == (n < 3 ? 0.0f : right[n - 3]));
  }
  assert_true(fabsf(planish_instance_get(delay, "sample_peak") - 6.0206f) < 1e-3f);
  planish_instance_free(delay);
  planish_host_free(host);
}

static void a_mono_plugin_runs_on_each_channel(void **state)
{
  (void)state;
  PlanishHost *host = open_host();
  PlanishError error = {0};
  const PlanishPlugin *plugin = planish_host_plugin(host, "test-mono", &error);
  PlanishInstance *mono = planish_instance_new(plugin, 44100, &error);
  assert_non_null(mono);
  planish_instance_set(mono, "gain", 20.0f);
  planish_instance_activate(mono);
  const float left[2] = {1, 2};
  const float right[2] = {3, 4};
  float out[2][2];
  planish_instance_run(mono, (const float *[]){left, right}, (float *[]){out[0], out[1]}, 2);
  assert_true(fabsf(out[0][1] - 20.0f) < 1e-4f);
  assert_true(fabsf(out[1][0] - 30.0f) < 1e-4f);
  planish_instance_free(mono);
  planish_host_free(host);
}

static void what_cannot_run_is_refused_in_one_line(void **state)
{
  (void)state;
  static const struct {
    const char *name;
    const char *says;
  } cases[] = {
      {"test-dalay", "did you mean test-delay?"},
      {"urn:planish:test-dalay", "did you mean test-delay?"},
      {"completely-different", "planish stages"},
      {"urn:example:other", "not installed: urn:example:other"},
      {"test-needy", "requires urn:planish:test-feature"},
  };
  PlanishHost *host = open_host();
  for (size_t n = 0; n < sizeof cases / sizeof *cases; ++n) {
    PlanishError error = {0};
    assert_null(planish_host_plugin(host, cases[n].name, &error));
    assert_int_equal(error.outcome, PLANISH_BAD_USE);
    assert_non_null(strstr(error.text, cases[n].says));
    assert_null(strchr(error.text, '\n'));
  }
  PlanishError error = {0};
  assert_null(
      planish_instance_new(planish_host_plugin(host, "test-absent", &error), 48000, &error));
  assert_int_equal(error.outcome, PLANISH_BAD_USE);
  planish_error_clear(&error);
  assert_null(planish_instance_new(planish_host_plugin(host, "test-delay", &error), 2e6, &error));
  assert_non_null(strstr(error.text, "2e+06 Hz: urn:planish:test-delay"));
  planish_host_free(host);
}

static void the_bundle_is_looked_for_in_order(void **state)
{
  (void)state;
  const char *named = getenv("PLANISH_BUNDLE");
  PlanishError error = {0};
  char *bundle = planish_bundle_find(NULL, &error);
  assert_non_null(bundle);
  assert_non_null(strstr(bundle, "stages.lv2"));
  free(bundle);
  assert_null(planish_bundle_find("/tmp", &error));
  assert_int_equal(error.outcome, PLANISH_BAD_USE);
  assert_non_null(strstr(error.text, "/tmp: --bundle"));
  planish_error_clear(&error);
  bundle = planish_bundle_find(named, &error);
  assert_non_null(bundle);
  free(bundle);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(facts_are_those_of_the_turtle),
      cmocka_unit_test(a_stage_runs_on_buffers),
      cmocka_unit_test(a_mono_plugin_runs_on_each_channel),
      cmocka_unit_test(what_cannot_run_is_refused_in_one_line),
      cmocka_unit_test(the_bundle_is_looked_for_in_order),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
