#include "common/dsp/spectral_engine.h"

#include "common/dsp/maths.h"
#include "common/dsp/trig.h"
#include "common/dsp/wide.h"

#include <string.h>

/* The frame under work and the hop that gathers. */
enum { SEGMENTS = PLANISH_SPECTRAL_OVERLAP + 1 };

uint32_t planish_spectral_frame_length(double rate, uint32_t length_at_48k)
{
  uint32_t length = length_at_48k;
  /* Half an octave either way keeps the power of two. */
  double over = rate / (48000.0 * 1.41421356237309504880);
  double under = 48000.0 / (rate * 1.41421356237309504880);
  while (over > 1.0) {
    over /= 2.0;
    length *= 2;
  }
  while (under > 1.0 && length > PLANISH_FFT_SHORTEST) {
    under /= 2.0;
    length /= 2;
  }
  return length;
}

/* Where a row of one of the segments lies that a frame spans; piece 0..3 is the age of the hop, the
 * oldest first. */
static size_t piece_of(const PlanishSpectralEngine *engine, uint32_t piece, uint32_t row)
{
  const uint32_t segment = (engine->segment + 1 + piece) % SEGMENTS;
  return ((size_t)segment * PLANISH_FFT_ROWS + row) * (engine->hop / PLANISH_FFT_ROWS);
}

/* Where a sample of the hop that gathers now lies. */
static size_t place_of(const PlanishSpectralEngine *engine, uint32_t at)
{
  /* The order of the rows is its own inverse. */
  const uint32_t row = planish_spectral_fft_first(at % PLANISH_FFT_ROWS);
  const uint32_t column = at / PLANISH_FFT_ROWS;
  return (size_t)engine->segment * engine->hop + (size_t)row * (engine->hop / PLANISH_FFT_ROWS) +
         column;
}

PLANISH_WIDE static void analyse_row(void *context, uint32_t row)
{
  PlanishSpectralEngine *const engine = context;
  const uint32_t fours = engine->hop / PLANISH_FFT_ROWS / 4;
  const PlanishFour *window = (const PlanishFour *)(engine->window + (size_t)row * engine->fft.row);
  PlanishComplexFour *samples = (PlanishComplexFour *)engine->samples;
  for (uint32_t piece = 0; piece < PLANISH_SPECTRAL_OVERLAP; ++piece) {
    const PlanishComplexFour *const input =
        (const PlanishComplexFour *)(engine->input + piece_of(engine, piece, row));
    for (uint32_t n = 0; n < fours; ++n) {
      samples[n] = planish_four_scaled(input[n], window[n]);
    }
    samples += fours;
    window += fours;
  }
  planish_spectral_fft_forward_row(&engine->fft, engine->samples, engine->spectrum, row);
}

static void forward_part(void *context, uint32_t part)
{
  PlanishSpectralEngine *const engine = context;
  planish_spectral_fft_forward_part(&engine->fft, engine->spectrum, part);
}

static void lay_gains(void *context, uint32_t part)
{
  PlanishSpectralEngine *const engine = context;
  planish_spectral_fft_backward_part(&engine->fft, engine->spectrum, engine->gains, part);
}

static void backward_part(void *context, uint32_t part)
{
  PlanishSpectralEngine *const engine = context;
  planish_spectral_fft_backward_part(&engine->fft, engine->spectrum, NULL,
                                     PLANISH_FFT_PARTS / 2 + part);
}

PLANISH_WIDE static void add_row(void *context, uint32_t row)
{
  PlanishSpectralEngine *const engine = context;
  const uint32_t fours = engine->hop / PLANISH_FFT_ROWS / 4;
  const PlanishFour *window = (const PlanishFour *)(engine->window + (size_t)row * engine->fft.row);
  const PlanishComplexFour *samples = (const PlanishComplexFour *)engine->samples;
  planish_spectral_fft_backward_row(&engine->fft, engine->spectrum, engine->samples, row);
  for (uint32_t piece = 0; piece < PLANISH_SPECTRAL_OVERLAP; ++piece) {
    PlanishComplexFour *const change =
        (PlanishComplexFour *)(engine->change + piece_of(engine, piece, row));
    for (uint32_t n = 0; n < fours; ++n) {
      change[n] += planish_four_scaled(samples[n], window[n]);
    }
    samples += fours;
    window += fours;
  }
}

/* A Hann window, in rows. */
static void fill_window(PlanishSpectralEngine *engine)
{
  for (uint32_t row = 0; row < PLANISH_FFT_ROWS; ++row) {
    for (uint32_t n = 0; n < engine->fft.row; ++n) {
      const uint32_t at = planish_spectral_fft_first(row) + n * PLANISH_FFT_ROWS;
      const double turn = ((double)at + 0.5) / (double)engine->length;
      const double sine = planish_sine_cosine(PLANISH_PI * turn).sine;
      engine->window[row * engine->fft.row + n] = (float)(sine * sine);
    }
  }
}

static void lay_schedule(PlanishSpectralEngine *engine, const PlanishSpectralLaw *law)
{
  PlanishSchedule *const schedule = &engine->schedule;
  planish_schedule_setup(schedule, engine->hop);
  planish_schedule_add(schedule,
                       (PlanishTask){analyse_row, engine, PLANISH_FFT_ROWS, PLANISH_FFT_ROW_COST});
  planish_schedule_add(
      schedule, (PlanishTask){forward_part, engine, PLANISH_FFT_PARTS, PLANISH_FFT_FORWARD_COST});
  for (uint32_t i = 0; i < law->task_count; ++i) {
    planish_schedule_add(schedule, law->tasks[i]);
  }
  planish_schedule_add(
      schedule, (PlanishTask){lay_gains, engine, PLANISH_FFT_PARTS / 2, PLANISH_FFT_GAINS_COST});
  planish_schedule_add(schedule, (PlanishTask){backward_part, engine, PLANISH_FFT_PARTS / 2,
                                               PLANISH_FFT_BACKWARD_COST});
  planish_schedule_add(schedule,
                       (PlanishTask){add_row, engine, PLANISH_FFT_ROWS, PLANISH_FFT_ROW_COST});
}

PlanishStatus planish_spectral_engine_setup(PlanishSpectralEngine *engine, PlanishArena *arena,
                                            uint32_t length)
{
  const uint32_t hop = length / PLANISH_SPECTRAL_OVERLAP;
  engine->length = length;
  engine->hop = hop;
  engine->spectrum = planish_arena_take(arena, length, sizeof *engine->spectrum);
  engine->gains = planish_arena_take(arena, length, sizeof *engine->gains);
  engine->input = planish_arena_take(arena, (size_t)SEGMENTS * hop, sizeof *engine->input);
  engine->change = planish_arena_take(arena, (size_t)SEGMENTS * hop, sizeof *engine->change);
  engine->samples = planish_arena_take(arena, length / PLANISH_FFT_ROWS, sizeof *engine->samples);
  engine->window = planish_arena_take(arena, length, sizeof *engine->window);
  for (int c = 0; c < 2; ++c) {
    engine->kept[c] = planish_arena_take(arena, (size_t)SEGMENTS * hop, sizeof(double));
  }
  const PlanishStatus status = planish_spectral_fft_setup(&engine->fft, arena, length);
  if (planish_arena_is_filling(arena)) {
    fill_window(engine);
  }
  return status;
}

void planish_spectral_engine_reset(PlanishSpectralEngine *engine, const PlanishSpectralLaw *law)
{
  const size_t bytes = (size_t)SEGMENTS * engine->hop * sizeof(PlanishComplex);
  memset(engine->input, 0, bytes);
  memset(engine->change, 0, bytes);
  for (int c = 0; c < 2; ++c) {
    memset(engine->kept[c], 0, (size_t)SEGMENTS * engine->hop * sizeof(double));
  }
  memset(engine->gains, 0, engine->length * sizeof *engine->gains);
  lay_schedule(engine, law);
  engine->begin = law->begin;
  engine->context = law->context;
  engine->segment = 0;
  /* As if a hop of silence had just gone by. */
  engine->at = engine->hop;
}

static void start_hop(PlanishSpectralEngine *engine)
{
  engine->segment = (engine->segment + 1) % SEGMENTS;
  engine->at = 0;
  if (engine->begin != NULL) {
    engine->begin(engine->context);
  }
  planish_schedule_begin(&engine->schedule);
}

/* Takes the input of a stretch that ends with the hop or before, and gives out what lay in its
 * place, five hops old: the delayed input with what is to be added. */
PLANISH_WIDE static void exchange(PlanishSpectralEngine *engine, double *const *audio,
                                  uint32_t channels, uint32_t from, uint32_t frames)
{
  /* The transforms multiply by the length, and the squares of four windows add up to 3/2. */
  const double scale = 1.0 / (1.5 * (double)engine->length);
  double change[2][PLANISH_SPECTRAL_BLOCK];
  for (uint32_t i = 0; i < frames; ++i) {
    const size_t place = place_of(engine, engine->at + i);
    const double second = channels == 2 ? audio[1][from + i] : 0.0;
    engine->input[place] = (PlanishComplex){(float)audio[0][from + i], (float)second};
    change[0][i] = scale * (double)engine->change[place].re;
    change[1][i] = scale * (double)engine->change[place].im;
    engine->change[place] = (PlanishComplex){0.0F, 0.0F};
  }
  for (uint32_t c = 0; c < channels; ++c) {
    double *restrict const x = audio[c] + from;
    double *restrict const kept =
        engine->kept[c] + (size_t)engine->segment * engine->hop + engine->at;
    for (uint32_t i = 0; i < frames; ++i) {
      const double in = x[i];
      x[i] = kept[i] + change[c][i];
      kept[i] = in;
    }
  }
}

uint64_t planish_spectral_engine_process(PlanishSpectralEngine *engine, double *const *audio,
                                         uint32_t channels, uint32_t frames)
{
  uint64_t cost = 0;
  for (uint32_t from = 0; from < frames;) {
    if (engine->at == engine->hop) {
      start_hop(engine);
    }
    const uint32_t to_hop = engine->hop - engine->at;
    const uint32_t part = frames - from < to_hop ? frames - from : to_hop;
    exchange(engine, audio, channels, from, part);
    cost += planish_schedule_run(&engine->schedule, part);
    engine->at += part;
    from += part;
  }
  return cost;
}

void planish_spectral_engine_release(PlanishSpectralEngine *engine)
{
  planish_spectral_fft_release(&engine->fft);
}
