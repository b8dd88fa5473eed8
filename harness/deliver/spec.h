/* A delivery spec: what a file for one destination is to be. A short YAML text, read as sheets are
 * (sheet/sheet_tree.h), with all its mistakes at once, each at its line and column.
 *
 *   delivery: 1            first
 *   about, source          what it is for, and where its figures stand
 *   format                 wav, aiff, flac, vorbis, opus, mp3
 *   rate                   Hz, or same (left out: same)
 *   bits                   16, 24, float (left out: 24), of formats that keep words
 *   dither                 plain, shaped (left out: plain), of 16 and 24 bit
 *   bit_rate               kbit/s, of mp3 and opus
 *   quality                -1 to 10, of vorbis
 *   loudness, tolerance    LUFS; LU around it (left out: 0.1)
 *   level                  keep, match (left out: keep): whether it is turned to that loudness
 *   ceiling                dBTP (left out: 0)
 *   over                   lower, rerender, refuse (left out: lower): what follows where it is
 * passed decoded_ceiling        dBTP, of what a decoder makes of a coded file whole_sectors true:
 * ends on a whole sector of a CD name                   of the file, without its ending
 * (file_name.h) metadata               metadata.h bext                   true, or description,
 * originator, reference, date, time: of wav
 *
 * Thread: any; a spec is not changed once it is read. */
#ifndef PLANISH_HARNESS_SPEC_H
#define PLANISH_HARNESS_SPEC_H

#include "harness/deliver/bext.h"
#include "harness/deliver/coding.h"
#include "harness/sheet/sheet_tree.h"

#include <stdbool.h>

#define PLANISH_SPEC_FORMAT 1

/* What follows where the ceiling is passed. */
typedef enum {
  PLANISH_OVER_LOWER,    /* turned down by as much */
  PLANISH_OVER_RERENDER, /* rendered again from the first limiter on, see rerender.h */
  PLANISH_OVER_REFUSE,   /* no file is made */
} PlanishOver;

typedef struct {
  char *name; /* as it is told: its file's, without folder and ending */
  char *about;
  char *source;
  char *pattern; /* of the file's name */
  PlanishFormat format;
  double rate;     /* Hz; 0: that of the master */
  unsigned bits;   /* 16, 24; 32: float; of coded formats 0 */
  bool shaped;     /* the dither's error */
  double bit_rate; /* kbit/s */
  double quality;  /* -1 to 10 */
  bool has_loudness;
  double loudness;  /* LUFS */
  double tolerance; /* LU */
  bool match;
  double ceiling; /* dBTP */
  PlanishOver over;
  bool has_decoded_ceiling;
  double decoded_ceiling; /* dBTP */
  bool whole_sectors;
  PlanishMetadata metadata;
  bool has_bext;
  PlanishBext bext;
} PlanishSpec;

/* What specs are called in messages, for PlanishMistakes. */
extern const PlanishTextKind planish_spec_kind;

/* Reads a spec's text; `name` is copied. NULL, and the mistakes in the order of their places, where
 * there are any. */
PlanishSpec *planish_spec_parse(const char *text, size_t size, const char *name,
                                PlanishMistakes *mistakes);

/* The same of a file. Its name is the spec's. */
PlanishSpec *planish_spec_read(const char *path, PlanishMistakes *mistakes);

/* NULL is allowed. */
void planish_spec_free(PlanishSpec *spec);

#endif
