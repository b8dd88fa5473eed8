#include "common/dsp/band_form.h"

#include "common/dsp/glide.h"

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

PlanishTwo planish_band_form_next(PlanishBandForm *form, const PlanishBandFrame *frame,
                                  PlanishTwo x)
{
  PlanishDynamicBand *current = &form->voice[form->current];
  const PlanishTwo to =
      planish_dynamic_band_next(current, frame->gain, frame->tangent, frame->q, x);
  if (frame->share == 1.0) {
    return to;
  }
  PlanishDynamicBand *other = &form->voice[1 - form->current];
  const PlanishTwo from =
      planish_dynamic_band_next(other, frame->gain, frame->tangent, frame->q, x);
  return (PlanishTwo){
      planish_crossfade_between(from[0], to[0], frame->share),
      planish_crossfade_between(from[1], to[1], frame->share),
  };
}
