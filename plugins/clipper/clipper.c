/* The clipper: input gain, a pass of clip-and-filter, and, where the true peak is to be held, two
 * more passes on the result and a trim. */
#include "common/dsp/clip_curve.h"
#include "common/dsp/crossfade.h"
#include "common/dsp/delay.h"
#include "common/dsp/glide.h"
#include "common/dsp/maths.h"
#include "common/dsp/peak_hold.h"
#include "common/dsp/peak_trim.h"
#include "common/frame/stage.h"
#include "plugins/clipper/clipped_time.h"
#include "plugins/clipper/passes.h"
#include "ttl/clipper_ports.h"

/* The residue of later passes counts double: it drives regrown peaks down in three passes that
 * would take many (measured; the idea of a weighted residue is common practice in iterative clip
 * and filter). */
static const double LATER_WEIGHT = 2.0;

/* The first pass clips what lies this far back, and its result reaches the trim that much later. */
enum {
  CLIPS_BACK = PLANISH_OVERSAMPLER_TAPS / 2,
  WARNING_AHEAD = CLIPPER_PASSES * PLANISH_CLIP_PASS_DELAY - CLIPS_BACK
};

/* Frames whose ceilings are kept: the trim sees the oldest. */
enum {
  CURVES = 256,
  TRIM_BACK = CLIPPER_PASSES * PLANISH_CLIP_PASS_DELAY + PLANISH_INNER_PEAK_DELAY
};

_Static_assert(TRIM_BACK + PLANISH_GRID <= CURVES, "a block and what the trim looks back");

/* Frames from the first of a block in which the ceiling moved until all of the ring is the same. */
enum { ALL_STANDS = CURVES + PLANISH_GRID };

typedef enum { HOLD_OFF, HOLD_FILLING, HOLD_ON } HoldState;

typedef struct {
  ClipperPasses passes;
  PlanishPeakTrim trim;
  PlanishGlide gain_db;
  PlanishGlide ceiling_db;
  PlanishGlide knee_db;
  PlanishCrossfade held_share; /* how much of the held result comes out */
  PlanishPeakHold reduction;
  ClippedTime clipped;
  PlanishDelay driven[2];                  /* the input times its gain, ... */
  PlanishDelay clipped_once[2];            /* ... and the first pass's result */
  double gain;                             /* where its glide stands */
  PlanishClipCurve curve;                  /* where its glides stand */
  PlanishClipCurves curves;                /* of the block, for the first pass */
  PlanishClipCurves later[CLIPPER_PASSES]; /* for the others (the first is not used) */
  double trim_ceilings[PLANISH_GRID];
  double later_peaks[PLANISH_GRID]; /* of the others' passes; nobody looks */
  double *ceilings;        /* of the last frames, a ring: later passes see that of their audio */
  uint32_t ceiling_stands; /* frames since the first of the last block in which the ceiling moved,
                              up to ALL_STANDS: then what is made of the ring stands, too */
  uint32_t latency;
  uint32_t now;        /* frames since reset; wraps */
  uint32_t ratio;      /* wanted; an index */
  uint32_t fill_grids; /* grid intervals until the later passes and the trim are filled */
  uint32_t filling;    /* intervals left */
  HoldState hold;
  bool hold_wanted;
  bool curve_moved; /* in the last block */
  bool fresh;       /* nothing was set since reset */
} Clipper;

/* What changes from frame to frame within a block. */
typedef struct {
  double gain[PLANISH_GRID];
  double peak[PLANISH_GRID]; /* the largest fine magnitude that was clipped, 0: none */
} Course;

static uint32_t latency(double rate, const float *values)
{
  (void)values;
  return CLIPPER_PASSES * PLANISH_CLIP_PASS_DELAY + planish_peak_trim_latency(rate);
}

static PlanishStatus setup(void *state, double rate, PlanishArena *arena)
{
  Clipper *const clipper = state;
  if (!(rate > 0.0)) {
    return PLANISH_BAD_RATE;
  }
  clipper->latency = latency(rate, NULL);
  /* Two spans of each later pass, both sides of the trim's filter, its look-ahead. */
  const uint32_t fill = 4 * PLANISH_OVERSAMPLER_TAPS + 2 * clipper->latency;
  clipper->fill_grids = fill / PLANISH_GRID + 1;
  clipper_passes_setup(&clipper->passes, arena, rate);
  planish_peak_trim_setup(&clipper->trim, arena, rate, WARNING_AHEAD);
  planish_glide_setup(&clipper->gain_db, arena, rate, PLANISH_GLIDE_MS);
  planish_glide_setup(&clipper->ceiling_db, arena, rate, PLANISH_GLIDE_MS);
  planish_glide_setup(&clipper->knee_db, arena, rate, PLANISH_GLIDE_MS);
  planish_crossfade_setup(&clipper->held_share, rate, PLANISH_GLIDE_MS);
  clipper->ceilings = planish_arena_take(arena, CURVES, sizeof(double));
  for (uint32_t c = 0; c < 2; ++c) {
    planish_delay_setup(clipper->driven + c, arena, clipper->latency, PLANISH_GRID);
    planish_delay_setup(clipper->clipped_once + c, arena, clipper->latency, PLANISH_GRID);
  }
  planish_peak_hold_setup(&clipper->reduction, rate, 0.0);
  clipped_time_setup(&clipper->clipped, rate);
  return PLANISH_OK;
}

static void reset(void *state)
{
  Clipper *const clipper = state;
  for (uint32_t c = 0; c < 2; ++c) {
    planish_delay_reset(clipper->driven + c);
    planish_delay_reset(clipper->clipped_once + c);
  }
  planish_peak_trim_reset(&clipper->trim);
  planish_peak_hold_reset(&clipper->reduction);
  clipped_time_reset(&clipper->clipped);
  clipper->now = 0;
  clipper->fresh = true;
}

/* After a reset all stands on its values at once. */
static void stand(Clipper *clipper)
{
  planish_glide_jump(&clipper->gain_db, clipper->gain_db.target);
  planish_glide_jump(&clipper->ceiling_db, clipper->ceiling_db.target);
  planish_glide_jump(&clipper->knee_db, clipper->knee_db.target);
  planish_crossfade_jump(&clipper->held_share, clipper->hold_wanted);
  clipper->gain = planish_gain_of(clipper->gain_db.target);
  clipper->curve = planish_clip_curve_of(clipper->ceiling_db.target, clipper->knee_db.target);
  for (uint32_t i = 0; i < CURVES; ++i) {
    clipper->ceilings[i] = clipper->curve.ceiling;
  }
  clipper->ceiling_stands = 0;
  planish_clip_curves_fill(&clipper->curves, &clipper->curve);
  clipper->hold = clipper->hold_wanted ? HOLD_ON : HOLD_OFF;
  clipper_passes_reset(&clipper->passes, clipper->ratio);
  clipper->fresh = false;
}

static void set(void *state, const float *values)
{
  Clipper *const clipper = state;
  planish_glide_set(&clipper->gain_db, (double)values[CLIPPER_INPUT_GAIN]);
  planish_glide_set(&clipper->ceiling_db, (double)values[CLIPPER_CEILING]);
  planish_glide_set(&clipper->knee_db, (double)values[CLIPPER_KNEE]);
  clipper->ratio = (uint32_t)values[CLIPPER_OVERSAMPLING];
  clipper->hold_wanted = values[CLIPPER_HOLD_TRUE_PEAK] > 0.5F;
  if (clipper->fresh) {
    stand(clipper);
  }
}

/* Later passes and trim run while any of their result comes out, and before that until their
 * filters are full. */
static void step_hold(Clipper *clipper)
{
  if (clipper->hold == HOLD_OFF) {
    if (clipper->hold_wanted) {
      for (uint32_t p = 1; p < CLIPPER_PASSES; ++p) {
        clipper_passes_restart(&clipper->passes, p);
      }
      planish_peak_trim_reset(&clipper->trim);
      clipper->filling = clipper->fill_grids;
      clipper->hold = HOLD_FILLING;
    }
  } else if (clipper->hold == HOLD_FILLING) {
    if (!clipper->hold_wanted) {
      clipper->hold = HOLD_OFF;
    } else if (--clipper->filling == 0) {
      clipper->hold = HOLD_ON;
    }
  }
  if (clipper->hold == HOLD_ON) {
    planish_crossfade_turn(&clipper->held_share, clipper->hold_wanted);
    if (planish_crossfade_is_old(&clipper->held_share)) {
      clipper->hold = HOLD_OFF;
    }
  }
}

static void lay_gain(Clipper *clipper, double *gain, uint32_t frames)
{
  if (!planish_glide_is_moving(&clipper->gain_db)) {
    const double stands = clipper->gain;
    for (uint32_t i = 0; i < frames; ++i) {
      gain[i] = stands;
    }
    return;
  }
  for (uint32_t i = 0; i < frames; ++i) {
    gain[i] = planish_gain_of(planish_glide_next(&clipper->gain_db));
  }
  /* A glide that ends with the block has not given its target yet. */
  clipper->gain = planish_gain_of(clipper->gain_db.value);
}

/* While the curve moves, and for the block after. */
static void lay_curves(Clipper *clipper, uint32_t frames)
{
  PlanishClipCurve each[PLANISH_GRID];
  if (!planish_glide_is_moving(&clipper->ceiling_db) &&
      !planish_glide_is_moving(&clipper->knee_db)) {
    if (clipper->curve_moved) {
      planish_clip_curves_fill(&clipper->curves, &clipper->curve);
      clipper->curve_moved = false;
    }
    return;
  }
  for (uint32_t i = 0; i < frames; ++i) {
    const double ceiling_db = planish_glide_next(&clipper->ceiling_db);
    const double knee_db = planish_glide_next(&clipper->knee_db);
    each[i] = planish_clip_curve_of(ceiling_db, knee_db);
  }
  planish_clip_curves_take(&clipper->curves, each, frames);
  /* A glide that ends with the block has not given its target yet. */
  clipper->curve = planish_clip_curve_of(clipper->ceiling_db.value, clipper->knee_db.value);
  clipper->curve_moved = true;
  clipper->ceiling_stands = 0;
}

/* The hard curve of some ceilings, without the knee, which would press again on what it has rounded
 * already. */
static void lay_hard(PlanishClipCurves *curves, const double *ceilings, uint32_t frames)
{
  PlanishClipCurve each[PLANISH_GRID];
  for (uint32_t i = 0; i < frames; ++i) {
    each[i] = planish_clip_curve_hard(ceilings[i]);
  }
  planish_clip_curves_take(curves, each, frames);
}

static void recall_ceilings(const Clipper *clipper, uint32_t back, double *ceilings)
{
  for (uint32_t i = 0; i < PLANISH_GRID; ++i) {
    ceilings[i] = clipper->ceilings[(clipper->now + i - back) % CURVES];
  }
}

/* The ceilings of later passes and of the trim. Once the last of them stands, whole blocks of it
 * are left behind. */
static void lay_ceilings(Clipper *clipper, uint32_t frames)
{
  double ceilings[PLANISH_GRID];
  if (clipper->ceiling_stands >= ALL_STANDS) {
    return;
  }
  /* Beyond the block, too, for when it is the last one before all stands. */
  for (uint32_t i = 0; i < PLANISH_GRID; ++i) {
    clipper->ceilings[(clipper->now + i) % CURVES] =
        i < frames ? clipper->curves.ceiling[i] : clipper->curve.ceiling;
  }
  for (uint32_t p = 1; p < CLIPPER_PASSES; ++p) {
    recall_ceilings(clipper, p * PLANISH_CLIP_PASS_DELAY, ceilings);
    lay_hard(clipper->later + p, ceilings, PLANISH_GRID);
  }
  recall_ceilings(clipper, TRIM_BACK, clipper->trim_ceilings);
  clipper->ceiling_stands += frames;
}

/* The values of every frame of the block. */
static void lay_course(Clipper *clipper, Course *course, uint32_t frames)
{
  lay_gain(clipper, course->gain, frames);
  lay_curves(clipper, frames);
  lay_ceilings(clipper, frames);
  for (uint32_t i = 0; i < PLANISH_GRID; ++i) {
    course->peak[i] = 0.0;
  }
  clipper_passes_begin(&clipper->passes, frames);
}

/* Input gain, the delayed reference, and the first pass. Leaves its result in `audio`, and in
 * `once` what it was when the frame that goes out now came. */
static void clip_once(Clipper *clipper, uint32_t c, Course *course, double *audio,
                      double *reference, double *once, uint32_t frames)
{
  double unheard[PLANISH_GRID];
  for (uint32_t i = 0; i < frames; ++i) {
    audio[i] *= course->gain[i];
  }
  planish_delay_process(clipper->driven + c, audio, reference != NULL ? reference : unheard,
                        clipper->latency, frames);
  clipper_passes_run(&clipper->passes, 0, c, 1.0, &clipper->curves, audio, course->peak, frames);
  planish_delay_process(clipper->clipped_once + c, audio, once,
                        clipper->latency - PLANISH_CLIP_PASS_DELAY, frames);
}

/* Result of the first pass -> that of all passes and the trim. Returns the trim's reduction. */
static double hold_peaks(Clipper *clipper, const PlanishBlock *block, const Course *course,
                         double *const *audio)
{
  for (uint32_t p = 1; p < CLIPPER_PASSES; ++p) {
    for (uint32_t c = 0; c < block->channels; ++c) {
      clipper_passes_run(&clipper->passes, p, c, LATER_WEIGHT, clipper->later + p, audio[c],
                         clipper->later_peaks, block->frames);
    }
  }
  return planish_peak_trim_process(&clipper->trim, audio, clipper->trim_ceilings, course->peak,
                                   block->channels, block->frames);
}

/* Leaves in `audio` as much of the held result as its share says, the rest once clipped. */
static void blend(Clipper *clipper, double *const *audio, double once[2][PLANISH_GRID],
                  uint32_t channels, uint32_t frames)
{
  double share[PLANISH_GRID];
  if (clipper->hold == HOLD_ON && planish_crossfade_is_new(&clipper->held_share)) {
    return;
  }
  for (uint32_t i = 0; i < frames; ++i) {
    share[i] = clipper->hold == HOLD_ON ? planish_crossfade_next(&clipper->held_share) : 0.0;
  }
  for (uint32_t c = 0; c < channels; ++c) {
    for (uint32_t i = 0; i < frames; ++i) {
      if (share[i] == 0.0) {
        audio[c][i] = once[c][i];
      } else if (share[i] < 1.0) {
        audio[c][i] = once[c][i] + share[i] * (audio[c][i] - once[c][i]);
      }
    }
  }
}

/* What the curve took off the peaks, and how often. */
static void account(Clipper *clipper, const Course *course, double trimmed, uint32_t frames)
{
  double ratio = 1.0;
  uint32_t clipped = 0;
  for (uint32_t i = 0; i < frames; ++i) {
    if (course->peak[i] > 0.0) {
      const PlanishClipCurve curve = planish_clip_curves_at(&clipper->curves, i);
      const double left = planish_clip_curve_value(&curve, course->peak[i]);
      ratio = planish_max(ratio, course->peak[i] / left);
      ++clipped;
    }
  }
  const double reduction = ratio > 1.0 ? planish_level_of(ratio) : 0.0;
  planish_peak_hold_push(&clipper->reduction, planish_max(reduction, trimmed), frames);
  clipped_time_push(&clipper->clipped, clipped, frames);
}

static void process(void *state, const PlanishBlock *block)
{
  Clipper *const clipper = state;
  const uint32_t channels = block->channels;
  const uint32_t frames = block->frames;
  Course course;
  double once[2][PLANISH_GRID];
  if (clipper->now % PLANISH_GRID == 0) {
    step_hold(clipper);
    clipper_passes_at_grid(&clipper->passes, clipper->ratio);
  }
  lay_course(clipper, &course, frames);
  for (uint32_t c = 0; c < channels; ++c) {
    clip_once(clipper, c, &course, block->audio[c], block->reference[c], once[c], frames);
  }
  double trimmed = 0.0;
  if (clipper->hold != HOLD_OFF) {
    trimmed = hold_peaks(clipper, block, &course, block->audio);
  }
  blend(clipper, block->audio, once, channels, frames);
  account(clipper, &course, clipper->hold == HOLD_ON ? trimmed : 0.0, frames);
  clipper->now += frames;
}

static void report(void *state, float *values, uint32_t frames)
{
  const Clipper *const clipper = state;
  (void)frames;
  const double most = (double)clipper_port_table[CLIPPER_REDUCTION].maximum;
  values[CLIPPER_REDUCTION] =
      (float)planish_min(planish_peak_hold_value(&clipper->reduction), most);
  values[CLIPPER_CLIPPED] = (float)clipped_time_value(&clipper->clipped);
}

const PlanishStage planish_stage = {
    .ports = &clipper_ports,
    .state_size = sizeof(Clipper),
    .setup = setup,
    .reset = reset,
    .set = set,
    .latency = latency,
    .process = process,
    .report = report,
};
