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
  const Four *const mean = (const Four *)filter_of(c, set, partition, 0) + from;
  const Four *const apart = (const Four *)filter_of(c, set, partition, 1) + from;
  for (uint32_t k = 0; k < fours; ++k) {
    const Four product =
        planish_four_times(z[k], mean[k]) + planish_four_times(mirrored[k], apart[k]);
    if (partition == 0) {
      sum[k] = product;
    } else {
      sum[k] += product;
    }
  }
}

static void add_partition(void *context, uint32_t index)
{
  PlanishConvolver *const c = context;
  multiply(c, c->set, index / CHUNKS, index % CHUNKS);
  if (c->fading) {
    multiply(c, 1 - c->set, index / CHUNKS, index % CHUNKS);
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

static void load_row(void *context, uint32_t index)
{
  PlanishConvolver *const c = context;
  const uint32_t partition = index / PLANISH_FFT_ROWS;
  const uint32_t row = index % PLANISH_FFT_ROWS;
  const uint32_t width = c->block / PLANISH_FFT_ROWS;
  /* The way there and back multiplies by the length, a power of two. */
  const float scale = 1.0F / (float)bins_of(c);
  const size_t first = (size_t)partition * c->block + planish_spectral_fft_first(row);
  for (uint32_t n = 0; n < width; ++n) {
    const size_t at = first + (size_t)n * PLANISH_FFT_ROWS;
    c->samples[n] = (PlanishComplex){scale * c->taps[0][at], scale * c->taps[1][at]};
  }
  memset(c->samples + width, 0, width * sizeof *c->samples);
  planish_spectral_fft_forward_row(&c->fft, c->samples, filter_of(c, 1 - c->set, partition, 0),
                                   row);
}

static void load_part(void *context, uint32_t index)
{
  PlanishConvolver *const c = context;
  planish_spectral_fft_forward_part(&c->fft, filter_of(c, 1 - c->set, index / PLANISH_FFT_PARTS, 0),
                                    index % PLANISH_FFT_PARTS);
}

/* H0 + i H1 -> (H0 + H1) / 2 and (H0 - H1) / 2, bins k and length - k at once. */
static void take_apart(void *context, uint32_t index)
{
  PlanishConvolver *const c = context;
  const uint32_t bins = bins_of(c);
  PlanishComplex *const mean = filter_of(c, 1 - c->set, index / PARTS, 0);
  PlanishComplex *const apart = filter_of(c, 1 - c->set, index / PARTS, 1);
  const uint32_t share = bins / 2 / PARTS;
  const uint32_t from = index % PARTS * share;
  const uint32_t to = from + share + (index % PARTS == PARTS - 1 ? 1 : 0);
  for (uint32_t k = from; k < to; ++k) {
    const uint32_t mirrored = (bins - k) & (bins - 1);
    const PlanishComplex a = mean[k];
    const PlanishComplex b = mean[mirrored];
    const PlanishComplex h0 = {0.5F * (a.re + b.re), 0.5F * (a.im - b.im)};
    const PlanishComplex h1 = {0.5F * (a.im + b.im), 0.5F * (b.re - a.re)};
    mean[k] = (PlanishComplex){0.5F * (h0.re + h1.re), 0.5F * (h0.im + h1.im)};
    apart[k] = (PlanishComplex){0.5F * (h0.re - h1.re), 0.5F * (h0.im - h1.im)};
    mean[mirrored] = (PlanishComplex){mean[k].re, -mean[k].im};
    apart[mirrored] = (PlanishComplex){apart[k].re, -apart[k].im};
  }
}

static void lay_schedule(PlanishConvolver *c)
{
  const PlanishTask tasks[] = {
      {transform_row, c, PLANISH_FFT_ROWS, PLANISH_FFT_ROW_COST},
      {transform_part, c, PLANISH_FFT_PARTS, PLANISH_FFT_FORWARD_COST},
      {mirror, c, PARTS, 8},
      {add_partition, c, c->partitions * CHUNKS, 24},
      {settle, c, PARTS, 4},
      {back_part, c, PLANISH_FFT_PARTS, PLANISH_FFT_BACKWARD_COST},
      {back_row, c, PLANISH_FFT_ROWS, PLANISH_FFT_ROW_COST},
  };
  planish_schedule_setup(&c->schedule, c->block);
  for (size_t i = 0; i < sizeof tasks / sizeof *tasks; ++i) {
    planish_schedule_add(&c->schedule, tasks[i]);
  }
}

PlanishStatus planish_convolver_setup(PlanishConvolver *convolver, PlanishArena *arena,
                                      uint32_t block, uint32_t partitions)
{
  PlanishConvolver *const c = convolver;
  const size_t bins = 2 * (size_t)block;
  c->block = block;
  c->partitions = partitions;
  for (int channel = 0; channel < 2; ++channel) {
    c->taps[channel] = planish_arena_take(arena, (size_t)block * partitions, sizeof(float));
  }
  c->input = planish_arena_take(arena, (size_t)IN_SEGMENTS * block, sizeof(PlanishComplex));
  c->output = planish_arena_take(arena, (size_t)OUT_SEGMENTS * block, sizeof(PlanishComplex));
  c->past = planish_arena_take(arena, (size_t)2 * partitions * bins, sizeof(PlanishComplex));
  c->filters =
      planish_arena_take(arena, (size_t)SETS * 2 * partitions * bins, sizeof(PlanishComplex));
  c->sums = planish_arena_take(arena, SETS * bins, sizeof(PlanishComplex));
  c->spectrum = planish_arena_take(arena, bins, sizeof(PlanishComplex));
  c->samples = planish_arena_take(arena, bins / PLANISH_FFT_ROWS, sizeof(PlanishComplex));
  lay_schedule(c);
  return planish_spectral_fft_setup(&c->fft, arena, (uint32_t)bins);
}

void planish_convolver_reset(PlanishConvolver *convolver)
{
  PlanishConvolver *const c = convolver;
  const size_t bins = bins_of(c);
  memset(c->input, 0, (size_t)IN_SEGMENTS * c->block * sizeof *c->input);
  memset(c->output, 0, (size_t)OUT_SEGMENTS * c->block * sizeof *c->output);
  memset(c->past, 0, (size_t)2 * c->partitions * bins * sizeof *c->past);
  memset(c->filters, 0, (size_t)SETS * 2 * c->partitions * bins * sizeof *c->filters);
  lay_schedule(c);
  c->segment = 0;
  c->out_segment = 0;
  c->slot = 0;
  c->at = c->block;
  c->set = 0;
  c->waiting = false;
  c->fading = false;
}

uint32_t planish_convolver_load_tasks(PlanishConvolver *convolver, PlanishTask *tasks)
{
  const uint32_t count = convolver->partitions;
  tasks[0] = (PlanishTask){load_row, convolver, count * PLANISH_FFT_ROWS, PLANISH_FFT_ROW_COST};
  tasks[1] =
      (PlanishTask){load_part, convolver, count * PLANISH_FFT_PARTS, PLANISH_FFT_FORWARD_COST};
  tasks[2] = (PlanishTask){take_apart, convolver, count * PARTS, 10};
  return PLANISH_CONVOLVER_LOAD_TASKS;
}

void planish_convolver_exchange(PlanishConvolver *convolver)
{
  convolver->waiting = true;
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

void planish_convolver_process(PlanishConvolver *convolver, double *const *audio, uint32_t channels,
                               uint32_t frames)
{
  PlanishConvolver *const c = convolver;
  for (uint32_t from = 0; from < frames;) {
    if (c->at == c->block) {
      start_block(c);
    }
    const uint32_t left = c->block - c->at;
    const uint32_t part = frames - from < left ? frames - from : left;
    exchange_samples(c, audio, channels, from, part);
    planish_schedule_run(&c->schedule, part);
    c->at += part;
    from += part;
  }
}

void planish_convolver_release(PlanishConvolver *convolver)
{
  planish_spectral_fft_release(&convolver->fft);
}
