/* The two lists that go with a CD's image: a cue sheet, and a plain list of tracks and indices
 * (PQ).
 *
 * Times are minutes, seconds and sectors (75 a second, IEC 60908), counted from the beginning of
 * the image; the 2 s of pause ahead of the first track, which every CD has, are not in it. An index
 * 0 stands where the gap ahead of a track begins. Thread: any. */
#ifndef PLANISH_HARNESS_CD_LISTS_H
#define PLANISH_HARNESS_CD_LISTS_H

#include "harness/album/album_plan.h"

/* The texts, of an album with `cd`; free() gives them back. NULL: no memory. A cue sheet has no way
 * to write a double quotation mark, in whose place it gets a single one. */
char *planish_cd_cue(const PlanishAlbumPlan *plan, const char *image, size_t *size);
char *planish_cd_pq(const PlanishAlbumPlan *plan, size_t *size);

#endif
