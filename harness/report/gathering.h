/* What the page of a master shows, while it is gathered: everything that report.h points to, and
 * who owns it. Each gather function fills its part; a part that cannot be had is left out.
 * Thread: one at a time. */
#ifndef PLANISH_HARNESS_GATHERING_H
#define PLANISH_HARNESS_GATHERING_H

#include "harness/check/check.h"
#include "harness/measure/third_octaves.h"
#include "harness/report/master_page.h"
#include "harness/report/report.h"

#define PLANISH_GATHERED_TEXTS 200

/* A table and its memory. */
typedef struct {
  PlanishReportTable table;
  const char **columns;
  int *decimals;
  PlanishReportRow *rows;
  double *values;
} PlanishGatheredTable;

typedef struct {
  const PlanishReportJob *job;
  uint64_t frames; /* of the versions that line up */
  size_t count;    /* of versions: mix, stages, master, references */
  PlanishReportVersion *versions;
  PlanishTrack **own;                /* tracks made here; NULL where a stage has its own */
  PlanishMeasurement *measured;      /* by version; those of references */
  PlanishThirdOctaveLevels *octaves; /* by version; of stages none */
  double *levels;                    /* of all curves, band by band */
  double hz[PLANISH_THIRD_OCTAVES_MAX];
  PlanishReportCurve *curves;
  PlanishReportBands bands;
  PlanishGatheredTable punch;
  PlanishGatheredTable low_end;
  PlanishGatheredTable account;
  PlanishReportGains *gains;
  float *gain_values;
  size_t gain_count;
  PlanishReportFinding faults[8];
  size_t fault_count;
  PlanishReportFinding *findings;
  size_t finding_count;
  char *settings;
  char *texts[PLANISH_GATHERED_TEXTS]; /* that others point to */
  size_t text_count;
} PlanishGathering;

bool planish_gather_sound(PlanishGathering *gathering, PlanishError *error);
bool planish_gather_octaves(PlanishGathering *gathering, PlanishError *error);
bool planish_gather_punch(PlanishGathering *gathering, PlanishError *error);
bool planish_gather_gains(PlanishGathering *gathering, PlanishError *error);
bool planish_gather_account(PlanishGathering *gathering, PlanishError *error);
bool planish_gather_faults(PlanishGathering *gathering, PlanishError *error);
bool planish_gather_findings(PlanishGathering *gathering, PlanishError *error);
bool planish_gather_settings(PlanishGathering *gathering, PlanishError *error);

/* A text that lives as long as the gathering; NULL without memory, or room. */
const char *planish_gathering_text(PlanishGathering *gathering, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

/* Rows and columns of nothing yet: names NULL, values NAN, no decimals. */
bool planish_gathered_table_new(PlanishGatheredTable *table, const char *corner, size_t rows,
                                size_t columns, PlanishError *error);
void planish_gathered_table_free(PlanishGatheredTable *table);

/* Of an excerpt, not of the whole mix. */
bool planish_gathering_is_part(const PlanishGathering *gathering);

/* What follows the last slash. */
const char *planish_file_name(const char *path);

#endif
