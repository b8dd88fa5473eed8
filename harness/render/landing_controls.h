/* The controls of a sheet that landing moves: `by` and those of `ceiling_at`.
 *
 * Thread: that of the host. */
#ifndef PLANISH_HARNESS_LANDING_CONTROLS_H
#define PLANISH_HARNESS_LANDING_CONTROLS_H

#include "harness/render/chain.h"
#include "harness/render/landing.h"

typedef struct {
  PlanishSheet *sheet;
  float by;        /* as the sheet has it */
  float *ceilings; /* likewise, one for each of ceiling_at */
} PlanishLandingControls;

/* Remembers the sheet's own values. `sheet` must outlive it. */
bool planish_landing_controls_new(PlanishLandingControls *controls, PlanishSheet *sheet,
                                  PlanishError *error);
void planish_landing_controls_free(PlanishLandingControls *controls);

/* What the sheet as it stands wants of a landing, and where that begins: at the sheet's value, else
 * where a chain would land that limits nothing, if the working level (LUFS) is known. */
PlanishLandingTask planish_landing_controls_task(const PlanishLandingControls *controls);
double planish_landing_controls_begin(const PlanishLandingControls *controls, double working);

/* Up to, not including, this stage of a sheet the sound stays the same whatever is moved. */
uint32_t planish_landing_still_stages(const PlanishSheet *sheet);

/* Sets them in the sheet for a render: `lowering` off the sheet's own ceilings. */
void planish_landing_controls_apply(const PlanishLandingControls *controls,
                                    const PlanishLandingTask *task, double control,
                                    double lowering);

/* The loudness in LUFS that the result would have if the chain limited nothing: what comes to the
 * stage whose control is moved, and the plain gains from there on; stages in `without` (by index;
 * NULL: none) left out. NAN: that cannot be said. */
double planish_landing_controls_unlimited(const PlanishLandingControls *controls,
                                          const PlanishAccount *accounts, const bool *without);

#endif
