/* The law of the unmasking equaliser: an engine, the powers of its bands, and slow gains of no
 * phase that bands share out among the bins.
 *
 * Thread: one at a time. All but setup and release are real-time safe. */
#ifndef PLANISH_UNMASK_LAW_H
#define PLANISH_UNMASK_LAW_H

#include "common/dsp/arena.h"
#include "common/dsp/spectral_engine.h"
#include "plugins/unmask/bands.h"
#include "plugins/unmask/moves.h"

/* A band that moves, for reading. */
typedef struct {
  double db;        /* how far, >= 0 */
  double frequency; /* Hz; 0: nowhere */
} UnmaskReading;

typedef struct {
  PlanishSpectralEngine engine;
  UnmaskBands bands;
  UnmaskMoves moves;
  UnmaskSettings wanted;      /* taken over at the start of each hop */
  double power[UNMASK_BANDS]; /* of the hop under work */
  double silence;             /* power of all bands under which a hop is not listened to */
  uint32_t gap;               /* the first band that reaches into the part under work */
  float *bin;                 /* powers, then gains, of the bins under work */
  UnmaskReading largest_lift; /* of the hop before */
  UnmaskReading largest_cut;
} UnmaskLaw;

/* Of the engine's frame at a rate: 85 ms. */
uint32_t unmask_law_length(double rate);

/* PLANISH_NO_MEMORY where there is no plan. */
PlanishStatus unmask_law_setup(UnmaskLaw *law, PlanishArena *arena, double rate);

/* Forgets what was heard. */
void unmask_law_reset(UnmaskLaw *law);

/* In force from the next hop on. */
void unmask_law_set(UnmaskLaw *law, const UnmaskSettings *settings);

static inline void unmask_law_process(UnmaskLaw *law, double *const *audio, uint32_t channels,
                                      uint32_t frames)
{
  planish_spectral_engine_process(&law->engine, audio, channels, frames);
}

/* Fine on zeros, and twice. */
void unmask_law_release(UnmaskLaw *law);

#endif
