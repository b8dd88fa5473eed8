/* An album on a page: what landed where, tracks in their order with loudness, peaks and gaps. One
 * HTML file that asks nothing of a network. Thread: any. */
#ifndef PLANISH_HARNESS_ALBUM_PAGE_H
#define PLANISH_HARNESS_ALBUM_PAGE_H

#include "harness/album/album_make.h"

/* What a line of every such page begins with, and of no other. */
#define PLANISH_ALBUM_PAGE_MARK "<footer><p>An album, made by planish "

/* The page; free() gives it back, NULL without memory. All tracks were made. */
char *planish_album_page(const PlanishAlbumPlan *plan, const PlanishAlbumResult *result,
                         size_t *size);

#endif
