/* What a stretch of two channels sums to: the powers of left, right, mid and side, and how left
 * goes with right. Sums of stretches add up to that of the whole.
 *
 * Thread: any. Real-time safe. */
#ifndef PLANISH_DSP_STEREO_SUMS_H
#define PLANISH_DSP_STEREO_SUMS_H

typedef struct {
  double left_square;
  double right_square;
  double product;
  double mid_square;  /* of (L+R)/2 */
  double side_square; /* of (L-R)/2; a sum of its own, since the difference of the others cancels */
} PlanishStereoSums;

/* Adds a frame. */
static inline void planish_stereo_sums_add(PlanishStereoSums *sums, double left, double right)
{
  const double mid = 0.5 * (left + right);
  const double side = 0.5 * (left - right);
  sums->left_square += left * left;
  sums->right_square += right * right;
  sums->product += left * right;
  sums->mid_square += mid * mid;
  sums->side_square += side * side;
}

/* Adds a stretch. */
void planish_stereo_sums_join(PlanishStereoSums *sums, const PlanishStereoSums *more);

/* -1..1, of left with right; NAN if one is silent. */
double planish_stereo_sums_correlation(const PlanishStereoSums *sums);

#endif
