#include "plugins/clipper/passes.h"

#include <string.h>

void clipper_passes_setup(ClipperPasses *passes, PlanishArena *arena, double rate)
{
  for (uint32_t r = 0; r < CLIPPER_RATIOS; ++r) {
    planish_block_oversampler_setup(passes->filters + r, arena, 4U << r);
  }
  for (uint32_t p = 0; p < CLIPPER_PASSES; ++p) {
    planish_clip_pass_setup(&passes->pass[p][0], arena);
    planish_clip_pass_setup(&passes->pass[p][1], arena);
  }
  planish_crossfade_setup(&passes->fade, rate, PLANISH_GLIDE_MS);
}

void clipper_passes_restart(ClipperPasses *passes, uint32_t pass)
{
  planish_clip_pass_reset(&passes->pass[pass][0]);
  planish_clip_pass_reset(&passes->pass[pass][1]);
}

void clipper_passes_reset(ClipperPasses *passes, uint32_t ratio)
{
  for (uint32_t p = 0; p < CLIPPER_PASSES; ++p) {
    clipper_passes_restart(passes, p);
  }
  passes->current = 0;
  passes->ratio[0] = ratio;
  passes->ratio[1] = ratio;
  passes->change = CLIPPER_STEADY;
  planish_crossfade_jump(&passes->fade, false);
}

static void start_others(ClipperPasses *passes, uint32_t ratio)
{
  const uint32_t other = 1 - passes->current;
  passes->ratio[other] = ratio;
  for (uint32_t p = 0; p < CLIPPER_PASSES; ++p) {
    planish_clip_pass_restart(&passes->pass[p][0], other);
    planish_clip_pass_restart(&passes->pass[p][1], other);
  }
  passes->change = CLIPPER_FILLING;
}

void clipper_passes_at_grid(ClipperPasses *passes, uint32_t ratio)
{
  _Static_assert(PLANISH_GRID >= PLANISH_OVERSAMPLER_TAPS, "an engine fills in a grid interval");
  if (passes->change == CLIPPER_FILLING) {
    planish_crossfade_jump(&passes->fade, false);
    planish_crossfade_turn(&passes->fade, true);
    passes->change = CLIPPER_FADING;
  } else if (passes->change == CLIPPER_FADING && planish_crossfade_is_new(&passes->fade)) {
    passes->current = 1 - passes->current;
    passes->change = CLIPPER_STEADY;
  }
  if (passes->change == CLIPPER_STEADY && passes->ratio[passes->current] != ratio) {
    start_others(passes, ratio);
  }
}

void clipper_passes_begin(ClipperPasses *passes, uint32_t frames)
{
  for (uint32_t i = 0; passes->change != CLIPPER_STEADY && i < frames; ++i) {
    passes->other_share[i] =
        passes->change == CLIPPER_FADING ? planish_crossfade_next(&passes->fade) : 0.0;
  }
}

/* The residues of the engine in use and, while one comes in, of the other. False: all are 0. */
static bool find_residues(ClipperPasses *passes, PlanishClipPass *pass,
                          const PlanishClipCurves *curves, double *peaks, double *residues,
                          uint32_t frames)
{
  const uint32_t current = passes->current;
  const uint32_t other = 1 - current;
  const bool any = planish_clip_pass_residues(
      pass, current, passes->filters + passes->ratio[current], curves, peaks, residues);
  if (passes->change == CLIPPER_STEADY) {
    return any;
  }
  double others[PLANISH_GRID] = {0.0};
  const bool any_other = planish_clip_pass_residues(
      pass, other, passes->filters + passes->ratio[other], curves, peaks, others);
  for (uint32_t i = 0; i < frames; ++i) {
    const double old = any ? residues[i] : 0.0;
    residues[i] = old + passes->other_share[i] * (others[i] - old);
  }
  return any || any_other;
}

void clipper_passes_run(ClipperPasses *passes, uint32_t pass, uint32_t channel, double weight,
                        const PlanishClipCurves *curves, double *audio, double *peaks,
                        uint32_t frames)
{
  PlanishClipPass *const own = &passes->pass[pass][channel];
  double residues[PLANISH_GRID];
  planish_clip_pass_push(own, audio, frames);
  const double *const delayed = planish_clip_pass_delayed(own);
  if (!find_residues(passes, own, curves, peaks, residues, frames)) {
    memcpy(audio, delayed, frames * sizeof(double));
    return;
  }
  for (uint32_t i = 0; i < frames; ++i) {
    audio[i] = delayed[i] - weight * residues[i];
  }
}
