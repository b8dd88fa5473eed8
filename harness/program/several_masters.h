/* planish render --targets, --variants and --without: several masters of one mix side by side, each
 * a file of its own, and what each costs. All files appear at once, when all are whole. Thread:
 * main. */
#ifndef PLANISH_HARNESS_SEVERAL_MASTERS_H
#define PLANISH_HARNESS_SEVERAL_MASTERS_H

#include "harness/program/options.h"
#include "harness/render/master.h"

typedef struct {
  const PlanishMasterJob *job;
  const char *const *inputs; /* ended by NULL: not to be written over */
  bool json;
  /* Opens the sheet of a variant as the command line wants it; for planish_render_variants(). */
  PlanishSheet *(*open_variant)(void *user, const char *name, PlanishError *error);
  void *user;
} PlanishSeveralRequest;

/* One master at each of `targets`, loudnesses in LUFS between commas; job->out gets the target
 * ahead of its ending: master.wav becomes master-9.wav. Fails with PLANISH_MISSED, after the table,
 * if one was missed. */
bool planish_render_targets(const PlanishSeveralRequest *request, const char *targets,
                            PlanishError *error);

/* The variants of the sheet that `names` lists between commas, or "all"; job->out gets the name
 * ahead of its ending. What they share from the start of the chain is rendered once. Fails
 * likewise. */
bool planish_render_variants(const PlanishSeveralRequest *request, const char *names,
                             PlanishError *error);

/* The master, and the chain at its settings without each stage that is named, in turn; the files of
 * these are job->out with -without-NAME ahead of its ending. */
bool planish_render_without(const PlanishSeveralRequest *request, const PlanishOptionTexts *names,
                            PlanishError *error);

#endif
