/* One block of memory for everything that a stage keeps.
 *
 * Set-up runs twice over the same code. The first pass counts: planish_arena_take() returns NULL
 * and adds up sizes. The second fills: it hands out zeroed pieces of the block, each aligned to
 * PLANISH_ALIGNMENT bytes. So a set-up function takes its buffers first, and writes into them only
 * if planish_arena_is_filling().
 *
 * Thread: one at a time. planish_arena_take() allocates nothing and is real-time safe, though it
 * belongs in set-up. */
#ifndef PLANISH_DSP_ARENA_H
#define PLANISH_DSP_ARENA_H

#include <stdbool.h>
#include <stddef.h>

#define PLANISH_ALIGNMENT 64

typedef struct {
  unsigned char *block; /* NULL while counting */
  size_t used;          /* bytes taken so far; after counting: the size that filling needs */
  size_t size;          /* bytes in block */
} PlanishArena;

/* An arena that counts. */
PlanishArena planish_arena_counting(void);

/* An arena that fills `block`: `size` zeroed bytes, aligned to PLANISH_ALIGNMENT. The block stays
 * the caller's. */
PlanishArena planish_arena_filling(void *block, size_t size);

/* `count` objects of `size` bytes. NULL while counting, and when the block is too small (a
 * programming error: filling must take what counting took). */
void *planish_arena_take(PlanishArena *arena, size_t count, size_t size);

bool planish_arena_is_filling(const PlanishArena *arena);

#endif
