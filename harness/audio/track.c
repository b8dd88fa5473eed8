#include "harness/audio/track.h"

#include "harness/base/place.h"
#include "harness/base/standard_streams.h"
#include "harness/base/temporary_file.h"
#include "harness/base/text.h"

#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <sys/statvfs.h>
#include <sys/types.h>
#include <unistd.h>

enum { FRAME_BYTES = 2 * sizeof(float) };

struct PlanishTrack {
  PlanishTemporaryFile file;
  char *where;        /* for messages */
  const char *advice; /* where there is no room */
  uint64_t frames;
};

static bool fail(const PlanishTrack *track, const char *what, PlanishError *error)
{
  return planish_fail(error, PLANISH_BAD_FILE, "%s: temporary file %s: %s", what, track->where,
                      planish_place_advice(errno));
}

/* Bytes; HUGE_VAL where the system does not tell. */
static double room_of(const PlanishTrack *track)
{
  struct statvfs disk;
  return fstatvfs(track->file.descriptor, &disk) == 0
             ? (double)disk.f_bavail * (double)disk.f_frsize
             : HUGE_VAL;
}

bool planish_track_has_room(const PlanishTrack *track, uint64_t frames)
{
  return (double)frames * FRAME_BYTES <= room_of(track);
}

static bool check_room(const PlanishTrack *track, uint64_t frames, PlanishError *error)
{
  return frames == 0 || planish_track_has_room(track, frames) ||
         planish_fail(error, PLANISH_BAD_FILE,
                      "no room: %.0f MB are needed for a while %s, and %.0f MB are free: "
                      "make room, or %s",
                      (double)frames * FRAME_BYTES * 1e-6, track->where, room_of(track) * 1e-6,
                      track->advice);
}

static bool open_file(PlanishTrack *track, const char *beside, PlanishError *error)
{
  return planish_temporary_file_new_unnamed(&track->file, beside) ||
         fail(track, "cannot make", error);
}

PlanishTrack *planish_track_new(const char *beside, uint64_t frames, PlanishError *error)
{
  PlanishTrack *track = calloc(1, sizeof *track);
  if (track == NULL) {
    planish_fail_memory(error);
    return NULL;
  }
  track->file.descriptor = -1;
  track->where = planish_temporary_file_where(beside);
  track->advice = planish_is_stream(beside) ? "set TMPDIR to a folder of another disk"
                                            : "write to another disk";
  const bool done = track->where != NULL
                        ? open_file(track, beside, error) && check_room(track, frames, error)
                        : planish_fail_memory(error);
  if (!done) {
    planish_track_free(track);
    return NULL;
  }
  return track;
}

void planish_track_free(PlanishTrack *track)
{
  if (track != NULL) {
    planish_temporary_file_free(&track->file);
    free(track->where);
    free(track);
  }
}

bool planish_track_write(void *user, const float *interleaved, size_t frames, PlanishError *error)
{
  PlanishTrack *track = user;
  const char *from = (const char *)interleaved;
  size_t left = frames * FRAME_BYTES;
  off_t at = (off_t)(track->frames * FRAME_BYTES);
  while (left > 0) {
    const ssize_t written = pwrite(track->file.descriptor, from, left, at);
    if (written < 0 && errno != EINTR) {
      return fail(track, "cannot write", error);
    }
    if (written > 0) {
      from += written;
      left -= (size_t)written;
      at += written;
    }
  }
  track->frames += frames;
  return true;
}

bool planish_track_read(PlanishTrack *track, uint64_t first, float *interleaved, size_t frames,
                        PlanishError *error)
{
  const uint64_t there = first < track->frames ? track->frames - first : 0;
  const size_t wanted = there < frames ? (size_t)there : frames;
  char *to = (char *)interleaved;
  size_t left = wanted * FRAME_BYTES;
  off_t at = (off_t)(first * FRAME_BYTES);
  while (left > 0) {
    const ssize_t got = pread(track->file.descriptor, to, left, at);
    if (got == 0 || (got < 0 && errno != EINTR)) {
      return planish_fail(error, PLANISH_BAD_FILE,
                          "cannot read back: temporary file %s: the disk fails or lost it: "
                          "write to another disk",
                          track->where);
    }
    if (got > 0) {
      to += got;
      left -= (size_t)got;
      at += got;
    }
  }
  memset(interleaved + 2 * wanted, 0, (frames - wanted) * FRAME_BYTES);
  return true;
}

uint64_t planish_track_frames(const PlanishTrack *track)
{
  return track->frames;
}

void planish_track_clear(PlanishTrack *track)
{
  track->frames = 0;
}
