#include "plugins/ms-eq/eq_voice.h"

#include "common/dsp/four_lanes.h"
#include "common/dsp/wide.h"

#include <math.h>
#include <string.h>

/* Taps at the end that are together below -220 dB change nothing that a double keeps of music. */
#define NEGLIGIBLE 1e-11

static unsigned length_of(const double *taps)
{
  unsigned length = PLANISH_EQ_TAPS;
  double rest = 0.0;
  while (length > 1 && (rest += fabs(taps[length - 1])) < NEGLIGIBLE) {
    --length;
  }
  return length;
}

void planish_eq_voice_start(PlanishEqVoice *voice, const PlanishEqFit *fit, PlanishEqShape shape,
                            const PlanishEqSetting *setting, double standing, bool from_silence)
{
  PlanishEqPrototype prototype;
  planish_eq_range_prototype(shape.moves_alone, setting, standing, fit->rate, &prototype);
  memset(voice, 0, sizeof *voice);
  voice->shape = shape;
  planish_crossfade_setup(&voice->entry, fit->rate, PLANISH_GLIDE_MS);
  planish_crossfade_jump(&voice->entry, from_silence);
  planish_crossfade_turn(&voice->entry, true);
  planish_eq_sections(&prototype, &voice->next);
  if (shape.moves_alone ? setting->gain == standing : planish_eq_is_neutral(setting)) {
    voice->next_taps[0] = 1.0;
  } else {
    planish_eq_correction(fit, &prototype, voice->next_taps);
  }
  voice->count = voice->next.count;
  planish_eq_voice_land(voice);
}

/* To the next taps. */
static void leave_for_taps(PlanishEqVoice *voice)
{
  for (int i = 0; i < PLANISH_EQ_TAPS; ++i) {
    voice->tap_change[i] = (voice->next_taps[i] - voice->taps[i]) / PLANISH_GRID;
  }
  const unsigned length = length_of(voice->next_taps);
  voice->length = length > voice->length ? length : voice->length;
  voice->moving = true;
  voice->correcting = true;
}

void planish_eq_voice_aim(PlanishEqVoice *voice, const PlanishEqFit *fit,
                          const PlanishEqSetting *end, double standing)
{
  PlanishEqPrototype prototype;
  planish_eq_range_prototype(voice->shape.moves_alone, end, standing, fit->rate, &prototype);
  planish_eq_correction(fit, &prototype, voice->next_taps);
  leave_for_taps(voice);
}

void planish_eq_voice_aim_within(PlanishEqVoice *voice, const PlanishEqRange *range, double moved)
{
  planish_eq_range_taps(range, moved, voice->next_taps);
  leave_for_taps(voice);
}

static void take_next_sections(PlanishEqVoice *voice)
{
  for (unsigned i = 0; i < voice->count; ++i) {
    voice->coefs[i] = voice->next.section[i];
  }
}

void planish_eq_voice_land(PlanishEqVoice *voice)
{
  take_next_sections(voice);
  memcpy(voice->taps, voice->next_taps, sizeof voice->taps);
  voice->length = length_of(voice->taps);
  voice->moving = false;
  voice->correcting = false;
}

static PlanishSvfCoefs change_towards(const PlanishSvfCoefs *from, const PlanishSvfCoefs *to)
{
  const double share = 1.0 / PLANISH_EQ_STEP;
  return (PlanishSvfCoefs){
      (to->g - from->g) * share,   (to->k - from->k) * share,   (to->m0 - from->m0) * share,
      (to->m1 - from->m1) * share, (to->m2 - from->m2) * share,
  };
}

/* Without a movement a filter is exactly what it is without a range. */
static void design_next(PlanishEqVoice *voice, double rate, const PlanishEqPath *path,
                        uint32_t step)
{
  if (path->range != NULL && path->moved[step] != 0.0) {
    planish_eq_range_sections(path->range, path->moved[step], &voice->next);
    return;
  }
  PlanishEqPrototype prototype;
  planish_eq_range_prototype(voice->shape.moves_alone, &path->end[step], path->standing[step], rate,
                             &prototype);
  planish_eq_sections(&prototype, &voice->next);
}

static void begin_step(PlanishEqVoice *voice, double rate, const PlanishEqPath *path, uint32_t step)
{
  take_next_sections(voice);
  design_next(voice, rate, path, step);
  for (unsigned i = 0; i < voice->count; ++i) {
    voice->change[i] = change_towards(&voice->coefs[i], &voice->next.section[i]);
  }
}

/* What goes into the filters. */
static void enter(PlanishEqVoice *voice, const PlanishTwo *audio, PlanishTwo *x, uint32_t frames)
{
  planish_eq_parts_of(voice->shape.channels, audio, x, frames);
  if (!planish_crossfade_is_moving(&voice->entry)) {
    return;
  }
  for (uint32_t n = 0; n < frames; ++n) {
    x[n] *= planish_both(planish_crossfade_next(&voice->entry));
  }
}

static void filter_moving(PlanishEqVoice *voice, double rate, const PlanishEqPath *path,
                          PlanishTwo *x, uint32_t at, uint32_t frames)
{
  while (frames > 0) {
    const uint32_t into = at % PLANISH_EQ_STEP;
    if (into == 0) {
      begin_step(voice, rate, path, at / PLANISH_EQ_STEP);
    }
    const uint32_t left = PLANISH_EQ_STEP - into;
    const uint32_t part = frames < left ? frames : left;
    for (unsigned i = 0; i < voice->count; ++i) {
      planish_svf_process_moving(&voice->state[i], &voice->coefs[i], &voice->change[i], x, part);
    }
    x += part;
    at += part;
    frames -= part;
  }
}

enum { PAST = PLANISH_EQ_TAPS - 1, ROOM = PLANISH_GRID + 3 };

PLANISH_INLINED PlanishFour load_two_frames(const PlanishTwo *from)
{
  PlanishFour four;
  memcpy(&four, from, sizeof four);
  return four;
}

/* Some registers of two frames at once, so that none waits for the one before. */
PLANISH_INLINED void convolve_some(const double *taps, unsigned length, const PlanishTwo *newest,
                                   PlanishTwo *y, unsigned registers)
{
  PlanishFour sums[4];
  for (unsigned r = 0; r < registers; ++r) {
    sums[r] = planish_all(taps[0]) * load_two_frames(newest + (size_t)2 * r);
  }
  for (unsigned k = 1; k < length; ++k) {
    const PlanishFour tap = planish_all(taps[k]);
    --newest;
    for (unsigned r = 0; r < registers; ++r) {
      sums[r] += tap * load_two_frames(newest + (size_t)2 * r);
    }
  }
  for (unsigned r = 0; r < registers; ++r) {
    memcpy(y + (size_t)2 * r, &sums[r], sizeof sums[r]);
  }
}

/* The sum of each frame runs in the same order, whatever the block. Up to three frames more than
 * asked for are read and written. */
PLANISH_WIDE static void convolve(const double *taps, unsigned length, const PlanishTwo *line,
                                  PlanishTwo *y, uint32_t frames)
{
  uint32_t n = 0;
  for (; n + 8 <= frames; n += 8) {
    convolve_some(taps, length, line + PAST + n, y + n, 4);
  }
  for (; n < frames; n += 4) {
    convolve_some(taps, length, line + PAST + n, y + n, 2);
  }
}

/* `x`: with room for ROOM frames. */
static void correct(PlanishEqVoice *voice, PlanishTwo *x, uint32_t at, uint32_t frames)
{
  PlanishTwo line[PAST + ROOM];
  memcpy(line, voice->history, sizeof voice->history);
  memcpy(line + PAST, x, frames * sizeof *x);
  memset(line + PAST + frames, 0, (ROOM - PLANISH_GRID) * sizeof *x);
  memcpy(voice->history, line + frames, sizeof voice->history);
  convolve(voice->taps, voice->length, line, x, frames);
  if (voice->correcting) {
    PlanishTwo change[ROOM];
    convolve(voice->tap_change, voice->length, line, change, frames);
    for (uint32_t n = 0; n < frames; ++n) {
      x[n] += planish_both(at + n) * change[n];
    }
  }
}

void planish_eq_voice_difference(PlanishEqVoice *voice, double rate, const PlanishEqPath *path,
                                 const PlanishTwo *audio, PlanishTwo *difference, uint32_t at,
                                 uint32_t frames)
{
  PlanishTwo x[ROOM];
  enter(voice, audio, x, frames);
  memcpy(difference, x, frames * sizeof *x);
  if (voice->moving) {
    filter_moving(voice, rate, path, x, at, frames);
  } else {
    for (unsigned i = 0; i < voice->count; ++i) {
      planish_svf_process(&voice->state[i], &voice->coefs[i], x, frames);
    }
  }
  correct(voice, x, at, frames);
  for (uint32_t n = 0; n < frames; ++n) {
    difference[n] = x[n] - difference[n];
  }
  planish_eq_parts_on_both(voice->shape.channels, difference, frames);
}
