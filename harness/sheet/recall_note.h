/* What a recall file says beyond its settings: what they were made with, from what, and what came
 * out. It stands under `recall` in a sheet (recall/recall_file.h writes it):
 *
 *   recall:
 *     program: 1.2.3
 *     machine: x86_64 fma avx2       what samples may depend on, see recall/machine.h
 *     libraries: ...
 *     settings: DIGEST               of all settings above, by which an edit by hand is found
 *     mix:                           the file as it was
 *       path: /songs/mix.wav
 *       file: DIGEST                 of the file's bytes
 *       samples: DIGEST              of what they sound like, see recall/digest.h
 *       rate: Hz
 *       frames: N
 *       loudness: LUFS               of what the chain met, mended; left out where there is none
 *       true_peak: dBTP              likewise
 *       silence_bad: true            samples that are no number were taken as silence
 *     master:                        the same; its path is the name beside the recall file
 *       ...
 *       word: 24 bit | float
 *     stream:                        of a master that is a part of one stream of several mixes
 *       mixes: [PATH, ...]           all of them, one after the other; `mix` is the part's own
 *       samples: DIGEST              of what they sound like so
 *       from: FRAME                  of the stream's result, where the master begins
 *     origin: DIGEST                 of what an album's track was to be made from, and where to
 * land input: {loudness: LUFS}        the working level that the input gain came from, if any
 *     target: {loudness: LUFS, ceiling: dBTP, by: NAME.SYMBOL, ceiling_at: [...], lowered: dB}
 *                                    what was landed on, for information: a recall file's settings
 *                                    have landed and are not moved again; lowered is what
 *                                    landing took off every ceiling_at control
 *     stages:
 *       - {name: NAME, uri: URI, minor: N, micro: N}      lv2:minorVersion, lv2:microVersion
 *
 * DIGEST: SHA-256 (FIPS 180-4) in 64 small hexadecimal digits. Thread: one at a time. */
#ifndef PLANISH_HARNESS_RECALL_NOTE_H
#define PLANISH_HARNESS_RECALL_NOTE_H

#include <stdbool.h>
#include <stddef.h>

#define PLANISH_DIGEST_TEXT 65 /* with its end */

typedef struct {
  char *path;
  char *file;    /* digest */
  char *samples; /* digest */
  double rate;   /* Hz */
  double frames;
  double loudness;  /* LUFS; NAN: not noted */
  double true_peak; /* dBTP; NAN: likewise */
  bool silence_bad;
  bool is_float;
} PlanishRecallSound;

typedef struct {
  char *name;
  char *uri;
  double minor;
  double micro;
} PlanishRecallStage;

typedef struct {
  char *program;
  char *machine;
  char *libraries;
  char *settings; /* digest */
  PlanishRecallSound mix;
  PlanishRecallSound master;
  char **stream_mixes; /* NULL: the mix alone */
  size_t stream_count;
  char *stream_samples;   /* digest */
  double stream_from;     /* frame */
  char *origin;           /* digest; NULL: of no album */
  double working;         /* LUFS; NAN: there was none */
  double target_loudness; /* LUFS; NAN: there was none */
  double target_ceiling;  /* dBTP; NAN: there was none */
  double lowered;         /* dB */
  char *by;               /* NULL: nothing was moved */
  char **ceiling_at;
  size_t ceiling_count;
  PlanishRecallStage *stages;
  size_t stage_count;
} PlanishRecallNote;

/* NULL is allowed. */
void planish_recall_note_free(PlanishRecallNote *note);

#endif
