#include "plugins/ms-eq/eq_region.h"

#include "common/dsp/maths.h"
#include "common/dsp/side_chain.h"

#define SHARPEST 8.0

static PlanishBandType region_type(PlanishEqType type)
{
  switch (type) {
  case PLANISH_EQ_PEAKING:
    return PLANISH_BAND_PEAKING;
  case PLANISH_EQ_LOW_SHELF:
  case PLANISH_EQ_HIGH_PASS:
    return PLANISH_BAND_LOW_SHELF;
  case PLANISH_EQ_HIGH_SHELF:
  case PLANISH_EQ_LOW_PASS:
    return PLANISH_BAND_HIGH_SHELF;
  case PLANISH_EQ_TILT:
    break;
  }
  return PLANISH_BAND_FULL;
}

PlanishSvfCoefs planish_eq_region(PlanishEqType type, const PlanishEqSetting *setting, double rate)
{
  const double tangent = planish_side_chain_tangent(setting->frequency, rate);
  return planish_side_chain_band(region_type(type), tangent, planish_min(setting->q, SHARPEST));
}
