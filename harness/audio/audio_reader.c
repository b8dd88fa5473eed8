#include "harness/audio/audio_reader.h"

#include "harness/audio/cut_short.h"
#include "harness/audio/joined.h"
#include "harness/audio/rate_converter.h"
#include "harness/base/interrupt.h"
#include "harness/base/place.h"
#include "harness/base/standard_streams.h"
#include "harness/base/temporary_file.h"
#include "harness/base/text.h"
#include "harness/measure/measure.h"

#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <sndfile.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

struct PlanishReader {
  char *path;
  int descriptor;
  SNDFILE *file;
  SF_INFO info;
  bool is_stream;
  struct stat facts; /* as it was opened */
  uint64_t at;       /* next frame of the file */
  PlanishReaderOptions options;
  double mean[2]; /* that is taken off */
  bool cut;
  uint64_t silenced;               /* samples */
  PlanishPlaces silenced_at;       /* frames */
  uint64_t silenced_to;            /* the frame behind the last of them */
  PlanishRateConverter *converter; /* NULL: the file's rate, or not yet begun */
  uint64_t converted_at;           /* next frame of the result */
  PlanishJoined joined;            /* instead of all that, but for what is said of a file */
};

enum { BLOCK = 4096 };

/* Opens without waiting, and refuses what is no plain file: a pipe would block for ever. */
static bool open_file(PlanishReader *reader, PlanishError *error)
{
  const char *path = reader->path;
  reader->descriptor = open(path, O_RDONLY | O_NONBLOCK | O_CLOEXEC | O_NOCTTY);
  if (reader->descriptor < 0 || fstat(reader->descriptor, &reader->facts) != 0) {
    return planish_fail(error, PLANISH_BAD_FILE, "cannot read: %s: %s", path,
                        planish_place_read_advice(errno));
  }
  if (!S_ISREG(reader->facts.st_mode)) {
    return planish_fail(error, PLANISH_BAD_AUDIO, "%s: %s: name an audio file",
                        S_ISDIR(reader->facts.st_mode) ? "a folder, not a file"
                                                       : "a pipe or device, not a file",
                        path);
  }
  if (reader->facts.st_size == 0) {
    return planish_fail(error, PLANISH_BAD_AUDIO, "an empty file: %s: export it again", path);
  }
  return true;
}

static bool fail_no_audio(const PlanishReader *reader, PlanishError *error)
{
  return planish_fail(error, PLANISH_BAD_AUDIO,
                      "no audio that can be read: %s: export it as WAV, AIFF or FLAC",
                      reader->path);
}

/* By the first bytes of the containers that may tell of their sound at their end, or what
 * libsndfile makes of the part that is there. */
static bool begins_as_audio(void *user, PlanishError *error)
{
  static const char *const signs[] = {"RIFF", "RIFX", "RF64", "FORM", "riff", "caff", "OggS"};
  const PlanishReader *reader = user;
  char first[5] = "";
  SF_INFO info = {0};
  bool found = false;
  const bool read = pread(reader->descriptor, first, 4, 0) == 4;
  for (size_t n = 0; read && n < sizeof signs / sizeof *signs; ++n) {
    found = found || strcmp(first, signs[n]) == 0;
  }
  if (!found && lseek(reader->descriptor, 0, SEEK_SET) == 0) {
    const int kept = planish_standard_error_hush();
    SNDFILE *part = sf_open_fd(reader->descriptor, SFM_READ, &info, SF_FALSE);
    found = part != NULL && sf_close(part) == 0;
    planish_standard_error_back(kept);
  }
  return (found && lseek(reader->descriptor, 0, SEEK_END) >= 0) || fail_no_audio(reader, error);
}

/* The descriptor is the temporary file's from then on, which has no name. */
static bool keep_standard_input(PlanishReader *reader, const char *beside, PlanishError *error)
{
  PlanishTemporaryFile file;
  char *where = planish_temporary_file_where(beside);
  bool done = where != NULL ? true : planish_fail_memory(error);
  if (done && !planish_temporary_file_new_unnamed(&file, beside)) {
    done = planish_fail(error, PLANISH_BAD_FILE,
                        "cannot keep standard input in a temporary file: %s: %s", where,
                        planish_place_advice(errno));
  } else if (done) {
    reader->descriptor = file.descriptor;
    done = planish_standard_input_copy(reader->descriptor, where, begins_as_audio, reader, error);
  }
  free(where);
  return done && ((lseek(reader->descriptor, 0, SEEK_SET) == 0 &&
                   fstat(reader->descriptor, &reader->facts) == 0) ||
                  planish_fail(error, PLANISH_BAD_FILE, "cannot read: %s: %s", reader->path,
                               planish_place_advice(errno)));
}

static bool open_source(PlanishReader *reader, PlanishError *error)
{
  const char *beside = reader->options.keep_beside;
  return reader->is_stream ? keep_standard_input(reader, beside, error) : open_file(reader, error);
}

static bool fail_cut(const PlanishReader *reader, PlanishError *error)
{
  return planish_fail(error, PLANISH_BAD_AUDIO,
                      "cut short, the header promises more audio: %s: copy or export it again",
                      reader->path);
}

static bool seek_file(PlanishReader *reader, uint64_t frame, PlanishError *error)
{
  if (sf_seek(reader->file, (sf_count_t)frame, SEEK_SET) != (sf_count_t)frame) {
    return planish_fail(error, PLANISH_BAD_FILE,
                        "cannot go to %.3f s in it: %s: copy or export it again",
                        (double)frame / reader->info.samplerate, reader->path);
  }
  reader->at = frame;
  return true;
}

/* A FLAC file out of a pipe: its header holds no length, and promises none. Counted by reading it.
 */
static bool count_frames(PlanishReader *reader, PlanishError *error)
{
  float block[2 * BLOCK];
  sf_count_t frames = 0;
  sf_count_t got = 1;
  while (got > 0) {
    if (!planish_interrupt_check(error)) {
      return false;
    }
    got = sf_readf_float(reader->file, block, BLOCK);
    frames += got > 0 ? got : 0;
  }
  reader->info.frames = frames;
  return seek_file(reader, 0, error);
}

static bool check_audio(PlanishReader *reader, PlanishError *error)
{
  const SF_INFO *info = &reader->info;
  const char *path = reader->path;
  if (info->channels < 1 || info->channels > 2) {
    return planish_fail(error, PLANISH_BAD_AUDIO,
                        "%d channels: %s: only stereo and mono can be mastered; mix it down first",
                        info->channels, path);
  }
  if (info->samplerate < PLANISH_MEASURE_MIN_RATE || info->samplerate > PLANISH_MEASURE_MAX_RATE) {
    return planish_fail(error, PLANISH_BAD_AUDIO,
                        "%d Hz: %s: only rates of %g to %g Hz can be mastered; convert it first",
                        info->samplerate, path, PLANISH_MEASURE_MIN_RATE, PLANISH_MEASURE_MAX_RATE);
  }
  reader->cut = planish_header_promises_more(reader->file, reader->descriptor);
  if ((info->format & SF_FORMAT_TYPEMASK) == SF_FORMAT_OGG &&
      !planish_ogg_has_its_end(reader->descriptor)) {
    return fail_cut(reader, error);
  }
  if (info->frames == SF_COUNT_MAX) {
    const bool uncounted = (info->format & SF_FORMAT_TYPEMASK) == SF_FORMAT_FLAC;
    if (!uncounted || !count_frames(reader, error)) {
      return fail_cut(reader, error);
    }
  }
  if (info->frames < 1) {
    return planish_fail(error, PLANISH_BAD_AUDIO, "no audio in it: %s: export it again", path);
  }
  return true;
}

static bool open_audio(PlanishReader *reader, PlanishError *error)
{
  /* By descriptor, not by name: given a name, libsndfile takes some endings for raw samples. */
  const int kept = planish_standard_error_hush();
  reader->file = sf_open_fd(reader->descriptor, SFM_READ, &reader->info, SF_FALSE);
  planish_standard_error_back(kept);
  if (reader->file == NULL) {
    return fail_no_audio(reader, error);
  }
  return check_audio(reader, error);
}

void planish_reader_free(PlanishReader *reader)
{
  if (reader == NULL) {
    return;
  }
  planish_joined_free(&reader->joined);
  planish_rate_converter_free(reader->converter);
  if (reader->file != NULL) {
    sf_close(reader->file);
  }
  if (reader->descriptor >= 0) {
    close(reader->descriptor);
  }
  free(reader->path);
  free(reader);
}

/* What is said of the file is said of the first of several. */
static const PlanishReader *first_of(const PlanishReader *reader)
{
  return reader->joined.count > 0 ? reader->joined.parts[0] : reader;
}

const char *planish_reader_path(const PlanishReader *reader)
{
  return first_of(reader)->path;
}

double planish_reader_file_rate(const PlanishReader *reader)
{
  return first_of(reader)->info.samplerate;
}

uint64_t planish_reader_file_frames(const PlanishReader *reader)
{
  return (uint64_t)first_of(reader)->info.frames;
}

static bool converts(const PlanishReader *reader)
{
  return reader->options.rate > 0.0 && reader->options.rate != planish_reader_file_rate(reader);
}

double planish_reader_rate(const PlanishReader *reader)
{
  if (reader->joined.count > 0) {
    return planish_reader_rate(reader->joined.parts[0]);
  }
  return converts(reader) ? reader->options.rate : planish_reader_file_rate(reader);
}

uint64_t planish_reader_frames(const PlanishReader *reader)
{
  if (reader->joined.count > 0) {
    return planish_joined_frames(&reader->joined);
  }
  const uint64_t frames = planish_reader_file_frames(reader);
  return converts(reader) ? planish_converted_frames(frames, planish_reader_file_rate(reader),
                                                     reader->options.rate)
                          : frames;
}

uint32_t planish_reader_channels(const PlanishReader *reader)
{
  uint32_t channels =
      planish_mending_is_even(&reader->options.mending) ? (uint32_t)reader->info.channels : 2;
  for (size_t n = 0; n < reader->joined.count; ++n) {
    const uint32_t own = planish_reader_channels(reader->joined.parts[n]);
    channels = n == 0 || own > channels ? own : channels;
  }
  return channels;
}

double planish_reader_dc(const PlanishReader *reader, uint32_t channel)
{
  return first_of(reader)->mean[channel];
}

uint64_t planish_reader_silenced(const PlanishReader *reader)
{
  return first_of(reader)->silenced;
}

const PlanishPlaces *planish_reader_silenced_at(const PlanishReader *reader)
{
  return &first_of(reader)->silenced_at;
}

static void note_silenced(PlanishReader *reader, uint64_t frame)
{
  reader->silenced += 1;
  if (frame >= reader->silenced_to) {
    planish_places_add(&reader->silenced_at, frame);
    reader->silenced_to = frame + 1;
  }
}

PlanishReaderWord planish_reader_word(const PlanishReader *reader)
{
  static const struct {
    int subtype;
    PlanishReaderWord word;
  } words[] = {
      {SF_FORMAT_PCM_S8, {8, false, false}},   {SF_FORMAT_PCM_U8, {8, false, false}},
      {SF_FORMAT_PCM_16, {16, false, false}},  {SF_FORMAT_PCM_24, {24, false, false}},
      {SF_FORMAT_PCM_32, {32, false, false}},  {SF_FORMAT_FLOAT, {32, true, false}},
      {SF_FORMAT_DOUBLE, {64, true, false}},   {SF_FORMAT_ALAC_16, {16, false, false}},
      {SF_FORMAT_ALAC_20, {20, false, false}}, {SF_FORMAT_ALAC_24, {24, false, false}},
      {SF_FORMAT_ALAC_32, {32, false, false}},
  };
  for (size_t n = 0; n < sizeof words / sizeof *words; ++n) {
    if ((first_of(reader)->info.format & SF_FORMAT_SUBMASK) == words[n].subtype) {
      return words[n].word;
    }
  }
  return (PlanishReaderWord){0, false, true};
}

bool planish_reader_is_cut(const PlanishReader *reader)
{
  bool cut = reader->cut;
  for (size_t n = 0; n < reader->joined.count; ++n) {
    cut = cut || reader->joined.parts[n]->cut;
  }
  return cut;
}

/* A mix is read several times, and must be the same each time. */
static bool check_unchanged(const PlanishReader *reader, PlanishError *error)
{
  const struct stat *before = &reader->facts;
  struct stat now;
  return (fstat(reader->descriptor, &now) == 0 && now.st_size == before->st_size &&
          now.st_mtim.tv_sec == before->st_mtim.tv_sec &&
          now.st_mtim.tv_nsec == before->st_mtim.tv_nsec) ||
         planish_fail(error, PLANISH_BAD_AUDIO,
                      "changed while it was read: %s: wait until it is written, and start again",
                      reader->path);
}

static bool check_samples(PlanishReader *reader, float *samples, size_t count, PlanishError *error)
{
  for (size_t n = 0; n < count; ++n) {
    if (isfinite(samples[n])) {
      continue;
    }
    const uint64_t frame = reader->at + n / (size_t)reader->info.channels;
    if (!reader->options.silence_bad) {
      char time[PLANISH_TEXT_TIME];
      return planish_fail(error, PLANISH_BAD_AUDIO,
                          "a sample that is no number (%s) at %s: %s: export it again, or pass "
                          "--silence-bad to take such samples as silence",
                          isnan(samples[n]) ? "NaN" : "infinite",
                          planish_text_of_time(time, (double)frame / reader->info.samplerate),
                          reader->path);
    }
    samples[n] = 0.0f;
    note_silenced(reader, frame);
  }
  return true;
}

/* As the file has it, mono on both channels. */
static bool read_file(PlanishReader *reader, float *interleaved, size_t frames, size_t *got,
                      PlanishError *error)
{
  const uint64_t left = planish_reader_file_frames(reader) - reader->at;
  const size_t wanted = left < frames ? (size_t)left : frames;
  const bool speaks = (reader->info.format & SF_FORMAT_TYPEMASK) == SF_FORMAT_MPEG;
  const int kept = speaks ? planish_standard_error_hush() : -1;
  const sf_count_t count = sf_readf_float(reader->file, interleaved, (sf_count_t)wanted);
  planish_standard_error_back(kept);
  *got = count < 0 ? 0 : (size_t)count;
  if ((*got < wanted || *got == left) && !check_unchanged(reader, error)) {
    return false;
  }
  if (*got < wanted && sf_error(reader->file) == SF_ERR_SYSTEM) {
    return planish_fail(error, PLANISH_BAD_FILE, "cannot read: %s: %s", reader->path,
                        planish_place_read_advice(errno));
  }
  if (*got < wanted && !reader->options.take_cut) {
    return fail_cut(reader, error);
  }
  if (*got < wanted) {
    reader->cut = true;
    reader->info.frames = (sf_count_t)(reader->at + *got);
  }
  const bool mono = reader->info.channels == 1;
  if (!check_samples(reader, interleaved, mono ? *got : 2 * *got, error)) {
    return false;
  }
  for (size_t n = mono ? *got : 0; n-- > 0;) {
    interleaved[2 * n + 1] = interleaved[n];
    interleaved[2 * n] = interleaved[n];
  }
  reader->at += *got;
  return true;
}

static bool find_means(PlanishReader *reader, PlanishError *error)
{
  if (!reader->options.mending.remove_dc) {
    return true;
  }
  double sum[2] = {0.0, 0.0};
  float block[2 * BLOCK];
  size_t got = 1;
  while (got > 0) {
    if (!read_file(reader, block, BLOCK, &got, error)) {
      return false;
    }
    for (size_t n = 0; n < got; ++n) {
      sum[0] += (double)block[2 * n];
      sum[1] += (double)block[2 * n + 1];
    }
  }
  for (size_t c = 0; c < 2; ++c) {
    reader->mean[c] = sum[c] / (double)planish_reader_file_frames(reader);
  }
  reader->silenced = 0;
  reader->silenced_at = (PlanishPlaces){0};
  reader->silenced_to = 0;
  return seek_file(reader, 0, error);
}

PlanishReader *planish_reader_open(const char *path, const PlanishReaderOptions *options,
                                   PlanishError *error)
{
  PlanishReader *reader = calloc(1, sizeof *reader);
  const bool is_stream = options != NULL && options->keep_beside != NULL && planish_is_stream(path);
  char *copy = planish_text_copy(is_stream ? planish_input_name(path) : path);
  if (reader == NULL || copy == NULL) {
    free(reader);
    free(copy);
    planish_fail_memory(error);
    return NULL;
  }
  reader->path = copy;
  reader->is_stream = is_stream;
  reader->options = options != NULL ? *options : (PlanishReaderOptions){0};
  reader->descriptor = -1;
  if (!open_source(reader, error) || !open_audio(reader, error) || !find_means(reader, error)) {
    planish_reader_free(reader);
    return NULL;
  }
  return reader;
}

PlanishReader *planish_reader_open_joined(const char *const *paths, size_t count,
                                          const PlanishReaderOptions *options, PlanishError *error)
{
  PlanishReader *reader = calloc(1, sizeof *reader);
  if (reader == NULL) {
    planish_fail_memory(error);
    return NULL;
  }
  reader->descriptor = -1;
  if (!planish_joined_open(&reader->joined, paths, count, options, error)) {
    planish_reader_free(reader);
    return NULL;
  }
  return reader;
}

/* At the file's rate. A PlanishRateSource. */
static bool read_mended(void *user, float *interleaved, size_t frames, size_t *got,
                        PlanishError *error)
{
  PlanishReader *reader = user;
  if (!read_file(reader, interleaved, frames, got, error)) {
    return false;
  }
  planish_mending_process(&reader->options.mending, reader->mean, interleaved, *got);
  return true;
}

/* The converter, at its beginning where there is none yet. */
static bool start_converter(PlanishReader *reader, PlanishError *error)
{
  if (reader->converter != NULL) {
    return true;
  }
  reader->converted_at = 0;
  reader->converter = seek_file(reader, 0, error)
                          ? planish_rate_converter_new(
                                planish_reader_file_rate(reader), reader->options.rate,
                                planish_reader_file_frames(reader), read_mended, reader, error)
                          : NULL;
  return reader->converter != NULL;
}

static bool seek_converted(PlanishReader *reader, uint64_t frame, PlanishError *error)
{
  float block[2 * BLOCK];
  if (frame < reader->converted_at) {
    planish_rate_converter_free(reader->converter);
    reader->converter = NULL;
  }
  bool done = start_converter(reader, error);
  while (done && reader->converted_at < frame) {
    const uint64_t left = frame - reader->converted_at;
    size_t got = 0;
    done = planish_rate_converter_read(reader->converter, block,
                                       left < BLOCK ? (size_t)left : BLOCK, &got, error);
    reader->converted_at += got;
  }
  return done;
}

bool planish_reader_seek(PlanishReader *reader, uint64_t frame, PlanishError *error)
{
  if (reader->joined.count > 0) {
    return planish_joined_seek(&reader->joined, frame, error);
  }
  return converts(reader) ? seek_converted(reader, frame, error) : seek_file(reader, frame, error);
}

bool planish_reader_read(PlanishReader *reader, float *interleaved, size_t frames, size_t *got,
                         PlanishError *error)
{
  if (reader->joined.count > 0) {
    return planish_joined_read(&reader->joined, interleaved, frames, got, error);
  }
  if (!converts(reader)) {
    return read_mended(reader, interleaved, frames, got, error);
  }
  if (!start_converter(reader, error) ||
      !planish_rate_converter_read(reader->converter, interleaved, frames, got, error)) {
    return false;
  }
  reader->converted_at += *got;
  return true;
}
