#include "harness/deliver/delivered_file.h"

#include "harness/audio/dither.h"
#include "harness/audio/peak_chunk.h"
#include "harness/base/place.h"
#include "harness/base/standard_streams.h"
#include "harness/base/temporary_file.h"
#include "harness/base/text.h"
#include "harness/deliver/flac_tags.h"
#include "harness/deliver/shaping.h"

#include <errno.h>
#include <sndfile.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { CHUNK = 1024, DITHER_SEED = 2 };

struct PlanishDeliveredFile {
  PlanishDeliveredFileJob job;
  char *path; /* symbolic links followed */
  PlanishTemporaryFile temporary;
  SNDFILE *file;
  uint64_t bytes; /* of sound in words */
  PlanishDither dither;
  int32_t whole[2 * (CHUNK + PLANISH_DITHER_BLACK)];
  float floats[2 * CHUNK];
};

static bool fail_write(const PlanishDeliveredFile *file, int reason, PlanishError *error)
{
  return planish_fail(error, PLANISH_BAD_FILE, "cannot write: %s: %s", file->path,
                      planish_place_advice(reason));
}

static bool has_words(const PlanishDeliveredFile *file)
{
  return file->job.spec->bits > 0 && file->job.spec->bits <= PLANISH_DITHER_BITS;
}

/* FLAC gets its own later. */
static bool put_strings(PlanishDeliveredFile *file)
{
  const PlanishSpec *spec = file->job.spec;
  bool done = true;
  for (int n = 0; done && n < PLANISH_METADATA_ISRC; ++n) {
    const char *text = file->job.metadata->text[n];
    const bool carried =
        planish_coding_carries(spec->format, spec->has_bext, (PlanishMetadataField)n);
    done = text == NULL || !carried || spec->format == PLANISH_FORMAT_FLAC ||
           sf_set_string(file->file, planish_coding_string((PlanishMetadataField)n), text) == 0;
  }
  return done;
}

/* Fields of the chunk have no end where they are full. */
static void fill(char *field, size_t size, const char *text)
{
  const size_t length = strlen(text);
  memset(field, 0, size);
  memcpy(field, text, length < size ? length : size);
}

/* The loudness is not known yet. */
static bool put_bext(PlanishDeliveredFile *file)
{
  const PlanishBext *bext = file->job.bext;
  SF_BROADCAST_INFO info = {
      .version = 2,
      .loudness_value = PLANISH_BEXT_UNKNOWN,
      .loudness_range = PLANISH_BEXT_UNKNOWN,
      .max_true_peak_level = PLANISH_BEXT_UNKNOWN,
      .max_momentary_loudness = PLANISH_BEXT_UNKNOWN,
      .max_shortterm_loudness = PLANISH_BEXT_UNKNOWN,
  };
  fill(info.description, sizeof info.description, bext->description);
  fill(info.originator, sizeof info.originator, bext->originator);
  fill(info.originator_reference, sizeof info.originator_reference, bext->reference);
  fill(info.origination_date, sizeof info.origination_date, bext->date);
  fill(info.origination_time, sizeof info.origination_time, bext->time);
  return sf_command(file->file, SFC_SET_BROADCAST_INFO, &info, sizeof info) == SF_TRUE;
}

static bool put_axml(PlanishDeliveredFile *file, PlanishError *error)
{
  const char *isrc = file->job.metadata->text[PLANISH_METADATA_ISRC];
  char *text = planish_axml_of_isrc(isrc);
  if (text == NULL) {
    return planish_fail_memory(error);
  }
  SF_CHUNK_INFO chunk = {
      .id = "axml", .id_size = 4, .datalen = (unsigned)strlen(text), .data = text};
  const bool done = sf_set_chunk(file->file, &chunk) == SF_ERR_NO_ERROR;
  free(text);
  return done || planish_fail_memory(error);
}

/* kbit/s as the library's share of its range: what it does with it was found by experiment, and
 * tests hold it. MP3 truncates the product, hence a little more. */
static bool put_bit_rate(PlanishDeliveredFile *file)
{
  const PlanishSpec *spec = file->job.spec;
  int constant = SF_BITRATE_MODE_CONSTANT;
  double level = 0.0;
  if (spec->format == PLANISH_FORMAT_MP3) {
    level = (320.0 - spec->bit_rate - 0.01) / (320.0 - 32.0);
    level = level < 0.0 ? 0.0 : level;
    return sf_command(file->file, SFC_SET_BITRATE_MODE, &constant, sizeof constant) >= 0 &&
           sf_command(file->file, SFC_SET_COMPRESSION_LEVEL, &level, sizeof level) == SF_TRUE;
  }
  if (spec->format == PLANISH_FORMAT_OPUS) {
    level = 1.0 - (1000.0 * spec->bit_rate / 2.0 - 6000.0) / 250000.0;
    return sf_command(file->file, SFC_SET_COMPRESSION_LEVEL, &level, sizeof level) == SF_TRUE;
  }
  if (spec->format == PLANISH_FORMAT_VORBIS) {
    level = spec->quality / 10.0;
    return sf_command(file->file, SFC_SET_VBR_ENCODING_QUALITY, &level, sizeof level) == SF_TRUE;
  }
  return true;
}

static bool open_audio(PlanishDeliveredFile *file, PlanishError *error)
{
  const PlanishSpec *spec = file->job.spec;
  const uint64_t bytes = file->job.frames * 2 * (spec->bits / 8);
  const bool isrc = spec->has_bext && file->job.metadata->text[PLANISH_METADATA_ISRC] != NULL;
  SF_INFO info = {
      .samplerate = (int)file->job.rate,
      .channels = 2,
      .format = planish_coding_number(spec->format, spec->bits, bytes),
  };
  errno = 0;
  const int kept = planish_standard_error_hush();
  file->file = sf_open_fd(file->temporary.descriptor, SFM_WRITE, &info, SF_FALSE);
  planish_standard_error_back(kept);
  if (file->file == NULL) {
    return errno != 0
               ? fail_write(file, errno, error)
               : planish_fail(error, PLANISH_BAD_USE,
                              "%s cannot be written at %g Hz: %s: give another rate in the "
                              "spec",
                              planish_coding_of(spec->format)->name, file->job.rate, file->path);
  }
  planish_peak_chunk_off(file->file, info.format);
  if (!put_bit_rate(file) || !put_strings(file) || (spec->has_bext && !put_bext(file))) {
    return planish_fail_memory(error);
  }
  return !isrc || put_axml(file, error);
}

static void start_dither(PlanishDeliveredFile *file)
{
  PlanishDitherWord word = {.bits = file->job.spec->bits};
  if (has_words(file)) {
    if (file->job.spec->shaped) {
      planish_shaping_design(&word, file->job.rate);
    }
    planish_dither_start(&file->dither, &word, DITHER_SEED);
  }
}

PlanishDeliveredFile *planish_delivered_file_new(const PlanishDeliveredFileJob *job,
                                                 PlanishError *error)
{
  PlanishDeliveredFile *file = calloc(1, sizeof *file);
  char *real = planish_place_real(job->path);
  if (file == NULL || real == NULL) {
    free(file);
    free(real);
    planish_fail_memory(error);
    return NULL;
  }
  file->job = *job;
  file->path = real;
  start_dither(file);
  const bool created = planish_temporary_file_new(&file->temporary, real);
  if (!created) {
    fail_write(file, errno, error);
  }
  if (!created || !open_audio(file, error)) {
    planish_delivered_file_free(file);
    return NULL;
  }
  return file;
}

static bool write_whole(PlanishDeliveredFile *file, size_t frames, PlanishError *error)
{
  const int32_t up = (int32_t)1 << (32 - file->job.spec->bits);
  for (size_t n = 0; n < 2 * frames; ++n) {
    file->whole[n] *= up;
  }
  errno = 0;
  file->bytes += frames * 2 * (file->job.spec->bits / 8);
  return sf_writef_int(file->file, file->whole, (sf_count_t)frames) == (sf_count_t)frames ||
         fail_write(file, errno, error);
}

static bool write_float(PlanishDeliveredFile *file, const double *interleaved, size_t frames,
                        PlanishError *error)
{
  for (size_t n = 0; n < 2 * frames; ++n) {
    file->floats[n] = (float)interleaved[n];
  }
  errno = 0;
  file->bytes += frames * 2 * (file->job.spec->bits / 8);
  return sf_writef_float(file->file, file->floats, (sf_count_t)frames) == (sf_count_t)frames ||
         fail_write(file, errno, error);
}

bool planish_delivered_file_write(void *user, const double *interleaved, size_t frames,
                                  PlanishError *error)
{
  PlanishDeliveredFile *file = user;
  bool done = true;
  while (done && frames > 0) {
    const size_t count = frames < CHUNK ? frames : CHUNK;
    done = has_words(file) ? write_whole(file,
                                         planish_dither_process_double(&file->dither, interleaved,
                                                                       count, file->whole),
                                         error)
                           : write_float(file, interleaved, count, error);
    interleaved += 2 * count;
    frames -= count;
  }
  return done;
}

static bool has_metadata(const PlanishDeliveredFile *file)
{
  bool has = false;
  for (int n = 0; n < PLANISH_METADATA_FIELDS; ++n) {
    has = has || file->job.metadata->text[n] != NULL;
  }
  return has;
}

/* The file with its comments takes the place of the one without. */
static bool tag_flac(PlanishDeliveredFile *file, PlanishError *error)
{
  PlanishTemporaryFile tagged = {.descriptor = -1};
  if (!planish_temporary_file_new(&tagged, file->path) ||
      !planish_flac_tags_write(file->temporary.descriptor, tagged.descriptor, file->job.metadata)) {
    const int reason = errno;
    planish_temporary_file_free(&tagged);
    return fail_write(file, reason, error);
  }
  planish_temporary_file_free(&file->temporary);
  file->temporary = tagged;
  return true;
}

bool planish_delivered_file_finish(PlanishDeliveredFile *file, PlanishError *error)
{
  const bool rest = !has_words(file) ||
                    write_whole(file, planish_dither_finish(&file->dither, file->whole), error);
  errno = 0;
  const bool closed = sf_close(file->file) == 0;
  file->file = NULL;
  struct stat facts;
  const bool packed = file->job.spec->format == PLANISH_FORMAT_FLAC;
  const bool whole = closed && fstat(file->temporary.descriptor, &facts) == 0 &&
                     facts.st_size > 0 && (packed || (uint64_t)facts.st_size >= file->bytes);
  if (!rest || !whole) {
    return rest ? fail_write(file, errno, error) : false;
  }
  return !packed || !has_metadata(file) || tag_flac(file, error);
}

const char *planish_delivered_file_temporary(const PlanishDeliveredFile *file)
{
  return file->temporary.path;
}

int planish_delivered_file_descriptor(const PlanishDeliveredFile *file)
{
  return file->temporary.descriptor;
}

const char *planish_delivered_file_path(const PlanishDeliveredFile *file)
{
  return file->path;
}

uint64_t planish_delivered_file_clipped(const PlanishDeliveredFile *file)
{
  return file->dither.clipped;
}

bool planish_delivered_file_commit(PlanishDeliveredFile *file, PlanishError *error)
{
  return (fsync(file->temporary.descriptor) == 0 &&
          planish_temporary_file_commit(&file->temporary, file->path)) ||
         fail_write(file, errno, error);
}

void planish_delivered_file_free(PlanishDeliveredFile *file)
{
  if (file == NULL) {
    return;
  }
  if (file->file != NULL) {
    sf_close(file->file);
  }
  planish_temporary_file_free(&file->temporary);
  free(file->path);
  free(file);
}
