#include "common/dsp/band_form.h"

#include "common/dsp/glide.h"

#include <string.h>

void planish_band_form_setup(PlanishBandForm *form, double rate)
{
  planish_crossfade_setup(&form->fade, rate, PLANISH_GLIDE_MS);
}

void planish_band_form_jump(PlanishBandForm *form, PlanishBandType type)
{
  form->current = 0;
  form->wanted = type;
  planish_dynamic_band_start(&form->voice[0], type, planish_both(0.0));
  planish_crossfade_jump(&form->fade, true);
}

void planish_band_form_grid(PlanishBandForm *form, PlanishTwo x)
{
  if (planish_crossfade_is_moving(&form->fade) || form->voice[form->current].type == form->wanted) {
    return;
  }
  form->current = 1 - form->current;
  planish_dynamic_band_start(&form->voice[form->current], form->wanted, x);
  planish_crossfade_jump(&form->fade, false);
  planish_crossfade_turn(&form->fade, true);
}

PlanishSvfCoefs planish_band_form_side_chain(const PlanishBandForm *form, double share,
                                             double tangent, double q)
{
  const PlanishBandType type = form->voice[form->current].type;
  const PlanishSvfCoefs to = planish_side_chain_band(type, tangent, q);
  if (share == 1.0) {
    return to;
  }
  const PlanishBandType old = form->voice[1 - form->current].type;
  const PlanishSvfCoefs from = planish_side_chain_band(old, tangent, q);
  return (PlanishSvfCoefs){
      .g = tangent,
      .k = planish_crossfade_between(from.k, to.k, share),
      .m0 = planish_crossfade_between(from.m0, to.m0, share),
      .m1 = planish_crossfade_between(from.m1, to.m1, share),
      .m2 = planish_crossfade_between(from.m2, to.m2, share),
  };
}

void planish_band_form_process(PlanishBandForm *form, const double *const gain[2], double tangent,
                               double q, double share, double *const audio[2], uint32_t frames)
{
  PlanishDynamicBand *current = &form->voice[form->current];
  PlanishDynamicBand *other = &form->voice[1 - form->current];
  if (share == 1.0) {
    planish_dynamic_band_process(current, gain, tangent, q, audio, frames);
    return;
  }
  double old[2][PLANISH_GRID];
  double *const from[2] = {old[0], old[1]};
  memcpy(old[0], audio[0], frames * sizeof(double));
  memcpy(old[1], audio[1], frames * sizeof(double));
  planish_dynamic_band_process(current, gain, tangent, q, audio, frames);
  planish_dynamic_band_process(other, gain, tangent, q, from, frames);
  for (uint32_t c = 0; c < 2; ++c) {
    for (uint32_t i = 0; i < frames; ++i) {
      audio[c][i] = planish_crossfade_between(old[c][i], audio[c][i], share);
    }
  }
}
