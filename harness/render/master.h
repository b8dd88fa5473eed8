/* Makes a master: renders, measures the finished file, lands, and keeps the nearest.
 *
 * Thread: that of the host. */
#ifndef PLANISH_HARNESS_MASTER_H
#define PLANISH_HARNESS_MASTER_H

#include "harness/audio/audio_writer.h"
#include "harness/measure/measure.h"
#include "harness/render/landing.h"
#include "harness/render/price.h"
#include "harness/render/renderer.h"

typedef struct PlanishMade PlanishMade;

typedef struct {
  PlanishReader *mix;
  PlanishSheet *sheet; /* its controls are moved by landing, and stay where they landed */
  const char *out;     /* checked by planish_writer_check() */
  const char *matched; /* NULL: not asked for */
  PlanishWord word;
  bool price;   /* what it cost around its loudest moment is to be known, where it was landed */
  bool excerpt; /* from..to instead of the whole mix; then nothing is landed: the control `by` stays
                   as the sheet has it, or where landing would begin */
  uint64_t from;
  uint64_t to;
  /* Told what is going on; may be NULL. */
  void (*told)(void *user, const char *what, unsigned number, double share);
  void *told_user;
  /* Shown every master once it is whole, before any file is in its place; may be NULL. False, with
   * `error` filled, and nothing is left behind. */
  bool (*made)(void *user, const PlanishMade *made, PlanishError *error);
  void *made_user;
} PlanishMasterJob;

/* What there is to tell of it. */
typedef struct {
  PlanishMeasurement mix;    /* the whole mix as it is */
  PlanishMeasurement result; /* the file that was written */
  double input_gain;         /* dB */
  bool landing_wanted;
  bool no_room; /* to keep what stands ahead of the controls that were moved: each render began at
                   the start (checkpoint.h) */
  PlanishLanding landing;
  bool has_drive;
  double extra_drive; /* dB: gains from the control that was moved on, less the loudness won */
  PlanishPrice price; /* where it was asked for */
  PlanishAccount *accounts; /* of the render that was kept, one a stage */
  uint32_t account_count;
  uint32_t latency; /* frames */
  uint64_t frames;
  uint64_t clipped;         /* samples that 24 bit could not hold */
  double matched_gain;      /* dB */
  uint64_t matched_clipped; /* samples of the matched file likewise */
} PlanishMasterReport;

/* A master that is whole. The sheet's values are those that it was made with. */
struct PlanishMade {
  const PlanishMasterJob *job;
  const PlanishMasterReport *report;
  const char *out;
  const bool *without;   /* by stage: left out; NULL: none is */
  PlanishWriter *writer; /* finished, not committed */
};

/* Writes job->out (and job->matched), also where the target is missed: whoever calls looks at
 * report->landing.state. On failure nothing is left behind. planish_master_report_free() gives the
 * report's memory back. */
bool planish_master(const PlanishMasterJob *job, PlanishMasterReport *report, PlanishError *error);
void planish_master_report_free(PlanishMasterReport *report);

/* Why a landing has missed, as one line of text. */
void planish_master_reason(const PlanishMasterJob *job, const PlanishMasterReport *report,
                           char *text, size_t size);

#endif
