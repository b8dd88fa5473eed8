/* What no music is: every stage bears it, stays within bounds, and works on as if new.
 *
 * The bound: a stage whose gains stand at their defaults puts out at most four times the largest
 * sample that came in. */
#include "tests/frame/takes.h"
#include "tests/unit/cmocka_headers.h"

#include <float.h>
#include <lv2/core/lv2.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { RATE = 48000, SECOND = RATE, ABUSE = 65536 /* a multiple of every hop */ };

static const double BOUND = 4.0;

typedef struct {
  const char *name;
  float (*at)(uint32_t n, uint64_t *seed);
} Abuse;

static float nan_at(uint32_t n, uint64_t *seed)
{
  (void)seed;
  return n % 3 == 0 ? NAN : 0.5F;
}

static float infinite_at(uint32_t n, uint64_t *seed)
{
  (void)seed;
  return n % 2 == 0 ? INFINITY : -INFINITY;
}

static float denormal_at(uint32_t n, uint64_t *seed)
{
  (void)n;
  return (float)random_within(seed, -1.0, 1.0) * FLT_MIN;
}

static float huge_at(uint32_t n, uint64_t *seed)
{
  (void)n;
  return (float)random_within(seed, -1.0, 1.0) * 1e30F;
}

/* Far over full scale, but sound. */
static float loud_at(uint32_t n, uint64_t *seed)
{
  (void)n;
  return (float)random_within(seed, -8.0, 8.0);
}

static float square_at(uint32_t n, uint64_t *seed)
{
  (void)seed;
  return n / 24 % 2 == 0 ? 1.0F : -1.0F;
}

static float steady_at(uint32_t n, uint64_t *seed)
{
  (void)n;
  (void)seed;
  return 1.0F;
}

static float impulses_at(uint32_t n, uint64_t *seed)
{
  (void)seed;
  return n % 4001 == 0 ? 1.0F : 0.0F;
}

static float noise_at(uint32_t n, uint64_t *seed)
{
  (void)n;
  return (float)random_within(seed, -1.0, 1.0);
}

static const Abuse abuses[] = {
    {"NaN", nan_at},   {"infinite", infinite_at}, {"denormal", denormal_at},
    {"1e30", huge_at}, {"18 dB over", loud_at},   {"full squares", square_at},
    {"DC", steady_at}, {"impulses", impulses_at}, {"full noise", noise_at},
};
enum { ABUSES = sizeof abuses / sizeof *abuses };

/* Half of it abuse, half silence, then music of its own level. */
static Audio abused(const Abuse *abuse, const Audio *music, uint64_t seed)
{
  Audio audio = audio_new(2 * ABUSE + music->frames);
  for (int c = 0; c < 2; ++c) {
    for (uint32_t n = 0; n < ABUSE; ++n) {
      audio.channel[c][n] = abuse->at(n, &seed);
    }
    memcpy(audio.channel[c] + 2 * ABUSE, music->channel[c], music->frames * sizeof(float));
  }
  return audio;
}

static double largest(const Audio *audio)
{
  double found = 0.0;
  for (int c = 0; c < 2; ++c) {
    for (uint32_t n = 0; n < audio->frames; ++n) {
      const double x = fabs((double)audio->channel[c][n]);
      found = isfinite(x) ? fmax(found, x) : HUGE_VAL;
    }
  }
  return found;
}

/* The largest sample that counts as sound. */
static double largest_sound(const Audio *audio)
{
  double found = 0.0;
  for (int c = 0; c < 2; ++c) {
    for (uint32_t n = 0; n < audio->frames; ++n) {
      const double x = fabs((double)audio->channel[c][n]);
      found = x <= 1048576.0 ? fmax(found, x) : found;
    }
  }
  return found;
}

/* What differs from a fresh instance's work from `from` frames of music on, dB re that. */
static double null_of(const Audio *out, const Audio *fresh, uint32_t from)
{
  double apart = 1e-30;
  double power = 1e-30;
  for (int c = 0; c < 2; ++c) {
    for (uint32_t n = from; n < fresh->frames; ++n) {
      const double x = (double)fresh->channel[c][n];
      const double d = (double)out->channel[c][2 * ABUSE + n] - x;
      apart += d * d;
      power += x * x;
    }
  }
  return 10.0 * log10(apart / power);
}

/* At work: a fifth of the way up each control in decibels that may be automated, but for what would
 * only make it loud or slow. */
static Take working(const PlanishPlugin *plugin)
{
  Take take = take_of(plugin, RATE);
  for (uint32_t i = 0; i < plugin->port_count; ++i) {
    const PlanishPluginPort *port = &plugin->ports[i];
    const bool plain = port->kind == PLANISH_PLUGIN_CONTROL_INPUT && !port->not_automatic &&
                       !port->enumeration && !port->toggled && strcmp(port->unit, "dB") == 0 &&
                       strcmp(port->symbol, "output_gain") != 0 && port->minimum >= -18.0F;
    if (plain) {
      take_move(&take, 0, port->symbol, port->initial + 0.2F * (port->maximum - port->initial));
    }
  }
  return take;
}

/* The worst of all abuses: how far over what came in, and how far from a fresh instance's work
 * `seconds` after music began again. */
typedef struct {
  double highest;
  double null;
} Borne;

static Borne bear(const Take *take, double seconds)
{
  Audio music = audio_music((uint32_t)((seconds + 1.0) * SECOND), 5, 0.3F);
  uint32_t latency = 0;
  Audio fresh = take_run(take, &music, &latency);
  Borne borne = {0.0, -HUGE_VAL};
  for (int k = 0; k < ABUSES; ++k) {
    Audio in = abused(&abuses[k], &music, 7);
    Audio out = take_run(take, &in, NULL);
    const double went = largest(&out) / largest_sound(&in);
    if (!(went <= BOUND)) {
      printf("  %s: %g times what came in\n", abuses[k].name, went);
    }
    assert_true(went <= BOUND);
    borne.highest = fmax(borne.highest, went);
    borne.null = fmax(borne.null, null_of(&out, &fresh, (uint32_t)(seconds * SECOND) + latency));
    audio_free(&out);
    audio_free(&in);
  }
  audio_free(&fresh);
  audio_free(&music);
  return borne;
}

/* What works has a memory by design: a limiter's slow release takes 0.6 s to rise, what listens for
 * seconds forgets in seconds. */
static void check_abuse(const PlanishPlugin *plugin)
{
  const Take plain = take_of(plugin, RATE);
  const Take hard = working(plugin);
  const Borne first = bear(&plain, 1.0);
  const Borne second = bear(&hard, 10.0);
  printf("  at most %.2f (at work %.2f) times what came in; from a fresh instance after 1 s %.0f "
         "dB, at work after 10 s %.0f dB\n",
         first.highest, second.highest, first.null, second.null);
  /* A limiter that had 18 dB to take off still holds 0.0001 dB of it: -106 dB. */
  assert_true(plugin->settles > 0.0 || (first.null <= -100.0 && second.null <= -120.0));
}

static void abuse_is_borne_and_forgotten(void **state)
{
  (void)state;
  for_each_stage(check_abuse);
}

/* Every control at once, at random, for ten minutes of music: finite all along. */
static void check_walk(const PlanishPlugin *plugin)
{
  enum { MINUTES = 10, MOVES_A_MINUTE = 400 };
  uint64_t seed = 77;
  double highest = 0.0;
  static Take take;
  for (int minute = 0; minute < MINUTES; ++minute) {
    Audio in = audio_music(60 * SECOND / 10, (uint64_t)minute, 0.9F);
    take = take_of(plugin, RATE);
    for (int move = 0; move < MOVES_A_MINUTE / 10; ++move) {
      const uint32_t at = (uint32_t)move * (in.frames / (MOVES_A_MINUTE / 10));
      for (uint32_t i = 0; i < plugin->port_count; ++i) {
        const PlanishPluginPort *port = &plugin->ports[i];
        if (port->kind == PLANISH_PLUGIN_CONTROL_INPUT && take.move_count < MOST_MOVES) {
          take_move(&take, at, port->symbol,
                    (float)random_within(&seed, (double)port->minimum, (double)port->maximum));
        }
      }
    }
    Audio out = take_run(&take, &in, NULL);
    highest = fmax(highest, largest(&out));
    audio_free(&out);
    audio_free(&in);
  }
  printf("  random walks of all controls: at most %.1f dBFS\n", 20.0 * log10(highest));
  /* Input and output gain of 24 dB each, a match of 24 dB, and what a stage itself may lift. */
  assert_true(isfinite(highest) && 20.0 * log10(highest) <= 96.0);
}

static void random_walks_stay_finite(void **state)
{
  (void)state;
  for_each_stage(check_walk);
}

/* Thirty-two of a kind at once: each does what it does alone. */
static void check_crowd(const PlanishPlugin *plugin)
{
  enum { CROWD = 32, BLOCK = 480 };
  PlanishError error = {0};
  Audio in = audio_music(SECOND, 3, 0.5F);
  const Take take = take_of(plugin, RATE);
  Audio alone = take_run(&take, &in, NULL);
  PlanishInstance *crowd[CROWD];
  for (int k = 0; k < CROWD; ++k) {
    crowd[k] = planish_instance_new(plugin, RATE, &error);
    assert_non_null(crowd[k]);
    planish_instance_activate(crowd[k]);
  }
  float left[BLOCK];
  float right[BLOCK];
  for (uint32_t at = 0; at + BLOCK <= in.frames; at += BLOCK) {
    for (int k = 0; k < CROWD; ++k) {
      const float *const from[2] = {in.channel[0] + at, in.channel[1] + at};
      planish_instance_run(crowd[k], from, (float *const[2]){left, right}, BLOCK);
      assert_memory_equal(left, alone.channel[0] + at, sizeof left);
      assert_memory_equal(right, alone.channel[1] + at, sizeof right);
    }
  }
  for (int k = 0; k < CROWD; ++k) {
    planish_instance_free(crowd[k]);
  }
  audio_free(&alone);
  audio_free(&in);
}

static void a_crowd_does_what_each_does_alone(void **state)
{
  (void)state;
  for_each_stage(check_crowd);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(abuse_is_borne_and_forgotten),
      cmocka_unit_test(random_walks_stay_finite),
      cmocka_unit_test(a_crowd_does_what_each_does_alone),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
