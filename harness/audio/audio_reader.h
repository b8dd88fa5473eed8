/* Reads a mix: any file that libsndfile knows, as stereo floats.
 *
 * Mono is taken as dual mono: both channels hold the same. Refused with one line (PLANISH_BAD_AUDIO
 * unless said otherwise): a file that is missing or cannot be read (PLANISH_BAD_FILE), a folder,
 * pipe or device, something that is no audio, no frames, more than two channels, a rate outside
 * what planish_measure_new() takes, one that ends, when it is read, before it should (unless it is
 * to be taken), one that is written to while it is read (found out at its end), and samples that
 * are not finite, with the time of the first, unless they are to be silenced. Opening never waits
 * (for a pipe's other end). A header that promises more than there is, seen at once, is no
 * hindrance, but something to be told: planish_reader_is_cut().
 *
 * "-" is standard input where that is wanted: all of it is kept in a temporary file first, since
 * mixes are read more than once, and whatever libsndfile knows will do. A header that could not be
 * told how long the sound would be (its writer wrote into a pipe) is believed to its end; a FLAC
 * file that was not is read once to count its frames.
 * Refused: a terminal (PLANISH_BAD_USE), nothing at all, no room (PLANISH_BAD_FILE).
 *
 * What is read may be mended (mending.h) and converted to another rate (rate_converter.h): rate,
 * frames and samples are then those of the result, the same however it is read.
 *
 * Thread: one at a time an object. */
#ifndef PLANISH_HARNESS_AUDIO_READER_H
#define PLANISH_HARNESS_AUDIO_READER_H

#include "harness/audio/mending.h"
#include "harness/base/error.h"
#include "harness/measure/places.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

typedef struct PlanishReader PlanishReader;

typedef struct {
  bool silence_bad; /* samples that are not finite are read as 0 and counted */
  bool take_cut;    /* a file that ends before it should is read as far as it goes; not with another
                       rate */
  PlanishMending mending;
  double rate; /* whole Hz, within what planish_measure_new() takes; 0: that of the file */
  const char *keep_beside; /* "-" is standard input, kept beside this path (temporary_file.h, where
                              "-" is TMPDIR); NULL: it is a file of this name */
} PlanishReaderOptions;

/* How a file keeps its samples. */
typedef struct {
  unsigned bits; /* of a sample: 8 to 64; 0 where it is not kept in words */
  bool floating;
  bool lossy; /* coded with loss */
} PlanishReaderWord;

/* `options` may be NULL: all off. The path is copied. Where DC is to be removed the file is read
 * through once. */
PlanishReader *planish_reader_open(const char *path, const PlanishReaderOptions *options,
                                   PlanishError *error);
/* Several files one after the other, as one: their mixes run on. Each is mended and converted by
 * itself; PLANISH_BAD_AUDIO where their rates differ then. What is said of the file (path, word,
 * its rate and frames, DC, what was silenced) is said of the first. */
PlanishReader *planish_reader_open_joined(const char *const *paths, size_t count,
                                          const PlanishReaderOptions *options, PlanishError *error);

/* NULL is allowed. */
void planish_reader_free(PlanishReader *reader);

/* "standard input" where it is that. */
const char *planish_reader_path(const PlanishReader *reader);
double planish_reader_rate(const PlanishReader *reader);       /* Hz */
uint64_t planish_reader_frames(const PlanishReader *reader);   /* > 0 */
uint32_t planish_reader_channels(const PlanishReader *reader); /* 1: a mono file, both are alike */
double planish_reader_file_rate(const PlanishReader *reader);  /* Hz */
uint64_t planish_reader_file_frames(const PlanishReader *reader); /* > 0 */

/* What is taken off a channel (0 left, 1 right, of the file) where DC is removed; else 0. */
double planish_reader_dc(const PlanishReader *reader, uint32_t channel);

PlanishReaderWord planish_reader_word(const PlanishReader *reader);

/* How many samples were silenced since opening. */
uint64_t planish_reader_silenced(const PlanishReader *reader);

/* In which frames of the file they stand; of a file that is read once. */
const PlanishPlaces *planish_reader_silenced_at(const PlanishReader *reader);

/* Whether the file turned out to be cut short, so far. planish_reader_frames() then says how much
 * there is. */
bool planish_reader_is_cut(const PlanishReader *reader);

/* The next frame to be read. Not past the end. With another rate, what lies before is converted
 * again. */
bool planish_reader_seek(PlanishReader *reader, uint64_t frame, PlanishError *error);

/* Reads up to `frames` frames of two samples each; fewer only at the end of the file, `got` says
 * how many. */
bool planish_reader_read(PlanishReader *reader, float *interleaved, size_t frames, size_t *got,
                         PlanishError *error);

#endif
