/* Masters side by side, as a table or as JSON: what each decibel of loudness costs, or what a stage
 * buys. Thread: main. */
#ifndef PLANISH_HARNESS_PRICE_TABLE_H
#define PLANISH_HARNESS_PRICE_TABLE_H

#include "harness/render/master.h"

/* One master. */
typedef struct {
  const char *label; /* ahead of its figures */
  const char *out;
  const PlanishSheet *sheet; /* that it was made by; NULL: the job's */
  double target;             /* LUFS; NAN: none */
  const char *without;       /* the stage that is left out; NULL: none */
  double won;         /* LU at equal true peak: against the mix, or by the stage that is left out */
  const char *reason; /* why the target was missed; NULL: it was not */
  PlanishMasterReport report;
} PlanishPriceRow;

/* `heading` stands over the labels. */
void planish_price_table(const PlanishMasterJob *job, const char *heading,
                         const PlanishPriceRow *rows, uint32_t count);

/* Keys: mix (as planish measure), input_gain_db, masters: file, target_loudness_lufs, without,
 * landed, reason, renders, moved_to, ceilings_lowered_db, extra_drive_db, loudness_won_lu,
 * punch_db, punch_mix_db, punch_low_db, punch_low_mix_db, distortion_db, audible_share (of the
 * whole chain, distortion/distortion.h), largest_reductions (stage, db), master (as planish
 * measure). What was not measured is null. */
void planish_price_json(const PlanishMasterJob *job, const PlanishPriceRow *rows, uint32_t count);

#endif
