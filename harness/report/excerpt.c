#include "harness/report/excerpt.h"

#include "common/dsp/maths.h"
#include "harness/audio/dither.h"
#include "harness/base/interrupt.h"

#include <sndfile.h>
#include <stdlib.h>
#include <string.h>

enum { BLOCK = 4096, LARGEST = (1 << 23) - 1, DITHER_SEED = 1 };

/* A file in memory, as libsndfile asks for one. */
typedef struct {
  unsigned char *bytes;
  size_t size;
  size_t room;
  size_t at;
} Store;

static sf_count_t store_length(void *user)
{
  const Store *store = user;
  return (sf_count_t)store->size;
}

static sf_count_t store_seek(sf_count_t offset, int whence, void *user)
{
  Store *store = user;
  const size_t from = whence == SEEK_SET ? 0 : whence == SEEK_CUR ? store->at : store->size;
  store->at = (size_t)((sf_count_t)from + offset);
  return (sf_count_t)store->at;
}

static sf_count_t store_read(void *to, sf_count_t count, void *user)
{
  Store *store = user;
  const size_t there = store->at < store->size ? store->size - store->at : 0;
  const size_t taken = (size_t)count < there ? (size_t)count : there;
  memcpy(to, store->bytes + store->at, taken);
  store->at += taken;
  return (sf_count_t)taken;
}

static sf_count_t store_write(const void *from, sf_count_t count, void *user)
{
  Store *store = user;
  const size_t end = store->at + (size_t)count;
  if (end > store->room) {
    const size_t room = end + end / 2 + 65536;
    unsigned char *bytes = realloc(store->bytes, room);
    if (bytes == NULL) {
      return 0;
    }
    memset(bytes + store->room, 0, room - store->room);
    store->bytes = bytes;
    store->room = room;
  }
  memcpy(store->bytes + store->at, from, (size_t)count);
  store->at = end;
  store->size = end > store->size ? end : store->size;
  return count;
}

static sf_count_t store_tell(void *user)
{
  const Store *store = user;
  return (sf_count_t)store->at;
}

/* Whole numbers of 24 bit, at the top of 32. */
static int32_t at_top(double lsbs)
{
  return (int32_t)planish_clamp(lsbs, -LARGEST - 1.0, LARGEST) * 256;
}

/* Turns samples into words; returns the frames written, see planish_dither_process(). */
static size_t to_words(PlanishDither *dither, const PlanishExcerptJob *job, float *samples,
                       size_t frames, int32_t *words)
{
  const double step = (double)(1 << (PLANISH_DITHER_BITS - job->bits)); /* in LSBs of 24 bit */
  for (size_t n = 0; n < 2 * frames && step == 1.0; ++n) {
    words[n] = at_top(floor((double)samples[n] * job->gain * PLANISH_DITHER_SCALE + 0.5));
  }
  if (step == 1.0) {
    return frames;
  }
  for (size_t n = 0; n < 2 * frames; ++n) {
    samples[n] = (float)((double)samples[n] * job->gain / step);
  }
  const size_t made = planish_dither_process(dither, samples, frames, words);
  for (size_t n = 0; n < 2 * made; ++n) {
    words[n] = at_top(planish_min((double)words[n] * step, LARGEST + 1.0 - step));
  }
  return made;
}

static bool write_words(SNDFILE *file, const PlanishExcerptJob *job, PlanishError *error)
{
  PlanishDither dither;
  planish_dither_reset(&dither, DITHER_SEED);
  float samples[2 * BLOCK];
  int32_t words[2 * (BLOCK + PLANISH_DITHER_BLACK)];
  bool done = true;
  for (uint64_t at = 0; done && at < job->frames; at += BLOCK) {
    const size_t frames = job->frames - at < BLOCK ? (size_t)(job->frames - at) : BLOCK;
    done = planish_interrupt_check(error) &&
           planish_track_read(job->track, job->first + at, samples, frames, error);
    const size_t made = done ? to_words(&dither, job, samples, frames, words) : 0;
    done = done && (sf_writef_int(file, words, (sf_count_t)made) == (sf_count_t)made ||
                    planish_fail_memory(error));
  }
  const size_t rest = job->bits < PLANISH_DITHER_BITS ? planish_dither_finish(&dither, words) : 0;
  return done && (sf_writef_int(file, words, (sf_count_t)rest) == (sf_count_t)rest ||
                  planish_fail_memory(error));
}

bool planish_excerpt_make(PlanishExcerpt *excerpt, const PlanishExcerptJob *job,
                          PlanishError *error)
{
  SF_VIRTUAL_IO memory = {store_length, store_seek, store_read, store_write, store_tell};
  SF_INFO info = {
      .samplerate = (int)(job->rate + 0.5),
      .channels = 2,
      .format = SF_FORMAT_FLAC | (job->bits > 16 ? SF_FORMAT_PCM_24 : SF_FORMAT_PCM_16),
  };
  Store store = {0};
  double smallest = 1.0;
  SNDFILE *file = sf_open_virtual(&memory, SFM_WRITE, &info, &store);
  bool done = file != NULL || planish_fail_memory(error);
  if (done) {
    (void)sf_command(file, SFC_SET_COMPRESSION_LEVEL, &smallest, sizeof smallest);
    done = write_words(file, job, error);
    done = sf_close(file) == 0 && done;
  }
  if (!done) {
    free(store.bytes);
    *excerpt = (PlanishExcerpt){0};
    return planish_fail_memory(error);
  }
  *excerpt = (PlanishExcerpt){store.bytes, store.size};
  return true;
}

void planish_excerpt_write(const PlanishExcerpt *excerpt, FILE *out)
{
  static const char letters[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
  for (size_t n = 0; n < excerpt->size; n += 3) {
    const size_t there = excerpt->size - n < 3 ? excerpt->size - n : 3;
    uint32_t word = 0;
    for (size_t k = 0; k < 3; ++k) {
      word = word << 8 | (k < there ? excerpt->bytes[n + k] : 0U);
    }
    for (size_t k = 0; k < 4; ++k) {
      (void)putc(k <= there ? letters[word >> (18 - 6 * k) & 63] : '=', out);
    }
  }
}
