/* From the powers of the bands to what each of them is moved by.
 *
 * A band is hidden as far as what its neighbours cast over it stands over it, less the same of pink
 * noise (tilted, if wanted): on that, nothing is ever moved. A hidden band is lifted, unless it is
 * hopeless or hiss; and those that hide it are held back by their share in it. Then neighbours are
 * evened a little, the loudness is brought back to what it was, and what is left is approached at
 * no more than 3 dB a second.
 *
 * What is averaged is each band's share of the whole, every moment weighed by its level against
 * the mean: quiet moments count little, a fade changes nothing, and silence is not listened to.
 *
 * One hop: begin, take, then for each band look, for each lift, for each hold_back, then the steps
 * of settle.
 * Levels in dB. Thread: one at a time. All but setup are real-time safe. */
#ifndef PLANISH_UNMASK_MOVES_H
#define PLANISH_UNMASK_MOVES_H

#include "plugins/unmask/bands.h"

#include <stdbool.h>

typedef struct {
  double amount;         /* 0..1 */
  double most;           /* dB */
  double dead_zone;      /* dB */
  double tilt;           /* dB an octave, of the reference over pink */
  double averaging_time; /* s */
  double range[2][2];    /* Hz, from and to; empty where not in order */
} UnmaskSettings;

typedef struct {
  const UnmaskBands *bands;
  UnmaskSettings settings;
  double hop;                          /* s */
  double in_range[UNMASK_BANDS];       /* 0..1 */
  double reference_cast[UNMASK_BANDS]; /* what lies over each band of the reference, over it */
  double reference_tilt;               /* that this was made for */
  double running[UNMASK_BANDS];        /* how far the mean of each band moves in a hop, ... */
  double running_time;                 /* ... for this averaging time */
  double whole;                        /* mean power of all bands, in the scale of take() */
  double heard;                        /* s of sound since reset */
  double share[UNMASK_BANDS];          /* mean of the whole */
  double cast[UNMASK_BANDS];           /* what the neighbours lay over each */
  double hidden[UNMASK_BANDS];         /* dB over the reference; hardly > 0: plain */
  double audible[UNMASK_BANDS];        /* 1, or less where there is next to nothing */
  double lift[UNMASK_BANDS];           /* dB, ... */
  double blame[UNMASK_BANDS];          /* ... and over what is cast there: who casts shares it */
  double wanted[UNMASK_BANDS];         /* dB, lifts and cuts */
  bool any;                            /* there are any */
  double shift;                        /* dB, of all of them, for the loudness */
  double move[UNMASK_BANDS];           /* dB, where they are now */
} UnmaskMoves;

/* `bands` must outlive it; `hop` in s. */
void unmask_moves_setup(UnmaskMoves *moves, const UnmaskBands *bands, double hop);
void unmask_moves_reset(UnmaskMoves *moves);

/* At the start of a hop. */
void unmask_moves_begin(UnmaskMoves *moves, const UnmaskSettings *settings);

/* The powers of all bands now, and the power under which the sum of them is silence. */
void unmask_moves_take(UnmaskMoves *moves, const double *power, double silence);

/* Band 0..count-1: how far it is hidden. */
void unmask_moves_look(UnmaskMoves *moves, uint32_t band);

/* Once that is known of all: its lift. */
void unmask_moves_lift(UnmaskMoves *moves, uint32_t band);

/* Once all lifts are there: what a band gives up for those that it hides. */
void unmask_moves_hold_back(UnmaskMoves *moves, uint32_t band);

/* The first evens neighbours, three bring the loudness back (by Newton's method),
 * and the last moves. */
enum { UNMASK_SETTLE_STEPS = 5 };

/* Once all are there, steps 0..UNMASK_SETTLE_STEPS-1: move[0..count-1] is then what each band is to
 * be moved by. */
void unmask_moves_settle(UnmaskMoves *moves, uint32_t step);

#endif
