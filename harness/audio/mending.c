#include "harness/audio/mending.h"

#include "common/dsp/maths.h"

bool planish_mending_is_neutral(const PlanishMending *mending)
{
  return mending->balance == 0.0 && !mending->invert[0] && !mending->invert[1] && !mending->swap &&
         !mending->remove_dc;
}

bool planish_mending_is_even(const PlanishMending *mending)
{
  return mending->balance == 0.0 && mending->invert[0] == mending->invert[1];
}

void planish_mending_process(const PlanishMending *mending, const double mean[2],
                             float *interleaved, size_t frames)
{
  if (planish_mending_is_neutral(mending)) {
    return;
  }
  double factor[2]; /* by channel of the result */
  double offset[2] = {0.0, 0.0};
  size_t from[2];
  for (size_t c = 0; c < 2; ++c) {
    from[c] = mending->swap ? 1 - c : c;
    factor[c] = planish_gain_of(c == 0 ? -0.5 * mending->balance : 0.5 * mending->balance);
    factor[c] = mending->invert[from[c]] ? -factor[c] : factor[c];
    offset[c] = mending->remove_dc ? mean[from[c]] : 0.0;
  }
  for (size_t n = 0; n < frames; ++n) {
    float *frame = interleaved + 2 * n;
    const double in[2] = {(double)frame[0], (double)frame[1]};
    frame[0] = (float)(factor[0] * (in[from[0]] - offset[0]));
    frame[1] = (float)(factor[1] * (in[from[1]] - offset[1]));
  }
}
