/* What becomes of a stage's result: mix, output gain, match, listen, bypass, and the fade of a
 * switch. Each step is skipped, not multiplied by one, while it has nothing to do. */
#include "common/frame/frame.h"

#include "common/dsp/maths.h"

#include <string.h>

typedef double Pair[2][PLANISH_GRID];

/* The stage's delayed input, in its own channels. */
static double own_input(const PlanishFrame *frame, int channel, uint32_t i)
{
  return planish_frame_part(frame->channels, channel, frame->scratch.dry[0][i],
                            frame->scratch.dry[1][i]);
}

/* Puts a signal of the stage's own channels back where it belongs in left and right. */
static void place(const PlanishFrame *frame, const double own[2], double *left, double *right)
{
  switch (frame->channels) {
  case PLANISH_CHANNELS_STEREO:
    *left = own[0];
    *right = own[1];
    break;
  case PLANISH_CHANNELS_MID:
    *left = *right = own[0];
    break;
  case PLANISH_CHANNELS_SIDE:
    *left = own[0];
    *right = -own[0];
    break;
  case PLANISH_CHANNELS_LEFT:
    *left = own[0];
    *right = 0.0;
    break;
  case PLANISH_CHANNELS_RIGHT:
    *left = 0.0;
    *right = own[0];
    break;
  }
}

/* out = input + mix (wet - input) on the chosen part; `heard` receives mix (wet - reference). */
static void mix(PlanishFrame *frame, uint32_t frames, Pair *difference)
{
  PlanishScratch *s = &frame->scratch;
  const int channels = planish_frame_is_stereo(frame) ? 2 : 1;
  const bool whole = !planish_glide_is_moving(&frame->mix) && frame->mix.target == 1.0;
  if (whole && channels == 2 && difference == NULL) {
    memcpy(s->out, s->wet, sizeof s->out);
    return;
  }
  for (uint32_t i = 0; i < frames; ++i) {
    const double share = planish_glide_next(&frame->mix);
    double change[2] = {0.0, 0.0};
    double own_difference[2] = {0.0, 0.0};
    for (int c = 0; c < channels; ++c) {
      change[c] = share * (s->wet[c][i] - own_input(frame, c, i));
      own_difference[c] = share * (s->wet[c][i] - s->reference[c][i]);
    }
    double left = 0.0;
    double right = 0.0;
    place(frame, change, &left, &right);
    const bool as_it_is = whole && channels == 2;
    s->out[0][i] = as_it_is ? s->wet[0][i] : s->dry[0][i] + left;
    s->out[1][i] = as_it_is ? s->wet[1][i] : s->dry[1][i] + right;
    if (difference != NULL) {
      place(frame, own_difference, &(*difference)[0][i], &(*difference)[1][i]);
    }
  }
}

static void apply_output_gain(PlanishFrame *frame, uint32_t frames)
{
  PlanishGlide *gain = &frame->output_gain;
  if (!planish_glide_is_moving(gain) && gain->target == 0.0) {
    return;
  }
  double factor = planish_gain_of(gain->target);
  for (uint32_t i = 0; i < frames; ++i) {
    if (planish_glide_is_moving(gain)) {
      factor = planish_gain_of(planish_glide_next(gain));
    }
    frame->scratch.out[0][i] *= factor;
    frame->scratch.out[1][i] *= factor;
  }
}

static void match(PlanishFrame *frame, uint32_t frames)
{
  PlanishScratch *s = &frame->scratch;
  if (!planish_match_is_idle(&frame->match)) {
    const double *const dry[2] = {s->dry[0], s->dry[1]};
    double *const out[2] = {s->out[0], s->out[1]};
    planish_match_process(&frame->match, dry, out, frames);
  }
}

/* The difference against the plain input gain; with the match on, against the matched result. */
static void hear_difference(PlanishFrame *frame, uint32_t frames, Pair *plain, Pair *heard)
{
  const PlanishScratch *s = &frame->scratch;
  PlanishCrossfade *fade = &frame->match_heard;
  for (uint32_t i = 0; i < frames; ++i) {
    const double matched = planish_crossfade_next(fade);
    for (int c = 0; c < 2; ++c) {
      const double after_match = s->out[c][i] - s->dry[c][i];
      (*heard)[c][i] = planish_crossfade_between((*plain)[c][i], after_match, matched);
    }
  }
}

static void hear(PlanishFrame *frame, uint32_t frames, uint32_t listen, Pair *difference,
                 Pair *heard)
{
  PlanishScratch *s = &frame->scratch;
  if (listen == PLANISH_LISTEN_RESULT) {
    memcpy(*heard, s->out, sizeof *heard);
  } else if (listen == PLANISH_LISTEN_DIFFERENCE) {
    memcpy(*heard, *difference, sizeof *heard);
  } else {
    Pair *point = &s->point[listen - PLANISH_LISTEN_POINTS];
    for (uint32_t i = 0; i < frames; ++i) {
      const double own[2] = {(*point)[0][i], (*point)[1][i]};
      place(frame, own, &(*heard)[0][i], &(*heard)[1][i]);
    }
  }
}

static void listen(PlanishFrame *frame, uint32_t frames, Pair *difference)
{
  PlanishScratch *s = &frame->scratch;
  if (!planish_crossfade_is_moving(&frame->listen_fade)) {
    hear(frame, frames, frame->listen_new, difference, &s->out);
    return;
  }
  hear(frame, frames, frame->listen_old, difference, &s->heard[0]);
  hear(frame, frames, frame->listen_new, difference, &s->heard[1]);
  for (uint32_t i = 0; i < frames; ++i) {
    const double weight = planish_crossfade_next(&frame->listen_fade);
    for (int c = 0; c < 2; ++c) {
      s->out[c][i] = planish_crossfade_between(s->heard[0][c][i], s->heard[1][c][i], weight);
    }
  }
}

static void bypass(PlanishFrame *frame, uint32_t frames)
{
  PlanishScratch *s = &frame->scratch;
  if (planish_crossfade_is_old(&frame->bypass)) {
    memcpy(s->out, s->dry, sizeof s->out);
  } else if (planish_crossfade_is_moving(&frame->bypass)) {
    for (uint32_t i = 0; i < frames; ++i) {
      const double weight = planish_crossfade_next(&frame->bypass);
      for (int c = 0; c < 2; ++c) {
        s->out[c][i] = planish_crossfade_between(s->dry[c][i], s->out[c][i], weight);
      }
    }
  }
}

static void fade_switch(PlanishFrame *frame, uint32_t frames)
{
  PlanishSwitch *switching = &frame->switching;
  if (switching->filling == 0 && planish_crossfade_is_new(&switching->fade)) {
    return;
  }
  for (uint32_t i = 0; i < frames; ++i) {
    /* In silence the fade waits for the stage. */
    const bool waits = switching->filling > 0 && switching->fade.at == 0;
    const double weight = waits ? 0.0 : planish_crossfade_next(&switching->fade);
    switching->filling -= switching->filling > 0;
    frame->scratch.out[0][i] *= weight;
    frame->scratch.out[1][i] *= weight;
  }
}

bool planish_frame_listens_from(const PlanishFrame *frame, uint32_t value)
{
  return frame->listen_new >= value ||
         (planish_crossfade_is_moving(&frame->listen_fade) && frame->listen_old >= value);
}

void planish_frame_blend(PlanishFrame *frame, uint32_t frames)
{
  Pair difference;
  const bool listening = planish_frame_listens_from(frame, PLANISH_LISTEN_DIFFERENCE);
  mix(frame, frames, listening ? &difference : NULL);
  apply_output_gain(frame, frames);
  match(frame, frames);
  if (listening) {
    Pair heard;
    hear_difference(frame, frames, &difference, &heard);
    listen(frame, frames, &heard);
  } else {
    planish_crossfade_skip(&frame->match_heard, frames);
  }
  bypass(frame, frames);
  fade_switch(frame, frames);
}
