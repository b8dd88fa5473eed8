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
  PlanishSoundMatch mix;
  bool settings_edited;
  PlanishRecallChange *changes; /* versions, machine */
  size_t change_count;
  bool rendered; /* not where the mix's samples have changed, unless it was to be kept */
  bool same;     /* the samples that were noted */
  PlanishMeasurement result;
  char *master_path;
  bool master_there;
  PlanishSoundMatch master; /* of the file there */
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

/* Where the noted master stands, or would: the recall file's name without .yaml, else the noted
 * name beside it. To be freed; NULL: no memory. */
char *planish_recall_find_master(const PlanishRecallNote *note, const char *file);

/* A path for files of passage, in TMPDIR or /tmp. To be freed; NULL: no memory. */
char *planish_recall_passing_path(void);

#endif
