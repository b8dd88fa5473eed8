/* A mix and a sheet at work on one master or several: what is known of the mix is found once, what
 * stands ahead of the controls that are moved is kept from one render to the next (checkpoint.h),
 * and no file stands in its place before planish_mastering_commit(). Whatever fails, nothing is
 * left behind.
 *
 * Reports are given back by planish_master_report_free(). Thread: that of the host. */
#ifndef PLANISH_HARNESS_MASTERING_H
#define PLANISH_HARNESS_MASTERING_H

#include "harness/render/master.h"

typedef struct PlanishMastering PlanishMastering;

/* Measures the mix. What `job` points to must outlive it; its `out` says where temporary files
 * stand. The sheet's values of now are those that every landing starts from. */
PlanishMastering *planish_mastering_new(const PlanishMasterJob *job, PlanishError *error);

/* Masters by another sheet of the same mix will follow, of the same input and rate: what stands
 * ahead of whatever differs between the two, or is moved by either, is kept for them. To be called
 * ahead of the first master. */
void planish_mastering_share(PlanishMastering *mastering, const PlanishSheet *other);

/* From now on masters are made by another sheet that was shared, as it stands now. It must outlive
 * the mastering. */
bool planish_mastering_turn(PlanishMastering *mastering, PlanishSheet *sheet, PlanishError *error);

/* NULL is allowed. */
void planish_mastering_free(PlanishMastering *mastering);

/* A master at the sheet's target of now: the same whatever was made before. The sheet's controls
 * stay where it landed. */
bool planish_mastering_land(PlanishMastering *mastering, const char *out,
                            PlanishMasterReport *report, PlanishError *error);

/* One render of the sheet as it stands now, less a stage (index). Nothing is landed. */
bool planish_mastering_without(PlanishMastering *mastering, uint32_t stage, const char *out,
                               PlanishMasterReport *report, PlanishError *error);

/* The last master again, at the loudness of the mix or of its part: fills what the report says of
 * it. */
bool planish_mastering_match(PlanishMastering *mastering, const char *out,
                             PlanishMasterReport *report, PlanishError *error);

/* What the last master costs: fills report->price. */
bool planish_mastering_price(PlanishMastering *mastering, PlanishMasterReport *report,
                             PlanishError *error);

/* Only what is cheap enough to be known of every master: the distortion around its loudest moment.
 */
bool planish_mastering_price_loudest(PlanishMastering *mastering, PlanishMasterReport *report,
                                     PlanishError *error);

/* Where the last master stands as long as it is not committed, and the mastering is there. */
const char *planish_mastering_temporary(const PlanishMastering *mastering);

/* Puts all files in their places. */
bool planish_mastering_commit(PlanishMastering *mastering, PlanishError *error);

#endif
