#include "tests/presets/preset_music.h"

#include "tests/demo/run_program.h"
#include "tests/unit/cmocka_headers.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { BLOCK = 1024 };

static const double ROLL = 10.0; /* s of a piece ahead of it, for stages that listen first */

/* So many seconds of it, from a second on. */
static void keep_part(Audio *audio, double from, double seconds)
{
  const size_t first = (size_t)(from * audio->rate);
  const size_t frames = (size_t)(seconds * audio->rate);
  assert_true(first + frames <= audio->frames);
  for (int c = 0; c < 2; ++c) {
    memmove(audio->channel[c], audio->channel[c] + first, frames * sizeof(double));
  }
  audio->frames = frames;
}

static void add_piece(PresetMusic *music, const char *name, const char *path, double from,
                      double seconds)
{
  PresetPiece *piece = &music->piece[music->count];
  if (audio_add(&piece->audio, path)) {
    keep_part(&piece->audio, from, seconds);
    piece->name = name;
    piece->loudness = audio_loudness(&piece->audio);
    ++music->count;
  }
}

void preset_music_read(PresetMusic *music, const char *path)
{
  static char text[4096];
  char shared[1024];
  const char *const mix[] = {getenv("PLANISH_DEMO_MIX"), path, NULL};
  assert_int_equal(run_program(mix, text, sizeof text), 0);
  add_piece(music, "demo mix", path, 20.0, 16.0);
  shared_path(shared, sizeof shared, "music/guitars-dense.flac");
  add_piece(music, "guitars-dense", shared, 4.0, 12.0);
  shared_path(shared, sizeof shared, "music/guitars-dynamic.flac");
  add_piece(music, "guitars-dynamic", shared, 4.0, 12.0);
  assert_true(music->count >= 1);
}

void preset_music_free(PresetMusic *music)
{
  for (size_t p = 0; p < music->count; ++p) {
    audio_free(&music->piece[p].audio);
  }
}

Audio preset_music_at(const PresetPiece *piece, double loudness)
{
  Audio in = audio_copy(&piece->audio, 0);
  const double gain = pow(10.0, (loudness - piece->loudness) / 20.0);
  for (int c = 0; c < 2; ++c) {
    for (size_t n = 0; n < in.frames; ++n) {
      in.channel[c][n] = (double)(float)(gain * in.channel[c][n]);
    }
  }
  return in;
}

static void run_block(PlanishInstance *instance, const Audio *in, size_t from,
                      float block[2][BLOCK], uint32_t count)
{
  for (int c = 0; c < 2; ++c) {
    for (uint32_t n = 0; n < count; ++n) {
      const size_t frame = from + n;
      block[c][n] = frame < in->frames ? (float)in->channel[c][frame] : 0.0F;
    }
  }
  planish_instance_run(instance, (const float *[]){block[0], block[1]},
                       (float *[]){block[0], block[1]}, count);
}

static void keep_block(Audio *out, size_t late, size_t from, float block[2][BLOCK], uint32_t count)
{
  for (int c = 0; c < 2; ++c) {
    for (uint32_t n = 0; n < count; ++n) {
      const size_t frame = from + n;
      if (frame >= late && frame - late < out->frames) {
        out->channel[c][frame - late] = (double)block[c][n];
      }
    }
  }
}

static void run_part(PlanishInstance *instance, const Audio *in, Audio *out, size_t late,
                     size_t frames)
{
  float block[2][BLOCK];
  for (size_t done = 0; done < frames; done += BLOCK) {
    const uint32_t count = (uint32_t)(frames - done < BLOCK ? frames - done : BLOCK);
    run_block(instance, in, done, block, count);
    if (out != NULL) {
      keep_block(out, late, done, block, count);
    }
  }
}

PlanishInstance *preset_instance(const PlanishPlugin *plugin, const PlanishPreset *preset,
                                 double rate)
{
  PlanishError error = {0};
  PlanishInstance *instance = planish_instance_new(plugin, rate, &error);
  assert_non_null(instance);
  for (uint32_t n = 0; n < preset->count; ++n) {
    assert_true(
        planish_instance_set(instance, preset->values[n].symbol, (float)preset->values[n].value));
  }
  planish_instance_activate(instance);
  planish_instance_run(instance, NULL, NULL, 0);
  return instance;
}

Audio preset_treated(const PlanishPlugin *plugin, const PlanishPreset *preset, const Audio *in)
{
  PlanishInstance *instance = preset_instance(plugin, preset, in->rate);
  Audio out = audio_copy(in, 0);
  if (plugin->settles > 0.0) {
    run_part(instance, in, NULL, 0, (size_t)(ROLL * in->rate));
  }
  const size_t late = planish_instance_latency(instance);
  run_part(instance, in, &out, late, in->frames + late);
  planish_instance_free(instance);
  return out;
}
