/* The spectral engine: short spectra of one or two channels, a gain that its user lays on each, and
 * the way back, by weighted overlap-add (Crochiere 1980, from memory) on a difference path:
 *
 *   result = delayed input + overlap-add of (G - 1) times the spectrum
 *
 * so that where every gain is 1 the result is the input bit for bit, and round-off shrinks with the
 * change that is made.
 *
 * A frame of `length` samples starts every `hop` = length / 4, under a Hann window both ways: its
 * ends are flat, so that what a filter's ringing wraps around a frame's end comes out 25 dB lower
 * than under the usual root. Two channels go through one complex transform as left + i right (or
 * mid + i side): a gain is for both, real or complex, and what is known of each bin is the power of
 * both together.
 *
 * What a hop asks for is cut into some hundred steps and spread over the frames of the next hop
 * (schedule.h): the input of a hop gathers while the one before is worked on. So the latency is
 * length + hop, whatever the host's blocks are, and the same frames give the same bits.
 *
 * The user's part is a law: what it does at the start of a hop, and tasks that run between the
 * transform and the way back. They read `spectrum` and must lay down every gain anew in each hop
 * (spectral_bins.h); they see nothing that changes within the hop but what begin() has set aside.
 * The law comes with each reset.
 *
 * An engine set up with extras can also look ahead: its law lays gains on a spectrum some hops
 * older than the newest. And it can have an aside: a second result from the same spectra, by gains
 * of its own, for listening to a part of the sound. It costs a second way back, in the hops alone
 * for which begin() asks for it, and is whole five hops later.
 *
 * Buffers: all from the arena; input and result may be the same. Thread: one at a time. All but
 * setup and release are real-time safe. */
#ifndef PLANISH_DSP_SPECTRAL_ENGINE_H
#define PLANISH_DSP_SPECTRAL_ENGINE_H

#include "common/dsp/arena.h"
#include "common/dsp/schedule.h"
#include "common/dsp/spectral_complex.h"
#include "common/dsp/spectral_fft.h"
#include "common/dsp/status.h"

#include <stdbool.h>
#include <stdint.h>

enum {
  PLANISH_SPECTRAL_OVERLAP = 4,
  /* A block of input is at most this long: the frame's grid. */
  PLANISH_SPECTRAL_BLOCK = 32,
  /* Of the engine's own tasks, aside included; the rest of a schedule is the law's. */
  PLANISH_SPECTRAL_TASKS = 9,
};

/* What an engine may have besides. */
typedef struct {
  uint32_t most_ahead; /* hops that a law may look ahead */
  bool aside;          /* a second result of the same spectrum, by gains of its own */
} PlanishSpectralExtras;

typedef struct {
  /* Called on the first frame of a hop, before its tasks: takes over the settings that the hop
   * works by. May be NULL. */
  void (*begin)(void *context);
  void *context;
  /* Costs in the unit of PLANISH_FFT_ROW_COST; at most PLANISH_MOST_TASKS -
   * PLANISH_SPECTRAL_TASKS. Copied; the context is not. */
  const PlanishTask *tasks;
  uint32_t task_count;
  /* Every gain is real, and laid by planish_spectral_path_lay_real(): the way back costs less. */
  bool real_gains;
} PlanishSpectralLaw;

/* From gains on a spectrum to what they make of five hops. */
typedef struct {
  struct PlanishSpectralEngine *engine;
  PlanishComplex *gains;    /* of `length` bins, or, ... */
  float *real_gains;        /* ... where the law's are real, of bins 0..length/2, in their place */
  PlanishComplex *spectrum; /* the gains' product takes its place */
  PlanishComplex *change;   /* as the input: [segment][row][hop / 16] */
} PlanishSpectralPath;

typedef struct PlanishSpectralEngine {
  PlanishComplex *spectrum; /* the newest: `length` bins; the upper half mirrors for a single
                               channel alone */
  PlanishComplex *due; /* the one that gains are laid on: the same, unless the law looks ahead */
  PlanishSpectralPath path;  /* gains of G - 1; the result is added to the input */
  PlanishSpectralPath aside; /* gains of G; the result stands alone. NULLs without */
  bool aside_wanted;         /* for the law's begin() to set: the aside runs in this hop */
  uint32_t aside_left;       /* hops until nothing of it is left */
  uint32_t length;
  uint32_t hop;
  PlanishSpectralFft fft;
  PlanishSchedule schedule;
  PlanishSchedule schedule_with_aside;
  PlanishSchedule *running; /* that of this hop */
  void (*begin)(void *context);
  void *context;
  double *kept[2];         /* the input of the last five hops and those ahead: the latency */
  PlanishComplex *spectra; /* [most_ahead + 1][length], a ring */
  PlanishComplex *input;   /* the last five hops in rows: [segment][row][hop / 16] */
  PlanishComplex *samples; /* a row on its way */
  float *window;           /* in rows, as the samples of a frame */
  uint32_t row_start[PLANISH_FFT_ROWS]; /* by the first sample of a row: where it begins */
  uint32_t most_ahead;                  /* hops */
  uint32_t ahead;
  uint32_t newest;       /* place in the ring of spectra */
  uint32_t kept_segment; /* place of the hop that gathers now among those kept */
  uint32_t segment;      /* ... and among the five */
  uint32_t at;           /* frames of it that are there */
} PlanishSpectralEngine;

/* The frame length at a rate that lasts as long as `length_at_48k` does at 48 kHz, to the next
 * power of two: 4096 gives 4096 at 44.1 and 48 kHz, 8192 at 88.2 and 96 kHz. */
uint32_t planish_spectral_frame_length(double rate, uint32_t length_at_48k);

/* Frames between input and result; each hop ahead adds one hop. */
static inline uint32_t planish_spectral_engine_latency(uint32_t length)
{
  return length + length / PLANISH_SPECTRAL_OVERLAP;
}

/* `length` is a power of two from PLANISH_FFT_SHORTEST on. PLANISH_NO_MEMORY where there is no
 * plan. */
PlanishStatus planish_spectral_engine_setup(PlanishSpectralEngine *engine, PlanishArena *arena,
                                            uint32_t length);

/* The same, with extras. */
PlanishStatus planish_spectral_engine_setup_with(PlanishSpectralEngine *engine, PlanishArena *arena,
                                                 uint32_t length,
                                                 const PlanishSpectralExtras *extras);

/* From the next reset on, gains are laid on the spectrum that came so many hops (0..most_ahead)
 * before the newest, `due` instead of `spectrum`. */
static inline void planish_spectral_engine_look_ahead(PlanishSpectralEngine *engine, uint32_t hops)
{
  engine->ahead = hops < engine->most_ahead ? hops : engine->most_ahead;
}

/* Forgets all input, change and gains, and works by `law` from now on; a hop starts at the next
 * frame. To be called before the first process(). */
void planish_spectral_engine_reset(PlanishSpectralEngine *engine, const PlanishSpectralLaw *law);

/* 1 or 2 channels, 1..PLANISH_SPECTRAL_BLOCK frames, replaced by the result of latency frames ago.
 * Returns the cost of the steps that have run, for those who measure. */
uint64_t planish_spectral_engine_process(PlanishSpectralEngine *engine, double *const *audio,
                                         uint32_t channels, uint32_t frames);

/* The same, and what the aside's gains make of the same input, alone, as late as the result: 0
 * where it did not run. aside: as audio, not the same buffers. Of an engine with an aside. */
uint64_t planish_spectral_engine_process_aside(PlanishSpectralEngine *engine, double *const *audio,
                                               double *const *aside, uint32_t channels,
                                               uint32_t frames);

/* Fine on zeros, and twice. */
void planish_spectral_engine_release(PlanishSpectralEngine *engine);

#endif
