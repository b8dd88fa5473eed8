#include "plugins/ms-eq/eq_voice.h"

#include "common/dsp/four_lanes.h"
#include "common/dsp/wide.h"

#include <math.h>
#include <string.h>

_Static_assert((int)PLANISH_EQ_STEP == (int)PLANISH_SVF_WAY, "a step is a way");

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

static void take_next_sections(PlanishEqVoice *voice)
{
  for (unsigned i = 0; i < voice->count; ++i) {
    voice->coefs[i] = voice->next.section[i];
  }
}

static void stand(PlanishEqVoice *voice)
{
  take_next_sections(voice);
  voice->paired = false;
  memcpy(voice->taps, voice->next_taps, sizeof voice->taps);
  voice->length = length_of(voice->taps);
  voice->moving = false;
  voice->correcting = false;
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
  stand(voice);
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

void planish_eq_voice_land(PlanishEqVoice *voice)
{
  if (voice->moving) {
    stand(voice);
  }
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
    planish_svf_way_set(&voice->way[i], &voice->coefs[i], &voice->next.section[i]);
  }
}

/* What goes into the filters: in `x`, or the audio itself. */
static const PlanishTwo *enter(PlanishEqVoice *voice, const PlanishTwo *audio, PlanishTwo *x,
                               uint32_t frames)
{
  if (!planish_crossfade_is_moving(&voice->entry)) {
    return planish_eq_parts_in(voice->shape.channels, audio, x, frames);
  }
  planish_eq_parts_of(voice->shape.channels, audio, x, frames);
  for (uint32_t n = 0; n < frames; ++n) {
    x[n] *= planish_both(planish_crossfade_next(&voice->entry));
  }
  return x;
}

static PlanishSvfCoefs between(const PlanishSvfCoefs *from, const PlanishSvfCoefs *to, double share)
{
  return (PlanishSvfCoefs){
      from->g + share * (to->g - from->g),    from->k + share * (to->k - from->k),
      from->m0 + share * (to->m0 - from->m0), from->m1 + share * (to->m1 - from->m1),
      from->m2 + share * (to->m2 - from->m2),
  };
}

/* Within a step, from `into` by `part` frames. */
static void move_on(PlanishEqVoice *voice, uint32_t into, uint32_t part)
{
  const double share = (double)part / (PLANISH_EQ_STEP - into);
  for (unsigned i = 0; i < voice->count; ++i) {
    voice->coefs[i] = between(&voice->coefs[i], &voice->next.section[i], share);
  }
}

static void filter_moving(PlanishEqVoice *voice, double rate, const PlanishEqPath *path,
                          const PlanishTwo *in, PlanishTwo *x, uint32_t at, uint32_t frames)
{
  while (frames > 0) {
    const uint32_t into = at % PLANISH_EQ_STEP;
    if (into == 0) {
      begin_step(voice, rate, path, at / PLANISH_EQ_STEP);
    }
    const uint32_t left = PLANISH_EQ_STEP - into;
    const uint32_t part = frames < left ? frames : left;
    for (unsigned i = 0; i < voice->count; ++i) {
      planish_svf_process_way(&voice->state[i], &voice->way[i], into, i == 0 ? in : x, x, part);
    }
    if (part < left) {
      move_on(voice, into, part);
    }
    in += part;
    x += part;
    at += part;
    frames -= part;
  }
}

static void filter(PlanishEqVoice *voice, double rate, const PlanishEqPath *path,
                   const PlanishTwo *in, PlanishTwo *x, uint32_t at, uint32_t frames)
{
  if (voice->moving) {
    filter_moving(voice, rate, path, in, x, at, frames);
    return;
  }
  for (unsigned i = 0; i < voice->count; ++i) {
    if (!voice->paired) {
      planish_svf_pairs_set(&voice->pairs[i], &voice->coefs[i]);
    }
    planish_svf_process_pairs(&voice->state[i], &voice->pairs[i], &voice->waiting[i], at,
                              i == 0 ? in : x, x, frames);
  }
  voice->paired = true;
}

enum { PAST = PLANISH_EQ_TAPS - 1 };

PLANISH_INLINED PlanishFour load_two_frames(const PlanishTwo *from)
{
  PlanishFour four;
  memcpy(&four, from, sizeof four);
  return four;
}

/* Sums over the taps for some registers of two frames at once, so that none waits for the one
 * before. The sum of each frame runs in the same order, whatever the block. */
PLANISH_INLINED void convolve(const double *taps, unsigned length, const PlanishTwo *newest,
                              PlanishFour *sums, unsigned registers)
{
  const PlanishFour first = planish_all(taps[0]);
  for (unsigned r = 0; r < registers; ++r) {
    sums[r] = first * load_two_frames(newest + (size_t)2 * r);
  }
  for (unsigned k = 1; k < length; ++k) {
    const PlanishFour tap = planish_all(taps[k]);
    --newest;
    for (unsigned r = 0; r < registers; ++r) {
      sums[r] += tap * load_two_frames(newest + (size_t)2 * r);
    }
  }
}

/* The same for the change of the taps too, a second filter whose result counts for more with every
 * frame: `place` times in the first. */
PLANISH_INLINED void convolve_moving(const PlanishEqVoice *voice, const PlanishTwo *newest,
                                     double place, PlanishFour *sums, unsigned registers)
{
  PlanishFour changes[4];
  for (unsigned r = 0; r < registers; ++r) {
    const PlanishFour x = load_two_frames(newest + (size_t)2 * r);
    sums[r] = planish_all(voice->taps[0]) * x;
    changes[r] = planish_all(voice->tap_change[0]) * x;
  }
  for (unsigned k = 1; k < voice->length; ++k) {
    const PlanishFour tap = planish_all(voice->taps[k]);
    const PlanishFour change = planish_all(voice->tap_change[k]);
    --newest;
    for (unsigned r = 0; r < registers; ++r) {
      const PlanishFour x = load_two_frames(newest + (size_t)2 * r);
      sums[r] += tap * x;
      changes[r] += change * x;
    }
  }
  for (unsigned r = 0; r < registers; ++r) {
    const PlanishFour into = {0.0, 0.0, 1.0, 1.0};
    sums[r] += (planish_all(place + 2.0 * r) + into) * changes[r];
  }
}

/* The sums less the input, of up to `frames` frames. */
PLANISH_INLINED void store_difference(const PlanishFour *sums, const PlanishTwo *in, PlanishTwo *y,
                                      uint32_t frames, unsigned registers)
{
  if (frames >= 2 * registers) {
    for (unsigned r = 0; r < registers; ++r) {
      const PlanishFour difference = sums[r] - load_two_frames(in + (size_t)2 * r);
      memcpy(y + (size_t)2 * r, &difference, sizeof difference);
    }
    return;
  }
  for (uint32_t n = 0; n < frames; ++n) {
    const PlanishFour sum = sums[n / 2];
    y[n] = (n % 2 == 0 ? (PlanishTwo){sum[0], sum[1]} : (PlanishTwo){sum[2], sum[3]}) - in[n];
  }
}

PLANISH_WIDE static void correct_still(const PlanishEqVoice *voice, const PlanishTwo *in,
                                       PlanishTwo *y, uint32_t frames)
{
  PlanishFour sums[4];
  const PlanishTwo *newest = voice->line + PAST;
  uint32_t n = 0;
  for (; n + 8 <= frames; n += 8) {
    convolve(voice->taps, voice->length, newest + n, sums, 4);
    store_difference(sums, in + n, y + n, frames - n, 4);
  }
  for (; n < frames; n += 4) {
    convolve(voice->taps, voice->length, newest + n, sums, 2);
    store_difference(sums, in + n, y + n, frames - n, 2);
  }
}

PLANISH_WIDE static void correct_moving(const PlanishEqVoice *voice, const PlanishTwo *in,
                                        PlanishTwo *y, uint32_t at, uint32_t frames)
{
  PlanishFour sums[4];
  const PlanishTwo *newest = voice->line + PAST;
  uint32_t n = 0;
  for (; n + 8 <= frames; n += 8) {
    convolve_moving(voice, newest + n, at + n, sums, 4);
    store_difference(sums, in + n, y + n, frames - n, 4);
  }
  for (; n < frames; n += 4) {
    convolve_moving(voice, newest + n, at + n, sums, 2);
    store_difference(sums, in + n, y + n, frames - n, 2);
  }
}

void planish_eq_voice_difference(PlanishEqVoice *voice, double rate, const PlanishEqPath *path,
                                 const PlanishTwo *audio, PlanishTwo *difference, uint32_t at,
                                 uint32_t frames)
{
  PlanishTwo part[PLANISH_GRID];
  const PlanishTwo *in = enter(voice, audio, part, frames);
  filter(voice, rate, path, in, voice->line + PAST, at, frames);
  if (voice->correcting) {
    correct_moving(voice, in, difference, at, frames);
  } else {
    correct_still(voice, in, difference, frames);
  }
  memmove(voice->line, voice->line + frames, PAST * sizeof *voice->line);
  planish_eq_parts_on_both(voice->shape.channels, difference, frames);
}
