#include "harness/audio/audio_writer.h"

#include "harness/audio/dither.h"
#include "harness/audio/peak_chunk.h"
#include "harness/base/beside.h"
#include "harness/base/place.h"
#include "harness/base/standard_streams.h"
#include "harness/base/temporary_file.h"
#include "harness/base/text.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <sndfile.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/stat.h>
#include <unistd.h>

enum { CHUNK = 1024 }; /* frames converted at a time */

struct PlanishWriter {
  char *path; /* symbolic links followed */
  PlanishTemporaryFile temporary;
  PlanishBeside beside;
  SNDFILE *file;
  bool synced;
  PlanishWord word;
  uint64_t bytes; /* of audio written so far */
  PlanishDither dither;
  PlanishWriterTap tap;
  void *user;
  int32_t whole[2 * (CHUNK + PLANISH_DITHER_BLACK)];
  float heard[2 * (CHUNK + PLANISH_DITHER_BLACK)];
};

static bool fail_write(const PlanishWriter *writer, int reason, PlanishError *error)
{
  char *where = planish_is_stream(writer->path) ? planish_temporary_file_where(writer->path) : NULL;
  const bool failed =
      planish_fail(error, PLANISH_BAD_FILE, "cannot write: %s: %s",
                   where != NULL ? where : writer->path, planish_place_advice(reason));
  free(where);
  return failed;
}

static bool open_audio(PlanishWriter *writer, double rate, uint64_t frames, PlanishError *error)
{
  const bool whole = writer->word == PLANISH_WORD_24;
  const uint64_t bytes = frames * 2 * (whole ? 3 : 4);
  SF_INFO info = {
      .samplerate = (int)rate,
      .channels = 2,
      .format = (bytes < PLANISH_WAV_MOST_BYTES ? SF_FORMAT_WAV : SF_FORMAT_RF64) |
                (whole ? SF_FORMAT_PCM_24 : SF_FORMAT_FLOAT),
  };
  writer->file = sf_open_fd(writer->temporary.descriptor, SFM_WRITE, &info, SF_FALSE);
  if (writer->file == NULL) {
    return fail_write(writer, errno, error);
  }
  planish_peak_chunk_off(writer->file, info.format);
  return true;
}

PlanishWriter *planish_writer_new(const char *path, double rate, uint64_t frames, PlanishWord word,
                                  PlanishWriterTap tap, void *user, PlanishError *error)
{
  PlanishWriter *writer = calloc(1, sizeof *writer);
  char *real = planish_is_stream(path) ? planish_text_copy(path) : planish_place_real(path);
  if (writer == NULL || real == NULL) {
    free(writer);
    free(real);
    planish_fail_memory(error);
    return NULL;
  }
  writer->path = real;
  writer->word = word;
  writer->tap = tap;
  writer->user = user;
  planish_dither_reset(&writer->dither, 0);
  const bool created = planish_temporary_file_new(&writer->temporary, real);
  if (!created) {
    fail_write(writer, errno, error);
  }
  if (!created || !open_audio(writer, rate, frames, error)) {
    planish_writer_free(writer);
    return NULL;
  }
  return writer;
}

static bool write_whole(PlanishWriter *writer, size_t frames, PlanishError *error)
{
  for (size_t n = 0; n < 2 * frames; ++n) {
    writer->heard[n] = (float)(writer->whole[n] / PLANISH_DITHER_SCALE);
    writer->whole[n] *= 1 << (32 - PLANISH_DITHER_BITS);
  }
  errno = 0;
  if (sf_writef_int(writer->file, writer->whole, (sf_count_t)frames) != (sf_count_t)frames) {
    return fail_write(writer, errno, error);
  }
  writer->bytes += frames * 2 * (PLANISH_DITHER_BITS / 8);
  if (writer->tap != NULL) {
    writer->tap(writer->user, writer->heard, frames);
  }
  return true;
}

static bool write_float(PlanishWriter *writer, const float *interleaved, size_t frames,
                        PlanishError *error)
{
  errno = 0;
  if (sf_writef_float(writer->file, interleaved, (sf_count_t)frames) != (sf_count_t)frames) {
    return fail_write(writer, errno, error);
  }
  writer->bytes += frames * 2 * sizeof(float);
  if (writer->tap != NULL) {
    writer->tap(writer->user, interleaved, frames);
  }
  return true;
}

bool planish_writer_write(PlanishWriter *writer, const float *interleaved, size_t frames,
                          PlanishError *error)
{
  while (frames > 0) {
    const size_t count = frames < CHUNK ? frames : CHUNK;
    const bool done = writer->word == PLANISH_WORD_FLOAT
                          ? write_float(writer, interleaved, count, error)
                          : write_whole(writer,
                                        planish_dither_process(&writer->dither, interleaved, count,
                                                               writer->whole),
                                        error);
    if (!done) {
      return false;
    }
    interleaved += 2 * count;
    frames -= count;
  }
  return true;
}

bool planish_writer_finish(PlanishWriter *writer, PlanishError *error)
{
  if (writer->word == PLANISH_WORD_24 &&
      !write_whole(writer, planish_dither_finish(&writer->dither, writer->whole), error)) {
    return false;
  }
  errno = 0;
  const bool closed = sf_close(writer->file) == 0;
  writer->file = NULL;
  const int descriptor = writer->temporary.descriptor;
  struct stat facts;
  return (closed && fstat(descriptor, &facts) == 0 && (uint64_t)facts.st_size >= writer->bytes) ||
         fail_write(writer, errno, error);
}

bool planish_writer_sync(PlanishWriter *writer, PlanishError *error)
{
  if (!writer->synced && !planish_is_stream(writer->path)) {
    writer->synced = fsync(writer->temporary.descriptor) == 0;
    return writer->synced || fail_write(writer, errno, error);
  }
  return true;
}

bool planish_writer_beside(PlanishWriter *writer, const char *path, const char *text, size_t size,
                           PlanishError *error)
{
  return planish_beside_new(&writer->beside, path, text, size, error);
}

bool planish_writer_commit(PlanishWriter *writer, PlanishError *error)
{
  if (planish_is_stream(writer->path)) {
    return planish_standard_output_send(writer->temporary.descriptor, error);
  }
  if (!planish_writer_sync(writer, error) || !planish_beside_commit(&writer->beside, error)) {
    return false;
  }
  if (!planish_temporary_file_commit(&writer->temporary, writer->path)) {
    fail_write(writer, errno, error);
    planish_beside_undo(&writer->beside);
    return false;
  }
  return true;
}

uint64_t planish_writer_clipped(const PlanishWriter *writer)
{
  return writer->dither.clipped;
}

const char *planish_writer_temporary(const PlanishWriter *writer)
{
  return writer->temporary.path;
}

void planish_writer_free(PlanishWriter *writer)
{
  if (writer == NULL) {
    return;
  }
  if (writer->file != NULL) {
    sf_close(writer->file);
  }
  planish_temporary_file_free(&writer->temporary);
  planish_beside_release(&writer->beside);
  free(writer->path);
  free(writer);
}

static bool check_no_input(const char *out, const char *const *inputs, PlanishError *error)
{
  for (size_t n = 0; inputs[n] != NULL; ++n) {
    if (planish_place_same(out, inputs[n])) {
      return planish_fail(error, PLANISH_BAD_USE,
                          "would be written over %s: %s: give the output another name", inputs[n],
                          out);
    }
  }
  return true;
}

bool planish_writer_check(const char *out, const char *const *inputs, PlanishError *error)
{
  struct stat facts;
  if (planish_is_stream(out)) {
    return fstat(STDOUT_FILENO, &facts) != 0 || !S_ISREG(facts.st_mode) ||
           check_no_input("/dev/stdout", inputs, error);
  }
  const size_t length = strlen(out);
  if (length < 5 || strcasecmp(out + length - 4, ".wav") != 0) {
    return planish_fail(error, PLANISH_BAD_USE,
                        "only WAV is written: %s: give it a name that ends in .wav", out);
  }
  return check_no_input(out, inputs, error) && planish_place_check(out, error);
}
