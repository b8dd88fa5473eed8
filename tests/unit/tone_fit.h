/* A sine of known frequency fitted to a signal by least squares, and what it leaves over. The
 * stretch need not hold whole periods. */
#ifndef PLANISH_TESTS_TONE_FIT_H
#define PLANISH_TESTS_TONE_FIT_H

#include "common/dsp/maths.h"

#include <stddef.h>

typedef struct {
  double amplitude;
  double rest_db; /* power of all but the tone, over the tone's */
} ToneFit;

static inline ToneFit tone_fit(const double *x, size_t frames, double hz, double rate)
{
  double ss = 0.0;
  double sc = 0.0;
  double cc = 0.0;
  double xs = 0.0;
  double xc = 0.0;
  const double step = 2.0 * PLANISH_PI * hz / rate;
  for (size_t n = 0; n < frames; ++n) {
    const double s = sin(step * (double)n);
    const double c = cos(step * (double)n);
    ss += s * s;
    sc += s * c;
    cc += c * c;
    xs += x[n] * s;
    xc += x[n] * c;
  }
  const double determinant = ss * cc - sc * sc;
  const double a = (xs * cc - xc * sc) / determinant;
  const double b = (xc * ss - xs * sc) / determinant;
  double rest = 0.0;
  double tone = 0.0;
  for (size_t n = 0; n < frames; ++n) {
    const double fit = a * sin(step * (double)n) + b * cos(step * (double)n);
    tone += fit * fit;
    rest += (x[n] - fit) * (x[n] - fit);
  }
  return (ToneFit){sqrt(a * a + b * b), 10.0 * log10(rest / tone + 1e-40)};
}

#endif
