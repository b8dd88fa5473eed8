/* Each stage through the bare LV2 ABI, as hosts have been seen to use it: odd features, ports that
 * are never connected, calls in odd orders, blocks of any size. Counts allocations in run(). */
#include "tests/frame/takes.h"
#include "tests/unit/cmocka_headers.h"

#include <lv2/core/lv2.h>
#include <lv2/log/log.h>
#include <lv2/urid/urid.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { RATE = 48000, LONG = 1 << 17 };

#if defined(__GLIBC__) && !defined(__SANITIZE_ADDRESS__)
#define COUNTS_ALLOCATIONS 1

/* glibc's own, behind the public names. */
extern void *__libc_malloc(size_t size);
extern void *__libc_calloc(size_t count, size_t size);
extern void *__libc_realloc(void *block, size_t size);
extern void __libc_free(void *block);

static volatile unsigned long calls_of_the_allocator;

__attribute__((visibility("default"))) void *malloc(size_t size)
{
  ++calls_of_the_allocator;
  return __libc_malloc(size);
}

__attribute__((visibility("default"))) void *calloc(size_t count, size_t size)
{
  ++calls_of_the_allocator;
  return __libc_calloc(count, size);
}

__attribute__((visibility("default"))) void *realloc(void *block, size_t size)
{
  ++calls_of_the_allocator;
  return __libc_realloc(block, size);
}

__attribute__((visibility("default"))) void free(void *block)
{
  ++calls_of_the_allocator;
  __libc_free(block);
}
#endif

static int logged;

static int log_vprintf(LV2_Log_Handle handle, LV2_URID type, const char *format, va_list arguments)
{
  (void)handle;
  (void)type;
  ++logged;
  char line[512];
  return vsnprintf(line, sizeof line, format, arguments);
}

static void check_features(const PlanishPlugin *plugin)
{
  const LV2_Descriptor *d = descriptor_of(plugin);
  LV2_Log_Log log = {NULL, NULL, log_vprintf};
  const LV2_Feature unnamed = {NULL, NULL};
  const LV2_Feature no_map = {LV2_URID__map, NULL};
  const LV2_Feature no_log = {LV2_LOG__log, NULL};
  const LV2_Feature some_log = {LV2_LOG__log, &log};
  LV2_URID_Map map_of_nothing = {NULL, NULL};
  const LV2_Feature empty_map = {LV2_URID__map, &map_of_nothing};
  const LV2_Feature *const none[] = {NULL};
  const LV2_Feature *const without_data[] = {&unnamed, &no_map, &no_log, NULL};
  const LV2_Feature *const odd[] = {&unnamed, &some_log, &empty_map, NULL};
  const LV2_Feature *const *const lists[] = {NULL, none, without_data, odd};
  for (size_t i = 0; i < sizeof lists / sizeof *lists; ++i) {
    LV2_Handle stage = d->instantiate(d, RATE, NULL, lists[i]);
    assert_non_null(stage);
    d->cleanup(stage);
    assert_null(d->instantiate(d, 0.0, "", lists[i]));
  }
  assert_int_equal(logged, 1);
  logged = 0;
  assert_null(d->extension_data("urn:planish:nothing"));
}

static void odd_features_are_borne(void **state)
{
  (void)state;
  for_each_stage(check_features);
}

static void connect_audio(const LV2_Descriptor *d, LV2_Handle stage, float *in_left,
                          float *in_right, float *out_left, float *out_right)
{
  d->connect_port(stage, 0, in_left);
  d->connect_port(stage, 1, in_right);
  d->connect_port(stage, 2, out_left);
  d->connect_port(stage, 3, out_right);
}

static void check_order(const PlanishPlugin *plugin)
{
  const LV2_Descriptor *d = descriptor_of(plugin);
  LV2_Handle stage = d->instantiate(d, RATE, "", NULL);
  assert_non_null(stage);
  Audio in = audio_music(4096, 3, 0.5f);
  Audio out = audio_new(4096);
  Audio expected = audio_new(4096);
  d->run(stage, 100);
  d->connect_port(stage, 10000, in.channel[0]);
  d->connect_port(stage, UINT32_MAX, in.channel[0]);
  d->activate(stage);
  d->run(stage, 0);
  d->run(stage, LONG);
  connect_audio(d, stage, in.channel[0], NULL, NULL, out.channel[1]);
  d->run(stage, 4096);
  d->activate(stage);
  d->activate(stage);
  /* Input that is not connected is silence; output that is not connected is nobody's. */
  connect_audio(d, stage, NULL, in.channel[1], out.channel[0], NULL);
  d->run(stage, 4096);
  d->deactivate(stage);
  d->deactivate(stage);
  d->activate(stage);
  Audio silence = audio_new(4096);
  connect_audio(d, stage, silence.channel[0], in.channel[1], expected.channel[0],
                expected.channel[1]);
  d->run(stage, 4096);
  assert_memory_equal(out.channel[0], expected.channel[0], 4096 * sizeof(float));
  d->cleanup(stage);
  audio_free(&silence);
  audio_free(&expected);
  audio_free(&out);
  audio_free(&in);
}

static void odd_orders_and_open_ports_are_borne(void **state)
{
  (void)state;
  for_each_stage(check_order);
}

static void check_sizes(const PlanishPlugin *plugin)
{
  const LV2_Descriptor *d = descriptor_of(plugin);
  Audio in = audio_music(LONG, 5, 0.9f);
  Audio at_once = audio_new(LONG);
  Audio one_by_one = audio_new(LONG);
  LV2_Handle stage = d->instantiate(d, RATE, "", NULL);
  d->activate(stage);
  connect_audio(d, stage, in.channel[0], in.channel[1], at_once.channel[0], at_once.channel[1]);
  d->run(stage, LONG);
  d->deactivate(stage);
  d->activate(stage);
  for (uint32_t n = 0; n < LONG; ++n) {
    connect_audio(d, stage, in.channel[0] + n, in.channel[1] + n, one_by_one.channel[0] + n,
                  one_by_one.channel[1] + n);
    d->run(stage, 1);
  }
  assert_true(largest_difference(&at_once, &one_by_one, 0) == -1.0);
  d->cleanup(stage);
  audio_free(&one_by_one);
  audio_free(&at_once);
  audio_free(&in);
}

static void huge_blocks_are_many_small_ones(void **state)
{
  (void)state;
  for_each_stage(check_sizes);
}

static void check_allocation(const PlanishPlugin *plugin)
{
#ifdef COUNTS_ALLOCATIONS
  const LV2_Descriptor *d = descriptor_of(plugin);
  LV2_Handle stage = d->instantiate(d, RATE, "", NULL);
  float values[MOST_PORTS];
  for (uint32_t i = 4; i < plugin->port_count; ++i) {
    values[i] = plugin->ports[i].initial;
    d->connect_port(stage, i, &values[i]);
  }
  Audio audio = audio_music(512, 9, 0.9f);
  connect_audio(d, stage, audio.channel[0], audio.channel[1], audio.channel[0], audio.channel[1]);
  uint64_t seed = 6;
  const unsigned long before = calls_of_the_allocator;
  d->activate(stage);
  for (int round = 0; round < 400; ++round) {
    for (uint32_t i = 4; round > 0 && i < plugin->port_count; ++i) {
      const PlanishPluginPort *port = &plugin->ports[i];
      if (port->kind == PLANISH_PLUGIN_CONTROL_INPUT && random_next(&seed) % 8 == 0) {
        values[i] = (float)random_within(&seed, (double)port->minimum, (double)port->maximum);
      }
    }
    d->run(stage, round % 7 == 0 ? 0 : 512);
  }
  d->deactivate(stage);
  assert_int_equal(calls_of_the_allocator, before);
  d->cleanup(stage);
  /* It does count. */
  assert_true(calls_of_the_allocator > before);
  audio_free(&audio);
#else
  (void)plugin;
#endif
}

static void nothing_is_allocated_once_it_runs(void **state)
{
  (void)state;
  for_each_stage(check_allocation);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(odd_features_are_borne),
      cmocka_unit_test(odd_orders_and_open_ports_are_borne),
      cmocka_unit_test(huge_blocks_are_many_small_ones),
      cmocka_unit_test(nothing_is_allocated_once_it_runs),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
