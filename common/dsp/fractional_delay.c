#include "common/dsp/fractional_delay.h"

#include "common/dsp/maths.h"

/* The integral of cos(2 pi f t) over f from 0 to `edge`. */
static double band(double t, double edge)
{
  return t == 0.0 ? edge : sin(2.0 * PLANISH_PI * edge * t) / (2.0 * PLANISH_PI * t);
}

static double weighted(double t, PlanishDelayWeight weight)
{
  return (weight.times - 1.0) * band(t, weight.below) + band(t, 0.5);
}

/* Solves the symmetric Toeplitz system with first row r for the right side p by Levinson's
 * recursion. */
static void solve(const double *r, const double *p, double *x, uint32_t size)
{
  double predictor[PLANISH_FRACTIONAL_DELAY_MAX_TAPS] = {1.0};
  double error = r[0];
  x[0] = p[0] / error;
  for (uint32_t k = 1; k < size; ++k) {
    double sum = 0.0;
    double rest = p[k];
    for (uint32_t i = 0; i < k; ++i) {
      sum += predictor[i] * r[k - i];
      rest -= x[i] * r[k - i];
    }
    const double reflection = -sum / error;
    predictor[k] = 0.0;
    for (uint32_t i = 0; i <= k / 2; ++i) {
      const double front = predictor[i];
      const double back = predictor[k - i];
      predictor[i] = front + reflection * back;
      predictor[k - i] = back + reflection * front;
    }
    error *= 1.0 - reflection * reflection;
    x[k] = 0.0;
    for (uint32_t i = 0; i <= k; ++i) {
      x[i] += rest / error * predictor[k - i];
    }
  }
}

void planish_fractional_delay_design(double *h, uint32_t taps, double fraction,
                                     PlanishDelayWeight weight)
{
  double row[PLANISH_FRACTIONAL_DELAY_MAX_TAPS] = {0};
  double side[PLANISH_FRACTIONAL_DELAY_MAX_TAPS] = {0};
  const double centre = 0.5 * taps - 1.0;
  for (uint32_t k = 0; k < taps; ++k) {
    row[k] = weighted((double)k, weight);
    side[k] = weighted((double)k - centre - fraction, weight);
  }
  solve(row, side, h, taps);
  double sum = 0.0;
  for (uint32_t k = 0; k < taps; ++k) {
    sum += h[k];
  }
  for (uint32_t k = 0; k < taps; ++k) {
    h[k] /= sum;
  }
}
