/* How often something was found, and where it was found first. All zero is nothing yet. */
#ifndef PLANISH_HARNESS_PLACES_H
#define PLANISH_HARNESS_PLACES_H

#include <stddef.h>
#include <stdint.h>

#define PLANISH_PLACES_KEPT 8

typedef struct {
  uint64_t count;
  uint64_t frame[PLANISH_PLACES_KEPT]; /* of the first ones, in order */
} PlanishPlaces;

static inline void planish_places_add(PlanishPlaces *places, uint64_t frame)
{
  if (places->count < PLANISH_PLACES_KEPT) {
    places->frame[places->count] = frame;
  }
  places->count += 1;
}

static inline size_t planish_places_kept(const PlanishPlaces *places)
{
  return places->count < PLANISH_PLACES_KEPT ? (size_t)places->count : PLANISH_PLACES_KEPT;
}

#endif
