/* Files for destinations, planned together and made one after the other: for the commands that
 * deliver. Thread: main. */
#ifndef PLANISH_HARNESS_DELIVERING_H
#define PLANISH_HARNESS_DELIVERING_H

#include "harness/base/json.h"
#include "harness/deliver/deliver.h"
#include "harness/program/options.h"
#include "harness/program/progress.h"

/* Zeroed at first; planish_delivering_release() gives back what it holds, which must outlive it
 * where it is pointed to. */
typedef struct {
  const char *folder; /* NULL: that of each master */
  bool force;         /* over files that are there */
  const char *keep;   /* what is there and newer than this file, its master and its spec is kept;
                         NULL: nothing is */
  size_t kept;        /* so many were */
  PlanishDeliverTogether together; /* of the source that is added next; its list must stay */
  PlanishHost *host;               /* for specs that render again; may be NULL where none does */
  PlanishProgress progress;
  PlanishSpec *specs[PLANISH_OPTION_MAX_TEXTS];
  char *spec_paths[PLANISH_OPTION_MAX_TEXTS];
  size_t spec_count;
  PlanishSource **sources;
  size_t source_count;
  PlanishDelivery **deliveries;
  size_t count;
} PlanishDelivering;

/* A spec at a path or of one that comes with the program; its mistakes are printed on standard
 * error, a line each, and `error` gets the outcome but no text. */
PlanishSpec *planish_delivering_spec(const char *given, PlanishError *error);

/* Opens the specs that `to` names. */
bool planish_delivering_open(PlanishDelivering *work, const PlanishOptionTexts *to,
                             PlanishError *error);

/* Whether one of the specs may render again, for which a host is needed. */
bool planish_delivering_rerenders(const PlanishDelivering *work);

/* Of `masters` recordings none can have the title of another: whether metadata fits so many. */
bool planish_delivering_check_tags(const PlanishMetadata *metadata, size_t masters,
                                   PlanishError *error);

/* Plans the files of one more source by all specs, or by `spec` alone (not NULL). Takes over the
 * source, which may be NULL: it could not be opened. `tags` must stay. */
bool planish_delivering_add(PlanishDelivering *work, PlanishSource *source, const PlanishSpec *spec,
                            const PlanishMetadata *tags, PlanishError *error);

/* Makes all of them, each told on standard output once it is there; `json` not NULL: into that.
 * What is whole stays, whatever becomes of the next. PLANISH_MISSED without a text where a file is
 * not what it should be: that has been told. */
bool planish_delivering_make(PlanishDelivering *work, PlanishJson *json, PlanishError *error);

void planish_delivering_release(PlanishDelivering *work);

#endif
