/* The recall file that a render leaves beside each master: master.wav gets master.wav.yaml.
 *
 * It is a sheet: every control of every stage by its value as it was landed, the input gain that
 * was used (a working level becomes the gain that it came to), the pre-roll in seconds, and no
 * target, so that a render of it moves nothing. Under `recall` stands what recall_note.h says. A
 * stage that was left out (--without) does not stand in it; one without any stage gets no file.
 *
 * An excerpt gets none: its samples hang on where it was cut and what ran in ahead, and a recall
 * file stands for a whole master.
 *
 * Thread: that of the host. */
#ifndef PLANISH_HARNESS_RECALL_FILE_H
#define PLANISH_HARNESS_RECALL_FILE_H

#include "harness/recall/digest.h"
#include "harness/render/master.h"

typedef struct {
  const char *program; /* its version */
  bool silence_bad;    /* as the mix is read */
  PlanishSoundDigest mix;
  const char *origin; /* digest, of an album's track; NULL: none */

  /* Of a part of a stream of several mixes (recall_note.h); else NULL and 0. */
  const char *mix_path; /* its own */
  const char *const *stream_mixes;
  size_t stream_count;
  const char *stream_samples; /* digest */
  uint64_t stream_from;
} PlanishRecallFile;

/* The path for a master's recall file. To be freed; NULL: no memory. */
char *planish_recall_file_path(const char *out);

/* Whether it can be written: false where it would take the place of one of `inputs` (ended by
 * NULL), or of something that is no recall file. */
bool planish_recall_file_check(const char *out, const char *const *inputs, PlanishError *error);

/* Ahead of the render, when the mix has been opened: what comes after must not depend on whether it
 * is still there. */
bool planish_recall_file_start(PlanishRecallFile *file, const char *program, const char *mix,
                               bool silence_bad, PlanishError *error);

/* A PlanishMasterJob's `made`, `user` being a PlanishRecallFile: writes the file so that it takes
 * its place with the master. */
bool planish_recall_file_write(void *user, const PlanishMade *made, PlanishError *error);

/* The digest of a sheet's settings: over their text (sheet_write.h), without what is noted. The
 * same for a recall file that is read back, unless a setting was edited; a control that a later
 * version of a stage adds does not count. */
bool planish_recall_settings(const PlanishSheet *sheet, char digest[PLANISH_DIGEST_TEXT],
                             PlanishError *error);

#endif
