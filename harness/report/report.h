/* The report: one page of HTML in which an engineer, or a client, judges a master.
 *
 * The page is whole in itself: no network, nothing beside it. It holds the figures, charts as SVG,
 * and a player that switches between versions at matched loudness, with excerpts of them as FLAC.
 * It is PLANISH_REPORT_LARGEST bytes at most; what is carried is chosen to fit and said in the page
 * (carrying.h). The same report gives the same bytes, in every locale.
 *
 * A report points to what others have made; whatever is NULL or has a count of 0 is left out, with
 * its part of the page. Nothing is owned but by who made it.
 * Levels are dB, LUFS, dBTP as elsewhere; what is not finite is shown as a dash.
 *
 * Errors: PLANISH_BAD_FILE. Thread: one at a time. */
#ifndef PLANISH_HARNESS_REPORT_H
#define PLANISH_HARNESS_REPORT_H

#include "harness/audio/track.h"
#include "harness/check/finding.h"
#include "harness/measure/measure.h"

#include <stdint.h>

#define PLANISH_REPORT_LARGEST 40000000 /* bytes */
#define PLANISH_REPORT_MOMENTS 10

/* A line of each page begins so, as `program` begins with the program's name. */
#define PLANISH_REPORT_MARK "<footer><p>Made by planish "

typedef enum {
  PLANISH_VERSION_MIX,
  PLANISH_VERSION_STAGE, /* after a stage */
  PLANISH_VERSION_MASTER,
  PLANISH_VERSION_REFERENCE, /* a master of something else */
} PlanishVersionKind;

/* Something to listen to, at the report's rate. Versions that are no reference line up with each
 * other to the frame. */
typedef struct {
  const char *name;
  PlanishVersionKind kind;
  PlanishTrack *track;
  const PlanishMeasurement *measured; /* the whole of it, or NULL */
} PlanishReportVersion;

/* What a stage reports as time goes by: the gain it lays on, in dB, negative where it takes off.
 * One in a parallel branch is shown, but is no part of what all lay on together: how much of it
 * comes back depends on the branch. */
typedef struct {
  const char *stage;
  const char *control; /* name of the port */
  const float *gains;  /* the one furthest from 0 in each interval */
  size_t count;
  double interval; /* s */
  bool in_branch;
} PlanishReportGains;

/* Levels in bands of a third of an octave, one curve a version. */
typedef struct {
  const char *name;
  PlanishVersionKind kind;
  const double *levels; /* dB, of any common reference */
} PlanishReportCurve;

typedef struct {
  const double *hz; /* of the bands' middles */
  size_t bands;
  const PlanishReportCurve *curves;
  size_t count;
} PlanishReportBands;

/* Figures side by side: a row for each quantity or stage. */
typedef struct {
  const char *name;
  const char *unit;     /* of the row, "" where the columns have units */
  const double *values; /* one a column */
} PlanishReportRow;

typedef struct {
  const char *corner; /* what the rows are */
  const char *const *columns;
  const int *decimals; /* one a column */
  size_t column_count;
  const PlanishReportRow *rows;
  size_t row_count;
} PlanishReportTable;

/* Something found in the mix, or wrong with the master. */
typedef struct {
  PlanishSeverity severity;
  const char *what;
  const char *where;  /* times; may be NULL */
  const char *remedy; /* what to do; may be NULL */
} PlanishReportFinding;

/* How the master came out. */
typedef enum {
  PLANISH_VERDICT_LANDED,
  PLANISH_VERDICT_MISSED,
  PLANISH_VERDICT_RENDERED, /* no target, or an excerpt */
} PlanishVerdict;

typedef struct {
  const char *title;   /* of the page: the master's name */
  const char *mix;     /* name of the mix */
  const char *part;    /* of an excerpt: from when to when of the mix; else NULL */
  const char *program; /* "planish 0.2.0" */

  PlanishVerdict verdict;
  const char *reason;                 /* why a target was missed, or NULL */
  double target_loudness;             /* LUFS; NAN: any */
  double target_ceiling;              /* dBTP; NAN: any */
  const PlanishReportFinding *faults; /* of the master */
  size_t fault_count;

  /* In the order in which they are shown; the first that is a mix and the first that is a master
   * are the ones of the verdict. At least one. */
  const PlanishReportVersion *versions;
  size_t version_count;
  double rate; /* Hz, of all tracks */

  const PlanishReportGains *gains;
  size_t gain_count;
  const PlanishReportBands *bands;
  const PlanishReportTable *punch;
  const PlanishReportTable *low_end;
  const PlanishReportTable *account;
  const PlanishReportFinding *findings; /* of the mix */
  size_t finding_count;
  bool checked;         /* the mix was looked at, be it without a finding */
  const char *settings; /* as text, or NULL */
} PlanishReportPage;

/* Writes the page in the place of what stood at `path`, once it is whole. */
bool planish_report_write(const PlanishReportPage *report, const char *path, PlanishError *error);

#endif
