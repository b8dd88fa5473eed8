/* What each stage of the bundle costs, through the LV2 ABI. Each figure is a ratio to work of known
 * kind (yardstick.h) that runs in turn with it in the same process, as the median of many rounds in
 * thread CPU time.
 *
 *   bench costs     every case at 48 and 96 kHz, blocks of 256
 *   bench blocks    every case at 48 kHz, blocks of 32 to 1024
 *   bench worst     the worst block of 64 re the median one: of 100000 blocks, each the least of
 *                   several passes over the same, so that what it needs is told from what the
 *                   machine did meanwhile
 *   bench moving    every stage while all its own controls move at random, every 512 frames
 *   bench rates     a frame at 192 kHz re one at 48 kHz
 *   bench loudness  loudness and range alone, which the meter has no switch for
 *   bench start     instances: time to make one, memory at 48 and 192 kHz
 *   bench chain SHEET MIX
 *                   the whole chain (chain.h)
 *   bench list      stage and case, a line each, for...
 *   bench once STAGE CASE FRAMES
 *                   ...which is for tests/bench/instructions */
#include "common/dsp/loudness.h"
#include "tests/bench/cases.h"
#include "tests/bench/chain.h"
#include "tests/unit/arena_fixture.h"

#include <dlfcn.h>
#include <malloc.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MUSIC = 1 << 18, SHARE = 8192, ROUNDS = 31, MOST_BLOCK = 1024 };

static PlanishHost *host;
static Audio music; /* peaks at 1 */

typedef struct {
  const CostCase *cost;
  PlanishInstance *stage;
  Audio in;
  uint32_t at;
} Run;

static Run run_new(const PlanishPlugin *plugin, const CostCase *cost, double rate)
{
  Run run = {cost, cost_case_instance(host, plugin, cost, rate), audio_new(MUSIC), 0};
  for (int c = 0; c < 2; ++c) {
    for (uint32_t n = 0; n < MUSIC; ++n) {
      run.in.channel[c][n] = cost->peak * music.channel[c][n];
    }
  }
  return run;
}

static void run_free(Run *run)
{
  planish_instance_free(run->stage);
  audio_free(&run->in);
}

static void run_block(Run *run, uint32_t frames)
{
  static float out[2][MOST_BLOCK];
  const uint32_t at = run->at;
  planish_instance_run(run->stage,
                       (const float *const[2]){run->in.channel[0] + at, run->in.channel[1] + at},
                       (float *const[2]){out[0], out[1]}, frames);
  run->at = (at + frames) % MUSIC;
}

/* Seconds that the next SHARE frames take. */
static double run_time(Run *run, uint32_t block)
{
  const double start = seconds();
  for (uint32_t n = 0; n < SHARE; n += block) {
    run_block(run, block);
  }
  return seconds() - start;
}

static int rising(const void *a, const void *b)
{
  const double x = *(const double *)a;
  const double y = *(const double *)b;
  return x < y ? -1 : x > y;
}

static double median(double *values, size_t count)
{
  qsort(values, count, sizeof *values, rising);
  return values[count / 2];
}

/* In yardsticks. */
static double cost_of(const PlanishPlugin *plugin, const CostCase *cost, double rate,
                      uint32_t block)
{
  const uint32_t length = rate > 50000.0 ? 2 * cost->length : cost->length;
  Run run = run_new(plugin, cost, rate);
  Yardstick *yardstick = yardstick_new(cost->yardstick, rate, length, cost->transforms);
  double ratios[ROUNDS];
  /* Latencies fill, envelopes settle. */
  for (uint32_t n = 0; n < MUSIC / 2; n += SHARE) {
    (void)run_time(&run, block);
  }
  for (int r = 0; r < ROUNDS; ++r) {
    const uint32_t at = run.at;
    const double before = yardstick_time(yardstick, &run.in, at, SHARE);
    const double time = run_time(&run, block);
    const double after = yardstick_time(yardstick, &run.in, at, SHARE);
    ratios[r] = 2.0 * time / (before + after);
  }
  yardstick_free(yardstick);
  run_free(&run);
  return median(ratios, ROUNDS);
}

static void tell_costs(const PlanishPlugin *plugin, const CostCase *cost, void *user)
{
  char goal[32] = "-";
  (void)user;
  if (cost->goal > 0.0) {
    (void)snprintf(goal, sizeof goal, "%.3g", cost->goal);
  }
  printf("| %s | %s | %s | %s | %.2f | %.2f |\n", cost->stage, cost->name,
         yardstick_name(cost->yardstick), goal, cost_of(plugin, cost, 48000.0, 256),
         cost_of(plugin, cost, 96000.0, 256));
}

static void tell_blocks(const PlanishPlugin *plugin, const CostCase *cost, void *user)
{
  (void)user;
  printf("| %s | %s | %s |", cost->stage, cost->name, yardstick_name(cost->yardstick));
  for (uint32_t block = 32; block <= MOST_BLOCK; block *= 2) {
    printf(" %.2f |", cost_of(plugin, cost, 48000.0, block));
  }
  printf("\n");
}

static void turn(PlanishInstance *stage, const PlanishPlugin *plugin, uint64_t *seed)
{
  Take settings = take_of(plugin, 48000.0);
  take_scatter(&settings, 0, seed);
  for (uint32_t i = 0; i < settings.move_count; ++i) {
    planish_instance_set_at(stage, settings.moves[i].port, settings.moves[i].value);
  }
}

static void tell_moving(const PlanishPlugin *plugin, const CostCase *cost, void *user)
{
  double ratios[ROUNDS];
  uint64_t seed = 17;
  (void)user;
  if (strcmp(cost->name, "defaults") != 0) {
    return;
  }
  Run run = run_new(plugin, cost, 48000.0);
  Yardstick *yardstick = yardstick_new(YARDSTICK_BIQUAD, 48000.0, 0, 0);
  for (int r = 0; r < ROUNDS; ++r) {
    const double biquad = yardstick_time(yardstick, &run.in, run.at, SHARE);
    double time = 0.0;
    for (uint32_t n = 0; n < SHARE; n += 256) {
      if (n % 512 == 0) {
        turn(run.stage, plugin, &seed);
      }
      const double start = seconds();
      run_block(&run, 256);
      time += seconds() - start;
    }
    ratios[r] = time / biquad;
  }
  printf("| %s | %.1f |\n", cost->stage, median(ratios, ROUNDS));
  yardstick_free(yardstick);
  run_free(&run);
}

/* The same blocks pass after pass, from the same state on; `least` of each. */
static void pass(const PlanishPlugin *plugin, const CostCase *cost, double *least, uint32_t blocks)
{
  const uint32_t first = MUSIC / 2 / 64;
  Run run = run_new(plugin, cost, 48000.0);
  for (uint32_t b = 0; b < first + blocks; ++b) {
    const double start = seconds();
    run_block(&run, 64);
    const double time = seconds() - start;
    if (b >= first && time < least[b - first]) {
      least[b - first] = time;
    }
  }
  run_free(&run);
}

static void tell_worst(const PlanishPlugin *plugin, const CostCase *cost, void *user)
{
  enum { BLOCKS = 100000, PASSES = 5 };
  static double least[BLOCKS];
  const double clock = clock_time();
  double worst = 0.0;
  double sum = 0.0;
  (void)user;
  for (uint32_t b = 0; b < BLOCKS; ++b) {
    least[b] = 1.0;
  }
  for (int p = 0; p < PASSES; ++p) {
    pass(plugin, cost, least, BLOCKS);
  }
  for (uint32_t b = 0; b < BLOCKS; ++b) {
    worst = least[b] > worst ? least[b] : worst;
    sum += least[b];
  }
  const double middle = median(least, BLOCKS) - clock;
  printf("| %s | %s | %.2f | %.2f |\n", cost->stage, cost->name, (worst - clock) / middle,
         (sum / BLOCKS - clock) / middle);
}

static void tell_rates(const PlanishPlugin *plugin, const CostCase *cost, void *user)
{
  double ratios[ROUNDS];
  Run slow = run_new(plugin, cost, 48000.0);
  Run fast = run_new(plugin, cost, 192000.0);
  (void)user;
  for (uint32_t n = 0; n < MUSIC / 2; n += SHARE) {
    (void)run_time(&slow, 256);
    (void)run_time(&fast, 256);
  }
  for (int r = 0; r < ROUNDS; ++r) {
    const double at_48 = run_time(&slow, 256);
    ratios[r] = run_time(&fast, 256) / at_48;
  }
  printf("| %s | %s | %.2f |\n", cost->stage, cost->name, median(ratios, ROUNDS));
  run_free(&slow);
  run_free(&fast);
}

/* Beside libebur128 doing the same. */
static double loudness_ratio(double rate)
{
  double ratios[ROUNDS];
  static double audio[2][SHARE];
  PlanishLoudness loudness;
  PlanishArena arena = planish_arena_counting();
  planish_loudness_setup(&loudness, &arena, rate, 2);
  arena = arena_for(arena);
  planish_loudness_setup(&loudness, &arena, rate, 2);
  planish_loudness_reset(&loudness);
  Yardstick *yardstick = yardstick_new(YARDSTICK_EBUR128, rate, 0, 0);
  for (int c = 0; c < 2; ++c) {
    for (uint32_t n = 0; n < SHARE; ++n) {
      audio[c][n] = (double)music.channel[c][n];
    }
  }
  for (int r = 0; r < ROUNDS; ++r) {
    const double library = yardstick_time(yardstick, &music, 0, SHARE);
    const double start = seconds();
    for (uint32_t n = 0; n < SHARE; n += 32) {
      planish_loudness_process(&loudness, (const double *const[2]){audio[0] + n, audio[1] + n}, 32);
    }
    ratios[r] = (seconds() - start) / library;
  }
  yardstick_free(yardstick);
  free(arena.block);
  return median(ratios, ROUNDS);
}

static double instance_time(const PlanishPlugin *plugin, double rate, double *megabytes)
{
  PlanishError error = {0};
  const struct mallinfo2 before = mallinfo2();
  const double start = seconds();
  PlanishInstance *stage = planish_instance_new(plugin, rate, &error);
  const double time = seconds() - start;
  const struct mallinfo2 after = mallinfo2();
  *megabytes = (double)(after.uordblks + after.hblkhd - before.uordblks - before.hblkhd) / 1e6;
  planish_instance_free(stage);
  return time;
}

static void tell_start(const PlanishPlugin *plugin)
{
  double times[ROUNDS];
  double at_48 = 0.0;
  double at_192 = 0.0;
  for (int r = 0; r < ROUNDS; ++r) {
    times[r] = instance_time(plugin, 48000.0, &at_48);
  }
  const double time = median(times, ROUNDS);
  for (int r = 0; r < ROUNDS; ++r) {
    times[r] = instance_time(plugin, 192000.0, &at_192);
  }
  printf("| %s | %.2f, %.2f ms | %.2f, %.2f MB |\n", planish_plugin_short_uri(plugin), 1e3 * time,
         1e3 * median(times, ROUNDS), at_48, at_192);
}

static void tell_case(const PlanishPlugin *plugin, const CostCase *cost, void *user)
{
  (void)plugin;
  (void)user;
  printf("%s\t%s\n", cost->stage, cost->name);
}

typedef struct {
  const char *name;
  uint32_t frames;
} Once;

/* For callgrind, which counts what happens in here alone. */
__attribute__((noinline)) void counted(Run *run, uint32_t frames);
void counted(Run *run, uint32_t frames)
{
  for (uint32_t n = 0; n < frames; n += 256) {
    run_block(run, 256);
  }
}

static void run_once(const PlanishPlugin *plugin, const CostCase *cost, void *user)
{
  const Once *once = user;
  if (strcmp(cost->name, once->name) == 0) {
    Run run = run_new(plugin, cost, 48000.0);
    for (uint32_t n = 0; n < SHARE; n += 256) {
      run_block(&run, 256);
    }
    counted(&run, once->frames);
    run_free(&run);
  }
}

typedef void (*Tell)(const PlanishPlugin *plugin, const CostCase *cost, void *user);

static int each_case(Tell tell, const char *stage, void *user)
{
  int bad = 0;
  for (uint32_t n = 0; n < planish_host_count(host); ++n) {
    PlanishError error = {0};
    const PlanishPlugin *plugin = planish_host_plugin(host, planish_host_uri(host, n), &error);
    if (plugin != NULL && (stage == NULL || strcmp(stage, planish_plugin_short_uri(plugin)) == 0)) {
      bad |= cost_cases_of(plugin, tell, user) == 0;
      (void)fflush(stdout);
    }
  }
  return bad;
}

static int tell_loudness(void)
{
  printf("| what | in | goal | 48 kHz | 96 kHz |\n|---|---|---|---|---|\n");
  printf("| loudness and range | libebur128 | 0.7 | %.2f | %.2f |\n", loudness_ratio(48000.0),
         loudness_ratio(96000.0));
  return 0;
}

static int tell_starts(void)
{
  PlanishError error = {0};
  printf("| stage | an instance at 48, 192 kHz | memory at 48, 192 kHz |\n|---|---|---|\n");
  for (uint32_t n = 0; n < planish_host_count(host); ++n) {
    tell_start(planish_host_plugin(host, planish_host_uri(host, n), &error));
  }
  return 0;
}

static int tell_table(const char *table, const char *stage)
{
  static const struct {
    const char *name;
    Tell tell;
    const char *heading;
  } tables[] = {
      {"costs", tell_costs,
       "| stage | settings | in | goal | 48 kHz | 96 kHz |\n|---|---|---|---|---|---|\n"},
      {"blocks", tell_blocks,
       "| stage | settings | in | 32 | 64 | 128 | 256 | 512 | 1024 "
       "|\n|---|---|---|---|---|---|---|---|---|\n"},
      {"worst", tell_worst, "| stage | settings | worst | mean |\n|---|---|---|---|\n"},
      {"moving", tell_moving, "| stage | all controls moving, biquads |\n|---|---|\n"},
      {"rates", tell_rates, "| stage | settings | 192 re 48 kHz |\n|---|---|---|\n"},
      {"list", tell_case, ""},
  };
  for (size_t n = 0; n < sizeof tables / sizeof *tables; ++n) {
    if (strcmp(table, tables[n].name) == 0) {
      printf("%s", tables[n].heading);
      return each_case(tables[n].tell, stage, NULL);
    }
  }
  (void)fprintf(stderr, "bench costs|loudness|blocks|worst|moving|rates|start|chain|list|once\n");
  return 2;
}

int main(int argc, char **argv)
{
  const char *table = argc > 1 ? argv[1] : "";
  if (argc == 4 && strcmp(table, "chain") == 0) {
    return bench_chain(argv[2], argv[3]);
  }
  PlanishError error = {0};
  host = planish_host_open(&error);
  if (host == NULL) {
    (void)fprintf(stderr, "%s\n", error.text);
    return 2;
  }
  music = audio_music(MUSIC, 5, 1.0F);
  if (strcmp(table, "start") == 0) {
    return tell_starts();
  }
  if (strcmp(table, "loudness") == 0) {
    return tell_loudness();
  }
  if (strcmp(table, "once") == 0 && argc == 5) {
    Once once = {argv[3], (uint32_t)strtoul(argv[4], NULL, 10)};
    return each_case(run_once, argv[2], &once);
  }
  return tell_table(table, argc > 2 ? argv[2] : NULL);
}
