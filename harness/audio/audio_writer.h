/* Writes a master: WAV, 24 bit with dither (dither.h) or 32-bit float, whole or not at all.
 *
 * The samples go to a file of another name beside the target (temporary_file.h).
 * planish_writer_commit() puts it in the target's place once it is whole and on the disk;
 * planish_writer_free() without that leaves nothing behind. The same samples give the same bytes:
 * no dates, no random names inside. A file over 4 GB becomes RF64 (EBU Tech 3306).
 *
 * The target "-" is standard output (standard_streams.h, which keeps it first): the other name
 * stands in TMPDIR then, and commit() writes the whole file out.
 *
 * Errors: PLANISH_BAD_FILE, in one line. Thread: one at a time an object. */
#ifndef PLANISH_HARNESS_AUDIO_WRITER_H
#define PLANISH_HARNESS_AUDIO_WRITER_H

#include "harness/base/error.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Of sound in a WAV file, where RF64 begins: the header needs some of 2^32. */
#define PLANISH_WAV_MOST_BYTES UINT64_C(0xffff0000)

typedef enum {
  PLANISH_WORD_24,    /* 24 bit with triangular dither */
  PLANISH_WORD_FLOAT, /* 32-bit float, as it comes */
} PlanishWord;

typedef struct PlanishWriter PlanishWriter;

/* Hands on the samples as they stand in the file, e.g. to be measured. */
typedef void (*PlanishWriterTap)(void *user, const float *interleaved, size_t frames);

/* For a master of `frames` frames in two channels at `rate` Hz. `tap` may be NULL. */
PlanishWriter *planish_writer_new(const char *path, double rate, uint64_t frames, PlanishWord word,
                                  PlanishWriterTap tap, void *user, PlanishError *error);

bool planish_writer_write(PlanishWriter *writer, const float *interleaved, size_t frames,
                          PlanishError *error);

/* Writes what is held back: the file is whole then, still under its other name. To be called once,
 * after the last write. */
bool planish_writer_finish(PlanishWriter *writer, PlanishError *error);

/* A text that is to stand beside the file, under `path`: it takes its place with it, both or
 * neither. To be called at most once, before commit(). */
bool planish_writer_beside(PlanishWriter *writer, const char *path, const char *text, size_t size,
                           PlanishError *error);

/* Waits until the finished file is on the disk. commit() does, too; of several files that are to
 * stand together, all are synced ahead of the first commit(). */
bool planish_writer_sync(PlanishWriter *writer, PlanishError *error);

/* Puts the finished file in the target's place. */
bool planish_writer_commit(PlanishWriter *writer, PlanishError *error);

/* Samples beyond full scale that 24 bit could not hold. */
uint64_t planish_writer_clipped(const PlanishWriter *writer);

/* The other name, for reading the finished file before it is committed. */
const char *planish_writer_temporary(const PlanishWriter *writer);

/* NULL is allowed. */
void planish_writer_free(PlanishWriter *writer);

/* Whether `out` can be written without touching an input: false with PLANISH_BAD_USE if it is the
 * same file as one of `inputs` (ended by NULL) by whatever name, or has no ending .wav; with
 * PLANISH_BAD_FILE if its folder is missing, or something else than a plain file or a link to one
 * stands there. "-" is standard output: only a file that it leads to is looked at. */
bool planish_writer_check(const char *out, const char *const *inputs, PlanishError *error);

#endif
