/* Whether the sound stops at a sharp edge below half the rate: the mark of a converter that raised
 * the rate, or of a coder with loss.
 *
 * The mean spectrum is read in steps of 100 Hz. There is an edge where the level falls by 20 dB or
 * more within 500 Hz, which no instrument and no gentle filter does, and stays down up to half the
 * rate, under -90 dBFS in each 100 Hz. A converter whose filter falls more gently leaves none.
 *
 * Thread: one at a time an object; new() and free() from one at a time, as FFTW's planner asks. */
#ifndef PLANISH_HARNESS_BAND_EDGE_H
#define PLANISH_HARNESS_BAND_EDGE_H

#include <stddef.h>

typedef struct {
  double edge; /* Hz; 0: none */
  double drop; /* dB */
} PlanishBandEdgeFound;

typedef struct PlanishBandEdge PlanishBandEdge;

/* Rate 8000..384000 Hz. NULL outside of it, or without memory. */
PlanishBandEdge *planish_band_edge_new(double rate);
/* NULL is allowed. */
void planish_band_edge_free(PlanishBandEdge *edge);

/* Finite samples of two channels, those of a frame side by side. */
void planish_band_edge_process(PlanishBandEdge *edge, const float *interleaved, size_t frames);

PlanishBandEdgeFound planish_band_edge_find(const PlanishBandEdge *edge);

#endif
