/* Makes a master again from its recall file, and holds it against what was noted.
 *
 * Thread: that of the host. */
#ifndef PLANISH_HARNESS_RECALL_H
#define PLANISH_HARNESS_RECALL_H

#include "harness/measure/measure.h"
#include "harness/recall/digest.h"
#include "harness/render/master.h"

typedef struct {
  const char *file;    /* the recall file, ... */
  PlanishSheet *sheet; /* ... and what was read from it, with its note */
  const char *mix;     /* path of the mix; NULL: the noted one */
  const char *out;     /* where what was rendered is kept; NULL: nowhere */
  const char *program; /* version of this program */
  void (*told)(void *user, const char *what, unsigned number, double share); /* may be NULL */
  void *told_user;
} PlanishRecallJob;

/* What is no longer as it was noted, beside the mix. */
typedef struct {
  char *what;
  char *then;
  char *now;
} PlanishRecallChange;

typedef struct {
  char *mix_path;
  PlanishSoundMatch mix; /* of a part of a stream: changed where any of its mixes has */
  char **stream_mixes;   /* where they are; NULL: of no stream */
  size_t stream_count;
  bool settings_edited;
  PlanishRecallChange *changes; /* versions, machine */
  size_t change_count;
  bool rendered; /* not where the mix's samples have changed, unless it was to be kept */
  double rate;   /* Hz, of what was rendered */
  double frames;
  bool same; /* the samples that were noted */
  PlanishMeasurement result;
  char *master_path;
  bool master_there;
  bool master_read;         /* it is sound, and may be read */
  PlanishSoundMatch master; /* of the file there, where it was read */
  double difference; /* dB re the louder: of what was rendered from the noted samples, where a
                        file has them still; NAN: not known */
} PlanishRecallResult;

/* True also where something differs: the result says so. PLANISH_BAD_FILE where the mix is not
 * there. planish_recall_result_release() gives back its memory either way. */
bool planish_recall(const PlanishRecallJob *job, PlanishRecallResult *result, PlanishError *error);
void planish_recall_result_release(PlanishRecallResult *result);

/* Where the noted mix is: at its path, else under its name beside the recall file; NULL with
 * PLANISH_BAD_FILE where it is in neither. To be freed. */
char *planish_recall_find_mix(const PlanishRecallNote *note, const char *file, PlanishError *error);

/* The same of all mixes of a stream, in order; of one that is no part of a stream its one. A list
 * of *count paths, each to be freed, and so is the list; NULL likewise. */
char **planish_recall_find_mixes(const PlanishRecallNote *note, const char *file, size_t *count,
                                 PlanishError *error);

/* Where the noted master stands: at the recall file's name without .yaml; where nothing is there,
 * at the noted name beside it; where nothing is there either, where it would: the first, or the
 * noted name for a file without that ending. To be freed; NULL: no memory. */
char *planish_recall_find_master(const PlanishRecallNote *note, const char *file);

/* Where what is rendered only to be looked at stands for a while: TMPDIR (standard_streams.h);
 * nothing is ever sent on. */
#define PLANISH_RECALL_PASSING "-"

/* Whether there is room for `files` renders of `mix` by `sheet` beside `out`, which may be the one
 * above. */
bool planish_recall_check_room(const PlanishSheet *sheet, const PlanishReader *mix, const char *out,
                               unsigned files, PlanishError *error);

#endif
