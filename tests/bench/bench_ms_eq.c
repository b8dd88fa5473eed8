/* The equaliser in linear phase, through the LV2 ABI: what it costs, in plain stereo biquads of the
 * same run, and how evenly its work falls on blocks of 64 frames: nothing to do, bands that stand,
 * a band that is turned in every block, all that are, and bands that move by themselves. Thread CPU
 * time; of each block of the filter's period the least of many rounds. */
#include "tests/bench/yardstick.h"

#include <stdio.h>
#include <stdlib.h>

enum { BLOCK = 64, ROUNDS = 60, MOST_BLOCKS = 128, SHARE = 8192 };

typedef struct {
  const char *name;
  uint32_t bands;
  uint32_t turned; /* of them, in every block */
  float move;
} Load;

static void set(PlanishInstance *stage, uint32_t band, const char *what, float value)
{
  char symbol[32];
  snprintf(symbol, sizeof symbol, "b%u_%s", band + 1, what);
  planish_instance_set(stage, symbol, value);
}

static PlanishInstance *start(const PlanishPlugin *plugin, double rate, const Load *load)
{
  PlanishError error = {0};
  PlanishInstance *stage = planish_instance_new(plugin, rate, &error);
  if (stage == NULL) {
    abort();
  }
  planish_instance_set(stage, "phase", 1.0f);
  for (uint32_t b = 0; b < load->bands; ++b) {
    set(stage, b, "type", 1.0f);
    set(stage, b, "channels", (float)(b % 5));
    set(stage, b, "gain", 3.0f);
    if (b < 4) {
      set(stage, b, "move", load->move);
      set(stage, b, "threshold", -40.0f);
    }
  }
  planish_instance_activate(stage);
  return stage;
}

static double block_time(PlanishInstance *stage, const Load *load, const Audio *in, Audio *out,
                         uint32_t number)
{
  const uint32_t at = number * BLOCK % (in->frames - BLOCK);
  for (uint32_t b = 0; b < load->turned; ++b) {
    set(stage, b, "freq", 100.0f * (float)(b + 1) + (float)(number % 61));
  }
  const double begin = seconds();
  planish_instance_run(stage, (const float *const[2]){in->channel[0] + at, in->channel[1] + at},
                       (float *const[2]){out->channel[0], out->channel[1]}, BLOCK);
  return seconds() - begin;
}

static void bench(const PlanishPlugin *plugin, double rate, const Load *load)
{
  PlanishInstance *stage = start(plugin, rate, load);
  Audio in = audio_music(48000, 5, 0.9f);
  Audio out = audio_new(BLOCK);
  const uint32_t blocks = (rate > 50000.0 ? 4096U : 2048U) / BLOCK;
  Yardstick *yardstick = yardstick_new(YARDSTICK_BIQUAD, rate, 0, 0);
  double least[MOST_BLOCKS];
  double clock = 1.0;
  double biquad = 1.0;
  double sum = 0.0;
  double worst = 0.0;
  for (uint32_t b = 0; b < blocks; ++b) {
    least[b] = 1.0;
  }
  for (uint32_t n = 0; n < (ROUNDS + 10) * blocks; ++n) {
    const double time = block_time(stage, load, &in, &out, n);
    if (n >= 10 * blocks && time < least[n % blocks]) {
      least[n % blocks] = time;
    }
  }
  for (int round = 0; round < ROUNDS; ++round) {
    const double begin = seconds();
    const double nothing = seconds() - begin;
    const double time = yardstick_time(yardstick, &in, 0, SHARE);
    clock = nothing < clock ? nothing : clock;
    biquad = time < biquad ? time : biquad;
  }
  for (uint32_t b = 0; b < blocks; ++b) {
    least[b] -= clock;
    sum += least[b];
    worst = least[b] > worst ? least[b] : worst;
  }
  const double frame = sum / (double)(blocks * BLOCK);
  printf("  %.0f Hz, %s: %.0f biquads, worst block of 64 %.2f of the mean\n", rate, load->name,
         frame / (biquad / SHARE), worst * blocks / sum);
  yardstick_free(yardstick);
  audio_free(&in);
  audio_free(&out);
  planish_instance_free(stage);
}

int main(void)
{
  static const Load loads[] = {
      {"neutral", 0, 0, 0.0f},
      {"eight bands stand", 8, 0, 0.0f},
      {"a band is turned", 1, 1, 0.0f},
      {"eight bands are turned", 8, 8, 0.0f},
      {"eight bands, four move by themselves", 8, 0, -3.0f},
  };
  for (size_t i = 0; i < sizeof loads / sizeof *loads; ++i) {
    bench(stage_named("ms-eq"), 48000.0, &loads[i]);
    bench(stage_named("ms-eq"), 96000.0, &loads[i]);
  }
  return 0;
}
