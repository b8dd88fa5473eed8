#include "common/dsp/spectral_engine.h"

#include "common/dsp/four_lanes.h"
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

/* Where samples `at`, at + 16, ... of the hop that gathers now lie, one after the other. */
static size_t place_of(const PlanishSpectralEngine *engine, uint32_t at)
{
  return (size_t)engine->segment * engine->hop + engine->row_start[at % PLANISH_FFT_ROWS] +
         at / PLANISH_FFT_ROWS;
}

PLANISH_WIDE static void analyse_row(void *context, uint32_t row)
{
  PlanishSpectralEngine *const engine = context;
  const uint32_t fours = engine->hop / PLANISH_FFT_ROWS / 4;
  const PlanishFourFloats *window =
      (const PlanishFourFloats *)(engine->window + (size_t)row * engine->fft.row);
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

/* The aside works on a copy. */
static void copy_part(void *context, uint32_t part)
{
  PlanishSpectralEngine *const engine = context;
  const uint32_t bins = engine->length / PLANISH_FFT_PARTS;
  memcpy(engine->aside.spectrum + (size_t)part * bins, engine->due + (size_t)part * bins,
         bins * sizeof *engine->due);
}

static void lay_gains(void *context, uint32_t part)
{
  const PlanishSpectralPath *const path = context;
  planish_spectral_fft_backward_part(&path->engine->fft, path->spectrum, path->gains, part);
}

static void lay_real_gains(void *context, uint32_t part)
{
  const PlanishSpectralPath *const path = context;
  planish_spectral_fft_backward_real(&path->engine->fft, path->spectrum, path->real_gains, part);
}

static void backward_part(void *context, uint32_t part)
{
  const PlanishSpectralPath *const path = context;
  planish_spectral_fft_backward_part(&path->engine->fft, path->spectrum, NULL,
                                     PLANISH_FFT_PARTS / 2 + part);
}

PLANISH_WIDE static void add_row(void *context, uint32_t row)
{
  const PlanishSpectralPath *const path = context;
  const PlanishSpectralEngine *const engine = path->engine;
  const uint32_t fours = engine->hop / PLANISH_FFT_ROWS / 4;
  const PlanishFourFloats *window =
      (const PlanishFourFloats *)(engine->window + (size_t)row * engine->fft.row);
  const PlanishComplexFour *samples = (const PlanishComplexFour *)engine->samples;
  planish_spectral_fft_backward_row(&engine->fft, path->spectrum, engine->samples, row);
  for (uint32_t piece = 0; piece < PLANISH_SPECTRAL_OVERLAP; ++piece) {
    PlanishComplexFour *const change =
        (PlanishComplexFour *)(path->change + piece_of(engine, piece, row));
    /* On the path that runs in every hop the newest piece is the first that comes to its place. */
    const bool first = piece == PLANISH_SPECTRAL_OVERLAP - 1 && path == &engine->path;
    for (uint32_t n = 0; n < fours; ++n) {
      const PlanishComplexFour added = planish_four_scaled(samples[n], window[n]);
      if (first) {
        change[n] = added;
      } else {
        change[n] += added;
      }
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

static void add_path(PlanishSchedule *schedule, PlanishSpectralPath *path, bool real_gains)
{
  const PlanishTask complex_ones = {lay_gains, path, PLANISH_FFT_PARTS / 2, PLANISH_FFT_GAINS_COST};
  const PlanishTask real_ones = {lay_real_gains, path, PLANISH_FFT_PARTS / 2,
                                 PLANISH_FFT_REAL_GAINS_COST};
  planish_schedule_add(schedule, real_gains ? real_ones : complex_ones);
  planish_schedule_add(schedule, (PlanishTask){backward_part, path, PLANISH_FFT_PARTS / 2,
                                               PLANISH_FFT_BACKWARD_COST});
  planish_schedule_add(schedule,
                       (PlanishTask){add_row, path, PLANISH_FFT_ROWS, PLANISH_FFT_ROW_COST});
}

static void lay_schedule(PlanishSpectralEngine *engine, const PlanishSpectralLaw *law, bool aside)
{
  PlanishSchedule *const schedule = aside ? &engine->schedule_with_aside : &engine->schedule;
  planish_schedule_setup(schedule, engine->hop);
  planish_schedule_add(schedule,
                       (PlanishTask){analyse_row, engine, PLANISH_FFT_ROWS, PLANISH_FFT_ROW_COST});
  planish_schedule_add(
      schedule, (PlanishTask){forward_part, engine, PLANISH_FFT_PARTS, PLANISH_FFT_FORWARD_COST});
  for (uint32_t i = 0; i < law->task_count; ++i) {
    planish_schedule_add(schedule, law->tasks[i]);
  }
  if (aside) {
    planish_schedule_add(schedule, (PlanishTask){copy_part, engine, PLANISH_FFT_PARTS, 1});
  }
  add_path(schedule, &engine->path, law->real_gains);
  if (aside) {
    add_path(schedule, &engine->aside, law->real_gains);
  }
}

static void take_path(PlanishSpectralEngine *engine, PlanishSpectralPath *path, PlanishArena *arena)
{
  const size_t frames = (size_t)SEGMENTS * engine->hop;
  path->engine = engine;
  path->gains = planish_arena_take(arena, engine->length, sizeof *path->gains);
  path->real_gains = (float *)path->gains;
  path->change = planish_arena_take(arena, frames, sizeof *path->change);
}

PlanishStatus planish_spectral_engine_setup_with(PlanishSpectralEngine *engine, PlanishArena *arena,
                                                 uint32_t length,
                                                 const PlanishSpectralExtras *extras)
{
  const uint32_t hop = length / PLANISH_SPECTRAL_OVERLAP;
  const size_t spectra = (size_t)(extras->most_ahead + 1) * length;
  const size_t kept = (size_t)(SEGMENTS + extras->most_ahead) * hop;
  engine->length = length;
  engine->hop = hop;
  for (uint32_t first = 0; first < PLANISH_FFT_ROWS; ++first) {
    /* The order of the rows is its own inverse. */
    engine->row_start[first] = planish_spectral_fft_first(first) * (hop / PLANISH_FFT_ROWS);
  }
  engine->most_ahead = extras->most_ahead;
  engine->spectra = planish_arena_take(arena, spectra, sizeof *engine->spectra);
  engine->input = planish_arena_take(arena, (size_t)SEGMENTS * hop, sizeof *engine->input);
  engine->samples = planish_arena_take(arena, length / PLANISH_FFT_ROWS, sizeof *engine->samples);
  engine->window = planish_arena_take(arena, length, sizeof *engine->window);
  take_path(engine, &engine->path, arena);
  if (extras->aside) {
    take_path(engine, &engine->aside, arena);
    engine->aside.spectrum = planish_arena_take(arena, length, sizeof *engine->aside.spectrum);
  }
  for (int c = 0; c < 2; ++c) {
    engine->kept[c] = planish_arena_take(arena, kept, sizeof(double));
  }
  const PlanishStatus status = planish_spectral_fft_setup(&engine->fft, arena, length);
  if (planish_arena_is_filling(arena)) {
    fill_window(engine);
  }
  return status;
}

PlanishStatus planish_spectral_engine_setup(PlanishSpectralEngine *engine, PlanishArena *arena,
                                            uint32_t length)
{
  return planish_spectral_engine_setup_with(engine, arena, length,
                                            &(PlanishSpectralExtras){0, false});
}

static void clear_path(PlanishSpectralEngine *engine, PlanishSpectralPath *path)
{
  memset(path->gains, 0, engine->length * sizeof *path->gains);
  memset(path->change, 0, (size_t)SEGMENTS * engine->hop * sizeof *path->change);
}

/* The newest spectrum has its place; the one that is due lies as far back as the law looks ahead.
 */
static void point_at_spectra(PlanishSpectralEngine *engine)
{
  const uint32_t places = engine->most_ahead + 1;
  const uint32_t due = (engine->newest + places - engine->ahead) % places;
  engine->spectrum = engine->spectra + (size_t)engine->newest * engine->length;
  engine->due = engine->spectra + (size_t)due * engine->length;
  engine->path.spectrum = engine->due;
}

void planish_spectral_engine_reset(PlanishSpectralEngine *engine, const PlanishSpectralLaw *law)
{
  const size_t kept = (size_t)(SEGMENTS + engine->most_ahead) * engine->hop;
  const size_t spectra = (size_t)(engine->most_ahead + 1) * engine->length;
  memset(engine->input, 0, (size_t)SEGMENTS * engine->hop * sizeof *engine->input);
  memset(engine->spectra, 0, spectra * sizeof *engine->spectra);
  for (int c = 0; c < 2; ++c) {
    memset(engine->kept[c], 0, kept * sizeof(double));
  }
  clear_path(engine, &engine->path);
  lay_schedule(engine, law, false);
  if (engine->aside.gains != NULL) {
    clear_path(engine, &engine->aside);
    lay_schedule(engine, law, true);
  }
  engine->begin = law->begin;
  engine->context = law->context;
  engine->newest = 0;
  engine->aside_wanted = false;
  engine->aside_left = 0;
  engine->kept_segment = 0;
  engine->segment = 0;
  point_at_spectra(engine);
  /* As if a hop of silence had just gone by. */
  engine->running = &engine->schedule;
  engine->at = engine->hop;
}

static void start_hop(PlanishSpectralEngine *engine)
{
  engine->segment = (engine->segment + 1) % SEGMENTS;
  engine->kept_segment = (engine->kept_segment + 1) % (SEGMENTS + engine->ahead);
  engine->newest = (engine->newest + 1) % (engine->most_ahead + 1);
  engine->at = 0;
  point_at_spectra(engine);
  if (engine->begin != NULL) {
    engine->begin(engine->context);
  }
  const bool aside = engine->aside_wanted && engine->aside.gains != NULL;
  engine->aside_left = aside ? SEGMENTS + 1 : engine->aside_left - (engine->aside_left > 0 ? 1 : 0);
  engine->running = aside ? &engine->schedule_with_aside : &engine->schedule;
  planish_schedule_begin(engine->running);
}

/* The transforms multiply by the length, and the squares of four windows add up to 3/2. */
static inline double scale_of(const PlanishSpectralEngine *engine)
{
  return 1.0 / (1.5 * (double)engine->length);
}

/* A whole block has two frames in each row, one beside the other. */
static inline bool is_whole(const PlanishSpectralEngine *engine, uint32_t frames)
{
  return frames == PLANISH_SPECTRAL_BLOCK && engine->at % PLANISH_FFT_ROWS == 0;
}

typedef PlanishFourFloats Quad;

/* Rows to columns: what goes in is taken for four rows of four numbers. */
PLANISH_INLINED void transpose(Quad x[4])
{
  const Quad a = __builtin_shufflevector(x[0], x[1], 0, 4, 1, 5);
  const Quad b = __builtin_shufflevector(x[2], x[3], 0, 4, 1, 5);
  const Quad c = __builtin_shufflevector(x[0], x[1], 2, 6, 3, 7);
  const Quad d = __builtin_shufflevector(x[2], x[3], 2, 6, 3, 7);
  x[0] = __builtin_shufflevector(a, b, 0, 1, 4, 5);
  x[1] = __builtin_shufflevector(a, b, 2, 3, 6, 7);
  x[2] = __builtin_shufflevector(c, d, 0, 1, 4, 5);
  x[3] = __builtin_shufflevector(c, d, 2, 3, 6, 7);
}

PLANISH_INLINED Quad narrowed(const double *x)
{
  return __builtin_convertvector(planish_four_load(x), Quad);
}

/* What lies on a path at a stretch of the hop. */
static void give_out(const PlanishSpectralEngine *engine, const PlanishSpectralPath *path,
                     double *const *out, uint32_t frames)
{
  const double scale = scale_of(engine);
  for (uint32_t i = 0; i < frames; ++i) {
    const PlanishComplex *const change = path->change + place_of(engine, engine->at + i);
    out[0][i] = scale * (double)change->re;
    out[1][i] = scale * (double)change->im;
  }
}

static void take_in(PlanishSpectralEngine *engine, const double *left, const double *right,
                    uint32_t frames)
{
  for (uint32_t i = 0; i < frames; ++i) {
    engine->input[place_of(engine, engine->at + i)] =
        (PlanishComplex){(float)left[i], (float)right[i]};
  }
}

/* The aside does not run in every hop: what it adds to must be nothing. */
static void empty_aside(PlanishSpectralEngine *engine, uint32_t frames)
{
  for (uint32_t i = 0; i < frames; ++i) {
    engine->aside.change[place_of(engine, engine->at + i)] = (PlanishComplex){0.0F, 0.0F};
  }
}

static void give_out_aside(PlanishSpectralEngine *engine, double *const *aside, uint32_t channels,
                           uint32_t from, uint32_t frames)
{
  double out[2][PLANISH_SPECTRAL_BLOCK] = {{0}};
  if (engine->aside_left > 0) {
    give_out(engine, &engine->aside, (double *const[2]){out[0], out[1]}, frames);
    empty_aside(engine, frames);
  }
  for (uint32_t c = 0; aside != NULL && c < channels; ++c) {
    memcpy(aside[c] + from, out[c], frames * sizeof(double));
  }
}

/* Where the frame that comes now is kept until it goes out. */
static inline double *kept_at(const PlanishSpectralEngine *engine, uint32_t channel)
{
  return engine->kept[channel] + (size_t)engine->kept_segment * engine->hop + engine->at;
}

/* Four frames go into what is kept; out comes what lay there, with what is to be added. */
PLANISH_INLINED void swap_four(double *x, double *kept, Quad change, double scale)
{
  const PlanishFour in = planish_four_load(x);
  const PlanishFour added = planish_all(scale) * __builtin_convertvector(change, PlanishFour);
  planish_four_store(x, planish_four_load(kept) + added);
  planish_four_store(kept, in);
}

/* exchange() of a whole block: four rows at a time, two frames of both channels in each. */
PLANISH_WIDE static void exchange_whole(PlanishSpectralEngine *engine, double *const *audio,
                                        uint32_t channels, uint32_t from)
{
  const Quad silence = {0.0F};
  const bool two = channels == 2;
  const double scale = scale_of(engine);
  const uint32_t *const start = engine->row_start;
  const PlanishComplex *const change = engine->path.change + place_of(engine, engine->at);
  PlanishComplex *const input = engine->input + place_of(engine, engine->at);
  double *const x[2] = {audio[0] + from, two ? audio[1] + from : NULL};
  double *const kept[2] = {kept_at(engine, 0), kept_at(engine, 1)};
  for (uint32_t row = 0; row < PLANISH_FFT_ROWS; row += 4) {
    const uint32_t later = row + PLANISH_FFT_ROWS;
    Quad in[4] = {narrowed(x[0] + row), two ? narrowed(x[1] + row) : silence,
                  narrowed(x[0] + later), two ? narrowed(x[1] + later) : silence};
    Quad out[4];
    transpose(in);
    for (uint32_t i = 0; i < 4; ++i) {
      out[i] = planish_four_floats_load(change + start[row + i]);
      planish_four_floats_store(input + start[row + i], in[i]);
    }
    transpose(out);
    swap_four(x[0] + row, kept[0] + row, out[0], scale);
    swap_four(x[0] + later, kept[0] + later, out[2], scale);
    if (two) {
      swap_four(x[1] + row, kept[1] + row, out[1], scale);
      swap_four(x[1] + later, kept[1] + later, out[3], scale);
    }
  }
}

/* Takes the input of a stretch that ends with the hop or before, and gives out what lay in its
 * place, five hops old: the delayed input with what is to be added. */
static void exchange(PlanishSpectralEngine *engine, double *const *audio, uint32_t channels,
                     uint32_t from, uint32_t frames)
{
  static const double silence[PLANISH_SPECTRAL_BLOCK] = {0};
  double change[2][PLANISH_SPECTRAL_BLOCK];
  if (is_whole(engine, frames)) {
    exchange_whole(engine, audio, channels, from);
    return;
  }
  take_in(engine, audio[0] + from, channels == 2 ? audio[1] + from : silence, frames);
  give_out(engine, &engine->path, (double *const[2]){change[0], change[1]}, frames);
  for (uint32_t c = 0; c < channels; ++c) {
    double *restrict const x = audio[c] + from;
    double *restrict const kept = kept_at(engine, c);
    for (uint32_t i = 0; i < frames; ++i) {
      const double in = x[i];
      x[i] = kept[i] + change[c][i];
      kept[i] = in;
    }
  }
}

uint64_t planish_spectral_engine_process_aside(PlanishSpectralEngine *engine, double *const *audio,
                                               double *const *aside, uint32_t channels,
                                               uint32_t frames)
{
  uint64_t cost = 0;
  for (uint32_t from = 0; from < frames;) {
    if (engine->at == engine->hop) {
      start_hop(engine);
    }
    const uint32_t to_hop = engine->hop - engine->at;
    const uint32_t part = frames - from < to_hop ? frames - from : to_hop;
    exchange(engine, audio, channels, from, part);
    if (aside != NULL || engine->aside_left > 0) {
      give_out_aside(engine, aside, channels, from, part);
    }
    cost += planish_schedule_run(engine->running, part);
    engine->at += part;
    from += part;
  }
  return cost;
}

uint64_t planish_spectral_engine_process(PlanishSpectralEngine *engine, double *const *audio,
                                         uint32_t channels, uint32_t frames)
{
  return planish_spectral_engine_process_aside(engine, audio, NULL, channels, frames);
}

void planish_spectral_engine_release(PlanishSpectralEngine *engine)
{
  planish_spectral_fft_release(&engine->fft);
}
