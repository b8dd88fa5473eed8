/* What is made of a master once it is written: the account of distortion, and the report. Both need
 * the sound between the stages, for which the chain is rendered once more as it was landed; it is
 * kept beside the master for as long as it takes. The master stands whatever becomes of them.
 * Thread: main. */
#ifndef PLANISH_HARNESS_RENDER_AFTER_H
#define PLANISH_HARNESS_RENDER_AFTER_H

#include "harness/program/distortion_table.h"
#include "harness/program/options.h"

typedef struct {
  bool account;
  const char *report;            /* a folder; NULL: none */
  bool client;                   /* a report without the stages */
  const char *mix;               /* as it was named */
  bool silence_bad;              /* as it was read */
  PlanishOptionTexts references; /* for the report */
  bool made_folder;              /* the report's was not there; set by the check */
} PlanishRenderAfter;

/* What it leaves. */
typedef struct {
  PlanishDistortionTable *price; /* NULL: none was asked for */
  char *page;                    /* path of the report; NULL: likewise */
} PlanishRenderExtras;

/* Whether the folder of the report is there, or can be made, and the page is no file that is read
 * or written otherwise. To be called ahead of the render. `taken` ends with NULL. */
bool planish_render_after_check(PlanishRenderAfter *after, const char *out,
                                const char *const *taken, PlanishError *error);

/* To be called last, whatever became of it: a folder that the check made goes where nothing came
 * into it. */
void planish_render_after_end(const PlanishRenderAfter *after);

/* False on failure; what `extras` holds is to be released either way. */
bool planish_render_after_make(const PlanishRenderAfter *after, const PlanishMasterJob *job,
                               const PlanishMasterReport *report, PlanishRenderExtras *extras,
                               PlanishError *error);
void planish_render_extras_release(PlanishRenderExtras *extras);

#endif
