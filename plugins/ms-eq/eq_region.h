/* Where in the spectrum a band works: what is within a peak, under a low shelf's or a high-pass's
 * frequency, above a high shelf's or a low-pass's (of a pass: what it takes away), all of it for a
 * tilt. What is listened to and what moves a band is the same.
 *
 * Real-time safe. */
#ifndef PLANISH_MS_EQ_EQ_REGION_H
#define PLANISH_MS_EQ_EQ_REGION_H

#include "common/dsp/eq_prototype.h"
#include "common/dsp/svf.h"

/* A filter of second order for frequency, Q and type of the setting. A peak has 0 dB at its centre
 * and is never sharper than Q 8, which would ring; the others are 3 dB down at the frequency. */
PlanishSvfCoefs planish_eq_region(PlanishEqType type, const PlanishEqSetting *setting, double rate);

#endif
