#include "presets-demo/mix/wave.h"

#include "presets-demo/mix/arithmetic.h"

#include <errno.h>
#include <stdio.h>
#include <sys/stat.h>

enum { HEADER_BYTES = 44, CHANNELS = 2, SAMPLE_BITS = 24, BATCH = 4096 };

static void put(uint8_t *bytes, size_t count, uint32_t value)
{
  for (size_t i = 0; i < count; ++i) {
    bytes[i] = (uint8_t)((value >> (8 * i)) & 0xffu);
  }
}

static void put_tag(uint8_t *bytes, const char *tag)
{
  for (size_t i = 0; i < 4; ++i) {
    bytes[i] = (uint8_t)tag[i];
  }
}

static uint32_t sample_of(double x)
{
  const double scaled = planish_clamp(x * 8388608.0, -8388608.0, 8388607.0);
  return (uint32_t)(int32_t)(scaled + (scaled < 0.0 ? -0.5 : 0.5));
}

void planish_demo_wave_frame(const PlanishDemoTrack *track, size_t frame,
                             uint8_t bytes[PLANISH_DEMO_FRAME_BYTES])
{
  put(bytes, 3, sample_of(track->left[frame]));
  put(bytes + 3, 3, sample_of(track->right[frame]));
}

static void header(uint8_t bytes[HEADER_BYTES], size_t frames)
{
  const uint32_t rate = (uint32_t)PLANISH_DEMO_RATE;
  const uint32_t data = (uint32_t)(frames * PLANISH_DEMO_FRAME_BYTES);
  put_tag(bytes, "RIFF");
  put(bytes + 4, 4, HEADER_BYTES - 8 + data);
  put_tag(bytes + 8, "WAVE");
  put_tag(bytes + 12, "fmt ");
  put(bytes + 16, 4, 16);
  put(bytes + 20, 2, 1); /* PCM */
  put(bytes + 22, 2, CHANNELS);
  put(bytes + 24, 4, rate);
  put(bytes + 28, 4, rate * PLANISH_DEMO_FRAME_BYTES);
  put(bytes + 32, 2, PLANISH_DEMO_FRAME_BYTES);
  put(bytes + 34, 2, SAMPLE_BITS);
  put_tag(bytes + 36, "data");
  put(bytes + 40, 4, data);
}

static bool write_all(FILE *file, const PlanishDemoTrack *track)
{
  uint8_t head[HEADER_BYTES];
  uint8_t batch[BATCH * PLANISH_DEMO_FRAME_BYTES];
  header(head, track->frames);
  bool done = fwrite(head, 1, sizeof head, file) == sizeof head;
  for (size_t at = 0; done && at < track->frames; at += BATCH) {
    const size_t left = track->frames - at;
    const size_t count = left < BATCH ? left : BATCH;
    for (size_t i = 0; i < count; ++i) {
      planish_demo_wave_frame(track, at + i, batch + i * PLANISH_DEMO_FRAME_BYTES);
    }
    const size_t bytes = count * PLANISH_DEMO_FRAME_BYTES;
    done = fwrite(batch, 1, bytes, file) == bytes;
  }
  return done;
}

/* Files alone: a device or pipe that was named as the output is not ours to remove. */
static void remove_file(const char *path)
{
  struct stat about;
  if (lstat(path, &about) == 0 && S_ISREG(about.st_mode)) {
    remove(path);
  }
}

bool planish_demo_wave_write(const char *path, const PlanishDemoTrack *track)
{
  FILE *file = fopen(path, "wb");
  if (file == NULL) {
    return false;
  }
  const bool written = write_all(file, track);
  const int why = errno;
  if (fclose(file) == 0 && written) {
    return true;
  }
  const int reason = written ? errno : why;
  remove_file(path);
  errno = reason;
  return false;
}
