#include "common/dsp/svf.h"

#include "common/dsp/four_lanes.h"
#include "common/dsp/wide.h"

#include <math.h>

PlanishSvfCoefs planish_svf_coefs(const PlanishSvfPolynomial *numerator,
                                  const PlanishSvfPolynomial *denominator)
{
  /* With s put in, the polynomial of s^2 + k s + 1 has the sum 4 g^2 c, the alternating sum 4 c
   * and the edge 2 k g c, and that of the numerator the same with low, high and band. */
  const double root = sqrt(denominator->sum * denominator->alternating);
  const double k = 2.0 * denominator->edge / root;
  const double high = numerator->alternating / denominator->alternating;
  const double band = 2.0 * numerator->edge / root;
  const double low = numerator->sum / denominator->sum;
  return (PlanishSvfCoefs){
      .g = sqrt(denominator->sum / denominator->alternating),
      .k = k,
      .m0 = high,
      .m1 = band - high * k,
      .m2 = low - high,
  };
}

PlanishSvfCoefs planish_svf_from_biquad(const PlanishBiquadCoefs *biquad)
{
  const PlanishSvfPolynomial numerator = {
      biquad->b0 + biquad->b1 + biquad->b2,
      biquad->b0 - biquad->b1 + biquad->b2,
      biquad->b0 - biquad->b2,
  };
  const PlanishSvfPolynomial denominator = {
      1.0 + biquad->a1 + biquad->a2,
      1.0 - biquad->a1 + biquad->a2,
      1.0 - biquad->a2,
  };
  return planish_svf_coefs(&numerator, &denominator);
}

double planish_svf_power(const PlanishSvfCoefs *coefs, double half_sine_squared)
{
  /* s = j t / g with t = tan(w/2); numerator and denominator times (g cos(w/2))^2. */
  const double sine2 = half_sine_squared;
  const double cosine2 = 1.0 - sine2;
  const double g = coefs->g;
  const double high = coefs->m0;
  const double band = coefs->m1 + high * coefs->k;
  const double low = coefs->m2 + high;
  const double top = low * g * g * cosine2 - high * sine2;
  const double bottom = g * g * cosine2 - sine2;
  const double cross = g * g * sine2 * cosine2;
  return (top * top + band * band * cross) / (bottom * bottom + coefs->k * coefs->k * cross);
}

/* The same filter with all constants worked out ahead: the new states straight from the old ones,
 * so that a frame waits for the one before through fewer operations, and the mix likewise. */
typedef struct {
  PlanishTwo s1_of_s1;
  PlanishTwo of_both; /* the band of v and the low of s1, twice */
  PlanishTwo s2_of_v;
  PlanishTwo y_of_x;
  PlanishTwo y_of_s1;
  PlanishTwo y_of_v;
  PlanishTwo y_of_s2;
} Still;

static inline Still still_of(const PlanishSvfCoefs *coefs)
{
  const PlanishSvfSteps steps = planish_svf_steps(coefs->g, coefs->k);
  return (Still){
      .s1_of_s1 = planish_both(2.0 * steps.a1 - 1.0),
      .of_both = planish_both(2.0 * steps.a2),
      .s2_of_v = planish_both(2.0 * steps.a3),
      .y_of_x = planish_both(coefs->m0),
      .y_of_s1 = planish_both(coefs->m1 * steps.a1 + coefs->m2 * steps.a2),
      .y_of_v = planish_both(coefs->m1 * steps.a2 + coefs->m2 * steps.a3),
      .y_of_s2 = planish_both(coefs->m2),
  };
}

static inline PlanishTwo next(const Still *still, PlanishTwo *s1, PlanishTwo *s2, PlanishTwo x)
{
  const PlanishTwo v = x - *s2;
  const PlanishTwo y =
      still->y_of_x * x + (still->y_of_s1 * *s1 + (still->y_of_s2 * *s2 + still->y_of_v * v));
  *s2 = (*s2 + still->of_both * *s1) + still->s2_of_v * v;
  *s1 = still->s1_of_s1 * *s1 + still->of_both * v;
  return y;
}

void planish_svf_process(PlanishSvf *svf, const PlanishSvfCoefs *coefs, PlanishTwo *x,
                         unsigned frames)
{
  const Still still = still_of(coefs);
  PlanishTwo s1 = svf->s1;
  PlanishTwo s2 = svf->s2;
  for (unsigned n = 0; n < frames; ++n) {
    x[n] = next(&still, &s1, &s2, x[n]);
  }
  *svf = (PlanishSvf){s1, s2};
}

void planish_svf_pairs_set(PlanishSvfPairs *pairs, const PlanishSvfCoefs *coefs)
{
  /* One frame: s1 to a s1 + b (x - s2), s2 to s2 + b s1 + c (x - s2), y = d x + e s1 + f s2. */
  const PlanishSvfSteps steps = planish_svf_steps(coefs->g, coefs->k);
  const double a = 2.0 * steps.a1 - 1.0;
  const double b = 2.0 * steps.a2;
  const double c = 2.0 * steps.a3;
  const double of_v = coefs->m1 * steps.a2 + coefs->m2 * steps.a3;
  const double d = coefs->m0 + of_v;
  const double e = coefs->m1 * steps.a1 + coefs->m2 * steps.a2;
  const double f = coefs->m2 - of_v;
  *pairs = (PlanishSvfPairs){
      .s1_of_s1 = planish_both(a * a - b * b),
      .s1_of_s2 = planish_both(-b * (a + 1.0 - c)),
      .s1_of_x = {planish_both(b * (a - c)), planish_both(b)},
      .s2_of_s1 = planish_both(b * (a + 1.0 - c)),
      .s2_more = planish_both(-(b * b + c * (2.0 - c))),
      .s2_of_x = {planish_both(b * b + c * (1.0 - c)), planish_both(c)},
      .y_of_s1 = {planish_both(e), planish_both(e * a + f * b)},
      .y_of_s2 = {planish_both(f), planish_both(f * (1.0 - c) - e * b)},
      .y_of_own = planish_both(d),
      .y_of_x = planish_both(e * b + f * c),
  };
}

static inline PlanishTwo first_of_pair(const PlanishSvfPairs *pairs, const PlanishSvf *svf,
                                       PlanishTwo x)
{
  return pairs->y_of_own * x + (pairs->y_of_s1[0] * svf->s1 + pairs->y_of_s2[0] * svf->s2);
}

/* Moves on to the next pair. */
static inline PlanishTwo second_of_pair(const PlanishSvfPairs *pairs, PlanishSvf *svf,
                                        PlanishTwo first, PlanishTwo x)
{
  const PlanishTwo y = (pairs->y_of_x * first + pairs->y_of_own * x) +
                       (pairs->y_of_s1[1] * svf->s1 + pairs->y_of_s2[1] * svf->s2);
  const PlanishTwo to_s1 = pairs->s1_of_x[0] * first + pairs->s1_of_x[1] * x;
  const PlanishTwo to_s2 = pairs->s2_of_x[0] * first + pairs->s2_of_x[1] * x;
  *svf = (PlanishSvf){
      to_s1 + (pairs->s1_of_s1 * svf->s1 + pairs->s1_of_s2 * svf->s2),
      (svf->s2 + to_s2) + (pairs->s2_of_s1 * svf->s1 + pairs->s2_more * svf->s2),
  };
  return y;
}

void planish_svf_process_pairs(PlanishSvf *svf, const PlanishSvfPairs *pairs, PlanishTwo *waiting,
                               unsigned at, const PlanishTwo *in, PlanishTwo *x, unsigned frames)
{
  const PlanishSvfPairs still = *pairs;
  PlanishSvf state = *svf;
  unsigned n = 0;
  if (at % 2 != 0 && frames > 0) {
    x[n] = second_of_pair(&still, &state, *waiting, in[n]);
    ++n;
  }
  for (; n + 2 <= frames; n += 2) {
    const PlanishTwo first = in[n];
    const PlanishTwo second = in[n + 1];
    x[n] = first_of_pair(&still, &state, first);
    x[n + 1] = second_of_pair(&still, &state, first, second);
  }
  if (n < frames) {
    *waiting = in[n];
    x[n] = first_of_pair(&still, &state, *waiting);
  }
  *svf = state;
}

void planish_svf_process_moving(PlanishSvf *svf, PlanishSvfCoefs *coefs,
                                const PlanishSvfCoefs *change, PlanishTwo *x, unsigned frames)
{
  PlanishSvfCoefs now = *coefs;
  PlanishTwo s1 = svf->s1;
  PlanishTwo s2 = svf->s2;
  for (unsigned n = 0; n < frames; ++n) {
    const Still still = still_of(&now);
    x[n] = next(&still, &s1, &s2, x[n]);
    now.g += change->g;
    now.k += change->k;
    now.m0 += change->m0;
    now.m1 += change->m1;
    now.m2 += change->m2;
  }
  *svf = (PlanishSvf){s1, s2};
  *coefs = now;
}

/* Four frames of a straight line. */
PLANISH_INLINED PlanishFour line(double from, double to, PlanishFour place)
{
  return planish_all(from) + place * planish_all((to - from) * (1.0 / PLANISH_SVF_WAY));
}

/* As still_of(), four frames from `n` on. */
PLANISH_INLINED void set_four(PlanishSvfWay *way, const PlanishSvfCoefs *from,
                              const PlanishSvfCoefs *to, unsigned n)
{
  const PlanishFour place = planish_all(n) + (PlanishFour){0.0, 1.0, 2.0, 3.0};
  const PlanishFour one = planish_all(1.0);
  const PlanishFour g = line(from->g, to->g, place);
  const PlanishFour k = line(from->k, to->k, place);
  const PlanishFour m1 = line(from->m1, to->m1, place);
  const PlanishFour m2 = line(from->m2, to->m2, place);
  const PlanishFour a1 = one / (one + g * (g + k));
  const PlanishFour a2 = g * a1;
  const PlanishFour a3 = g * a2;
  planish_four_store(way->s1_of_s1 + n, a1 + a1 - one);
  planish_four_store(way->of_both + n, a2 + a2);
  planish_four_store(way->s2_of_v + n, a3 + a3);
  planish_four_store(way->y_of_x + n, line(from->m0, to->m0, place));
  planish_four_store(way->y_of_s1 + n, m1 * a1 + m2 * a2);
  planish_four_store(way->y_of_v + n, m1 * a2 + m2 * a3);
  planish_four_store(way->y_of_s2 + n, m2);
}

PLANISH_WIDE void planish_svf_way_set(PlanishSvfWay *way, const PlanishSvfCoefs *from,
                                      const PlanishSvfCoefs *to)
{
  for (unsigned n = 0; n < PLANISH_SVF_WAY; n += PLANISH_LANES) {
    set_four(way, from, to, n);
  }
}

PLANISH_INLINED Still still_at(const PlanishSvfWay *way, unsigned n)
{
  return (Still){
      .s1_of_s1 = planish_both(way->s1_of_s1[n]),
      .of_both = planish_both(way->of_both[n]),
      .s2_of_v = planish_both(way->s2_of_v[n]),
      .y_of_x = planish_both(way->y_of_x[n]),
      .y_of_s1 = planish_both(way->y_of_s1[n]),
      .y_of_v = planish_both(way->y_of_v[n]),
      .y_of_s2 = planish_both(way->y_of_s2[n]),
  };
}

PLANISH_WIDE void planish_svf_process_way(PlanishSvf *svf, const PlanishSvfWay *way, unsigned at,
                                          const PlanishTwo *in, PlanishTwo *x, unsigned frames)
{
  PlanishTwo s1 = svf->s1;
  PlanishTwo s2 = svf->s2;
  for (unsigned n = 0; n < frames; ++n) {
    const Still still = still_at(way, at + n);
    x[n] = next(&still, &s1, &s2, in[n]);
  }
  *svf = (PlanishSvf){s1, s2};
}
