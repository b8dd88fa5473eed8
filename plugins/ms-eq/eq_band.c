#include "plugins/ms-eq/eq_band.h"

enum { LAST = PLANISH_EQ_STEPS - 1 };

void planish_eq_band_setup(PlanishEqBand *band, PlanishArena *arena, double rate, bool can_move)
{
  planish_glide_setup(&band->frequency, arena, rate, PLANISH_GLIDE_MS);
  planish_glide_setup(&band->gain, arena, rate, PLANISH_GLIDE_MS);
  planish_glide_setup(&band->q, arena, rate, PLANISH_GLIDE_MS);
  planish_crossfade_setup(&band->fade, rate, PLANISH_GLIDE_MS);
  band->hz = (PlanishEqPower){0.0, 1.0};
  band->plain_q = (PlanishEqPower){0.0, 1.0};
  band->can_move = can_move;
  if (can_move) {
    planish_eq_movement_setup(&band->movement, arena, rate);
    planish_glide_setup(&band->move, arena, rate, PLANISH_GLIDE_MS);
    planish_glide_setup(&band->threshold, arena, rate, PLANISH_GLIDE_MS);
  }
}

static PlanishEqSetting setting_of(const PlanishEqBand *band, const PlanishEqShape *shape)
{
  return (PlanishEqSetting){
      .type = shape->type,
      .order = shape->order,
      .frequency = planish_exp2(band->frequency.value),
      .gain = band->gain.value,
      .q = planish_exp2(band->q.value),
  };
}

PlanishEqSetting planish_eq_band_setting(const PlanishEqBand *band)
{
  return setting_of(band, &band->voice[band->current].shape);
}

static bool has_gain(PlanishEqType type)
{
  return type != PLANISH_EQ_HIGH_PASS && type != PLANISH_EQ_LOW_PASS;
}

static bool would_move(const PlanishEqBand *band, const PlanishEqShape *shape)
{
  return band->can_move && shape->on && has_gain(shape->type) &&
         (planish_glide_is_moving(&band->move) || band->move.target != 0.0);
}

static bool would_sound(const PlanishEqBand *band, const PlanishEqShape *shape)
{
  const PlanishEqSetting end = {.type = shape->type, .gain = band->gain.target};
  const bool stands = planish_glide_is_moving(&band->gain) || !planish_eq_is_neutral(&end);
  return shape->on && ((stands && !shape->moves_alone) || would_move(band, shape));
}

/* The order means nothing to the other types, so its change must not start a fade there. */
static bool is_same(const PlanishEqShape *a, const PlanishEqShape *b)
{
  if (!a->on || !b->on) {
    return a->on == b->on;
  }
  const bool has_order = a->type == PLANISH_EQ_HIGH_PASS || a->type == PLANISH_EQ_LOW_PASS;
  return a->type == b->type && a->channels == b->channels && (!has_order || a->order == b->order);
}

/* The movement begins, or goes on with a new shape. */
static void listen_anew(PlanishEqBand *band, PlanishEqType type, bool from_silence)
{
  const PlanishEqSetting setting = planish_eq_band_setting(band);
  if (band->moves) {
    planish_eq_movement_turn(&band->movement, type, &setting);
  } else {
    planish_eq_movement_start(&band->movement, type, &setting, from_silence);
  }
  band->corrected = band->movement.db;
}

/* The movement begins, ends or goes on with what the current shape and the controls have come to.
 */
static void move_or_stand(PlanishEqBand *band, bool is_new_shape, bool from_silence)
{
  const PlanishEqShape *shape = &band->voice[band->current].shape;
  const bool moves = would_move(band, shape);
  if (moves && (is_new_shape || !band->moves)) {
    listen_anew(band, shape->type, from_silence);
  } else if (!moves) {
    band->corrected = 0.0;
  }
  band->moves = moves;
}

/* The current voice begins or ends with what the gain has come to. */
static void wake_or_rest(PlanishEqBand *band, const PlanishEqFit *fit, bool from_silence)
{
  PlanishEqVoice *voice = &band->voice[band->current];
  const bool sound = would_sound(band, &voice->shape);
  if (sound && !band->sounding[band->current]) {
    const PlanishEqSetting setting = planish_eq_band_setting(band);
    planish_eq_voice_start(voice, fit, voice->shape, &setting, setting.gain, from_silence);
  }
  band->sounding[band->current] = sound;
}

void planish_eq_band_jump(PlanishEqBand *band, const PlanishEqFit *fit,
                          const PlanishEqBandControls *controls)
{
  planish_glide_jump(&band->frequency, planish_log2(controls->frequency));
  planish_glide_jump(&band->gain, controls->gain);
  planish_glide_jump(&band->q, planish_log2(controls->q));
  planish_crossfade_jump(&band->fade, true);
  band->wanted = controls->shape;
  band->settled = false;
  band->current = 0;
  band->sounding[0] = false;
  band->sounding[1] = false;
  band->voice[0].shape = band->wanted;
  band->moves = false;
  if (band->can_move) {
    planish_glide_jump(&band->move, controls->move);
    planish_glide_jump(&band->threshold, controls->threshold);
    band->movement.times = controls->times;
    planish_eq_range_forget(&band->range);
  }
  move_or_stand(band, true, true);
  wake_or_rest(band, fit, true);
}

static void follow(PlanishGlide *glide, double target, bool at_once)
{
  if (at_once) {
    planish_glide_jump(glide, target);
  } else {
    planish_glide_set(glide, target);
  }
}

void planish_eq_band_set(PlanishEqBand *band, const PlanishEqBandControls *controls, bool watched)
{
  const bool silent = !planish_eq_band_is_sounding(band);
  follow(&band->frequency, planish_log2(controls->frequency), silent && !watched);
  follow(&band->q, planish_log2(controls->q), silent && !watched);
  /* From 0 dB the gain rises; from off the cross-fade does that. */
  follow(&band->gain, controls->gain, silent && !band->voice[band->current].shape.on);
  if (band->can_move) {
    follow(&band->move, controls->move, silent && !band->voice[band->current].shape.on);
    follow(&band->threshold, controls->threshold, !band->moves);
    band->movement.times = controls->times;
  }
  band->wanted = controls->shape;
  band->settled = false;
}

/* The old voice stays as it is, the new one stands where the controls are going. */
static void arrive(PlanishEqBand *band)
{
  planish_glide_jump(&band->frequency, band->frequency.target);
  planish_glide_jump(&band->gain, band->gain.target);
  planish_glide_jump(&band->q, band->q.target);
  planish_glide_jump(&band->move, band->move.target);
  planish_glide_jump(&band->threshold, band->threshold.target);
}

/* A new shape: its voice fades in over the old one, if either is to be heard. */
static void change_shape(PlanishEqBand *band, const PlanishEqFit *fit)
{
  const unsigned old = band->current;
  if (planish_crossfade_is_moving(&band->fade) || is_same(&band->voice[old].shape, &band->wanted)) {
    return;
  }
  arrive(band);
  const bool sound = would_sound(band, &band->wanted);
  if (!sound && !band->sounding[old]) {
    band->voice[old].shape = band->wanted;
    move_or_stand(band, true, false);
    return;
  }
  band->current = 1 - old;
  band->sounding[band->current] = sound;
  band->voice[band->current].shape = band->wanted;
  move_or_stand(band, true, false);
  if (sound) {
    PlanishEqSetting setting = setting_of(band, &band->wanted);
    const double standing = setting.gain;
    setting.gain += band->corrected;
    planish_eq_voice_start(&band->voice[band->current], fit, band->wanted, &setting, standing,
                           false);
  }
  planish_crossfade_jump(&band->fade, false);
  planish_crossfade_turn(&band->fade, true);
}

static bool glides(const PlanishEqBand *band)
{
  return planish_glide_is_moving(&band->frequency) || planish_glide_is_moving(&band->gain) ||
         planish_glide_is_moving(&band->q);
}

static double power_of(PlanishEqPower *known, double log2)
{
  if (log2 != known->log2) {
    *known = (PlanishEqPower){log2, planish_exp2(log2)};
  }
  return known->power;
}

/* As setting_of(), which grid intervals need again and again. */
static PlanishEqSetting next_setting(PlanishEqBand *band, const PlanishEqShape *shape)
{
  return (PlanishEqSetting){
      .type = shape->type,
      .order = shape->order,
      .frequency = power_of(&band->hz, band->frequency.value),
      .gain = band->gain.value,
      .q = power_of(&band->plain_q, band->q.value),
  };
}

/* The glides run through the interval that begins here. */
static void look_ahead(PlanishEqBand *band, const PlanishEqShape *shape, bool gliding)
{
  PlanishEqSetting setting = next_setting(band, shape);
  for (int step = 0; step < PLANISH_EQ_STEPS; ++step) {
    if (gliding) {
      planish_glide_skip(&band->frequency, PLANISH_EQ_STEP);
      planish_glide_skip(&band->gain, PLANISH_EQ_STEP);
      planish_glide_skip(&band->q, PLANISH_EQ_STEP);
      setting = next_setting(band, shape);
    }
    band->path.end[step] = setting;
    band->path.standing[step] = band->gain.value;
    band->move_end[step] = planish_glide_skip(&band->move, PLANISH_EQ_STEP);
    band->threshold_end[step] = planish_glide_skip(&band->threshold, PLANISH_EQ_STEP);
  }
}

/* Nothing but the movement moves in this interval: `steady`. Then its range is looked up, if it is
 * known. */
static void look_up(PlanishEqBand *band, bool alone, bool steady)
{
  band->path.range = NULL;
  if (steady) {
    const PlanishEqRangeOf of = {band->path.end[LAST], band->move_end[LAST], alone};
    planish_eq_range_turn(&band->range, &of);
    band->path.range = planish_eq_range_is_known(&band->range) ? &band->range : NULL;
  }
}

/* Heads for the end of the interval. The movement there is not known yet: the correction heads for
 * what it will be if the level stays, the sections for what each step finds. */
static void aim(PlanishEqBand *band, const PlanishEqFit *fit, bool gliding, bool learns)
{
  PlanishEqVoice *voice = &band->voice[band->current];
  PlanishEqSetting end = band->path.end[LAST];
  if (band->moves) {
    planish_eq_movement_grid(&band->movement, voice->shape.type, &end);
    const double ahead =
        planish_eq_movement_ahead(&band->movement, band->move_end[LAST], band->threshold_end[LAST]);
    if (!gliding && ahead == band->movement.db && ahead == band->corrected) {
      return;
    }
    band->corrected = ahead;
    end.gain += ahead;
    if (learns) {
      planish_eq_range_learn(&band->range, fit);
    }
    if (band->path.range != NULL && ahead != 0.0) {
      planish_eq_voice_aim_within(voice, band->path.range, ahead);
      return;
    }
  }
  planish_eq_voice_aim(voice, fit, &end, band->path.standing[LAST]);
}

void planish_eq_band_grid(PlanishEqBand *band, const PlanishEqFit *fit)
{
  if (band->settled) {
    return;
  }
  for (int i = 0; i < 2; ++i) {
    if (band->sounding[i]) {
      planish_eq_voice_land(&band->voice[i]);
    }
  }
  if (!planish_crossfade_is_moving(&band->fade)) {
    band->sounding[1 - band->current] = false;
  }
  change_shape(band, fit);
  move_or_stand(band, false, false);
  wake_or_rest(band, fit, false);
  const bool gliding = glides(band);
  if (!gliding && !band->moves) {
    band->settled = !planish_crossfade_is_moving(&band->fade);
    return;
  }
  const PlanishEqShape *shape = &band->voice[band->current].shape;
  const bool steady = band->moves && !gliding && !planish_glide_is_moving(&band->move);
  look_ahead(band, shape, gliding);
  look_up(band, shape->moves_alone, steady);
  if (band->sounding[band->current]) {
    aim(band, fit, gliding, steady);
  }
}

/* The coming voice fades its own input. */
static void fade_voices(PlanishEqBand *band, double rate, PlanishTwo *audio, uint32_t at,
                        uint32_t frames)
{
  PlanishTwo difference[2][PLANISH_GRID] = {{{0.0}}};
  for (int i = 0; i < 2; ++i) {
    if (band->sounding[i]) {
      planish_eq_voice_difference(&band->voice[i], rate, &band->path, audio, difference[i], at,
                                  frames);
    }
  }
  const PlanishTwo *coming = difference[band->current];
  const PlanishTwo *going = difference[1 - band->current];
  for (uint32_t n = 0; n < frames; ++n) {
    const double share = planish_crossfade_next(&band->fade);
    audio[n] += coming[n] + planish_both(1.0 - share) * going[n];
  }
}

static void process(PlanishEqBand *band, double rate, PlanishTwo *audio, uint32_t at,
                    uint32_t frames)
{
  if (planish_crossfade_is_moving(&band->fade)) {
    fade_voices(band, rate, audio, at, frames);
    return;
  }
  if (!band->sounding[band->current]) {
    return;
  }
  PlanishTwo difference[PLANISH_GRID];
  planish_eq_voice_difference(&band->voice[band->current], rate, &band->path, audio, difference, at,
                              frames);
  for (uint32_t n = 0; n < frames; ++n) {
    audio[n] += difference[n];
  }
}

/* Where a step begins, its end becomes known, by the power at the frame before. Returns whether the
 * voice is to leave its place. */
static bool begin_step(PlanishEqBand *band, uint32_t step, double power)
{
  const double before = band->movement.db;
  const double now = planish_eq_movement_step(&band->movement, power, band->move_end[step],
                                              band->threshold_end[step]);
  band->path.end[step].gain += now;
  band->path.moved[step] = now;
  return now != before;
}

static void widen(PlanishEqExtremes *extremes, double db)
{
  extremes->least = planish_min(extremes->least, db);
  extremes->most = planish_max(extremes->most, db);
}

/* Goes from step to step; the power at each frame is known. What goes on alike is filtered in one
 * go, but a voice that leaves its place in the middle does so there, whatever the block. */
static void process_steps(PlanishEqBand *band, double rate, PlanishTwo *audio, uint32_t at,
                          uint32_t frames, double before, const double *power,
                          PlanishEqExtremes *extremes)
{
  PlanishEqVoice *voice = &band->voice[band->current];
  uint32_t filtered = 0;
  for (uint32_t n = 0; n < frames;) {
    const uint32_t into = (at + n) % PLANISH_EQ_STEP;
    const double known = n == 0 ? before : power[n - 1];
    if (into == 0 && begin_step(band, (at + n) / PLANISH_EQ_STEP, known)) {
      if (!planish_eq_voice_has_left(voice) && n > filtered) {
        process(band, rate, audio + filtered, at + filtered, n - filtered);
        filtered = n;
      }
      planish_eq_voice_leave(voice);
    }
    widen(extremes, band->movement.db);
    n += PLANISH_EQ_STEP - into;
  }
  process(band, rate, audio + filtered, at + filtered, frames - filtered);
}

void planish_eq_band_process(PlanishEqBand *band, double rate, const PlanishTwo *input,
                             PlanishTwo *audio, uint32_t at, uint32_t frames,
                             PlanishEqExtremes *extremes)
{
  if (!band->moves) {
    process(band, rate, audio, at, frames);
    return;
  }
  const PlanishEqChannels channels = band->voice[band->current].shape.channels;
  double power[PLANISH_GRID];
  while (frames > 0) {
    const bool enters = planish_eq_movement_enters(&band->movement);
    const uint32_t left = PLANISH_EQ_STEP - at % PLANISH_EQ_STEP;
    const uint32_t part = enters && left < frames ? left : frames;
    const double before = band->movement.power;
    if (enters) {
      process_steps(band, rate, audio, at, part, before, power, extremes);
      planish_eq_movement_listen(&band->movement, channels, input, power, at, part);
    } else {
      planish_eq_movement_listen(&band->movement, channels, input, power, at, part);
      process_steps(band, rate, audio, at, part, before, power, extremes);
    }
    input += part;
    audio += part;
    at += part;
    frames -= part;
  }
}
