/* A filled arena for a test: run the set-up once on a counting arena, then once on this. */
#ifndef PLANISH_TESTS_ARENA_FIXTURE_H
#define PLANISH_TESTS_ARENA_FIXTURE_H

#include "common/dsp/arena.h"

#include <stdlib.h>
#include <string.h>

/* Zeroed memory of the size that `counted` has counted. free(arena.block) gives it back. */
static inline PlanishArena arena_for(PlanishArena counted)
{
  const size_t size = counted.used + PLANISH_ALIGNMENT;
  void *block = aligned_alloc(PLANISH_ALIGNMENT, size);
  if (block == NULL) {
    abort();
  }
  memset(block, 0, size);
  return planish_arena_filling(block, size);
}

#endif
