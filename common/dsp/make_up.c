#include "common/dsp/make_up.h"

#include "common/dsp/maths.h"

#define SLOT_SECONDS 0.1
#define GLIDE_MS     200.0
#define LARGEST_DB   12.0

/* Share of the power, 0.2 dB: a loud passage must not be paid for by a quiet one. */
#define LARGEST_CORRECTION 0.047

/* -70 LUFS as a sum of mean squares: ITU-R BS.1770-4 Annex 1, loudness = -0.691 + 10 lg(power). */
#define GATE 1.17246e-7

/* What a frame counts for at most: +24 dB. A click of a broken file would outweigh minutes of
 * music. */
#define LARGEST_MAGNITUDE 16.0

void planish_make_up_setup(PlanishMakeUp *make_up, PlanishArena *arena, double rate)
{
  *make_up = (PlanishMakeUp){.coefs = planish_k_weighting_design(rate)};
  make_up->keep = exp(-SLOT_SECONDS / PLANISH_MAKE_UP_SECONDS);
  /* Whole grid intervals, as the glide is set at grid frames. */
  make_up->slot_frames = PLANISH_GRID * (uint32_t)(rate * SLOT_SECONDS / PLANISH_GRID + 0.5);
  planish_glide_setup(&make_up->gain, arena, rate, GLIDE_MS);
  planish_make_up_reset(make_up);
}

void planish_make_up_reset(PlanishMakeUp *make_up)
{
  for (int c = 0; c < 2; ++c) {
    planish_k_weighting_reset(&make_up->before[c]);
    planish_k_weighting_reset(&make_up->after[c]);
  }
  make_up->slot_before = 0.0;
  make_up->slot_after = 0.0;
  make_up->slot_given = 0.0;
  make_up->sum_before = 0.0;
  make_up->sum_after = 0.0;
  make_up->weight = 0.0;
  make_up->owed = 0.0;
  make_up->frame = 0;
  planish_glide_jump(&make_up->gain, 0.0);
}

static void end_slot(PlanishMakeUp *make_up)
{
  if (make_up->slot_before > GATE * make_up->slot_frames) {
    make_up->sum_before = make_up->keep * make_up->sum_before + make_up->slot_before;
    make_up->sum_after = make_up->keep * make_up->sum_after + make_up->slot_after;
    make_up->weight = make_up->keep * make_up->weight + 1.0;
    make_up->owed += make_up->slot_before - make_up->slot_given;
    const double most = LARGEST_CORRECTION * make_up->sum_before;
    const double due = (1.0 - make_up->keep) * make_up->weight * make_up->owed;
    const double wanted = make_up->sum_before + planish_clamp(due, -most, most);
    const double level = planish_level_of_power(wanted / make_up->sum_after);
    planish_glide_set(&make_up->gain, planish_clamp(level, -LARGEST_DB, LARGEST_DB));
  }
  make_up->slot_before = 0.0;
  make_up->slot_after = 0.0;
  make_up->slot_given = 0.0;
  make_up->frame = 0;
}

static double weighted_power(PlanishKWeighting *k, const PlanishKWeightingCoefs *coefs,
                             double *const *audio, uint32_t channels, uint32_t i)
{
  double power = 0.0;
  for (uint32_t c = 0; c < channels; ++c) {
    const double x = planish_clamp(audio[c][i], -LARGEST_MAGNITUDE, LARGEST_MAGNITUDE);
    const double y = planish_k_weighting_process(&k[c], coefs, x);
    power += y * y;
  }
  return power;
}

void planish_make_up_process(PlanishMakeUp *make_up, double *const *before, double *const *after,
                             uint32_t channels, uint32_t frames, double *gain)
{
  if (make_up->frame == make_up->slot_frames) {
    end_slot(make_up);
  }
  make_up->frame += frames;
  for (uint32_t i = 0; i < frames; ++i) {
    const double power = weighted_power(make_up->after, &make_up->coefs, after, channels, i);
    make_up->slot_before += weighted_power(make_up->before, &make_up->coefs, before, channels, i);
    gain[i] = planish_glide_next(&make_up->gain);
    const double factor = planish_gain_of(gain[i]);
    make_up->slot_after += power;
    make_up->slot_given += power * factor * factor;
  }
}
