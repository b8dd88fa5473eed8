/* What "planish album" prints, as a table or as JSON. Thread: main. */
#ifndef PLANISH_HARNESS_ALBUM_TABLE_H
#define PLANISH_HARNESS_ALBUM_TABLE_H

#include "harness/album/album_make.h"
#include "harness/base/json.h"

/* On standard output. */
void planish_album_table(const PlanishAlbumPlan *plan, const PlanishAlbumResult *result);

/* What should be known all the same, and what was missed, on standard error, a line each; how many
 * streams have not landed. */
size_t planish_album_tell_missed(const PlanishAlbumPlan *plan, const PlanishAlbumResult *result);

/* Members of the object that `json` is in: album, folder, rate_hz, target_loudness_lufs, whole (as
 * planish measure), tracks: number, title, isrc, file, made, kept, mix (as planish measure),
 * file_rate_hz, offset_lu, offset_given, runs_on, frames, silence_frames, moved_to, extra_drive_db,
 * audible_share, reason, master (as planish measure). What there is not is null. */
void planish_album_json(PlanishJson *json, const PlanishAlbumPlan *plan,
                        const PlanishAlbumResult *result);

#endif
