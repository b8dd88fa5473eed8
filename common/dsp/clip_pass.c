#include "common/dsp/clip_pass.h"

#include "common/dsp/maths.h"

/* Frames kept: the filter's span for this frame and for the one before. */
enum { KEPT = 2 * PLANISH_OVERSAMPLER_TAPS };

void planish_clip_pass_setup(PlanishClipPass *pass, PlanishArena *arena)
{
  *pass = (PlanishClipPass){0};
  pass->past = planish_arena_take(arena, (size_t)2 * KEPT, sizeof(double));
  for (uint32_t e = 0; e < PLANISH_CLIP_PASS_ENGINES; ++e) {
    planish_decimator_setup(&pass->engines[e].decimator, arena);
  }
}

void planish_clip_pass_reset(PlanishClipPass *pass)
{
  for (uint32_t i = 0; i < 2 * KEPT; ++i) {
    pass->past[i] = 0.0;
  }
  pass->at = 0;
  pass->largest = 0.0;
  for (uint32_t e = 0; e < PLANISH_CLIP_PASS_ENGINES; ++e) {
    planish_clip_pass_restart(pass, e);
  }
}

void planish_clip_pass_restart(PlanishClipPass *pass, uint32_t engine)
{
  planish_decimator_reset(&pass->engines[engine].decimator);
  pass->engines[engine].knows_last = false;
}

/* The filter's span, oldest first, that ends `back` frames ago; back <= KEPT - taps. */
static const double *span(const PlanishClipPass *pass, uint32_t back)
{
  return pass->past + KEPT + pass->at - back - (PLANISH_OVERSAMPLER_TAPS - 1);
}

void planish_clip_pass_push(PlanishClipPass *pass, double x)
{
  pass->at = (pass->at + 1) % KEPT;
  pass->past[pass->at] = x;
  pass->past[KEPT + pass->at] = x;
  const double *newest = span(pass, 0);
  double even = 0.0;
  double odd = 0.0;
  for (uint32_t k = 0; k < PLANISH_OVERSAMPLER_TAPS; k += 2) {
    even = planish_max(even, fabs(newest[k]));
    odd = planish_max(odd, fabs(newest[k + 1]));
  }
  pass->largest = planish_max(even, odd);
}

double planish_clip_pass_delayed(const PlanishClipPass *pass)
{
  return *span(pass, 0);
}

double planish_clip_pass_residue(PlanishClipPass *pass, uint32_t engine,
                                 const PlanishOversampler *filters, const PlanishClipCurve *curve,
                                 double *peak)
{
  PlanishClipEngine *const own = &pass->engines[engine];
  _Alignas(16) double fine[PLANISH_OVERSAMPLER_MAX_RATIO];
  _Alignas(16) double means[PLANISH_OVERSAMPLER_MAX_RATIO];
  if (pass->largest * filters->peak_gain <= curve->start) {
    own->knows_last = false;
    return planish_decimator_process(&own->decimator, filters, NULL);
  }
  if (!own->knows_last) {
    planish_oversampler_up(filters, span(pass, 1), fine);
    own->last = fine[filters->ratio - 1];
  }
  planish_oversampler_up(filters, span(pass, 0), fine);
  const double largest = planish_clip_curve_means(curve, own->last, fine, means, filters->ratio);
  own->last = fine[filters->ratio - 1];
  own->knows_last = true;
  *peak = planish_max(*peak, largest);
  return planish_decimator_process(&own->decimator, filters, largest > 0.0 ? means : NULL);
}
