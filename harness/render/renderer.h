/* Runs a mix through a sheet's chain, in blocks: memory does not grow with the mix.
 *
 * The chain's latency is taken out to the frame: the result has the length of what was asked for
 * and lines up with the mix. Past the end of the mix the chain gets silence until it has run out.
 * What comes from the mix's first frame on has the sheet's head_silence ahead of it, what goes to
 * its last frame the tail and tail_silence after it; the fades act where they fall.
 *
 * Pre-roll: a stage that needs time to settle says so (`settles`, in seconds, a property of the
 * vocabulary). Then the chain first hears as much of the mix's beginning as the slowest stage
 * needs, or as the sheet's `preroll` says, then silence longer than the chain's latency, then the
 * mix: in one run without a reset, the two together a whole multiple of PLANISH_PREROLL_UNIT frames
 * so that what works in blocks meets the mix as it would without. The pre-roll is cut from the
 * result. 0 means none.
 *
 * An excerpt is what stands at its place in the whole: the chain runs in on what comes before, 10 s
 * and what it needs to settle.
 *
 * The stages run on as many processors as there are (base/pipeline.h): the same samples. `sink` and
 * taps are called by any thread, one at a time each, different ones at once.
 *
 * Thread: that of the host. */
#ifndef PLANISH_HARNESS_RENDERER_H
#define PLANISH_HARNESS_RENDERER_H

#include "harness/audio/audio_reader.h"
#include "harness/base/error.h"
#include "harness/render/chain.h"
#include "harness/render/checkpoint.h"
#include "harness/sheet/sheet.h"

#include <stdbool.h>
#include <stdint.h>

#define PLANISH_PREROLL_UNIT 65536 /* frames */
#define PLANISH_RUN_IN       10.0  /* s, ahead of an excerpt */

/* Told from time to time how much of the render is done, 0..1. */
typedef void (*PlanishProgressTold)(void *user, double share);

typedef struct {
  PlanishReader *mix; /* as planish_mix_open() gives it */
  const PlanishSheet *sheet;
  double input_gain;             /* dB, ahead of the first stage */
  uint64_t from;                 /* frames of the mix: from this one */
  uint64_t to;                   /* up to, not including, this one; > from */
  const PlanishTaps *taps;       /* may be NULL: nothing is taken on the way */
  const bool *without;           /* by stage: rendered as if it were not there; NULL: all are */
  PlanishCheckpoint *checkpoint; /* where to begin, or what to fill on the way (not without
                                    `accounts`), unless `taps` want to hear it all; NULL: neither */
  PlanishProgressTold told;      /* may be NULL */
  void *told_user;
} PlanishRenderJob;

/* Opens the mix as the sheet wants it: mended, at its rate. */
PlanishReader *planish_mix_open(const char *path, const PlanishSheet *sheet, bool silence_bad,
                                PlanishError *error);
/* The same, and "-" is standard input, kept beside a path (audio_reader.h). */
PlanishReader *planish_mix_open_beside(const char *path, const PlanishSheet *sheet,
                                       bool silence_bad, const char *beside, PlanishError *error);

/* Mixes that run on, as one. */
PlanishReader *planish_mix_open_joined(const char *const *paths, size_t count,
                                       const PlanishSheet *sheet, PlanishError *error);

/* How many frames the render hands to its sink. */
uint64_t planish_render_frames(const PlanishRenderJob *job);

/* How many of them are the silence ahead. */
uint64_t planish_render_head_frames(const PlanishRenderJob *job);

/* How many each boundary gives to its tap: as many, less the silence at head and tail.
 */
uint64_t planish_render_tapped_frames(const PlanishRenderJob *job);

/* One render. `sink` takes the result (NULL: nobody wants it). `accounts`: as many as the sheet has
 * stages, zeroed at first; planish_accounts_free() gives them back. `latency` gets the chain's.
 * Both may be NULL. Ends early with PLANISH_INTERRUPTED. */
bool planish_render(const PlanishRenderJob *job, PlanishSink sink, void *user,
                    PlanishAccount *accounts, uint32_t *latency, PlanishError *error);

#endif
