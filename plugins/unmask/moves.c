#include "plugins/unmask/moves.h"

#include "common/dsp/lanes_maths.h"
#include "common/dsp/maths.h"
#include "common/dsp/tanh.h"
#include "common/dsp/trig.h"
#include "common/dsp/wide.h"

#include <stdbool.h>
#include <string.h>

#define STEEPNESS     1.7  /* dB of lift a dB hidden, at 100 % */
#define HOPELESS      24.0 /* dB hidden from which on a lift fades out, ... */
#define HOPELESS_FADE 6.0  /* ... within so many more */
#define HISS          50.0 /* dB under the whole from which on nothing is lifted, alike */
#define HISS_FADE     6.0
#define FASTEST       3.0   /* dB a second */
#define NARROW        100.0 /* Hz of width under which a band is averaged over longer */
#define LOUDEST       4.0   /* of the mean: more than so many times it no moment counts */
#define ABSURD        1e10  /* of silence: nor more than this */
#define EDGE          2.0   /* of a range: a fade over half an octave, half way at its frequency */

#define POWER_OF_DB (0.1 * PLANISH_LOG2_10 * 0.69314718055994530942) /* d ln(power) / d dB */

/* For all bands by fours. */
enum { ROOM = (UNMASK_BANDS + PLANISH_LANES - 1) / PLANISH_LANES * PLANISH_LANES };

void unmask_moves_setup(UnmaskMoves *moves, const UnmaskBands *bands, double hop)
{
  moves->bands = bands;
  moves->hop = hop;
}

void unmask_moves_reset(UnmaskMoves *moves)
{
  const UnmaskBands *const bands = moves->bands;
  const double hop = moves->hop;
  memset(moves, 0, sizeof *moves);
  unmask_moves_setup(moves, bands, hop);
  moves->reference_tilt = (double)NAN;
  moves->running_time = (double)NAN;
}

static double cast_over(const UnmaskBands *bands, const double *power, uint32_t band)
{
  double sum = 0.0;
  for (uint32_t by = 0; by < bands->count; ++by) {
    sum += bands->masks[band][by] * power[by];
  }
  return sum;
}

static void make_reference(UnmaskMoves *moves, double tilt)
{
  const UnmaskBands *const bands = moves->bands;
  double power[UNMASK_BANDS];
  for (uint32_t i = 0; i < bands->count; ++i) {
    const double octaves = bands->octave[i] - bands->octave[0];
    power[i] = bands->even[i] * planish_exp2(0.1 * PLANISH_LOG2_10 * tilt * octaves);
  }
  for (uint32_t i = 0; i < bands->count; ++i) {
    moves->reference_cast[i] = cast_over(bands, power, i) / power[i];
  }
  moves->reference_tilt = tilt;
}

/* 1 well within a range, 0 well outside, a line between. */
static void add_range(UnmaskMoves *moves, const double range[2])
{
  if (!(range[0] < range[1])) {
    return;
  }
  const double from = planish_log2(range[0]);
  const double to = planish_log2(range[1]);
  for (uint32_t i = 0; i < moves->bands->count; ++i) {
    const double octave = moves->bands->octave[i];
    const double inside = 0.5 + EDGE * planish_min(octave - from, to - octave);
    moves->in_range[i] += planish_clamp(inside, 0.0, 1.0);
  }
}

void unmask_moves_begin(UnmaskMoves *moves, const UnmaskSettings *settings)
{
  if (settings->tilt != moves->reference_tilt) {
    make_reference(moves, settings->tilt);
  }
  moves->settings = *settings;
  memset(moves->in_range, 0, sizeof moves->in_range);
  add_range(moves, settings->range[0]);
  add_range(moves, settings->range[1]);
  for (uint32_t i = 0; i < moves->bands->count; ++i) {
    moves->in_range[i] = planish_min(moves->in_range[i], 1.0); /* where two meet there is no dip */
  }
}

/* How far a running mean over `seconds` moves in a hop. */
static double running_step(const UnmaskMoves *moves, double seconds)
{
  return 1.0 - planish_exp(-moves->hop / seconds);
}

static void make_running(UnmaskMoves *moves, double averaging_time)
{
  const UnmaskBands *const bands = moves->bands;
  for (uint32_t i = 0; i < bands->count; ++i) {
    const double longer = planish_max(1.0, NARROW / bands->width[i]);
    moves->running[i] = running_step(moves, averaging_time * longer);
  }
  moves->running_time = averaging_time;
}

/* How far a mean moves in this hop; at first it is a plain mean, so that the beginning counts like
 * all else. */
static double step_of(const UnmaskMoves *moves, double running)
{
  return planish_max(running, moves->hop / moves->heard);
}

void unmask_moves_take(UnmaskMoves *moves, const double *power, double silence)
{
  const UnmaskBands *const bands = moves->bands;
  double sum = 0.0;
  for (uint32_t i = 0; i < bands->count; ++i) {
    sum += power[i];
  }
  if (!(sum > silence)) {
    return;
  }
  moves->heard += moves->hop;
  const double averaging = moves->settings.averaging_time;
  if (averaging != moves->running_time) {
    make_running(moves, averaging);
  }
  const double loudest = moves->whole > 0.0 ? LOUDEST * moves->whole : sum;
  const double counts = planish_min(sum, planish_min(loudest, ABSURD * silence));
  moves->whole += step_of(moves, running_step(moves, averaging)) * (counts - moves->whole);
  const double weight = planish_min(sum / moves->whole, LOUDEST);
  for (uint32_t i = 0; i < bands->count; ++i) {
    const double step = planish_min(weight * step_of(moves, moves->running[i]), 1.0);
    moves->share[i] += step * (power[i] / sum - moves->share[i]);
  }
}

/* From 1 to 0 as `level` goes from `at` up by `width`. */
static double fade_out(double level, double at, double width)
{
  return 1.0 - planish_clamp((level - at) / width, 0.0, 1.0);
}

/* Nothing is moved until the mean is one: from 0 to 1 between one and two averaging times. */
static double knowledge(const UnmaskMoves *moves)
{
  return planish_clamp(moves->heard / moves->settings.averaging_time - 1.0, 0.0, 1.0);
}

void unmask_moves_look(UnmaskMoves *moves, uint32_t band)
{
  const double share = moves->share[band];
  const double under = -planish_level_of_power(share);
  moves->cast[band] = cast_over(moves->bands, moves->share, band);
  moves->audible[band] = fade_out(under, HISS, HISS_FADE);
  moves->hidden[band] =
      share > 0.0
          ? planish_level_of_power(moves->cast[band] / (share * moves->reference_cast[band]))
          : 0.0;
}

/* Of a band and half of its neighbours: what stands alone between covered bands counts as covered.
 * Those that hold next to nothing have no say. */
static double hidden_about(const UnmaskMoves *moves, uint32_t band)
{
  double sum = 0.0;
  double weights = 0.0;
  for (uint32_t i = band > 0 ? band - 1 : 0; i <= band + 1 && i < moves->bands->count; ++i) {
    const double weight = (i == band ? 1.0 : 0.5) * moves->audible[i];
    sum += weight * planish_clamp(moves->hidden[i], -HOPELESS, HOPELESS);
    weights += weight;
  }
  return sum / weights;
}

void unmask_moves_lift(UnmaskMoves *moves, uint32_t band)
{
  const UnmaskSettings *const settings = &moves->settings;
  moves->lift[band] = 0.0;
  moves->blame[band] = 0.0;
  if (moves->audible[band] == 0.0) {
    return;
  }
  const double over = hidden_about(moves, band) - settings->dead_zone;
  if (over > 0.0) {
    moves->lift[band] = planish_soft_bound(settings->amount * STEEPNESS * over, settings->most) *
                        fade_out(moves->hidden[band], HOPELESS, HOPELESS_FADE) *
                        moves->audible[band] * moves->in_range[band] * knowledge(moves);
    moves->blame[band] = moves->lift[band] / moves->cast[band];
  }
}

void unmask_moves_hold_back(UnmaskMoves *moves, uint32_t band)
{
  const UnmaskBands *const bands = moves->bands;
  double doing = 0.0;
  for (uint32_t of = 0; of < bands->count; ++of) {
    doing += moves->blame[of] * bands->masks[of][band];
  }
  doing *= moves->share[band];
  const double cut = doing > 0.0 ? planish_soft_bound(doing, moves->settings.most) : 0.0;
  moves->wanted[band] = moves->lift[band] - cut * moves->in_range[band];
}

/* Each band meets its neighbours half way; those that hold next to nothing have no say. */
static void even_out(UnmaskMoves *moves)
{
  const uint32_t count = moves->bands->count;
  double before = 0.0;
  double say_before = 0.0;
  for (uint32_t i = 0; i < count; ++i) {
    const double here = moves->wanted[i];
    const bool last = i + 1 == count;
    const double after = last ? 0.0 : moves->wanted[i + 1];
    const double say_after = last ? 0.0 : 0.25 * moves->audible[i + 1];
    moves->wanted[i] = here + say_before * (before - here) + say_after * (after - here);
    before = here;
    say_before = 0.25 * moves->audible[i];
  }
}

/* The gains of all bands, moved by so many dB. */
PLANISH_WIDE static void take_gains(double gain[ROOM], const UnmaskMoves *moves, double shift)
{
  const double most = moves->settings.most;
  for (uint32_t i = 0; i < ROOM; ++i) {
    gain[i] = i < UNMASK_BANDS ? planish_clamp(moves->wanted[i] + shift, -most, most) : 0.0;
  }
  for (uint32_t i = 0; i < ROOM; i += PLANISH_LANES) {
    planish_four_store(gain + i, planish_four_gain_of(planish_four_load(gain + i)));
  }
}

/* All goes up or down alike until the loudness is what it was: a step of Newton's towards that. */
static void keep_loudness(UnmaskMoves *moves)
{
  const UnmaskBands *const bands = moves->bands;
  const double most = moves->settings.most;
  double gain[ROOM];
  double before = 0.0;
  double after = 0.0;
  take_gains(gain, moves, moves->shift);
  for (uint32_t i = 0; i < bands->count; ++i) {
    before += bands->weight[i] * moves->share[i];
    after += bands->weight[i] * moves->share[i] * gain[i] * gain[i];
  }
  if (after > 0.0) {
    const double off = (after - before) / (after * POWER_OF_DB);
    moves->shift = planish_clamp(moves->shift - off, -most, most);
  }
}

static void move_all(UnmaskMoves *moves)
{
  const uint32_t count = moves->bands->count;
  const double most = moves->settings.most;
  const double step = FASTEST * moves->hop;
  for (uint32_t i = 0; moves->any && i < count; ++i) {
    moves->wanted[i] = planish_clamp(moves->wanted[i] + moves->shift, -most, most);
  }
  for (uint32_t i = 0; i < count; ++i) {
    moves->move[i] += planish_clamp(moves->wanted[i] - moves->move[i], -step, step);
  }
}

static bool is_any_wanted(const UnmaskMoves *moves)
{
  bool any = false;
  for (uint32_t i = 0; i < moves->bands->count; ++i) {
    any = any || moves->wanted[i] != 0.0;
  }
  return any;
}

void unmask_moves_settle(UnmaskMoves *moves, uint32_t step)
{
  if (step == 0) {
    moves->any = is_any_wanted(moves);
    moves->shift = 0.0;
    if (moves->any) {
      even_out(moves);
    }
  } else if (step == UNMASK_SETTLE_STEPS - 1) {
    move_all(moves);
  } else if (moves->any) {
    keep_loudness(moves);
  }
}
