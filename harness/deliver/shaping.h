/* A shape for the error of dither (audio/dither.h) that is least heard.
 *
 * Of all filters of its length it leaves the least noise as weighted by the threshold of hearing in
 * quiet (Terhardt, Hearing Research 1, 1979; as he gives it in closed form): the linear predictor
 * of a signal whose spectrum is the weight (Verhelst, De Koning, ICASSP 2001, name it so; the
 * criterion is that of Lipshitz, Vanderkooy, Wannamaker, JAES 39, 1991). The weight falls at most
 * 35 dB under its largest: more would buy little, with much more noise where nobody hears it.
 * Minimum phase by its making. */
#ifndef PLANISH_HARNESS_SHAPING_H
#define PLANISH_HARNESS_SHAPING_H

#include "harness/audio/dither.h"

/* Fills in order and shape of a word for `rate` Hz, 8000 to 384000. The bits stay. Thread: any. */
void planish_shaping_design(PlanishDitherWord *word, double rate);

/* The weight, as a factor of power, 1 at its largest; `hz` > 0. */
double planish_shaping_weight(double hz);

#endif
