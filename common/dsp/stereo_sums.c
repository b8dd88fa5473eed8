#include "common/dsp/stereo_sums.h"

#include "common/dsp/maths.h"

void planish_stereo_sums_join(PlanishStereoSums *sums, const PlanishStereoSums *more)
{
  sums->left_square += more->left_square;
  sums->right_square += more->right_square;
  sums->product += more->product;
  sums->mid_square += more->mid_square;
  sums->side_square += more->side_square;
}

double planish_stereo_sums_correlation(const PlanishStereoSums *sums)
{
  const double both = sqrt(sums->left_square) * sqrt(sums->right_square);
  return both > 0.0 ? planish_clamp(sums->product / both, -1.0, 1.0) : (double)NAN;
}
