/* Pieces of work done side by side, each in a process of its own: what they use (lilv, the planning
 * of FFTs) is not made for threads, and one that crashes takes none of the others along. What a
 * piece finds comes back as plain bytes.
 *
 * Which pieces run at the same time changes nothing of what they find. Once one has failed no
 * further ones begin, and those under way are left to finish; where the program is asked to end
 * (interrupt.h) they are asked, too, and they end with it whatever becomes of it.
 *
 * Errors: the first of a piece, in the order of pieces; PLANISH_BAD_FILE where no process can be
 * started, or one has crashed. Thread: main, with no other about. */
#ifndef PLANISH_HARNESS_WORKERS_H
#define PLANISH_HARNESS_WORKERS_H

#include "harness/base/error.h"

#include <stdbool.h>
#include <stddef.h>

typedef struct {
  size_t pieces;
  unsigned cores; /* so many at once; 0: one for each processor that may be used. Where there are
                     fewer pieces each may use several */
  /* Does a piece and fills `result`, which is zeroed. Tells how much is done by
   * planish_workers_told(). */
  bool (*work)(void *user, size_t piece, void *result, PlanishError *error);
  void *user;
  void *results;                          /* of `pieces` pieces, ... */
  size_t result_bytes;                    /* ... so many bytes each, without pointers */
  bool *done;                             /* by piece: its result is there; may be NULL */
  void (*told)(void *user, double share); /* how much of all is done; may be NULL */
  void *told_user;
} PlanishWorkersJob;

bool planish_workers_run(const PlanishWorkersJob *job, PlanishError *error);

/* So many processors this process is to use: all that the system lets it have, or what limit() has
 * said (0: all again). Within a piece: its share of them. */
unsigned planish_workers_processors(void);
void planish_workers_limit(unsigned processors);

/* Within a piece: how much of it is done, 0..1. */
void planish_workers_tell(double share);

#endif
