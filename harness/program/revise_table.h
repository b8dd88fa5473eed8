/* What planish revise prints. Thread: main. */
#ifndef PLANISH_HARNESS_REVISE_TABLE_H
#define PLANISH_HARNESS_REVISE_TABLE_H

#include "harness/recall/revise.h"

void planish_revise_table(const PlanishReviseJob *job, const PlanishRevision *revision);

/* One object. Keys: old, new (files), settings (array or null: kind, where, old, new, unit),
 * mix_same (null: not known), mix (null: not compared: old, new, delay_frames, gain_db, level_db,
 * length_change_s, loudness_change_lu, true_peak_change_db, changed_s, stretches: from_s, to_s,
 * difference_db, bands: nominal_hz, change_db, or null where not looked at; third_octaves:
 * nominal_hz, change_db), moved (NAME.SYMBOL), moved_unit, master_old, master_new, master_kept,
 * master_landed (each null or integrated_lufs, true_peak_dbtp, moved_to, bands or null),
 * landing_missed. */
void planish_revise_json(const PlanishReviseJob *job, const PlanishRevision *revision);

#endif
