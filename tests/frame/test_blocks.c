/* The same samples however the host cuts its blocks and wherever its buffers lie, in a first life
 * or a second, whatever moves. */
#include "tests/frame/takes.h"
#include "tests/unit/cmocka_headers.h"

#include <math.h>
#include <stdio.h>

enum { RATE = 48000, SHORT = 24000, WILD = 9000 };

/* Everything that can move moves, marked controls included. */
static Take busy_take(const PlanishPlugin *plugin, uint64_t seed)
{
  Take take = take_of(plugin, RATE);
  for (uint32_t k = 0; k < 12; ++k) {
    const uint32_t at = k * 2011u;
    take_move(&take, at, "enabled", k % 5 == 3 ? 0.0f : 1.0f);
    take_move(&take, at, "loudness_match", (float)(k / 2 % 3));
    take_move(&take, at, "listen", k % 4 == 2 ? 1.0f : 0.0f);
    take_move(&take, at, "output_gain", (float)random_within(&seed, -6.0, 3.0));
    take_move(&take, at, "mix", (float)random_within(&seed, 0.0, 100.0));
    take_scatter(&take, at, &seed);
    if (k % 6 == 4) {
      take_move(&take, at, "channels", (float)(random_next(&seed) % 5));
      for (uint32_t i = 0; i < plugin->port_count; ++i) {
        const PlanishPluginPort *port = &plugin->ports[i];
        if (port->not_automatic && port->kind == PLANISH_PLUGIN_CONTROL_INPUT &&
            !port->enumeration) {
          take_move(&take, at, port->symbol,
                    (float)random_within(&seed, (double)port->minimum, (double)port->maximum));
        }
      }
    }
  }
  return take;
}

static void check_blocks(const PlanishPlugin *plugin)
{
  Audio in = audio_music(SHORT, 11, 0.9f);
  static Take take;
  take = busy_take(plugin, 3);
  Audio expected = take_run(&take, &in, NULL);
  static const uint32_t blocks[] = {1, 63, 64, 8192, RANDOM_BLOCKS};
  for (size_t i = 0; i < sizeof blocks / sizeof *blocks; ++i) {
    for (int way = 0; way < 4; ++way) {
      take.block = blocks[i];
      take.buffers = way == 1 ? IN_PLACE : way == 2 ? CROSSED : APART;
      take.second_life = way == 3 ? 12345 : 0;
      Audio out = take_run(&take, &in, NULL);
      const double difference = largest_difference(&out, &expected, 0);
      if (difference != -1.0) {
        printf("  blocks of %u, way %d: differs by %g\n", (unsigned)blocks[i], way, difference);
      }
      assert_true(difference == -1.0);
      audio_free(&out);
    }
  }
  audio_free(&expected);
  audio_free(&in);
}

static void same_samples_for_any_blocks(void **state)
{
  (void)state;
  for_each_stage(check_blocks);
}

/* Anything at any frame, at rates where no fade ends on a grid frame. */
static Take wild_take(const PlanishPlugin *plugin, double rate, uint64_t *seed)
{
  Take take = take_of(plugin, rate);
  const bool common = random_next(seed) % 2 == 0;
  for (uint32_t at = 0; at < WILD && take.move_count + 4 < MOST_MOVES;) {
    for (uint64_t k = random_next(seed) % 4; k < 4; ++k) {
      const PlanishPluginPort *port;
      do {
        port = &plugin->ports[random_next(seed) % (common ? 12 : plugin->port_count)];
      } while (port->kind != PLANISH_PLUGIN_CONTROL_INPUT);
      const float low = port->minimum;
      const float high = port->maximum;
      take_move(&take, at, port->symbol,
                random_next(seed) % 16 == 0
                    ? NAN
                    : (float)random_within(seed, (double)low - 1.0, (double)high + 1.0));
    }
    at += 1 + (uint32_t)(random_next(seed) % 700);
  }
  return take;
}

static void check_wild(const PlanishPlugin *plugin)
{
  static const double rates[] = {44100, 22050, 88200, 11025};
  uint64_t seed = 2024;
  static Take take;
  for (int round = 0; round < 60; ++round) {
    Audio in = audio_music(WILD, random_next(&seed), round % 5 == 4 ? 2e4f : 0.9f);
    take = wild_take(plugin, rates[round % 4], &seed);
    Audio expected = take_run(&take, &in, NULL);
    for (int way = 0; way < 3; ++way) {
      take.block = way == 0 ? 1 : RANDOM_BLOCKS;
      take.buffers = way == 1 ? CROSSED : APART;
      take.second_life = way == 2 ? 1000 + (uint32_t)(random_next(&seed) % WILD) : 0;
      Audio out = take_run(&take, &in, NULL);
      const double difference = largest_difference(&out, &expected, 0);
      if (difference != -1.0) {
        printf("  round %d, way %d: differs by %g\n", round, way, difference);
      }
      assert_true(difference == -1.0);
      audio_free(&out);
    }
    audio_free(&expected);
    audio_free(&in);
  }
}

static void same_samples_whatever_moves_when(void **state)
{
  (void)state;
  for_each_stage(check_wild);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(same_samples_for_any_blocks),
      cmocka_unit_test(same_samples_whatever_moves_when),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
