#include "common/dsp/arena.h"

PlanishArena planish_arena_counting(void)
{
  return (PlanishArena){NULL, 0, 0};
}

PlanishArena planish_arena_filling(void *block, size_t size)
{
  return (PlanishArena){block, 0, size};
}

bool planish_arena_is_filling(const PlanishArena *arena)
{
  return arena->block != NULL;
}

void *planish_arena_take(PlanishArena *arena, size_t count, size_t size)
{
  const size_t bytes =
      (count * size + PLANISH_ALIGNMENT - 1) / PLANISH_ALIGNMENT * PLANISH_ALIGNMENT;
  const size_t start = arena->used;
  arena->used += bytes;
  if (arena->block == NULL || arena->used > arena->size) {
    return NULL;
  }
  return arena->block + start;
}
