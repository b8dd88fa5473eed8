#include "harness/recall/digest.h"
#include "harness/base/place.h"

#include "harness/audio/audio_reader.h"
#include "harness/base/interrupt.h"

#include <sys/types.h>

#include <errno.h>
#include <fcntl.h>
#include <sha2.h>
#include <string.h>
#include <unistd.h>

enum { BYTES = 65536, BLOCK = 4096, FLOAT_BYTES = 4 };

static void finish(SHA2_CTX *sha, char digest[PLANISH_DIGEST_TEXT])
{
  static const char digits[] = "0123456789abcdef";
  uint8_t bytes[SHA256_DIGEST_LENGTH];
  SHA256Final(bytes, sha);
  for (size_t n = 0; n < sizeof bytes; ++n) {
    digest[2 * n] = digits[bytes[n] >> 4];
    digest[2 * n + 1] = digits[bytes[n] & 15];
  }
  digest[PLANISH_DIGEST_TEXT - 1] = '\0';
}

void planish_text_digest(const char *text, size_t size, char digest[PLANISH_DIGEST_TEXT])
{
  SHA2_CTX sha;
  SHA256Init(&sha);
  SHA256Update(&sha, (const uint8_t *)text, size);
  finish(&sha, digest);
}

static bool digest_bytes(const char *path, char digest[PLANISH_DIGEST_TEXT], PlanishError *error)
{
  uint8_t bytes[BYTES];
  SHA2_CTX sha;
  SHA256Init(&sha);
  const int file = open(path, O_RDONLY | O_NONBLOCK | O_CLOEXEC | O_NOCTTY);
  ssize_t got = file < 0 ? -1 : 1;
  bool done = true;
  while (done && got > 0) {
    got = read(file, bytes, sizeof bytes);
    SHA256Update(&sha, bytes, got > 0 ? (size_t)got : 0);
    done = planish_interrupt_check(error);
  }
  if (done && got < 0) {
    done = planish_fail(error, PLANISH_BAD_FILE, "cannot read: %s: %s", path,
                        planish_place_read_advice(errno));
  }
  if (file >= 0) {
    close(file);
  }
  finish(&sha, digest);
  return done;
}

static void take_samples(SHA2_CTX *sha, const float *interleaved, size_t frames)
{
  uint8_t bytes[2 * BLOCK * FLOAT_BYTES];
  for (size_t n = 0; n < 2 * frames; ++n) {
    const float sample = interleaved[n] + 0.0f; /* -0 becomes 0 */
    uint32_t word = 0;
    memcpy(&word, &sample, sizeof word);
    for (size_t byte = 0; byte < FLOAT_BYTES; ++byte) {
      bytes[FLOAT_BYTES * n + byte] = (uint8_t)(word >> (8 * byte));
    }
  }
  SHA256Update(sha, bytes, 2 * frames * FLOAT_BYTES);
}

/* At most `frames` frames from where the reader is. */
static bool add_samples(SHA2_CTX *sha, PlanishReader *reader, uint64_t frames, PlanishError *error)
{
  float block[2 * BLOCK];
  size_t got = 1;
  bool done = true;
  while (done && got > 0 && frames > 0) {
    const size_t wanted = frames < BLOCK ? (size_t)frames : BLOCK;
    done =
        planish_interrupt_check(error) && planish_reader_read(reader, block, wanted, &got, error);
    if (done) {
      take_samples(sha, block, got);
      frames -= got;
    }
  }
  return done;
}

static bool digest_samples(PlanishReader *reader, PlanishSoundDigest *digest, PlanishError *error)
{
  SHA2_CTX sha;
  SHA256Init(&sha);
  const bool done = add_samples(&sha, reader, UINT64_MAX, error);
  finish(&sha, digest->samples);
  return done;
}

bool planish_sound_digest_part(const char *path, uint64_t from, uint64_t frames,
                               char samples[PLANISH_DIGEST_TEXT], PlanishError *error)
{
  SHA2_CTX sha;
  SHA256Init(&sha);
  PlanishReader *reader = planish_reader_open(path, NULL, error);
  const bool done = reader != NULL && planish_reader_seek(reader, from, error) &&
                    add_samples(&sha, reader, frames, error);
  planish_reader_free(reader);
  finish(&sha, samples);
  return done;
}

bool planish_sound_digest_stream(const char *const *paths, size_t count,
                                 char samples[PLANISH_DIGEST_TEXT], PlanishError *error)
{
  SHA2_CTX sha;
  bool done = true;
  SHA256Init(&sha);
  for (size_t n = 0; done && n < count; ++n) {
    PlanishReader *reader = planish_reader_open(paths[n], NULL, error);
    done = reader != NULL && add_samples(&sha, reader, UINT64_MAX, error);
    planish_reader_free(reader);
  }
  finish(&sha, samples);
  return done;
}

bool planish_sound_digest(const char *path, bool silence_bad, PlanishSoundDigest *digest,
                          PlanishError *error)
{
  const PlanishReaderOptions options = {.silence_bad = silence_bad};
  PlanishReader *reader = planish_reader_open(path, &options, error);
  if (reader == NULL) {
    return false;
  }
  digest->rate = planish_reader_rate(reader);
  digest->frames = planish_reader_frames(reader);
  const bool done =
      digest_samples(reader, digest, error) && digest_bytes(path, digest->file, error);
  planish_reader_free(reader);
  return done;
}

PlanishSoundMatch planish_sound_match(const PlanishRecallSound *noted,
                                      const PlanishSoundDigest *digest)
{
  if (strcmp(noted->file, digest->file) == 0) {
    return PLANISH_SOUND_SAME;
  }
  return strcmp(noted->samples, digest->samples) == 0 && noted->rate == digest->rate
             ? PLANISH_SOUND_REWRITTEN
             : PLANISH_SOUND_CHANGED;
}
