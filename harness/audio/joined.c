#include "harness/audio/joined.h"

#include <stdlib.h>

static bool check_rate(const PlanishJoined *joined, PlanishError *error)
{
  const PlanishReader *first = joined->parts[0];
  const PlanishReader *last = joined->parts[joined->count - 1];
  return planish_reader_rate(first) == planish_reader_rate(last) ||
         planish_fail(error, PLANISH_BAD_AUDIO,
                      "%g Hz, and %s before it %g Hz: %s: give one rate for all",
                      planish_reader_rate(last), planish_reader_path(first),
                      planish_reader_rate(first), planish_reader_path(last));
}

bool planish_joined_open(PlanishJoined *joined, const char *const *paths, size_t count,
                         const PlanishReaderOptions *options, PlanishError *error)
{
  *joined = (PlanishJoined){.parts = calloc(count, sizeof(PlanishReader *))};
  bool done = joined->parts != NULL ? true : planish_fail_memory(error);
  for (size_t n = 0; done && n < count; ++n) {
    joined->parts[n] = planish_reader_open(paths[n], options, error);
    joined->count += joined->parts[n] != NULL;
    done = joined->parts[n] != NULL && check_rate(joined, error);
  }
  return done;
}

void planish_joined_free(PlanishJoined *joined)
{
  for (size_t n = 0; n < joined->count; ++n) {
    planish_reader_free(joined->parts[n]);
  }
  free(joined->parts);
  *joined = (PlanishJoined){0};
}

uint64_t planish_joined_frames(const PlanishJoined *joined)
{
  uint64_t frames = 0;
  for (size_t n = 0; n < joined->count; ++n) {
    frames += planish_reader_frames(joined->parts[n]);
  }
  return frames;
}

bool planish_joined_seek(PlanishJoined *joined, uint64_t frame, PlanishError *error)
{
  size_t n = 0;
  while (n + 1 < joined->count && frame >= planish_reader_frames(joined->parts[n])) {
    frame -= planish_reader_frames(joined->parts[n]);
    n += 1;
  }
  joined->now = n;
  joined->at = frame;
  return planish_reader_seek(joined->parts[n], frame, error);
}

/* On to the next part where one has ended. */
static bool turn(PlanishJoined *joined, PlanishError *error)
{
  if (joined->at < planish_reader_frames(joined->parts[joined->now]) ||
      joined->now + 1 == joined->count) {
    return true;
  }
  joined->now += 1;
  joined->at = 0;
  return planish_reader_seek(joined->parts[joined->now], 0, error);
}

bool planish_joined_read(PlanishJoined *joined, float *interleaved, size_t frames, size_t *got,
                         PlanishError *error)
{
  bool done = true;
  bool more = true;
  *got = 0;
  while (done && more && *got < frames) {
    size_t count = 0;
    done = turn(joined, error) &&
           planish_reader_read(joined->parts[joined->now], interleaved + 2 * *got, frames - *got,
                               &count, error);
    joined->at += count;
    *got += count;
    more = count > 0;
  }
  return done;
}
