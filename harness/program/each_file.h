/* A command that looks at files one by one and tells of each: as text, or as an array of JSON
 * objects (--json). What cannot be read is told on standard error, and in the array; the others are
 * looked at all the same. Thread: main. */
#ifndef PLANISH_HARNESS_EACH_FILE_H
#define PLANISH_HARNESS_EACH_FILE_H

#include "harness/base/error.h"
#include "harness/base/json.h"
#include "harness/program/progress.h"

/* One file. */
typedef struct {
  const char *path;
  const char *name; /* the path as it is told: "standard input" for - */
  bool silence_bad; /* --silence-bad */
  PlanishProgress *progress;
  PlanishJson *json; /* NULL: as text */
} PlanishOneFile;

/* Looks at a file and tells of it. What it means for the exit code; all from PLANISH_BAD_USE on is
 * in `error`, too, and nothing has been told. */
typedef PlanishOutcome (*PlanishOneFileTold)(const PlanishOneFile *file, PlanishError *error);

/* The whole command. Of several files the worst outcome counts. */
bool planish_each_file(int argc, char **argv, const char *help, PlanishOneFileTold tell,
                       PlanishError *error);

#endif
