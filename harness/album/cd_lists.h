/* The two lists that go with a CD's image: a cue sheet, and a plain list of tracks and indices
 * (PQ).
 *
 * Times are minutes, seconds and sectors (75 a second, IEC 60908), counted from the beginning of
 * the image; the 2 s of pause ahead of the first track, which every CD has, are not in it. An index
 * 0 stands where the gap ahead of a track begins. Thread: any. */
#ifndef PLANISH_HARNESS_CD_LISTS_H
#define PLANISH_HARNESS_CD_LISTS_H

#include "harness/album/album_plan.h"
#include "harness/deliver/lines.h"

/* What they begin with, and nothing else does. */
#define PLANISH_CD_CUE_MARK "REM Cue sheet of a planish album"
#define PLANISH_CD_PQ_MARK  "PQ list of a planish album"

/* The texts, of an album with `cd`; free() gives them back. NULL: no memory. A cue sheet has no way
 * to write a double quotation mark, in whose place it gets a single one. */
char *planish_cd_cue(const PlanishAlbumPlan *plan, const char *image, size_t *size);
char *planish_cd_pq(const PlanishAlbumPlan *plan, size_t *size);

/* What is not as a CD wants it: tracks under 4 s (IEC 60908), more than 80 minutes, which is what
 * the longest discs hold, numbers that are not 1, 2, 3 ..., and what the cue sheet cannot write. */
void planish_cd_notes(const PlanishAlbumPlan *plan, PlanishLines *notes);

#endif
