#include "harness/measure/true_peak_fft.h"

#include "common/dsp/loudness.h"
#include "common/dsp/maths.h"
#include "harness/measure/grid_peak.h"

#include <fftw3.h>
#include <pthread.h>

#include <stdbool.h>
#include <stdlib.h>

#define BLOCK    PLANISH_TRUE_PEAK_FFT_LAG
#define MIN_FADE 8192 /* sets how near to half the rate the reconstruction is exact */
#define GRID     4    /* points a frame */

/* Frames beside the part that is looked at which the kernel reaches into. */
#define MARGIN 4

/* Frames after the end in which overshoot is looked for. */
#define TAIL 64

struct PlanishTruePeakFft {
  PlanishTruePeakFftSink sink;
  void *context;
  double rate;
  uint32_t channels;
  int64_t block_steps; /* that each block looks at */
  int64_t block;       /* number of the block to come; -1 lies before the file */
  uint64_t frames;     /* of the file so far */
  size_t fade;
  size_t filled;            /* frames in `input` */
  PlanishGridPeak peaks[2]; /* places in frames of the file */
  bool silent;              /* nothing but 0 in `input` since it was last empty */

  fftwf_plan forward;
  fftwf_plan backward;
  fftwf_complex *input; /* left + i right */
  fftwf_complex *spectrum;
  fftwf_complex *shifted;
  fftwf_complex *turn; /* moves by one grid point */
  float *fade_in;
  float *grid[2]; /* GRID points a frame of the block */
  PlanishGridPeakKernel kernel;
};

/* FFTW's planner must not run twice at once. */
static pthread_mutex_t planner = PTHREAD_MUTEX_INITIALIZER;

/* First frame that a block looks at. */
static int64_t start_of(const PlanishTruePeakFft *peak, int64_t block)
{
  const int64_t steps = block * peak->block_steps;
  return steps < 0 ? -(int64_t)planish_loudness_step_end(peak->rate, (uint64_t)-steps)
                   : (int64_t)planish_loudness_step_end(peak->rate, (uint64_t)steps);
}

static void design(PlanishTruePeakFft *peak)
{
  for (size_t i = 0; i < peak->fade; ++i) {
    peak->fade_in[i] = (float)planish_smoothstep(((double)i + 0.5) / (double)peak->fade);
  }
  for (int k = 0; k < BLOCK; ++k) {
    const int bin = k < BLOCK / 2 ? k : k - BLOCK;
    const double angle = 2.0 * PLANISH_PI * bin / ((double)BLOCK * GRID);
    peak->turn[k][0] = (float)cos(angle);
    peak->turn[k][1] = (float)sin(angle);
  }
  planish_grid_peak_design(&peak->kernel);
}

/* Whole steps that leave room for the fades. */
static void choose_block(PlanishTruePeakFft *peak)
{
  const double room = BLOCK - 2 * (MIN_FADE + MARGIN);
  const double step = peak->rate / PLANISH_LOUDNESS_STEPS_PER_S;
  peak->block_steps = (int64_t)(room / (step + 1.0));
  const size_t longest = (size_t)(step * (double)peak->block_steps) + 2;
  peak->fade = (BLOCK - longest) / 2 - MARGIN;
}

static bool allocate(PlanishTruePeakFft *peak)
{
  peak->input = fftwf_alloc_complex(BLOCK);
  peak->spectrum = fftwf_alloc_complex(BLOCK);
  peak->shifted = fftwf_alloc_complex(BLOCK);
  peak->turn = fftwf_alloc_complex(BLOCK);
  peak->fade_in = fftwf_alloc_real(peak->fade);
  peak->grid[0] = fftwf_alloc_real((size_t)BLOCK * GRID);
  peak->grid[1] = fftwf_alloc_real((size_t)BLOCK * GRID);
  if (peak->input == NULL || peak->spectrum == NULL || peak->shifted == NULL ||
      peak->turn == NULL || peak->fade_in == NULL || peak->grid[0] == NULL ||
      peak->grid[1] == NULL) {
    return false;
  }
  /* Estimated plans alone give the same bits every time. */
  pthread_mutex_lock(&planner);
  peak->forward =
      fftwf_plan_dft_1d(BLOCK, peak->spectrum, peak->spectrum, FFTW_FORWARD, FFTW_ESTIMATE);
  peak->backward =
      fftwf_plan_dft_1d(BLOCK, peak->spectrum, peak->shifted, FFTW_BACKWARD, FFTW_ESTIMATE);
  pthread_mutex_unlock(&planner);
  return peak->forward != NULL && peak->backward != NULL;
}

PlanishTruePeakFft *planish_true_peak_fft_new(double rate, uint32_t channels,
                                              PlanishTruePeakFftSink sink, void *context)
{
  PlanishTruePeakFft *peak = calloc(1, sizeof *peak);
  if (peak == NULL) {
    return NULL;
  }
  peak->sink = sink;
  peak->context = context;
  peak->rate = rate;
  peak->channels = channels;
  choose_block(peak);
  if (!allocate(peak)) {
    planish_true_peak_fft_free(peak);
    return NULL;
  }
  design(peak);
  peak->block = -1;
  peak->filled = (size_t)-start_of(peak, -1) + MARGIN + peak->fade;
  peak->silent = true;
  memset(peak->input, 0, BLOCK * sizeof *peak->input);
  return peak;
}

void planish_true_peak_fft_free(PlanishTruePeakFft *peak)
{
  if (peak == NULL) {
    return;
  }
  pthread_mutex_lock(&planner);
  fftwf_destroy_plan(peak->forward);
  fftwf_destroy_plan(peak->backward);
  pthread_mutex_unlock(&planner);
  fftwf_free(peak->input);
  fftwf_free(peak->spectrum);
  fftwf_free(peak->shifted);
  fftwf_free(peak->turn);
  fftwf_free(peak->fade_in);
  fftwf_free(peak->grid[0]);
  fftwf_free(peak->grid[1]);
  free(peak);
}

static void scatter(PlanishTruePeakFft *peak, fftwf_complex *from, int phase, float scale)
{
  for (size_t n = 0; n < BLOCK; ++n) {
    peak->grid[0][n * GRID + (size_t)phase] = from[n][0] * scale;
    peak->grid[1][n * GRID + (size_t)phase] = from[n][1] * scale;
  }
}

/* Turns the spectrum on by one grid point. The bin at half the rate stands for both directions of
 * turning, so it keeps their mean. */
static void advance(PlanishTruePeakFft *peak, const float *half_rate, int phase)
{
  fftwf_complex *spectrum = peak->spectrum;
  for (size_t k = 0; k < BLOCK; ++k) {
    const float re = spectrum[k][0] * peak->turn[k][0] - spectrum[k][1] * peak->turn[k][1];
    spectrum[k][1] = spectrum[k][0] * peak->turn[k][1] + spectrum[k][1] * peak->turn[k][0];
    spectrum[k][0] = re;
  }
  const float mean = (float)cos(PLANISH_PI * phase / GRID);
  spectrum[BLOCK / 2][0] = half_rate[0] * mean;
  spectrum[BLOCK / 2][1] = half_rate[1] * mean;
}

static void reconstruct(PlanishTruePeakFft *peak)
{
  fftwf_complex *faded = peak->spectrum;
  memcpy(faded, peak->input, BLOCK * sizeof *faded);
  for (size_t i = 0; i < peak->fade; ++i) {
    faded[i][0] *= peak->fade_in[i];
    faded[i][1] *= peak->fade_in[i];
    faded[BLOCK - 1 - i][0] *= peak->fade_in[i];
    faded[BLOCK - 1 - i][1] *= peak->fade_in[i];
  }
  scatter(peak, faded, 0, 1.0F);
  fftwf_execute(peak->forward);
  const float half_rate[2] = {peak->spectrum[BLOCK / 2][0], peak->spectrum[BLOCK / 2][1]};
  for (int phase = 1; phase < GRID; ++phase) {
    advance(peak, half_rate, phase);
    fftwf_execute(peak->backward);
    scatter(peak, peak->shifted, phase, 1.0F / BLOCK);
  }
}

/* One step, or what lies before the file: `first` is its first frame, `at` the place in the block.
 */
static double look(PlanishTruePeakFft *peak, int64_t first, size_t at, size_t frames)
{
  double largest = 0.0;
  for (uint32_t c = 0; c < peak->channels; ++c) {
    PlanishGridPeak found =
        planish_grid_peak_find(&peak->kernel, peak->grid[c] + at * GRID, frames * GRID);
    found.place = found.place / GRID + (double)first;
    if (found.magnitude > peak->peaks[c].magnitude) {
      peak->peaks[c] = found;
    }
    largest = planish_max(largest, found.magnitude);
  }
  return largest;
}

static void look_at_steps(PlanishTruePeakFft *peak)
{
  const int64_t start = start_of(peak, peak->block);
  const size_t lead = peak->fade + MARGIN;
  if (peak->block < 0) {
    look(peak, start, lead, (size_t)-start);
    return;
  }
  const uint64_t first = (uint64_t)(peak->block * peak->block_steps);
  for (uint64_t step = first; step < first + (uint64_t)peak->block_steps; ++step) {
    const int64_t from = (int64_t)planish_loudness_step_end(peak->rate, step);
    const int64_t to = (int64_t)planish_loudness_step_end(peak->rate, step + 1);
    const double largest =
        peak->silent ? 0.0 : look(peak, from, lead + (size_t)(from - start), (size_t)(to - from));
    if (peak->sink != NULL) {
      peak->sink(peak->context, step, largest);
    }
  }
}

static bool is_silent(fftwf_complex *input)
{
  for (size_t n = 0; n < BLOCK; ++n) {
    if (input[n][0] != 0.0F || input[n][1] != 0.0F) {
      return false;
    }
  }
  return true;
}

static void finish_block(PlanishTruePeakFft *peak)
{
  peak->silent = is_silent(peak->input);
  if (!peak->silent) {
    reconstruct(peak);
  }
  if (!peak->silent || peak->block >= 0) {
    look_at_steps(peak);
  }
  const size_t used = (size_t)(start_of(peak, peak->block + 1) - start_of(peak, peak->block));
  peak->filled = BLOCK - used;
  memmove(peak->input, peak->input + used, peak->filled * sizeof *peak->input);
  ++peak->block;
}

/* audio NULL: silence. */
static void take(PlanishTruePeakFft *peak, const double *const *audio, size_t frames)
{
  for (size_t n = 0; n < frames; ++n) {
    fftwf_complex *into = &peak->input[peak->filled];
    (*into)[0] = audio == NULL ? 0.0F : (float)audio[0][n];
    (*into)[1] = audio == NULL || peak->channels < 2 ? 0.0F : (float)audio[1][n];
    if (++peak->filled == BLOCK) {
      finish_block(peak);
    }
  }
}

void planish_true_peak_fft_process(PlanishTruePeakFft *peak, const double *const *audio,
                                   size_t frames)
{
  peak->frames += frames;
  take(peak, audio, frames);
}

PlanishTruePeakFftResult planish_true_peak_fft_finish(PlanishTruePeakFft *peak)
{
  while (start_of(peak, peak->block) < (int64_t)peak->frames + TAIL) {
    take(peak, NULL, BLOCK - peak->filled);
  }
  const uint32_t channel = peak->peaks[1].magnitude > peak->peaks[0].magnitude ? 1 : 0;
  const PlanishGridPeak best = peak->peaks[channel];
  const double last = peak->frames == 0 ? 0.0 : (double)(peak->frames - 1);
  return (PlanishTruePeakFftResult){
      .magnitude = best.magnitude,
      .frame = planish_clamp(best.place, 0.0, last),
      .channel = channel,
  };
}
