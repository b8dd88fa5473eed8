/* What a check has to say: one finding after another.
 * Thread: any, one list at a time. */
#ifndef PLANISH_HARNESS_FINDING_H
#define PLANISH_HARNESS_FINDING_H

#include "harness/measure/places.h"

typedef enum {
  PLANISH_NOTE,    /* good to know */
  PLANISH_WARNING, /* to be looked into, or asked about, before work starts */
  PLANISH_FAULT,   /* to be sent back, or mended */
} PlanishSeverity;

typedef enum {
  PLANISH_FINDING_CUT_SHORT,
  PLANISH_FINDING_NOT_A_NUMBER,
  PLANISH_FINDING_SILENT,
  PLANISH_FINDING_CHANNEL_SILENT,
  PLANISH_FINDING_CHANNELS_IDENTICAL,
  PLANISH_FINDING_MONO,
  PLANISH_FINDING_POLARITY,
  PLANISH_FINDING_IMBALANCE,
  PLANISH_FINDING_OFFSET,
  PLANISH_FINDING_CLIPPED,
  PLANISH_FINDING_OVER_FULL_SCALE,
  PLANISH_FINDING_OVER_BETWEEN_SAMPLES,
  PLANISH_FINDING_NO_HEADROOM,
  PLANISH_FINDING_LIMITED,
  PLANISH_FINDING_CLICKS,
  PLANISH_FINDING_DROPOUT,
  PLANISH_FINDING_BLACK,
  PLANISH_FINDING_HEAD_CUT,
  PLANISH_FINDING_TAIL_CUT,
  PLANISH_FINDING_EXCERPT,
  PLANISH_FINDING_HEAD_SILENCE,
  PLANISH_FINDING_TAIL_SILENCE,
  PLANISH_FINDING_WORD_LENGTH,
  PLANISH_FINDING_RATE_RAISED,
  PLANISH_FINDING_CODED_WITH_LOSS,
  PLANISH_FINDING_ODD_RATE,
  PLANISH_FINDING_NOISE,
  PLANISH_FINDING_KINDS
} PlanishFindingKind;

typedef enum { PLANISH_OF_BOTH, PLANISH_OF_LEFT, PLANISH_OF_RIGHT } PlanishFindingChannel;

typedef struct {
  PlanishFindingKind kind;
  PlanishSeverity severity;
  PlanishFindingChannel channel;
  uint64_t count;                   /* of places; 0: it is about the whole file */
  size_t times;                     /* how many of them are named */
  double time[PLANISH_PLACES_KEPT]; /* s, from the start, in order */
  double value;                     /* the figure it rests on; NAN for none */
  const char *unit;                 /* of it; NULL for none */
  char what[160];
  char remedy[200];
} PlanishFinding;

#define PLANISH_FINDINGS_MAX 40

typedef struct {
  size_t count;
  PlanishFinding finding[PLANISH_FINDINGS_MAX];
} PlanishFindings;

/* Adds one; `what` is a format of one line, what to do is set by remedy(). Beyond
 * PLANISH_FINDINGS_MAX, which is more than there are detectors, the last is written over. */
PlanishFinding *planish_finding_add(PlanishFindings *findings, PlanishFindingKind kind,
                                    PlanishSeverity severity, const char *what, ...)
    __attribute__((format(printf, 4, 5)));

void planish_finding_remedy(PlanishFinding *finding, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

/* Places as times; `rate` is how many of their numbers make a second. */
void planish_finding_places(PlanishFinding *finding, const PlanishPlaces *places, double rate);

void planish_finding_value(PlanishFinding *finding, double value, const char *unit);

/* "clipped", "note", "left": as JSON has them. Of a finding about both channels NULL. */
const char *planish_finding_kind_name(PlanishFindingKind kind);
const char *planish_finding_severity_name(PlanishSeverity severity);
const char *planish_finding_channel_name(PlanishFindingChannel channel);

/* How many are as bad as this. */
size_t planish_findings_of(const PlanishFindings *findings, PlanishSeverity severity);

#endif
