/* What each stage of the bundle costs a frame, through the LV2 ABI, as a ratio to a plain stereo
 * biquad (double precision, direct form II transposed) that runs in turn with it: with nothing to
 * do, at work, and with all controls moving. Thread CPU time, median of rounds. */
#include "tests/bench/yardstick.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { RATE = 48000, BLOCK = 256, BLOCKS = 64, ROUNDS = 15 };

typedef enum { IDLE, WORKING, MOVING } Load;

static void turn(PlanishInstance *stage, const PlanishPlugin *plugin, uint64_t *seed)
{
  Take settings = take_of(plugin, RATE);
  take_scatter(&settings, 0, seed);
  for (uint32_t i = 0; i < settings.move_count; ++i) {
    planish_instance_set_at(stage, settings.moves[i].port, settings.moves[i].value);
  }
}

static double stage_time(PlanishInstance *stage, const PlanishPlugin *plugin, const Audio *in,
                         Audio *out, Load load, uint64_t *seed)
{
  double time = 0.0;
  for (uint32_t b = 0; b < BLOCKS; ++b) {
    if (load == MOVING && b % 2 == 0) {
      turn(stage, plugin, seed);
    }
    const uint32_t at = b * BLOCK;
    const double start = seconds();
    planish_instance_run(stage, (const float *const[2]){in->channel[0] + at, in->channel[1] + at},
                         (float *const[2]){out->channel[0] + at, out->channel[1] + at}, BLOCK);
    time += seconds() - start;
  }
  return time;
}

static int rising(const void *a, const void *b)
{
  const double x = *(const double *)a;
  const double y = *(const double *)b;
  return x < y ? -1 : x > y;
}

static double ratio(const PlanishPlugin *plugin, Load load)
{
  PlanishError error = {0};
  PlanishInstance *stage = planish_instance_new(plugin, RATE, &error);
  Audio in = audio_music(BLOCK * BLOCKS, 5, load == IDLE ? 0.01f : 0.9f);
  Audio out = audio_new(in.frames);
  uint64_t seed = 17;
  if (stage == NULL) {
    abort();
  }
  if (load == WORKING) {
    turn(stage, plugin, &seed);
  }
  planish_instance_activate(stage);
  double ratios[ROUNDS];
  for (int r = 0; r < ROUNDS; ++r) {
    const double reference = biquad_time(&in);
    ratios[r] = stage_time(stage, plugin, &in, &out, load, &seed) / reference;
  }
  qsort(ratios, ROUNDS, sizeof *ratios, rising);
  audio_free(&in);
  audio_free(&out);
  planish_instance_free(stage);
  return ratios[ROUNDS / 2];
}

static void bench(const PlanishPlugin *plugin)
{
  printf("  idle %.1f, at work %.1f, controls moving %.1f biquads\n", ratio(plugin, IDLE),
         ratio(plugin, WORKING), ratio(plugin, MOVING));
}

int main(void)
{
  for_each_stage(bench);
  return 0;
}
