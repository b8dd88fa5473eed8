#include "harness/check/band_edge.h"

#include "harness/measure/spectrum.h"

#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdlib.h>

#define WIDEST_BIN 12.0 /* Hz */
#define CELL_HZ    100.0

/* In cells. */
#define BELOW 5 /* over which the level under an edge is the mean */
#define WIDTH 5 /* within which it falls */
#define TOP   2 /* left out under half the rate */

#define LEAST_DROP_DB 20.0
#define MOST_ABOVE_DB (-90.0) /* dBFS a cell: dither of 16 bit has -117 */

static const double pi = 3.14159265358979323846;

struct PlanishBandEdge {
  double rate;
  size_t frames; /* of a block */
  size_t filled;
  size_t cells;
  uint64_t blocks;
  double *power; /* sum of powers, by cell */
  float *past[2];
  float *window;
  float *windowed;
  double complex *bins;
  PlanishSpectrum *spectrum;
};

static bool allocate(PlanishBandEdge *edge)
{
  edge->power = calloc(edge->cells, sizeof(double));
  edge->past[0] = calloc(edge->frames, sizeof(float));
  edge->past[1] = calloc(edge->frames, sizeof(float));
  edge->window = calloc(edge->frames, sizeof(float));
  edge->windowed = calloc(edge->frames, sizeof(float));
  edge->bins = calloc(edge->frames / 2 + 1, sizeof *edge->bins);
  edge->spectrum = planish_spectrum_new(edge->frames);
  return edge->power != NULL && edge->past[0] != NULL && edge->past[1] != NULL &&
         edge->window != NULL && edge->windowed != NULL && edge->bins != NULL &&
         edge->spectrum != NULL;
}

PlanishBandEdge *planish_band_edge_new(double rate)
{
  PlanishBandEdge *edge = rate >= 8000.0 && rate <= 384000.0 ? calloc(1, sizeof *edge) : NULL;
  if (edge == NULL) {
    return NULL;
  }
  edge->rate = rate;
  edge->cells = (size_t)(rate / 2.0 / CELL_HZ);
  edge->frames = 2;
  while (rate / (double)edge->frames > WIDEST_BIN) {
    edge->frames *= 2;
  }
  if (!allocate(edge)) {
    planish_band_edge_free(edge);
    return NULL;
  }
  for (size_t n = 0; n < edge->frames; ++n) {
    edge->window[n] = (float)(0.5 - 0.5 * cos(2.0 * pi * ((double)n + 0.5) / (double)edge->frames));
  }
  return edge;
}

void planish_band_edge_free(PlanishBandEdge *edge)
{
  if (edge != NULL) {
    planish_spectrum_free(edge->spectrum);
    free(edge->power);
    free(edge->past[0]);
    free(edge->past[1]);
    free(edge->window);
    free(edge->windowed);
    free(edge->bins);
    free(edge);
  }
}

static void add_spectrum(PlanishBandEdge *edge, const float *past)
{
  for (size_t n = 0; n < edge->frames; ++n) {
    edge->windowed[n] = edge->window[n] * past[n];
  }
  planish_spectrum_forward(edge->spectrum, edge->windowed, edge->bins);
  const double bin = edge->rate / (double)edge->frames;
  for (size_t k = 1; k < edge->frames / 2; ++k) {
    const size_t cell = (size_t)((double)k * bin / CELL_HZ);
    if (cell < edge->cells) {
      const double complex z = edge->bins[k];
      edge->power[cell] += creal(z) * creal(z) + cimag(z) * cimag(z);
    }
  }
}

static double sum_of(const double *power, size_t from, size_t count)
{
  double sum = 0.0;
  for (size_t n = 0; n < count; ++n) {
    sum += power[from + n];
  }
  return sum;
}

static void take_block(PlanishBandEdge *edge)
{
  add_spectrum(edge, edge->past[0]);
  add_spectrum(edge, edge->past[1]);
  edge->blocks += 1;
  edge->filled = 0;
}

void planish_band_edge_process(PlanishBandEdge *edge, const float *interleaved, size_t frames)
{
  for (size_t n = 0; n < frames; ++n) {
    edge->past[0][edge->filled] = interleaved[2 * n];
    edge->past[1][edge->filled] = interleaved[2 * n + 1];
    edge->filled += 1;
    if (edge->filled == edge->frames) {
      take_block(edge);
    }
  }
}

/* dBFS, of a cell's mean square: what a Hann window lets through is 3/8 of it. */
static double level(const PlanishBandEdge *edge, double power)
{
  const double frames = (double)edge->frames;
  return 10.0 * log10(power / (double)edge->blocks / (frames * frames * 0.375) + 1e-30);
}

PlanishBandEdgeFound planish_band_edge_find(const PlanishBandEdge *edge)
{
  PlanishBandEdgeFound found = {0.0, 0.0};
  if (edge->blocks == 0) {
    return found;
  }
  double loudest_above = 0.0;
  for (size_t c = edge->cells - TOP; c-- > BELOW + WIDTH;) {
    loudest_above = fmax(loudest_above, edge->power[c]);
    const double below = sum_of(edge->power, c - WIDTH - BELOW, BELOW) / BELOW;
    const double above = level(edge, loudest_above);
    const double drop = level(edge, below) - above;
    if (drop > found.drop && above < MOST_ABOVE_DB) {
      found.drop = drop;
      found.edge = ((double)c - 0.5 * WIDTH) * CELL_HZ;
    }
  }
  return found.drop < LEAST_DROP_DB ? (PlanishBandEdgeFound){0.0, 0.0} : found;
}
