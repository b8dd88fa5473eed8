/* The report on a master that was rendered: gathers what the page shows (report.h) from what the
 * render, the check and the account say of it, and from the sound itself.
 *
 * Listens to the mix as the chain got it but for the input gain, to the stages, to the finished
 * file, and to references, which are converted to the master's rate. The sound is kept in tracks
 * beside the master for as long as it takes.
 *
 * Errors: those of reading audio, PLANISH_BAD_FILE, PLANISH_INTERRUPTED. Thread: that of the host.
 */
#ifndef PLANISH_HARNESS_MASTER_PAGE_H
#define PLANISH_HARNESS_MASTER_PAGE_H

#include "harness/distortion/distortion.h"
#include "harness/render/master.h"
#include "harness/render/stage_tracks.h"

typedef struct {
  const PlanishMasterJob *master; /* done */
  const PlanishMasterReport *result;
  const PlanishStageTracks *stages; /* all boundaries, as it was landed */
  const PlanishDistortion *account; /* one a stage, or NULL */
  const PlanishDistortion *whole;   /* or NULL */
  const char *const *references;    /* paths */
  size_t reference_count;
  const char *mix;     /* path of the file, to be checked; NULL where it came through a pipe */
  const char *reason;  /* why it missed its target, or NULL */
  const char *program; /* "planish 0.2.0" */
  bool client;         /* leaves out the stages, their settings, and what is said of them */
  bool silence_bad;    /* as the mix was read */
} PlanishReportJob;

/* Where the page of a master stands in a folder: FOLDER/NAME.html. free() gives it back; NULL
 * without memory. */
char *planish_report_path(const char *folder, const char *master);

/* Writes the page. */
bool planish_report_make(const PlanishReportJob *job, const char *path, PlanishError *error);

#endif
