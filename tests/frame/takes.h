/* Running a stage over a signal the way hosts do, for tests that hold for every stage.
 *
 * A take names the stage, the block pattern and the moves of its controls; a block always ends
 * where a move stands, so two patterns hand over the same values at the same frames. */
#ifndef PLANISH_TESTS_TAKES_H
#define PLANISH_TESTS_TAKES_H

#include "harness/host/host.h"
#include "harness/host/instance.h"

#include <lv2/core/lv2.h>
#include <stdbool.h>
#include <stdint.h>

typedef struct {
  float *channel[2];
  uint32_t frames;
} Audio;

Audio audio_new(uint32_t frames);
void audio_free(Audio *audio);

/* Pink-like noise in bursts, partly the same in both channels, peaks near `peak`. */
Audio audio_music(uint32_t frames, uint64_t seed, float peak);
Audio audio_sine(uint32_t frames, double rate, double hz, float peak);

/* Even random numbers, the same everywhere. */
uint64_t random_next(uint64_t *state);
double random_within(uint64_t *state, double low, double high);

typedef struct {
  uint32_t at; /* frame */
  uint32_t port;
  float value;
} Move;

enum { MOST_MOVES = 4096, MOST_PORTS = 512, RANDOM_BLOCKS = 0, WHOLE = 0x7fffffff };

typedef enum { APART, IN_PLACE, CROSSED } Buffers;

typedef struct {
  const PlanishPlugin *plugin;
  double rate;
  uint32_t block; /* frames; RANDOM_BLOCKS: 0 to 300, runs of 0 frames included */
  Buffers buffers;
  uint32_t
      second_life; /* if not 0: as many frames of other audio, deactivate, activate come first */
  uint32_t move_count;
  Move moves[MOST_MOVES]; /* in order of `at` */
} Take;

Take take_of(const PlanishPlugin *plugin, double rate);
void take_move(Take *take, uint32_t at, const char *symbol, float value);

/* Sets all controls of the stage's own (not the common ones, not the marked ones) at random. */
void take_scatter(Take *take, uint32_t at, uint64_t *seed);

/* The result over `in`, as long as it. *latency: after the last run; may be NULL. */
Audio take_run(const Take *take, const Audio *in, uint32_t *latency);

/* Largest difference between a and b delayed by `late` frames; -1: identical as numbers. */
double largest_difference(const Audio *a, const Audio *b, uint32_t late);

/* Energy above `hz` over the energy of all, in dB. */
double energy_above(const float *x, uint32_t frames, double rate, double hz);

bool has(const PlanishPlugin *plugin, const char *symbol);

/* The stage's descriptor, by the bare ABI. Its module stays open until the program ends, as in many
 * a host. */
const LV2_Descriptor *descriptor_of(const PlanishPlugin *plugin);

/* Calls `check` for each stage of the bundle that PLANISH_BUNDLE names, saying which. */
void for_each_stage(void (*check)(const PlanishPlugin *plugin));

/* One stage of it by the name that ends its URI; lives until the program ends. */
const PlanishPlugin *stage_named(const char *name);

#endif
