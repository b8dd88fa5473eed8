#include "harness/render/fades.h"

#include "common/dsp/maths.h"

#include <math.h>

static bool check(const char *what, uint64_t length, const PlanishFades *fades, double rate,
                  PlanishError *error)
{
  return length <= fades->end ||
         planish_fail(error, PLANISH_BAD_USE,
                      "longer than the master: %s: it is %.3f s, mix and tail are %.3f s: shorten "
                      "it in the sheet",
                      what, (double)length / rate, (double)fades->end / rate);
}

bool planish_fades_new(PlanishFades *fades, const PlanishSheet *sheet, double rate, uint64_t frames,
                       PlanishError *error)
{
  *fades = (PlanishFades){
      .in_shape = sheet->fade_in.shape,
      .out_shape = sheet->fade_out.shape,
      .in = planish_sheet_frames(sheet->fade_in.length, rate),
      .out = planish_sheet_frames(sheet->fade_out.length, rate),
      .end = frames + planish_sheet_frames(sheet->tail, rate),
  };
  return check("fade_in", fades->in, fades, rate, error) &&
         check("fade_out", fades->out, fades, rate, error);
}

static double shaped(PlanishFadeShape shape, double x)
{
  switch (shape) {
  case PLANISH_FADE_LINEAR:
    return x;
  case PLANISH_FADE_EQUAL_POWER:
    return sin(0.5 * PLANISH_PI * x);
  case PLANISH_FADE_S_SHAPED:
    return planish_smoothstep(x);
  }
  return x;
}

static double gain_at(const PlanishFades *fades, uint64_t frame)
{
  const uint64_t left = fades->end - 1 - frame;
  const double in =
      frame < fades->in ? shaped(fades->in_shape, (double)frame / (double)fades->in) : 1.0;
  const double out =
      left < fades->out ? shaped(fades->out_shape, (double)left / (double)fades->out) : 1.0;
  return in * out;
}

void planish_fades_process(const PlanishFades *fades, uint64_t first, float *interleaved,
                           size_t frames)
{
  for (size_t n = 0; n < frames; ++n) {
    const uint64_t frame = first + n;
    if (frame >= fades->in && frame + fades->out < fades->end) {
      continue;
    }
    const double gain = gain_at(fades, frame);
    interleaved[2 * n] = (float)(gain * (double)interleaved[2 * n]);
    interleaved[2 * n + 1] = (float)(gain * (double)interleaved[2 * n + 1]);
  }
}
