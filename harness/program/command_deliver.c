/* planish deliver: the files that destinations ask for. */
#include "harness/base/place.h"
#include "harness/base/text.h"
#include "harness/deliver/deliver.h"
#include "harness/deliver/deliver_json.h"
#include "harness/deliver/ready_made.h"
#include "harness/program/commands.h"
#include "harness/program/deliver_table.h"
#include "harness/program/options.h"
#include "harness/program/progress.h"

#include <stdio.h>
#include <stdlib.h>

static const char help[] =
    "Usage: planish deliver [OPTION]... MASTER... --to=SPEC...\n"
    "       planish deliver --list\n"
    "Makes the files that destinations ask for of 32-bit float masters (render --float):\n"
    "format, rate, word length with dither, loudness, ceiling, metadata. Each is read back and\n"
    "held against its spec before it stands in its place.\n"
    "A spec is a short YAML text, or one of those that --list tells, by its name. Nothing is\n"
    "written where one of the files could not be.\n"
    "\n"
    "      --to=SPEC         what to make; may be given again\n"
    "      --into=FOLDER     where to; left out, the master's folder\n"
    "      --tag=FIELD=VALUE\n"
    "                        metadata, over the spec's: title, artist, album, track, year,\n"
    "                        comment, isrc; may be given again\n"
    "      --force           write over files that are there\n"
    "      --json            for machines\n"
    "      --list            the specs that come with the program, with their sources\n"
    "      --help\n"
    "\n"
    "Examples:\n"
    "  planish deliver song.wav --to=cd --to=archive --into=out --tag=isrc=AA6Q72000047\n"
    "  planish deliver song.wav --to=shop.yaml --tag=title=\"Third Song\" --tag=track=3\n";

typedef struct {
  PlanishOptionTexts to;
  PlanishOptionTexts tags;
  const char *into;
  bool force;
  bool json;
  char **masters;
  size_t master_count;
} Request;

/* All that is opened and planned. */
typedef struct {
  PlanishMetadata tags;
  PlanishSpec *specs[PLANISH_OPTION_MAX_TEXTS];
  PlanishSource **sources;
  PlanishDelivery **deliveries;
  size_t spec_count;
  size_t source_count;
  size_t count; /* of deliveries */
  PlanishProgress progress;
} Work;

static void release(Work *work)
{
  for (size_t n = 0; n < work->count; ++n) {
    planish_delivery_free(work->deliveries[n]);
  }
  for (size_t n = 0; n < work->source_count; ++n) {
    planish_source_free(work->sources[n]);
  }
  for (size_t n = 0; n < work->spec_count; ++n) {
    planish_spec_free(work->specs[n]);
  }
  free(work->deliveries);
  free(work->sources);
  planish_metadata_release(&work->tags);
}

static PlanishSpec *open_spec(const char *given, PlanishError *error)
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

static bool open_specs(Work *work, const Request *request, PlanishError *error)
{
  bool done = true;
  for (size_t n = 0; done && n < request->to.count; ++n) {
    work->specs[n] = open_spec(request->to.list[n], error);
    done = work->specs[n] != NULL;
    work->spec_count += done;
  }
  return done;
}

static bool read_tags(Work *work, const Request *request, PlanishError *error)
{
  bool done = true;
  for (size_t n = 0; done && n < request->tags.count; ++n) {
    done = planish_metadata_set_pair(&work->tags, request->tags.list[n], error);
  }
  return done;
}

/* Of several recordings none can have the title of another. */
static bool check_one(const PlanishMetadata *metadata, const Request *request, PlanishError *error)
{
  for (int n = 0; request->master_count > 1 && n < PLANISH_METADATA_FIELDS; ++n) {
    if (metadata->text[n] != NULL && planish_metadata_is_of_one((PlanishMetadataField)n)) {
      return planish_fail(error, PLANISH_BAD_USE,
                          "%s: is of one recording, and there are %zu masters: deliver them one by "
                          "one",
                          planish_metadata_names[n], request->master_count);
    }
  }
  return true;
}

static bool check_metadata(const Work *work, const Request *request, PlanishError *error)
{
  bool done = check_one(&work->tags, request, error);
  for (size_t n = 0; done && n < work->spec_count; ++n) {
    done = check_one(&work->specs[n]->metadata, request, error);
  }
  return done;
}

static bool open_sources(Work *work, const Request *request, PlanishError *error)
{
  work->sources = calloc(request->master_count, sizeof(PlanishSource *));
  work->deliveries = calloc(request->master_count * work->spec_count, sizeof(PlanishDelivery *));
  if (work->sources == NULL || work->deliveries == NULL) {
    return planish_fail_memory(error);
  }
  bool done = true;
  for (size_t n = 0; done && n < request->master_count; ++n) {
    work->sources[n] =
        planish_source_new(request->masters[n], planish_progress_tell, &work->progress, error);
    done = work->sources[n] != NULL;
    work->source_count += done;
  }
  return done;
}

/* Two of them must not be one file, nor one of them any of the masters. */
static bool check_apart(const Work *work, const PlanishDelivery *delivery, PlanishError *error)
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
      return planish_fail(error, PLANISH_BAD_USE,
                          "would be written over a master: %s: give --into FOLDER", delivery->path);
    }
  }
  return true;
}

static bool plan_one(Work *work, const Request *request, PlanishSource *source,
                     const PlanishSpec *spec, PlanishError *error)
{
  const PlanishDeliverJob job = {.source = source,
                                 .spec = spec,
                                 .tags = &work->tags,
                                 .folder = request->into,
                                 .force = request->force,
                                 .tell = planish_progress_tell,
                                 .user = &work->progress};
  PlanishDelivery *delivery = planish_delivery_new(&job, error);
  if (delivery == NULL || !check_apart(work, delivery, error)) {
    planish_delivery_free(delivery);
    return false;
  }
  work->deliveries[work->count++] = delivery;
  return true;
}

static bool plan(Work *work, const Request *request, PlanishError *error)
{
  bool done = true;
  for (size_t m = 0; m < work->source_count; ++m) {
    for (size_t s = 0; done && s < work->spec_count; ++s) {
      done = plan_one(work, request, work->sources[m], work->specs[s], error);
    }
  }
  return done;
}

/* What is whole stays, whatever becomes of the next. */
static bool make(Work *work, const Request *request, PlanishError *error)
{
  PlanishJson json = planish_json_on(stdout);
  bool done = true;
  bool missed = false;
  if (request->json) {
    planish_json_array_begin(&json, NULL);
  }
  for (size_t n = 0; done && n < work->count; ++n) {
    PlanishDelivery *delivery = work->deliveries[n];
    done = planish_delivery_make(delivery, error);
    planish_progress_end(&work->progress);
    if (done && request->json) {
      planish_deliver_json(&json, NULL, delivery);
    } else if (done) {
      (void)printf("%s", n == 0 ? "" : "\n");
      planish_deliver_table(delivery);
    }
    missed = missed || (done && delivery->missed.count > 0);
    (void)fflush(stdout);
    planish_deliver_tell_missed(delivery);
  }
  if (request->json) {
    planish_json_array_end(&json);
  }
  return done && (!missed || planish_fail(error, PLANISH_MISSED, "%s", ""));
}

static bool deliver(const Request *request, PlanishError *error)
{
  Work work = {.progress = planish_progress_new()};
  bool done = read_tags(&work, request, error) && open_specs(&work, request, error) &&
              check_metadata(&work, request, error) && open_sources(&work, request, error) &&
              plan(&work, request, error);
  planish_progress_end(&work.progress);
  done = done && make(&work, request, error);
  release(&work);
  return done;
}

static bool list(PlanishError *error)
{
  size_t count = 0;
  char **names = planish_ready_made_names(&count);
  bool done = true;
  for (size_t n = 0; done && n < count; ++n) {
    char *path = planish_ready_made_find(names[n], error);
    PlanishSpec *spec = path == NULL ? NULL : open_spec(path, error);
    done = spec != NULL;
    if (done) {
      (void)printf("%s%s\n  %s\n  source: %s\n  file: %s\n", n == 0 ? "" : "\n", names[n],
                   spec->about == NULL ? "-" : spec->about,
                   spec->source == NULL ? "-" : spec->source, path);
    }
    planish_spec_free(spec);
    free(path);
  }
  planish_ready_made_free(names, count);
  return done &&
         (count > 0 || planish_fail(error, PLANISH_BAD_FILE,
                                    "no specs that came with the program: name their folder "
                                    "by PLANISH_SPECS, or install it again"));
}

bool planish_command_deliver(int argc, char **argv, PlanishError *error)
{
  Request request = {.masters = NULL};
  bool wants_help;
  bool wants_list;
  const PlanishOption options[] = {
      {"to", PLANISH_OPTION_TEXTS, &request.to},    {"into", PLANISH_OPTION_TEXT, &request.into},
      {"tag", PLANISH_OPTION_TEXTS, &request.tags}, {"force", PLANISH_OPTION_FLAG, &request.force},
      {"json", PLANISH_OPTION_FLAG, &request.json}, {"list", PLANISH_OPTION_FLAG, &wants_list},
      {"help", PLANISH_OPTION_FLAG, &wants_help},
  };
  int first = 0;
  if (!planish_options_read(argc, argv, options, sizeof options / sizeof *options, &first, error)) {
    return false;
  }
  if (wants_help) {
    (void)fputs(help, stdout);
    return true;
  }
  if (wants_list) {
    return list(error);
  }
  if (first == argc) {
    return planish_fail(error, PLANISH_BAD_USE,
                        "no master: name one or more: see planish deliver --help");
  }
  if (request.to.count == 0) {
    return planish_fail(error, PLANISH_BAD_USE,
                        "no spec: say what to make with --to: see planish deliver --list");
  }
  request.masters = argv + first;
  request.master_count = (size_t)(argc - first);
  return deliver(&request, error);
}
