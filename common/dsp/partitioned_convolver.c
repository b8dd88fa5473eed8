#include "common/dsp/partitioned_convolver.h"

#include "common/dsp/wide.h"

#include <string.h>

enum { IN_SEGMENTS = 3, OUT_SEGMENTS = 2, SETS = 2, PARTS = 16, CHUNKS = 4 };

typedef PlanishComplexFour Four;

static uint32_t bins_of(const PlanishConvolver *convolver)
{
  return convolver->fft.length;
}

/* A spectrum of the past, `age` blocks old. */
static PlanishComplex *past_of(const PlanishConvolver *convolver, uint32_t age, uint32_t mirrored)
{
  const uint32_t slot = (convolver->slot + convolver->partitions - age) % convolver->partitions;
  return convolver->past + ((size_t)slot * 2 + mirrored) * bins_of(convolver);
}

static PlanishComplex *filter_of(const PlanishConvolver *convolver, uint32_t set,
                                 uint32_t partition, uint32_t half)
{
  const size_t index = ((size_t)set * convolver->partitions + partition) * 2 + half;
  return convolver->filters + index * bins_of(convolver);
}

/* Where a sample of a block lies in rows. */
static size_t place_of(const PlanishConvolver *convolver, uint32_t segment, uint32_t at)
{
  const uint32_t row = planish_spectral_fft_first(at % PLANISH_FFT_ROWS);
  const uint32_t width = convolver->block / PLANISH_FFT_ROWS;
  return (size_t)segment * convolver->block + (size_t)row * width + at / PLANISH_FFT_ROWS;
}

/* The block before and the one that has just gathered. */
static void transform_row(void *context, uint32_t row)
{
  PlanishConvolver *const c = context;
  const uint32_t width = c->block / PLANISH_FFT_ROWS;
  for (uint32_t piece = 0; piece < 2; ++piece) {
    const uint32_t segment = (c->segment + 1 + piece) % IN_SEGMENTS;
    memcpy(c->samples + (size_t)piece * width,
           c->input + (size_t)segment * c->block + (size_t)row * width, width * sizeof *c->input);
  }
  planish_spectral_fft_forward_row(&c->fft, c->samples, past_of(c, 0, 0), row);
}

static void transform_part(void *context, uint32_t part)
{
  PlanishConvolver *const c = context;
  planish_spectral_fft_forward_part(&c->fft, past_of(c, 0, 0), part);
}

static void mirror(void *context, uint32_t part)
{
  PlanishConvolver *const c = context;
  const uint32_t bins = bins_of(c);
  const PlanishComplex *const plain = past_of(c, 0, 0);
  PlanishComplex *const mirrored = past_of(c, 0, 1);
  for (uint32_t k = part * (bins / PARTS); k < (part + 1) * (bins / PARTS); ++k) {
    const PlanishComplex z = plain[(bins - k) & (bins - 1)];
    mirrored[k] = (PlanishComplex){z.re, -z.im};
  }
}

PLANISH_WIDE static void multiply(const PlanishConvolver *c, uint32_t set, uint32_t partition,
                                  uint32_t chunk)
{
  const uint32_t fours = bins_of(c) / CHUNKS / 4;
  const size_t from = (size_t)chunk * fours;
  Four *const sum = (Four *)(c->sums + (size_t)set * bins_of(c)) + from;
  const Four *const z = (const Four *)past_of(c, partition, 0) + from;
  const Four *const mirrored = (const Four *)past_of(c, partition, 1) + from;
  const Four *const p = (const Four *)filter_of(c, set, partition, 0) + from;
  const Four *const q = (const Four *)filter_of(c, set, partition, 1) + from;
  for (uint32_t k = 0; k < fours; ++k) {
    const Four product = planish_four_times(z[k], p[k]) + planish_four_times(mirrored[k], q[k]);
    if (partition == 0) {
      sum[k] = product;
    } else {
      sum[k] += product;
    }
  }
}

/* A set of zeros takes part in a fade alone. */
static void add_to_set(const PlanishConvolver *c, uint32_t set, uint32_t partition, uint32_t chunk)
{
  if (c->sounding[set]) {
    multiply(c, set, partition, chunk);
  } else if (partition == 0) {
    const uint32_t bins = bins_of(c) / CHUNKS;
    memset(c->sums + (size_t)set * bins_of(c) + (size_t)chunk * bins, 0, bins * sizeof *c->sums);
  }
}

static void add_partition(void *context, uint32_t index)
{
  PlanishConvolver *const c = context;
  add_to_set(c, c->set, index / CHUNKS, index % CHUNKS);
  if (c->fading) {
    add_to_set(c, 1 - c->set, index / CHUNKS, index % CHUNKS);
  }
}

/* The sum of the set in force; while it fades in, over the second half of the period that the
 * transform spans, that of the old one times (1 - cos) / 2 less: three neighbours of the
 * difference. */
static void settle(void *context, uint32_t part)
{
  PlanishConvolver *const c = context;
  const uint32_t bins = bins_of(c);
  const PlanishComplex *const now = c->sums + (size_t)c->set * bins;
  const PlanishComplex *const old = c->sums + (size_t)(1 - c->set) * bins;
  const uint32_t from = part * (bins / PARTS);
  if (!c->fading) {
    memcpy(c->spectrum + from, now + from, bins / PARTS * sizeof *now);
    return;
  }
  for (uint32_t k = from; k < from + bins / PARTS; ++k) {
    const uint32_t below = (k - 1) & (bins - 1);
    const uint32_t above = (k + 1) & (bins - 1);
    const float re = (now[below].re - old[below].re) + (now[above].re - old[above].re);
    const float im = (now[below].im - old[below].im) + (now[above].im - old[above].im);
    c->spectrum[k] = (PlanishComplex){0.5F * (now[k].re + old[k].re) + 0.25F * re,
                                      0.5F * (now[k].im + old[k].im) + 0.25F * im};
  }
}

static void back_part(void *context, uint32_t part)
{
  PlanishConvolver *const c = context;
  planish_spectral_fft_backward_part(&c->fft, c->spectrum, NULL, part);
}

/* Of two blocks the first has wrapped around; the second is the result. */
static void back_row(void *context, uint32_t row)
{
  PlanishConvolver *const c = context;
  const uint32_t width = c->block / PLANISH_FFT_ROWS;
  const uint32_t segment = 1 - c->out_segment;
  planish_spectral_fft_backward_row(&c->fft, c->spectrum, c->samples, row);
  memcpy(c->output + (size_t)segment * c->block + (size_t)row * width, c->samples + width,
         width * sizeof *c->output);
}

static void clear_row(void *context, uint32_t row)
{
  PlanishConvolver *const c = context;
  const uint32_t width = c->block / PLANISH_FFT_ROWS;
  const size_t from = (size_t)(1 - c->out_segment) * c->block + (size_t)row * width;
  memset(c->output + from, 0, width * sizeof *c->output);
}

/* Partition by partition P, then Q. */
static void load_row(void *context, uint32_t index)
{
  PlanishConvolver *const c = context;
  const uint32_t partition = index / PLANISH_FFT_ROWS / 2;
  const uint32_t half = index / PLANISH_FFT_ROWS % 2;
  const uint32_t row = index % PLANISH_FFT_ROWS;
  const uint32_t width = c->block / PLANISH_FFT_ROWS;
  /* The way there and back multiplies by the length, a power of two. */
  const float scale = 1.0F / (float)bins_of(c);
  const PlanishComplex *const taps =
      c->taps[half] + (size_t)partition * c->block + planish_spectral_fft_first(row);
  for (uint32_t n = 0; n < width; ++n) {
    const PlanishComplex tap = taps[(size_t)n * PLANISH_FFT_ROWS];
    c->samples[n] = (PlanishComplex){scale * tap.re, scale * tap.im};
  }
  memset(c->samples + width, 0, width * sizeof *c->samples);
  planish_spectral_fft_forward_row(&c->fft, c->samples, filter_of(c, 1 - c->set, partition, half),
                                   row);
}

static void load_part(void *context, uint32_t index)
{
  PlanishConvolver *const c = context;
  const uint32_t filter = index / PLANISH_FFT_PARTS;
  planish_spectral_fft_forward_part(&c->fft, filter_of(c, 1 - c->set, filter / 2, filter % 2),
                                    index % PLANISH_FFT_PARTS);
}

/* What the block that begins has to do. */
static void lay_schedule(PlanishConvolver *c)
{
  const bool old_sounds = c->fading && c->sounding[1 - c->set];
  const uint32_t sets = (c->sounding[c->set] ? 1U : 0U) + (old_sounds ? 1U : 0U);
  const PlanishTask tasks[] = {
      {transform_row, c, PLANISH_FFT_ROWS, PLANISH_FFT_ROW_COST},
      {transform_part, c, PLANISH_FFT_PARTS, PLANISH_FFT_FORWARD_COST},
      {mirror, c, PARTS, 8},
      {add_partition, c, c->partitions * CHUNKS, 24 * sets},
      {settle, c, PARTS, 4},
      {back_part, c, PLANISH_FFT_PARTS, PLANISH_FFT_BACKWARD_COST},
      {back_row, c, PLANISH_FFT_ROWS, PLANISH_FFT_ROW_COST},
  };
  const size_t count = sizeof tasks / sizeof *tasks;
  const size_t of_input = 3;
  planish_schedule_setup(&c->schedule, c->block);
  for (size_t i = 0; i < (sets == 0 ? of_input : count); ++i) {
    planish_schedule_add(&c->schedule, tasks[i]);
  }
  if (sets == 0) {
    planish_schedule_add(&c->schedule, (PlanishTask){clear_row, c, PLANISH_FFT_ROWS, 1});
  }
}

PlanishStatus planish_convolver_setup(PlanishConvolver *convolver, PlanishArena *arena,
                                      uint32_t block, uint32_t partitions)
{
  PlanishConvolver *const c = convolver;
  const size_t bins = 2 * (size_t)block;
  c->block = block;
  c->partitions = partitions;
  for (int half = 0; half < 2; ++half) {
    c->taps[half] = planish_arena_take(arena, (size_t)block * partitions, sizeof(PlanishComplex));
  }
  c->input = planish_arena_take(arena, (size_t)IN_SEGMENTS * block, sizeof(PlanishComplex));
  c->output = planish_arena_take(arena, (size_t)OUT_SEGMENTS * block, sizeof(PlanishComplex));
  c->past = planish_arena_take(arena, (size_t)2 * partitions * bins, sizeof(PlanishComplex));
  c->filters =
      planish_arena_take(arena, (size_t)SETS * 2 * partitions * bins, sizeof(PlanishComplex));
  c->sums = planish_arena_take(arena, SETS * bins, sizeof(PlanishComplex));
  c->spectrum = planish_arena_take(arena, bins, sizeof(PlanishComplex));
  c->samples = planish_arena_take(arena, bins / PLANISH_FFT_ROWS, sizeof(PlanishComplex));
  return planish_spectral_fft_setup(&c->fft, arena, (uint32_t)bins);
}

void planish_convolver_reset(PlanishConvolver *convolver)
{
  PlanishConvolver *const c = convolver;
  const size_t bins = bins_of(c);
  memset(c->input, 0, (size_t)IN_SEGMENTS * c->block * sizeof *c->input);
  memset(c->output, 0, (size_t)OUT_SEGMENTS * c->block * sizeof *c->output);
  memset(c->past, 0, (size_t)2 * c->partitions * bins * sizeof *c->past);
  c->segment = 0;
  c->out_segment = 0;
  c->slot = 0;
  c->at = c->block;
  c->set = 0;
  c->sounding[0] = false;
  c->sounding[1] = false;
  c->waiting = false;
  c->fading = false;
}

uint32_t planish_convolver_load_tasks(PlanishConvolver *convolver, PlanishTask *tasks)
{
  const uint32_t count = 2 * convolver->partitions;
  tasks[0] = (PlanishTask){load_row, convolver, count * PLANISH_FFT_ROWS, PLANISH_FFT_ROW_COST};
  tasks[1] =
      (PlanishTask){load_part, convolver, count * PLANISH_FFT_PARTS, PLANISH_FFT_FORWARD_COST};
  return PLANISH_CONVOLVER_LOAD_TASKS;
}

static void hand_over(PlanishConvolver *c, bool sounding)
{
  c->sounding[1 - c->set] = sounding;
  c->waiting = true;
}

void planish_convolver_exchange(PlanishConvolver *convolver)
{
  hand_over(convolver, true);
}

void planish_convolver_silence(PlanishConvolver *convolver)
{
  hand_over(convolver, false);
}

static void start_block(PlanishConvolver *c)
{
  c->segment = (c->segment + 1) % IN_SEGMENTS;
  c->out_segment = 1 - c->out_segment;
  c->slot = (c->slot + 1) % c->partitions;
  c->at = 0;
  c->fading = c->waiting;
  c->set = c->waiting ? 1 - c->set : c->set;
  c->waiting = false;
  lay_schedule(c);
  planish_schedule_begin(&c->schedule);
}

static void exchange_samples(PlanishConvolver *c, double *const *audio, uint32_t channels,
                             uint32_t from, uint32_t frames)
{
  for (uint32_t i = from; i < from + frames; ++i) {
    const uint32_t at = c->at + i - from;
    const PlanishComplex out = c->output[place_of(c, c->out_segment, at)];
    const double second = channels == 2 ? audio[1][i] : 0.0;
    c->input[place_of(c, c->segment, at)] = (PlanishComplex){(float)audio[0][i], (float)second};
    audio[0][i] = (double)out.re;
    if (channels == 2) {
      audio[1][i] = (double)out.im;
    }
  }
}

uint64_t planish_convolver_process(PlanishConvolver *convolver, double *const *audio,
                                   uint32_t channels, uint32_t frames)
{
  PlanishConvolver *const c = convolver;
  uint64_t cost = 0;
  for (uint32_t from = 0; from < frames;) {
    if (c->at == c->block) {
      start_block(c);
    }
    const uint32_t left = c->block - c->at;
    const uint32_t part = frames - from < left ? frames - from : left;
    exchange_samples(c, audio, channels, from, part);
    cost += planish_schedule_run(&c->schedule, part);
    c->at += part;
    from += part;
  }
  return cost;
}

void planish_convolver_release(PlanishConvolver *convolver)
{
  planish_spectral_fft_release(&convolver->fft);
}
