/* Stages on several threads at once, as hosts do: also under the thread sanitizer
 * (tests/sanitized). */
#include "tests/frame/takes.h"
#include "tests/unit/cmocka_headers.h"

#include <lv2/core/lv2.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { RATE = 48000, SECOND = RATE };

/* From eight threads at once, by the bare ABI, since lilv is for one: made, run and given back,
 * plans of transforms included. */
typedef struct {
  const LV2_Descriptor *descriptor;
  const PlanishPlugin *plugin;
  const Audio *in;
  const Audio *alone;
  int differs;
} Thread;

static bool live_once(const Thread *thread)
{
  static const LV2_Feature *const none[] = {NULL};
  const LV2_Descriptor *const stage = thread->descriptor;
  float values[MOST_PORTS];
  Audio out = audio_new(thread->in->frames);
  float *const audio[4] = {thread->in->channel[0], thread->in->channel[1], out.channel[0],
                           out.channel[1]};
  LV2_Handle handle = stage->instantiate(stage, RATE, "/", none);
  bool same = handle != NULL;
  if (same) {
    for (uint32_t i = 0; i < thread->plugin->port_count; ++i) {
      values[i] = thread->plugin->ports[i].initial;
      stage->connect_port(handle, i, i < 4 ? (void *)audio[i] : (void *)&values[i]);
    }
    stage->activate(handle);
    stage->run(handle, thread->in->frames);
    stage->deactivate(handle);
    stage->cleanup(handle);
    same = largest_difference(&out, thread->alone, 0) == -1.0;
  }
  audio_free(&out);
  return same;
}

static void *live(void *context)
{
  enum { LIVES = 3 };
  Thread *const thread = context;
  for (int life = 0; life < LIVES; ++life) {
    thread->differs |= live_once(thread) ? 0 : 1;
  }
  return NULL;
}

static void check_threads(const PlanishPlugin *plugin)
{
  enum { THREADS = 8 };
  Audio in = audio_music(SECOND / 4, 9, 0.5F);
  Take take = take_of(plugin, RATE);
  take.block = WHOLE;
  Audio alone = take_run(&take, &in, NULL);
  pthread_t threads[THREADS];
  Thread work[THREADS];
  for (int k = 0; k < THREADS; ++k) {
    work[k] = (Thread){descriptor_of(plugin), plugin, &in, &alone, 0};
    assert_int_equal(pthread_create(&threads[k], NULL, live, &work[k]), 0);
  }
  int differs = 0;
  for (int k = 0; k < THREADS; ++k) {
    pthread_join(threads[k], NULL);
    differs += work[k].differs;
  }
  assert_int_equal(differs, 0);
  audio_free(&alone);
  audio_free(&in);
}

static void eight_threads_at_once(void **state)
{
  (void)state;
  for_each_stage(check_threads);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(eight_threads_at_once),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
