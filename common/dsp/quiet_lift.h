/* A lift for quiet content: how many dB each frame may be raised, from a slow held level.
 *
 * The level is the larger of the power (means over slots of 1/16 to 1/8 s, the largest of eight)
 * and the true peak less 8 dB (the largest of sixteen slots). The lift is full below -24 dB, none
 * above -12 dB. Below a floor of power it fades out again within 8 dB, so that hiss, pauses and the
 * ends of fades are not raised.
 *
 * Against a loud frame the lift drops at once, within that frame: smooth it with look-ahead
 * (gain_path.h). It rises over some tenths of a second.
 *
 * Thread: one at a time. Real-time safe. */
#ifndef PLANISH_DSP_QUIET_LIFT_H
#define PLANISH_DSP_QUIET_LIFT_H

#include <stdbool.h>
#include <stdint.h>

enum { PLANISH_QUIET_LIFT_SLOTS = 16 };

typedef struct {
  double peaks[PLANISH_QUIET_LIFT_SLOTS];  /* largest peak of each slot, magnitudes */
  double powers[PLANISH_QUIET_LIFT_SLOTS]; /* mean power of each slot */
  double held_peak;                        /* largest of all slots */
  double held_power_db;                    /* largest of the last eight slots */
  double slot_peak;                        /* of the slot that is being filled */
  double slot_power;                       /* its sum so far */
  double loud_db;                          /* smoothed level that takes the lift away */
  double power_db;                         /* smoothed power that the floor looks at */
  double amount;                           /* dB, on its way to `target` */
  double target;
  double floor;
  double floor_weight; /* 0..1 */
  double lift;         /* dB, now */
  double fall;         /* share of the way in a grid interval */
  double step;         /* of the amount in a grid interval, dB */
  uint32_t slot;       /* that is being filled */
  uint32_t slot_grids; /* length of a slot in grid intervals */
  uint32_t grid;       /* grid intervals gone of this slot */
  uint32_t frame;      /* frames since the last grid frame */
} PlanishQuietLift;

void planish_quiet_lift_setup(PlanishQuietLift *lift, double rate);
void planish_quiet_lift_reset(PlanishQuietLift *lift);

/* Full lift in dB, >= 0; floor in dB. At grid frames. `at_once`: the amount does not glide. */
void planish_quiet_lift_set(PlanishQuietLift *lift, double amount, double floor, bool at_once);

/* Whether the lift can be other than 0 until the next grid frame. */
static inline bool planish_quiet_lift_is_on(const PlanishQuietLift *lift)
{
  return lift->amount > 0.0 || lift->target > 0.0;
}

/* Fills lift_db[i] for the frame that peaks[channel][i] belongs to; power is taken from `audio`,
 * which may be some frames ahead of it. Never across a grid frame. Call it for every frame. */
void planish_quiet_lift_process(PlanishQuietLift *lift, double *const *audio, double *const *peaks,
                                uint32_t channels, uint32_t frames, double *lift_db);

#endif
