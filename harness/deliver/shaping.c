#include "harness/deliver/shaping.h"

#include "common/dsp/toeplitz.h"

#include <math.h>

/* Of nine taps three more would gain 0.05 dB. */
enum { ORDER = 9, POINTS = 2048 };

static const double pi = 3.14159265358979323846;
static const double depth = 35.0;           /* dB */
static const double lowest_quiet = -4.9829; /* dB SPL, of the threshold, at 3324 Hz */
static const double grain = 0x1p-24;

static double quiet_at(double hz)
{
  const double khz = fmax(hz, 20.0) / 1000.0;
  return 3.64 * pow(khz, -0.8) - 6.5 * exp(-0.6 * (khz - 3.3) * (khz - 3.3)) +
         0.001 * pow(khz, 4.0);
}

double planish_shaping_weight(double hz)
{
  const double under = fmax(quiet_at(hz) - lowest_quiet, 0.0);
  return pow(10.0, -0.1 * fmin(under, depth));
}

/* The weight as an autocorrelation. */
static void correlate(double rate, double correlation[ORDER + 1])
{
  for (int k = 0; k <= ORDER; ++k) {
    double sum = 0.0;
    for (int n = 0; n < POINTS; ++n) {
      const double turn = (n + 0.5) / (2.0 * POINTS);
      sum += planish_shaping_weight(turn * rate) * cos(2.0 * pi * turn * k);
    }
    correlation[k] = sum / POINTS;
  }
}

/* The predictor's error filter without the 1 ahead of it: the normal equations of linear prediction
 * (Makhoul, "Linear prediction: a tutorial review", Proc. IEEE 1975). */
static void predict(const double correlation[ORDER + 1], double taps[ORDER])
{
  double side[ORDER];
  for (int n = 0; n < ORDER; ++n) {
    side[n] = -correlation[n + 1];
  }
  planish_toeplitz_solve(correlation, side, taps, ORDER);
}

void planish_shaping_design(PlanishDitherWord *word, double rate)
{
  double correlation[ORDER + 1];
  double taps[ORDER];
  correlate(rate, correlation);
  predict(correlation, taps);
  word->order = ORDER;
  for (int n = 0; n < ORDER; ++n) {
    /* Coarse enough that the last digits of a processor's exp and cos do not show. */
    word->shape[n] = round(taps[n] / grain) * grain;
  }
}
