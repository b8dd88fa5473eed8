/* From one master to the next: what changed in settings and mix, and what that does.
 *
 * A side is a sheet, a recall file, or (the new one alone, to an old recall file) a mix. Two sheets
 * are held against each other by their settings; a recall file's as they were meant, with working
 * level and target, so that what landed is told as such. Where both sides have a mix that is there,
 * the mixes are compared; an old recall file lends its settings to a new mix, or its mix to a new
 * sheet.
 *
 * What it comes to is rendered unless `quick`: with the landed values on the new mix, and landed
 * again by the new settings. A new recall file has its figures noted, and nothing is rendered.
 *
 * Thread: that of the host. */
#ifndef PLANISH_HARNESS_REVISE_H
#define PLANISH_HARNESS_REVISE_H

#include "harness/recall/mix_changes.h"
#include "harness/recall/setting_changes.h"
#include "harness/render/master.h"

typedef struct {
  const char *path;
  PlanishSheet *sheet; /* NULL: the path is a mix */
} PlanishReviseSide;

typedef struct {
  PlanishReviseSide side[2]; /* old, new */
  double level;              /* dB, of mix_changes.h */
  bool quick;
  void (*told)(void *user, const char *what, unsigned number, double share); /* may be NULL */
  void *told_user;
} PlanishReviseJob;

/* A master, as far as it is known. */
typedef struct {
  bool known;
  double loudness;   /* LUFS */
  double true_peak;  /* dBTP */
  double moved_to;   /* the control `by`, in its unit; NAN: none */
  bool has_spectrum; /* `change` says what it does to the spectrum */
  size_t band_count;
  double nominal[PLANISH_THIRD_OCTAVES_MAX]; /* Hz */
  double change[PLANISH_THIRD_OCTAVES_MAX];  /* dB, re the old master, equally loud */
} PlanishRevisedMaster;

typedef struct {
  bool has_settings; /* both sides have some */
  PlanishSettingChanges settings;
  char *mix_path[2]; /* NULL: not known, or not there */
  bool mix_known;    /* whether the mixes are the same can be said ... */
  bool mix_same;     /* ... and they are, sample for sample */
  bool has_mix;      /* the mixes were compared */
  PlanishMixChanges mix;
  char *by; /* the control that landing moves, NAME.SYMBOL; NULL: none */
  const char *by_unit;
  PlanishRevisedMaster then;   /* as noted */
  PlanishRevisedMaster noted;  /* of a new recall file */
  PlanishRevisedMaster kept;   /* the landed values on the new mix */
  PlanishRevisedMaster landed; /* landed again, with the new settings */
  bool landing_missed;
} PlanishRevision;

bool planish_revise(const PlanishReviseJob *job, PlanishRevision *revision, PlanishError *error);
/* Gives back what it holds, also after a failure. */
void planish_revision_release(PlanishRevision *revision);

/* Gives a recall file's sheet back the working level and target that were noted, so that it lands
 * anew. Ceilings go up by what landing had lowered them. Nothing for a sheet without a note. */
bool planish_recall_restore(PlanishSheet *sheet, PlanishError *error);

#endif
