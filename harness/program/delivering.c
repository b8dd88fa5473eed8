#include "harness/program/delivering.h"

#include "harness/base/place.h"
#include "harness/deliver/deliver_json.h"
#include "harness/deliver/ready_made.h"
#include "harness/program/deliver_table.h"

#include <stdio.h>
#include <stdlib.h>
#include <sys/stat.h>

void planish_delivering_release(PlanishDelivering *work)
{
  for (size_t n = 0; n < work->count; ++n) {
    planish_delivery_free(work->deliveries[n]);
  }
  for (size_t n = 0; n < work->source_count; ++n) {
    planish_source_free(work->sources[n]);
  }
  for (size_t n = 0; n < work->spec_count; ++n) {
    planish_spec_free(work->specs[n]);
    free(work->spec_paths[n]);
  }
  free(work->deliveries);
  free(work->sources);
  *work = (PlanishDelivering){0};
}

PlanishSpec *planish_delivering_spec(const char *given, PlanishError *error)
{
  PlanishMistakes mistakes = {.kind = &planish_spec_kind};
  char *path = planish_ready_made_find(given, error);
  PlanishSpec *spec = path == NULL ? NULL : planish_spec_read(path, &mistakes);
  if (path != NULL && spec == NULL) {
    planish_options_complain(path, &mistakes, error);
  }
  planish_mistakes_free(&mistakes);
  free(path);
  return spec;
}

bool planish_delivering_open(PlanishDelivering *work, const PlanishOptionTexts *to,
                             PlanishError *error)
{
  bool done = true;
  for (size_t n = 0; done && n < to->count; ++n) {
    work->specs[n] = planish_delivering_spec(to->list[n], error);
    work->spec_paths[n] =
        work->specs[n] != NULL ? planish_ready_made_find(to->list[n], error) : NULL;
    done = work->specs[n] != NULL && work->spec_paths[n] != NULL;
    work->spec_count += work->specs[n] != NULL;
  }
  return done;
}

bool planish_delivering_rerenders(const PlanishDelivering *work)
{
  bool found = false;
  for (size_t n = 0; n < work->spec_count; ++n) {
    found = found || work->specs[n]->over == PLANISH_OVER_RERENDER;
  }
  return found;
}

bool planish_delivering_check_tags(const PlanishMetadata *metadata, size_t masters,
                                   PlanishError *error)
{
  for (int n = 0; masters > 1 && n < PLANISH_METADATA_FIELDS; ++n) {
    if (metadata->text[n] != NULL && planish_metadata_is_of_one((PlanishMetadataField)n)) {
      return planish_fail(error, PLANISH_BAD_USE,
                          "%s: is of one recording, and there are %zu masters: deliver them one by "
                          "one",
                          planish_metadata_names[n], masters);
    }
  }
  return true;
}

static bool fail_over_master(const char *path, PlanishError *error)
{
  return planish_fail(error, PLANISH_BAD_USE,
                      "would be written over a master: %s: give --into FOLDER", path);
}

/* Two of them must not be one file, nor one of them any of the masters. */
static bool check_apart(const PlanishDelivering *work, const PlanishDelivery *delivery,
                        PlanishError *error)
{
  for (size_t n = 0; n < work->count; ++n) {
    if (planish_place_same(work->deliveries[n]->path, delivery->path)) {
      return planish_fail(error, PLANISH_BAD_USE,
                          "two files of one name: %s: add name: to a spec, or deliver them one by "
                          "one",
                          delivery->path);
    }
  }
  for (size_t n = 0; n < work->source_count; ++n) {
    if (planish_place_same(planish_source_path(work->sources[n]), delivery->path)) {
      return fail_over_master(delivery->path, error);
    }
  }
  return true;
}

static bool check_source(const PlanishDelivering *work, const PlanishSource *source,
                         PlanishError *error)
{
  for (size_t n = 0; n < work->count; ++n) {
    if (planish_place_same(work->deliveries[n]->path, planish_source_path(source))) {
      return fail_over_master(work->deliveries[n]->path, error);
    }
  }
  return true;
}

/* One more in a list of pointers. */
static bool lengthen(void *list, size_t count, PlanishError *error)
{
  void **pointers = list;
  void *longer = realloc(*pointers, (count + 1) * sizeof(void *));
  if (longer == NULL) {
    return planish_fail_memory(error);
  }
  *pointers = longer;
  return true;
}

static bool is_newer(const struct stat *file, const char *than)
{
  struct stat other;
  return than == NULL || stat(than, &other) != 0 || file->st_mtim.tv_sec > other.st_mtim.tv_sec ||
         (file->st_mtim.tv_sec == other.st_mtim.tv_sec &&
          file->st_mtim.tv_nsec > other.st_mtim.tv_nsec);
}

/* Whether what is there is what would be made; where it is not, whether it may be written over. */
static bool check_there(PlanishDelivering *work, const PlanishDelivery *delivery, bool *keep,
                        PlanishError *error)
{
  struct stat facts;
  const char *spec = NULL;
  for (size_t n = 0; n < work->spec_count; ++n) {
    spec = delivery->job.spec == work->specs[n] ? work->spec_paths[n] : spec;
  }
  *keep = false;
  if (work->keep == NULL || work->force || stat(delivery->path, &facts) != 0) {
    return true;
  }
  *keep = is_newer(&facts, work->keep) && is_newer(&facts, spec) &&
          is_newer(&facts, planish_source_path(delivery->job.source));
  return *keep || planish_fail(error, PLANISH_BAD_USE,
                               "is there already, and older than what it would be made from: %s: "
                               "pass --force to write over it",
                               delivery->path);
}

static bool plan_one(PlanishDelivering *work, PlanishSource *source, const PlanishSpec *spec,
                     const PlanishMetadata *tags, PlanishError *error)
{
  bool keep = false;
  const PlanishDeliverJob job = {.source = source,
                                 .spec = spec,
                                 .tags = tags,
                                 .together = work->together,
                                 .folder = work->folder,
                                 .force = work->force || work->keep != NULL,
                                 .host = work->host,
                                 .tell = planish_progress_tell,
                                 .user = &work->progress};
  PlanishDelivery *delivery = planish_delivery_new(&job, error);
  if (delivery == NULL || !check_apart(work, delivery, error) ||
      !check_there(work, delivery, &keep, error) ||
      !lengthen(&work->deliveries, work->count, error)) {
    planish_delivery_free(delivery);
    return false;
  }
  work->kept += keep;
  if (keep) {
    planish_delivery_free(delivery);
  } else {
    work->deliveries[work->count++] = delivery;
  }
  return true;
}

bool planish_delivering_add(PlanishDelivering *work, PlanishSource *source, const PlanishSpec *spec,
                            const PlanishMetadata *tags, PlanishError *error)
{
  if (source == NULL || !check_source(work, source, error) ||
      !lengthen(&work->sources, work->source_count, error)) {
    planish_source_free(source);
    return false;
  }
  work->sources[work->source_count++] = source;
  bool done = spec == NULL || plan_one(work, source, spec, tags, error);
  for (size_t n = 0; done && spec == NULL && n < work->spec_count; ++n) {
    done = plan_one(work, source, work->specs[n], tags, error);
  }
  return done;
}

/* The words of an interrupt are about one file; those before it are there. */
static void say_what_is_there(const PlanishDelivering *work, size_t made, PlanishError *error)
{
  if (error->outcome == PLANISH_INTERRUPTED && made > 0) {
    planish_error_clear(error);
    planish_fail(error, PLANISH_INTERRUPTED, "interrupted: %zu of %zu files are written", made,
                 work->count);
  }
}

bool planish_delivering_make(PlanishDelivering *work, PlanishJson *json, PlanishError *error)
{
  bool done = true;
  size_t made = 0;
  bool missed = false;
  for (size_t n = 0; done && n < work->count; ++n) {
    PlanishDelivery *delivery = work->deliveries[n];
    done = planish_delivery_make(delivery, error);
    made += done ? 1 : 0;
    planish_progress_end(&work->progress);
    if (done && json != NULL) {
      planish_deliver_json(json, NULL, delivery);
    } else if (done) {
      (void)printf("%s", n == 0 ? "" : "\n");
      planish_deliver_table(delivery);
    }
    missed = missed || (done && delivery->missed.count > 0);
    (void)fflush(stdout);
    planish_deliver_tell_missed(delivery);
  }
  say_what_is_there(work, made, error);
  return done && (!missed || planish_fail(error, PLANISH_MISSED, "%s", ""));
}
