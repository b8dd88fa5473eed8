#include "common/frame/frame.h"

#include "common/dsp/maths.h"
#include "common/frame/float_environment.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* The K-weighting of the match works from here (k_weighting.h); beyond the upper end lengths in
 * frames are out of all proportion. */
static const double lowest_rate = 8000.0;
static const double highest_rate = 1e7;
/* Input beyond this is no sound, and counts as silence as NaN does: ears and speakers are spared,
 * and no stage has it to remember. */
static const float largest_input = 1048576.0f;
/* A switch in silence fades out and in over this each. */
static const double switch_ms = 10.0;

/* Audio ports come first: in left, in right, out left, out right. */
enum { IN_LEFT = 0, OUT_LEFT = 2 };

static uint32_t stage_latency(const PlanishStage *stage, double rate, const float *values)
{
  return stage->latency == NULL ? 0 : stage->latency(rate, values);
}

static PlanishStatus set_up(PlanishFrame *frame, PlanishArena *arena)
{
  const PlanishStage *stage = frame->stage;
  const uint32_t longest = stage_latency(stage, frame->rate, NULL);
  planish_controls_setup(&frame->controls, stage->ports, arena);
  for (int c = 0; c < 2; ++c) {
    planish_delay_setup(&frame->delay[c], arena, longest, PLANISH_GRID);
  }
  planish_glide_setup(&frame->mix, arena, frame->rate, PLANISH_GLIDE_MS);
  planish_glide_setup(&frame->output_gain, arena, frame->rate, PLANISH_GLIDE_MS);
  planish_match_setup(&frame->match, arena, frame->rate);
  planish_crossfade_setup(&frame->match_heard, frame->rate, PLANISH_GLIDE_MS);
  planish_crossfade_setup(&frame->listen_fade, frame->rate, PLANISH_GLIDE_MS);
  planish_crossfade_setup(&frame->bypass, frame->rate, PLANISH_GLIDE_MS);
  planish_crossfade_setup(&frame->switching.fade, frame->rate, switch_ms);
  return stage->setup(frame->state, frame->rate, arena);
}

static void release(const PlanishStage *stage, void *state)
{
  if (stage->release != NULL) {
    stage->release(state);
  }
}

/* Counts what an instance takes. The stage's state must be there even for that. */
static PlanishStatus count(const PlanishStage *stage, double rate, size_t *size)
{
  PlanishFrame *frame = calloc(1, sizeof *frame);
  void *state = calloc(1, stage->state_size);
  PlanishStatus status = PLANISH_NO_MEMORY;
  if (frame != NULL && state != NULL) {
    PlanishArena arena = planish_arena_counting();
    planish_arena_take(&arena, 1, sizeof *frame);
    planish_arena_take(&arena, 1, stage->state_size);
    frame->stage = stage;
    frame->state = state;
    frame->rate = rate;
    status = set_up(frame, &arena);
    release(stage, state);
    *size = arena.used;
  }
  free(state);
  free(frame);
  return status;
}

PlanishFrame *planish_frame_new(const PlanishStage *stage, double rate, PlanishStatus *status)
{
  size_t size = 0;
  *status =
      rate >= lowest_rate && rate <= highest_rate ? count(stage, rate, &size) : PLANISH_BAD_RATE;
  if (*status != PLANISH_OK) {
    return NULL;
  }
  void *block = aligned_alloc(PLANISH_ALIGNMENT, size);
  if (block == NULL) {
    *status = PLANISH_NO_MEMORY;
    return NULL;
  }
  memset(block, 0, size);
  PlanishArena arena = planish_arena_filling(block, size);
  PlanishFrame *frame = planish_arena_take(&arena, 1, sizeof *frame);
  frame->stage = stage;
  frame->rate = rate;
  frame->state = planish_arena_take(&arena, 1, stage->state_size);
  *status = set_up(frame, &arena);
  if (*status != PLANISH_OK) {
    planish_frame_free(frame);
    return NULL;
  }
  planish_frame_activate(frame);
  return frame;
}

void planish_frame_free(PlanishFrame *frame)
{
  if (frame != NULL) {
    release(frame->stage, frame->state);
  }
  free(frame);
}

void planish_frame_connect(PlanishFrame *frame, uint32_t port, void *buffer)
{
  if (port < frame->controls.ports->port_count) {
    frame->controls.buffers[port] = buffer;
  }
}

void planish_frame_activate(PlanishFrame *frame)
{
  planish_delay_reset(&frame->delay[0]);
  planish_delay_reset(&frame->delay[1]);
  planish_match_reset(&frame->match);
  frame->phase = 0;
  frame->fresh = true;
}

static float common_value(const PlanishFrame *frame, int port, float otherwise)
{
  return planish_controls_get(&frame->controls, port, otherwise);
}

/* Marked controls decide on these. */
static void take_shape(PlanishFrame *frame)
{
  const PlanishPorts *ports = frame->controls.ports;
  planish_controls_take_marked(&frame->controls);
  frame->channels = (PlanishChannels)common_value(frame, ports->channels, 0.0f);
  frame->latency = stage_latency(frame->stage, frame->rate, frame->controls.values);
}

static void reset_stage(PlanishFrame *frame)
{
  frame->stage->reset(frame->state);
  frame->stage->set(frame->state, frame->controls.values);
}

static void set_own(PlanishFrame *frame)
{
  const PlanishPorts *ports = frame->controls.ports;
  planish_glide_set(&frame->mix, 0.01 * (double)common_value(frame, ports->mix, 100.0f));
  planish_glide_set(&frame->output_gain, (double)common_value(frame, ports->output_gain, 0.0f));
  planish_match_set_mode(&frame->match,
                         (PlanishMatchMode)common_value(frame, ports->loudness_match, 0.0f));
  planish_crossfade_turn(&frame->match_heard, frame->match.mode != PLANISH_MATCH_OFF);
}

static bool is_enabled(const PlanishFrame *frame)
{
  return common_value(frame, frame->controls.ports->enabled, 1.0f) > 0.0f;
}

/* A stage that was reset is switched on to only once its latency has passed: until then it has
 * nothing to say. */
static void set_bypass(PlanishFrame *frame)
{
  const bool on = is_enabled(frame);
  if (!on || frame->switching.filling == 0) {
    planish_crossfade_turn(&frame->bypass, on);
  }
}

/* A change of `listen` waits until the one before it is through. */
static void set_listen(PlanishFrame *frame)
{
  const uint32_t wanted = (uint32_t)common_value(frame, frame->controls.ports->listen, 0.0f);
  if (wanted != frame->listen_new && !planish_crossfade_is_moving(&frame->listen_fade)) {
    frame->listen_old = frame->listen_new;
    frame->listen_new = wanted;
    planish_crossfade_jump(&frame->listen_fade, false);
    planish_crossfade_turn(&frame->listen_fade, true);
  }
}

/* The first frame after activate: all stands on its values at once. */
static void start(PlanishFrame *frame)
{
  const PlanishPorts *ports = frame->controls.ports;
  const PlanishControlChange change = planish_controls_look(&frame->controls);
  take_shape(frame);
  set_own(frame);
  planish_match_rest(&frame->match, change.listening, frame->latency);
  planish_glide_jump(&frame->mix, frame->mix.target);
  planish_glide_jump(&frame->output_gain, frame->output_gain.target);
  planish_crossfade_jump(&frame->match_heard, frame->match_heard.rising);
  planish_crossfade_jump(&frame->bypass, is_enabled(frame));
  planish_crossfade_jump(&frame->switching.fade, true);
  planish_crossfade_jump(&frame->listen_fade, true);
  frame->switching.filling = 0;
  frame->listen_old = frame->listen_new = (uint32_t)common_value(frame, ports->listen, 0.0f);
  reset_stage(frame);
  frame->fresh = false;
}

/* A bypassed stage is heard by nobody, so a switch that keeps the latency needs no silence. */
static bool can_switch_unheard(const PlanishFrame *frame)
{
  const uint32_t wanted = stage_latency(frame->stage, frame->rate, frame->controls.wanted);
  return planish_crossfade_is_old(&frame->bypass) &&
         planish_crossfade_is_new(&frame->switching.fade) && wanted == frame->latency;
}

/* Right after a grid frame's look at the ports. */
static void switch_over(PlanishFrame *frame)
{
  const bool unheard = can_switch_unheard(frame);
  take_shape(frame);
  reset_stage(frame);
  frame->switching.filling = frame->latency;
  if (!unheard) {
    planish_crossfade_jump(&frame->switching.fade, false);
    planish_crossfade_turn(&frame->switching.fade, true);
  }
  planish_match_discard(&frame->match, frame->latency);
}

static void run_switch(PlanishFrame *frame, bool wanted)
{
  PlanishCrossfade *fade = &frame->switching.fade;
  if (planish_crossfade_is_old(fade)) {
    switch_over(frame);
  } else if (wanted && planish_crossfade_is_new(fade)) {
    if (can_switch_unheard(frame)) {
      switch_over(frame);
    } else {
      planish_crossfade_turn(fade, false);
    }
  }
}

/* `looked`: at these ports in this run already. */
static void at_grid_frame(PlanishFrame *frame, bool looked)
{
  if (frame->fresh) {
    start(frame);
    return;
  }
  const PlanishControlChange change =
      looked ? frame->controls.last : planish_controls_look(&frame->controls);
  run_switch(frame, change.rebuilds);
  if (change.any) {
    set_own(frame);
    frame->stage->set(frame->state, frame->controls.values);
  }
  if (change.sound) {
    planish_match_restart(&frame->match, frame->latency);
  }
  planish_match_rest(&frame->match, change.listening, frame->latency);
  set_bypass(frame);
  set_listen(frame);
}

/* Also takes out denormals, by the arithmetic that flushes them. */
static void read_clean(const float *in, double *to, uint32_t frames)
{
  for (uint32_t i = 0; i < frames; ++i) {
    /* False for NaN and Inf too. */
    const float x = fabsf(in[i]) <= largest_input ? in[i] : 0.0f;
    to[i] = (double)x;
  }
}

static void read_input(PlanishFrame *frame, uint32_t from, uint32_t frames)
{
  for (int c = 0; c < 2; ++c) {
    const float *in = frame->controls.buffers[IN_LEFT + c];
    if (in == NULL) {
      memset(frame->scratch.dry[c], 0, frames * sizeof(double));
    } else {
      read_clean(in + from, frame->scratch.dry[c], frames);
    }
  }
}

static void write_rounded(const double *in, float *to, uint32_t frames)
{
  for (uint32_t i = 0; i < frames; ++i) {
    to[i] = (float)in[i];
  }
}

static void write_output(const PlanishFrame *frame, uint32_t from, uint32_t frames)
{
  for (int c = 0; c < 2; ++c) {
    float *out = frame->controls.buffers[OUT_LEFT + c];
    if (out != NULL) {
      write_rounded(frame->scratch.out[c], out + from, frames);
    }
  }
}

/* The chosen part of scratch.dry: what the stage gets, and once that is delayed, what its result is
 * held against, until the stage says better. */
static void take_part(const PlanishFrame *frame, double part[2][PLANISH_GRID], uint32_t frames)
{
  if (planish_frame_is_stereo(frame)) {
    memcpy(part[0], frame->scratch.dry[0], frames * sizeof(double));
    memcpy(part[1], frame->scratch.dry[1], frames * sizeof(double));
    return;
  }
  for (uint32_t i = 0; i < frames; ++i) {
    part[0][i] =
        planish_frame_part(frame->channels, 0, frame->scratch.dry[0][i], frame->scratch.dry[1][i]);
  }
}

static void process(PlanishFrame *frame, uint32_t frames)
{
  PlanishScratch *s = &frame->scratch;
  const bool listening = planish_frame_listens_from(frame, PLANISH_LISTEN_DIFFERENCE);
  double *points[PLANISH_MAX_POINTS][2];
  for (int p = 0; p < PLANISH_MAX_POINTS; ++p) {
    points[p][0] = s->point[p][0];
    points[p][1] = s->point[p][1];
  }
  take_part(frame, s->wet, frames);
  for (int c = 0; c < 2; ++c) {
    planish_delay_process(&frame->delay[c], s->dry[c], s->dry[c], frame->latency, frames);
  }
  PlanishBlock block = {
      .channels = planish_frame_is_stereo(frame) ? 2 : 1,
      .frames = frames,
      .audio = {s->wet[0], s->wet[1]},
  };
  if (listening) {
    take_part(frame, s->reference, frames);
    block.reference[0] = s->reference[0];
    block.reference[1] = s->reference[1];
  }
  if (planish_frame_listens_from(frame, PLANISH_LISTEN_POINTS)) {
    memset(s->point, 0, sizeof s->point);
    block.points = points;
  }
  frame->stage->process(frame->state, &block);
  planish_frame_blend(frame, frames);
}

static void report(PlanishFrame *frame, uint32_t frames)
{
  const PlanishPorts *ports = frame->controls.ports;
  float *values = frame->controls.values;
  if (frames > 0 && frame->stage->report != NULL) {
    frame->stage->report(frame->state, values, frames);
  }
  if (ports->latency >= 0) {
    values[ports->latency] = (float)frame->latency;
  }
  if (ports->match_gain >= 0) {
    values[ports->match_gain] = (float)planish_match_gain(&frame->match);
  }
  if (ports->loudness_in >= 0 && ports->loudness_out >= 0) {
    values[ports->loudness_in] = (float)planish_match_loudness(&frame->match, 0);
    values[ports->loudness_out] = (float)planish_match_loudness(&frame->match, 1);
  }
  planish_controls_report(&frame->controls);
}

void planish_frame_run(PlanishFrame *frame, uint32_t frames)
{
  const PlanishFloatEnvironment host = planish_float_environment_enter();
  if (frames == 0 && frame->fresh) {
    take_shape(frame);
  }
  planish_controls_note_triggers(&frame->controls);
  bool looked = false;
  for (uint32_t done = 0; done < frames;) {
    if (frame->phase == 0) {
      at_grid_frame(frame, looked);
      looked = true;
    }
    const uint32_t to_grid = PLANISH_GRID - frame->phase;
    const uint32_t part = frames - done < to_grid ? frames - done : to_grid;
    read_input(frame, done, part);
    process(frame, part);
    write_output(frame, done, part);
    frame->phase = (frame->phase + part) % PLANISH_GRID;
    done += part;
  }
  report(frame, frames);
  planish_float_environment_leave(host);
}
