/* Audio files, from the header to the first blocks: any bytes are read, or refused in a line. */
#include "harness/audio/audio_reader.h"

#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/mman.h>
#include <unistd.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void read_some(PlanishReader *reader)
{
  enum { BLOCKS = 4, FRAMES = 4096 };
  static float samples[2 * FRAMES];
  PlanishError error = {0};
  size_t got = 1;
  for (int n = 0; n < BLOCKS && got > 0; ++n) {
    if (!planish_reader_read(reader, samples, FRAMES, &got, &error)) {
      return;
    }
  }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
  char path[64];
  const int file = memfd_create("fuzz", 0);
  if (file < 0 || write(file, data, size) != (ssize_t)size) {
    abort();
  }
  (void)snprintf(path, sizeof path, "/proc/self/fd/%d", file);
  PlanishError error = {0};
  const PlanishReaderOptions options = {0};
  PlanishReader *reader = planish_reader_open(path, &options, &error);
  if (reader != NULL) {
    read_some(reader);
    planish_reader_free(reader);
  }
  close(file);
  return 0;
}
