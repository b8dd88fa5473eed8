/* A master delivered to one destination: planned, which says everything that stands in the way
 * before anything is written, then made, read back and put in its place.
 *
 *   measure the master at the file's rate  ->  gain (level, ceiling)  ->  write  ->  read back
 *
 * Thread: one at a time an object. */
#ifndef PLANISH_HARNESS_DELIVER_H
#define PLANISH_HARNESS_DELIVER_H

#include "harness/deliver/lines.h"
#include "harness/deliver/read_back.h"
#include "harness/deliver/source.h"
#include "harness/deliver/spec.h"
#include "harness/host/host.h"

/* Masters that keep their distances in level, as those of an album do: one gain for all of them,
 * by which the loudest comes to the spec's loudness and the highest peak under its ceiling. Those
 * that run on one into the next are rendered again together. */
typedef struct {
  PlanishSource *const *sources; /* all of them */
  size_t count;                  /* 0 or 1: the delivered one stands alone */
  size_t stream_first;           /* of those that run on with the one that is delivered */
  size_t stream_count;
} PlanishDeliverTogether;

typedef struct {
  PlanishSource *source;
  const PlanishSpec *spec;
  PlanishDeliverTogether together;
  const PlanishMetadata *tags; /* over the spec's; NULL: none */
  const char *folder;          /* NULL: the master's */
  bool force;                  /* over a file that is there */
  PlanishHost *host;           /* for a spec with over: rerender; else it may be NULL */
  PlanishSourceTell tell;      /* NULL: nobody */
  void *user;
} PlanishDeliverJob;

/* What was planned, made and found. */
typedef struct {
  PlanishDeliverJob job;
  char *path; /* of the file */
  PlanishMetadata metadata;
  PlanishBext bext;
  double rate;               /* Hz */
  uint64_t frames;           /* with the black that is added */
  uint64_t added;            /* frames of it */
  PlanishMeasurement master; /* as it is */
  PlanishMeasurement before; /* at the file's rate, ahead of gain and words */
  double loudest;            /* LUFS, of those together at that rate; else its own */
  double highest;            /* dBTP, of them */
  double stream_highest;     /* dBTP, of those of them that run on */
  double matched;            /* dB, to come to the loudness */
  double lowered;            /* dB, over 0: to hold the ceiling */
  PlanishSource *again;      /* rendered again, to be delivered instead; NULL: it was not */
  bool made;                 /* the file stands in its place; the rest is of that */
  uint64_t clipped;          /* samples */
  PlanishReadBack back;
  PlanishLines notes;  /* what an engineer should know */
  PlanishLines missed; /* what the file is not, and by how much */
} PlanishDelivery;

/* PLANISH_BAD_USE: the format cannot hold the rate or the length, the name cannot be, a file is
 * there. PLANISH_BAD_FILE: it could not be written there. The job's parts must stay. */
PlanishDelivery *planish_delivery_new(const PlanishDeliverJob *job, PlanishError *error);

/* Makes the file. True also where something was missed (`missed` has lines then); the nearest
 * result stands there, or nothing where the spec refuses it. False: nothing was made. */
bool planish_delivery_make(PlanishDelivery *delivery, PlanishError *error);

/* NULL is allowed. */
void planish_delivery_free(PlanishDelivery *delivery);

#endif
