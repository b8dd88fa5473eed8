#include "harness/measure/measure.h"

#include "common/dsp/loudness.h"
#include "common/dsp/maths.h"
#include "common/dsp/stereo_sums.h"
#include "harness/measure/clipped_runs.h"
#include "harness/measure/true_peak_fft.h"

#include <stdlib.h>

#define NOTHING (-HUGE_VAL)
#define UNKNOWN ((double)NAN)

#define PIECE         512
#define LARGEST_VALUE 1048576.0 /* 2^20 */

/* Windows under the absolute gate of ITU-R BS.1770-4 do not count as dense. */
#define DENSITY_GATE_LUFS (-70.0)

/* Sums over all frames. */
typedef struct {
  double left;
  double right;
  PlanishStereoSums squares;
} Sums;

typedef struct {
  double magnitude;
  uint64_t frame;
  uint32_t channel;
} SamplePeak;

/* Short-term loudness is known before the true peaks of the same steps, so it waits in a ring. */
typedef struct {
  double *waiting; /* short-term loudness of the last steps, a ring */
  size_t ring;
  double peaks[PLANISH_LOUDNESS_SHORTTERM_STEPS]; /* true peaks of the last steps, a ring */
  uint64_t steps;                                 /* of which short-term loudness is known */
  double smallest;                                /* PSR */
} Density;

struct PlanishMeasure {
  double rate;
  uint32_t channels;
  uint64_t frames;
  void *block; /* of the arena */
  PlanishLoudness loudness;
  PlanishTruePeakFft *true_peak;
  Density density;
  PlanishTruePeakFftSink sink; /* of whoever listens */
  void *context;
  Sums sums;
  SamplePeak sample_peak;
  PlanishClippedRuns runs[2];
  double left[PIECE];
  double right[PIECE];
};

static PlanishStatus setup(PlanishMeasure *measure, PlanishArena *arena)
{
  const PlanishStatus status = planish_loudness_setup(&measure->loudness, arena, measure->rate, 2);
  measure->density.ring = 2 + (size_t)((PLANISH_TRUE_PEAK_FFT_LAG + PIECE) *
                                       PLANISH_LOUDNESS_STEPS_PER_S / measure->rate);
  measure->density.waiting = planish_arena_take(arena, measure->density.ring, sizeof(double));
  return status;
}

/* A step's true peak has come: the window that ends with it is complete. */
static void note_density(Density *density, uint64_t step, double magnitude)
{
  density->peaks[step % PLANISH_LOUDNESS_SHORTTERM_STEPS] = magnitude;
  if (step + 1 < PLANISH_LOUDNESS_SHORTTERM_STEPS || step >= density->steps) {
    return;
  }
  const double shortterm = density->waiting[step % density->ring];
  if (!(shortterm > DENSITY_GATE_LUFS)) {
    return;
  }
  double largest = 0.0;
  for (size_t i = 0; i < PLANISH_LOUDNESS_SHORTTERM_STEPS; ++i) {
    largest = planish_max(largest, density->peaks[i]);
  }
  const double psr = planish_level_of(largest) - shortterm;
  if (!(psr >= density->smallest)) {
    density->smallest = psr;
  }
}

static void note_peak(void *context, uint64_t step, double magnitude)
{
  PlanishMeasure *measure = context;
  note_density(&measure->density, step, magnitude);
  if (measure->sink != NULL) {
    measure->sink(measure->context, step, magnitude);
  }
}

static bool build(PlanishMeasure *measure)
{
  PlanishArena arena = planish_arena_counting();
  if (setup(measure, &arena) != PLANISH_OK) {
    return false;
  }
  measure->block = aligned_alloc(PLANISH_ALIGNMENT, arena.used);
  if (measure->block == NULL) {
    return false;
  }
  memset(measure->block, 0, arena.used);
  arena = planish_arena_filling(measure->block, arena.used);
  measure->density.smallest = UNKNOWN;
  measure->true_peak =
      planish_true_peak_fft_new(measure->rate, measure->channels, note_peak, measure);
  return setup(measure, &arena) == PLANISH_OK && measure->true_peak != NULL;
}

PlanishMeasure *planish_measure_new(double rate, uint32_t channels)
{
  if (!(rate >= PLANISH_MEASURE_MIN_RATE && rate <= PLANISH_MEASURE_MAX_RATE) || channels < 1 ||
      channels > 2) {
    return NULL;
  }
  PlanishMeasure *measure = calloc(1, sizeof *measure);
  if (measure == NULL) {
    return NULL;
  }
  measure->rate = rate;
  measure->channels = channels;
  if (!build(measure)) {
    planish_measure_free(measure);
    return NULL;
  }
  return measure;
}

void planish_measure_free(PlanishMeasure *measure)
{
  if (measure != NULL) {
    planish_true_peak_fft_free(measure->true_peak);
    free(measure->block);
    free(measure);
  }
}

void planish_measure_watch(PlanishMeasure *measure, PlanishTruePeakFftSink sink, void *context)
{
  measure->sink = sink;
  measure->context = context;
}

const PlanishClippedRuns *planish_measure_clipped(const PlanishMeasure *measure, uint32_t channel)
{
  return &measure->runs[channel];
}

static double clean(float sample)
{
  return isfinite(sample) ? planish_clamp((double)sample, -LARGEST_VALUE, LARGEST_VALUE) : 0.0;
}

static void split(PlanishMeasure *measure, const float *interleaved, size_t frames)
{
  const uint32_t channels = measure->channels;
  for (size_t n = 0; n < frames; ++n) {
    const double left = clean(interleaved[n * channels]);
    const double right = clean(interleaved[n * channels + channels - 1]);
    measure->left[n] = left;
    measure->right[n] = right;
  }
}

static void add_sums(PlanishMeasure *measure, size_t frames)
{
  Sums sums = measure->sums;
  for (size_t n = 0; n < frames; ++n) {
    const double left = measure->left[n];
    const double right = measure->right[n];
    sums.left += left;
    sums.right += right;
    planish_stereo_sums_add(&sums.squares, left, right);
  }
  measure->sums = sums;
}

static void look_at_samples(PlanishMeasure *measure, size_t frames)
{
  const double *audio[2] = {measure->left, measure->right};
  for (uint32_t c = 0; c < measure->channels; ++c) {
    for (size_t n = 0; n < frames; ++n) {
      const double sample = audio[c][n];
      planish_clipped_runs_process(&measure->runs[c], sample);
      if (fabs(sample) > measure->sample_peak.magnitude) {
        measure->sample_peak = (SamplePeak){fabs(sample), measure->frames + n, c};
      }
    }
  }
}

/* At most up to the end of a step, so that no short-term loudness is missed. */
static void process_piece(PlanishMeasure *measure, size_t frames)
{
  const double *stereo[2] = {measure->left, measure->right};
  Density *density = &measure->density;
  planish_loudness_process(&measure->loudness, stereo, frames);
  if (measure->loudness.steps != density->steps) {
    density->waiting[density->steps % density->ring] =
        planish_loudness_shortterm(&measure->loudness);
    density->steps = measure->loudness.steps;
  }
  planish_true_peak_fft_process(measure->true_peak, stereo, frames);
  add_sums(measure, frames);
  look_at_samples(measure, frames);
  measure->frames += frames;
}

void planish_measure_process(PlanishMeasure *measure, const float *interleaved, size_t frames)
{
  size_t done = 0;
  while (done < frames) {
    const uint64_t left_in_step = measure->loudness.step_end - measure->loudness.frame;
    size_t piece = frames - done < PIECE ? frames - done : PIECE;
    piece = piece < left_in_step ? piece : (size_t)left_in_step;
    split(measure, interleaved + done * measure->channels, piece);
    process_piece(measure, piece);
    done += piece;
  }
}

static double level_of(double magnitude)
{
  return magnitude > 0.0 ? planish_level_of(magnitude) : NOTHING;
}

static double level_of_mean(double sum, double count)
{
  return sum > 0.0 ? planish_level_of_power(sum / count) : NOTHING;
}

static void fill_loudness(const PlanishMeasure *measure, PlanishMeasurement *result)
{
  const PlanishLoudness *loudness = &measure->loudness;
  result->integrated = planish_loudness_integrated(loudness);
  result->momentary_max = planish_loudness_momentary_max(loudness);
  result->shortterm_max = planish_loudness_shortterm_max(loudness);
  result->momentary_max_end =
      planish_loudness_step_end(measure->rate, loudness->momentary_max.step);
  result->shortterm_max_end =
      planish_loudness_step_end(measure->rate, loudness->shortterm_max.step);
  result->range = planish_loudness_range(loudness);
  result->mono_loss = planish_loudness_mono_loss(loudness);
  result->mono_integrated =
      isfinite(result->integrated) ? result->integrated - result->mono_loss : NOTHING;
}

static void fill_peaks(PlanishMeasure *measure, PlanishMeasurement *result)
{
  const PlanishTruePeakFftResult peak = planish_true_peak_fft_finish(measure->true_peak);
  result->true_peak = level_of(peak.magnitude);
  result->true_peak_at = peak.frame;
  result->true_peak_channel = peak.channel;
  result->sample_peak = level_of(measure->sample_peak.magnitude);
  result->sample_peak_at = measure->sample_peak.frame;
  result->sample_peak_channel = measure->sample_peak.channel;
  result->plr = isfinite(result->integrated) ? result->true_peak - result->integrated : UNKNOWN;
  result->psr_min = measure->density.smallest;
  planish_clipped_runs_finish(&measure->runs[0]);
  planish_clipped_runs_finish(&measure->runs[1]);
  result->clipped_runs =
      planish_clipped_runs_count(&measure->runs[0]) + planish_clipped_runs_count(&measure->runs[1]);
}

static void fill_sums(const PlanishMeasure *measure, PlanishMeasurement *result)
{
  const Sums *sums = &measure->sums;
  const PlanishStereoSums *squares = &sums->squares;
  const double frames = (double)measure->frames;
  result->rms = level_of_mean(squares->left_square + squares->right_square, 2.0 * frames);
  result->mid_rms = level_of_mean(squares->mid_square, frames);
  result->side_rms = level_of_mean(squares->side_square, frames);
  result->correlation = planish_stereo_sums_correlation(squares);
  result->dc_offset[0] = measure->frames > 0 ? sums->left / frames : UNKNOWN;
  result->dc_offset[1] = measure->frames > 0 ? sums->right / frames : UNKNOWN;
}

void planish_measure_finish(PlanishMeasure *measure, PlanishMeasurement *result)
{
  *result = (PlanishMeasurement){
      .frames = measure->frames,
      .rate = measure->rate,
      .channels = measure->channels,
      .duration = (double)measure->frames / measure->rate,
  };
  fill_loudness(measure, result);
  fill_peaks(measure, result);
  fill_sums(measure, result);
}
