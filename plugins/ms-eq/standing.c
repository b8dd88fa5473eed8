#include "plugins/ms-eq/standing.h"

#include "common/dsp/maths.h"
#include "common/dsp/wide.h"

#include <math.h>

/* A stretch of frequencies: in vectors, since all bands run over it. */
typedef struct {
  uint32_t count;
  float square[PLANISH_STANDING_PART]; /* of the frequency, radians a frame */
  float gain[PLANISH_STANDING_PART];   /* of the band at work; first its square */
  float p_re[PLANISH_STANDING_PART];
  float p_im[PLANISH_STANDING_PART];
  float q_re[PLANISH_STANDING_PART];
  float q_im[PLANISH_STANDING_PART];
} Stretch;

static bool counts(const PlanishStandingBand *band)
{
  return band->on && !planish_eq_is_neutral(&band->setting);
}

static bool folds(const PlanishStanding *standing)
{
  return standing->mono && standing->mono_amount > 0.0;
}

static bool is_same_band(const PlanishStandingBand *a, const PlanishStandingBand *b)
{
  if (!counts(a) || !counts(b)) {
    return counts(a) == counts(b);
  }
  return a->channels == b->channels && a->setting.type == b->setting.type &&
         a->setting.order == b->setting.order && a->setting.frequency == b->setting.frequency &&
         a->setting.gain == b->setting.gain && a->setting.q == b->setting.q;
}

bool planish_standing_is_same(const PlanishStanding *a, const PlanishStanding *b)
{
  bool same = folds(a) == folds(b);
  if (folds(a) && folds(b)) {
    same = a->mono_below == b->mono_below && a->mono_amount == b->mono_amount;
  }
  for (int i = 0; same && i < PLANISH_STANDING_BANDS; ++i) {
    same = is_same_band(&a->band[i], &b->band[i]);
  }
  return same;
}

bool planish_standing_is_neutral(const PlanishStanding *standing)
{
  bool neutral = !folds(standing);
  for (int i = 0; neutral && i < PLANISH_STANDING_BANDS; ++i) {
    neutral = !counts(&standing->band[i]);
  }
  return neutral;
}

uint32_t planish_standing_sections(const PlanishStanding *standing, double rate)
{
  uint32_t sections = folds(standing) ? 1 : 0;
  for (int i = 0; i < PLANISH_STANDING_BANDS; ++i) {
    if (counts(&standing->band[i])) {
      PlanishEqPrototype prototype;
      planish_eq_prototype(&standing->band[i].setting, rate, &prototype);
      sections += prototype.count;
    }
  }
  return sections;
}

PLANISH_WIDE static void begin(Stretch *s, double step, uint32_t from)
{
  const float width = (float)step;
  const float first = (float)from + 0.5F;
  for (uint32_t k = 0; k < s->count; ++k) {
    const float w = width * (first + (float)k);
    s->square[k] = w * w;
    s->p_re[k] = 1.0F;
    s->p_im[k] = 0.0F;
    s->q_re[k] = 0.0F;
    s->q_im[k] = 0.0F;
  }
}

PLANISH_WIDE static void take_power(Stretch *s, const PlanishEqSection *section, bool first)
{
  const float n0 = (float)section->numerator.p0;
  const float n1 = (float)(section->numerator.p1 * section->numerator.p1);
  const float n2 = (float)section->numerator.p2;
  const float d0 = (float)section->denominator.p0;
  const float d1 = (float)(section->denominator.p1 * section->denominator.p1);
  const float d2 = (float)section->denominator.p2;
  for (uint32_t k = 0; k < s->count; ++k) {
    const float w2 = s->square[k];
    const float n = n0 - n2 * w2;
    const float d = d0 - d2 * w2;
    const float power = (n * n + n1 * w2) / (d * d + d1 * w2);
    s->gain[k] = first ? power : s->gain[k] * power;
  }
}

PLANISH_WIDE static void take_root(Stretch *s)
{
  for (uint32_t k = 0; k < s->count; ++k) {
    s->gain[k] = sqrtf(s->gain[k]);
  }
}

/* A Linkwitz-Riley high-pass of fourth order, and what it leaves out at less than the whole
 * amount: their phases are the same. */
PLANISH_WIDE static void take_fold(Stretch *s, double period, double amount)
{
  const float scale = (float)(period * period);
  const float share = (float)amount;
  for (uint32_t k = 0; k < s->count; ++k) {
    const float x = scale * s->square[k];
    s->gain[k] = 1.0F - share / (1.0F + x * x);
  }
}

PLANISH_WIDE static void on_both(Stretch *s)
{
  for (uint32_t k = 0; k < s->count; ++k) {
    s->p_re[k] *= s->gain[k];
    s->p_im[k] *= s->gain[k];
    s->q_re[k] *= s->gain[k];
    s->q_im[k] *= s->gain[k];
  }
}

/* u = sign: left or right. */
PLANISH_WIDE static void on_one(Stretch *s, float sign)
{
  for (uint32_t k = 0; k < s->count; ++k) {
    const float a = 0.5F * s->gain[k] + 0.5F;
    const float b = sign * (0.5F * s->gain[k] - 0.5F);
    const float p_re = s->p_re[k];
    const float p_im = s->p_im[k];
    s->p_re[k] = a * p_re + b * s->q_re[k];
    s->p_im[k] = a * p_im - b * s->q_im[k];
    s->q_re[k] = a * s->q_re[k] + b * p_re;
    s->q_im[k] = a * s->q_im[k] - b * p_im;
  }
}

/* u = i sign: mid or side. */
PLANISH_WIDE static void on_mid_or_side(Stretch *s, float sign)
{
  for (uint32_t k = 0; k < s->count; ++k) {
    const float a = 0.5F * s->gain[k] + 0.5F;
    const float b = sign * (0.5F * s->gain[k] - 0.5F);
    const float p_re = s->p_re[k];
    const float p_im = s->p_im[k];
    s->p_re[k] = a * p_re + b * s->q_im[k];
    s->p_im[k] = a * p_im + b * s->q_re[k];
    s->q_re[k] = a * s->q_re[k] + b * p_im;
    s->q_im[k] = a * s->q_im[k] + b * p_re;
  }
}

/* After what is there already. */
static void multiply(Stretch *s, PlanishEqChannels channels)
{
  switch (channels) {
  case PLANISH_EQ_STEREO:
    on_both(s);
    break;
  case PLANISH_EQ_MID:
    on_mid_or_side(s, 1.0F);
    break;
  case PLANISH_EQ_SIDE:
    on_mid_or_side(s, -1.0F);
    break;
  case PLANISH_EQ_LEFT:
    on_one(s, 1.0F);
    break;
  case PLANISH_EQ_RIGHT:
    on_one(s, -1.0F);
    break;
  }
}

static void take_band(Stretch *s, const PlanishStandingBand *band, double rate)
{
  PlanishEqPrototype prototype;
  planish_eq_prototype(&band->setting, rate, &prototype);
  for (unsigned i = 0; i < prototype.count; ++i) {
    take_power(s, &prototype.section[i], i == 0);
  }
  take_root(s);
  multiply(s, band->channels);
}

void planish_standing_gains(const PlanishStanding *standing, double rate, double step,
                            uint32_t from, uint32_t count, PlanishComplex *p, PlanishComplex *q)
{
  Stretch s = {.count = count};
  begin(&s, step, from);
  for (int i = 0; i < PLANISH_STANDING_BANDS; ++i) {
    if (counts(&standing->band[i])) {
      take_band(&s, &standing->band[i], rate);
    }
  }
  if (folds(standing)) {
    take_fold(&s, rate / (2.0 * PLANISH_PI * standing->mono_below), standing->mono_amount);
    multiply(&s, PLANISH_EQ_SIDE);
  }
  for (uint32_t k = 0; k < count; ++k) {
    p[k] = (PlanishComplex){s.p_re[k] - 1.0F, s.p_im[k]};
    q[k] = (PlanishComplex){s.q_re[k], s.q_im[k]};
  }
}
