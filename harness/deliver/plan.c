#include "harness/deliver/plan.h"

#include "harness/audio/audio_writer.h"
#include "harness/base/place.h"
#include "harness/base/text.h"
#include "harness/deliver/file_name.h"
#include "harness/deliver/rerender.h"
#include "harness/deliver/sectors.h"

#include <libgen.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

static bool plan_rate(PlanishDelivery *delivery, PlanishError *error)
{
  const PlanishSpec *spec = delivery->job.spec;
  char rates[80];
  delivery->rate = spec->rate > 0.0 ? spec->rate : planish_source_rate(delivery->job.source);
  if (planish_coding_has_rate(spec->format, delivery->rate)) {
    return true;
  }
  planish_coding_list_rates(spec->format, rates, sizeof rates);
  return planish_fail(error, PLANISH_BAD_USE, "%s has no %g Hz, which %s has: %s: give rate: %s",
                      planish_coding_of(spec->format)->name, delivery->rate,
                      planish_source_path(delivery->job.source), spec->name, rates);
}

static bool plan_length(PlanishDelivery *delivery, PlanishError *error)
{
  const PlanishSpec *spec = delivery->job.spec;
  const PlanishCoding *coding = planish_coding_of(spec->format);
  delivery->frames = planish_source_frames(delivery->job.source, delivery->rate);
  delivery->added = spec->whole_sectors
                        ? (PLANISH_SECTOR - delivery->frames % PLANISH_SECTOR) % PLANISH_SECTOR
                        : 0;
  delivery->frames += delivery->added;
  const uint64_t bytes = delivery->frames * 2 * (spec->bits / 8);
  if (coding->most_bytes > 0 && bytes > coding->most_bytes) {
    return planish_fail(
        error, PLANISH_BAD_USE,
        "%s is too long for %s, which holds %.0f MB: %s: deliver wav, or fewer bits",
        planish_source_path(delivery->job.source), coding->name, (double)coding->most_bytes * 1e-6,
        spec->name);
  }
  if (delivery->added > 0) {
    planish_lines_add(&delivery->notes,
                      "%llu frames of digital black were added, to end on a whole sector",
                      (unsigned long long)delivery->added);
  }
  if (spec->format == PLANISH_FORMAT_WAV && bytes >= PLANISH_WAV_MOST_BYTES) {
    planish_lines_add(&delivery->notes, "over 4 GB: written as RF64");
  }
  return true;
}

/* A comment is what the chunk's description is for, where the spec has no other. */
static void plan_bext(PlanishDelivery *delivery)
{
  const char *comment = delivery->metadata.text[PLANISH_METADATA_COMMENT];
  delivery->bext = delivery->job.spec->bext;
  if (!delivery->job.spec->has_bext || comment == NULL || delivery->bext.description[0] != '\0') {
    return;
  }
  if (!planish_metadata_is_ascii(comment) || strlen(comment) > PLANISH_BEXT_DESCRIPTION) {
    planish_lines_add(&delivery->notes,
                      "comment: is not in the bext chunk, whose description holds %d characters of "
                      "ASCII: it stands among the other texts alone",
                      PLANISH_BEXT_DESCRIPTION);
    return;
  }
  memcpy(delivery->bext.description, comment, strlen(comment) + 1);
}

static void tell_field(PlanishDelivery *delivery, PlanishMetadataField field)
{
  const PlanishSpec *spec = delivery->job.spec;
  const char *format = planish_coding_of(spec->format)->name;
  const char *name = planish_metadata_names[field];
  const bool ascii = planish_metadata_is_ascii(delivery->metadata.text[field]);
  if (!planish_coding_carries(spec->format, spec->has_bext, field)) {
    const bool wav = spec->format == PLANISH_FORMAT_WAV;
    planish_lines_add(&delivery->notes, "%s: is not in the file: %s %s", name, format,
                      wav ? "carries one beside a bext chunk alone: add bext: true"
                          : "does not carry it");
  } else if (!ascii &&
             (spec->format == PLANISH_FORMAT_WAV || spec->format == PLANISH_FORMAT_AIFF)) {
    planish_lines_add(
        &delivery->notes,
        "%s: is not plain ASCII, and %s does not say how its texts are written: it is "
        "there as UTF-8, which some players show wrongly",
        name, format);
  }
}

static bool plan_metadata(PlanishDelivery *delivery, PlanishError *error)
{
  const PlanishDeliverJob *job = &delivery->job;
  if (!planish_metadata_add(&delivery->metadata, &job->spec->metadata, error) ||
      (job->tags != NULL && !planish_metadata_add(&delivery->metadata, job->tags, error))) {
    return false;
  }
  for (int n = 0; n < PLANISH_METADATA_FIELDS; ++n) {
    if (delivery->metadata.text[n] != NULL) {
      tell_field(delivery, (PlanishMetadataField)n);
    }
  }
  plan_bext(delivery);
  return true;
}

static char *folder_of(const PlanishDeliverJob *job)
{
  if (job->folder != NULL) {
    return planish_text_copy(job->folder);
  }
  char *copy = planish_text_copy(planish_source_path(job->source));
  char *folder = copy == NULL ? NULL : planish_text_copy(dirname(copy));
  free(copy);
  return folder;
}

static bool plan_path(PlanishDelivery *delivery, PlanishError *error)
{
  const PlanishDeliverJob *job = &delivery->job;
  const char *pattern = job->spec->pattern == NULL ? PLANISH_FILE_NAME_PATTERN : job->spec->pattern;
  char *stem = planish_file_name_stem(planish_source_path(job->source));
  char *folder = folder_of(job);
  char *name = stem == NULL || folder == NULL
                   ? NULL
                   : planish_file_name_new(pattern, stem, job->spec->name, &delivery->metadata,
                                           planish_coding_of(job->spec->format)->ending, error);
  const bool here = job->folder == NULL && folder != NULL && strcmp(folder, ".") == 0;
  delivery->path = name == NULL ? NULL
                   : here       ? planish_text_copy(name)
                                : planish_text_new("%s/%s", folder, name);
  if (delivery->path == NULL) {
    planish_fail_memory(error); /* unless the name has been told */
  }
  free(name);
  free(folder);
  free(stem);
  return delivery->path != NULL;
}

bool planish_plan_check_place(const PlanishDelivery *delivery, PlanishError *error)
{
  struct stat facts;
  const char *master = planish_source_path(delivery->job.source);
  if (planish_place_same(delivery->path, master)) {
    return planish_fail(error, PLANISH_BAD_USE,
                        "would be written over the master: %s: give another name, or --into FOLDER",
                        delivery->path);
  }
  if (!planish_place_check(delivery->path, error)) {
    return false;
  }
  return delivery->job.force || stat(delivery->path, &facts) != 0 ||
         planish_fail(error, PLANISH_BAD_USE,
                      "is there already: %s: pass --force to write over it, or give --into FOLDER",
                      delivery->path);
}

bool planish_plan(PlanishDelivery *delivery, PlanishError *error)
{
  if (planish_source_is_mono(delivery->job.source)) {
    planish_lines_add(&delivery->notes, "the master is mono: written as two equal channels");
  }
  const bool again = delivery->job.spec->over == PLANISH_OVER_RERENDER;
  return (!again || planish_rerender_check(planish_source_path(delivery->job.source), error)) &&
         plan_rate(delivery, error) && plan_length(delivery, error) &&
         plan_metadata(delivery, error) && plan_path(delivery, error) &&
         planish_plan_check_place(delivery, error);
}
