/* A trigger, which a host sets for one run alone (port-props, trigger), is obeyed by a run of any
 * length, though a stage looks at its controls at every 32nd frame alone. */
#include "tests/frame/takes.h"
#include "tests/unit/cmocka_headers.h"

#include <math.h>
#include <stdio.h>

enum { RATE = 48000, SECOND = RATE };

typedef struct {
  PlanishInstance *instance;
  Audio in;
  Audio out;
} Fixture;

static Fixture make(const PlanishPlugin *plugin)
{
  Fixture f = {planish_instance_new(plugin, RATE, &(PlanishError){0}),
               audio_sine(SECOND, RATE, 997.0, 0.1F), audio_new(SECOND)};
  assert_non_null(f.instance);
  planish_instance_activate(f.instance);
  return f;
}

static void drop(Fixture *f)
{
  planish_instance_free(f->instance);
  audio_free(&f->in);
  audio_free(&f->out);
}

static void run(Fixture *f, uint32_t frames)
{
  const float *const in[2] = {f->in.channel[0], f->in.channel[1]};
  planish_instance_run(f->instance, in, f->out.channel, frames);
}

/* Seconds that count after a pull of the trigger for a run of `length` frames, which begins `at`
 * frames after the stage looked, in the midst of two seconds of sound. */
static double counted_after(const PlanishPlugin *plugin, uint32_t trigger, uint32_t at,
                            uint32_t length)
{
  Fixture f = make(plugin);
  run(&f, SECOND);
  run(&f, at);
  planish_instance_set_at(f.instance, trigger, 1.0F);
  run(&f, length);
  planish_instance_set_at(f.instance, trigger, 0.0F);
  run(&f, SECOND);
  const double counted = (double)planish_instance_get(f.instance, "measured_time");
  drop(&f);
  return counted;
}

static void check(const PlanishPlugin *plugin)
{
  static const uint32_t lengths[] = {0, 1, 8, 31, 32, 64, 1024};
  for (uint32_t n = 0; n < plugin->port_count; ++n) {
    if (!plugin->ports[n].restarts) {
      continue;
    }
    for (size_t i = 0; i < sizeof lengths / sizeof *lengths; ++i) {
      for (uint32_t at = 0; at < 32; at += 5) {
        assert_true(fabs(counted_after(plugin, n, at, lengths[i]) - 1.0) <= 0.05);
      }
    }
    /* Without a pull all counts; pulled twice, the second counts, too. */
    Fixture f = make(plugin);
    run(&f, SECOND);
    run(&f, SECOND);
    assert_true(fabs((double)planish_instance_get(f.instance, "measured_time") - 2.0) <= 0.05);
    for (int time = 0; time < 2; ++time) {
      planish_instance_set_at(f.instance, n, 1.0F);
      run(&f, 5);
      planish_instance_set_at(f.instance, n, 0.0F);
      run(&f, SECOND / 2);
    }
    assert_true(fabs((double)planish_instance_get(f.instance, "measured_time") - 0.5) <= 0.05);
    drop(&f);
  }
}

static void a_short_pull_counts(void **state)
{
  (void)state;
  for_each_stage(check);
}

int main(void)
{
  const struct CMUnitTest tests[] = {cmocka_unit_test(a_short_pull_counts)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
