/* planish deliver: the files that destinations ask for. */
#include "harness/deliver/ready_made.h"
#include "harness/program/commands.h"
#include "harness/program/delivering.h"
#include "harness/program/opening.h"

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
    "      --bundle=FOLDER   the bundle of stages to use where a spec renders again\n"
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
  const char *bundle;
  bool force;
  bool json;
  char **masters;
  size_t master_count;
} Request;

static bool read_tags(PlanishMetadata *tags, const Request *request, PlanishError *error)
{
  bool done = true;
  for (size_t n = 0; done && n < request->tags.count; ++n) {
    done = planish_metadata_set_pair(tags, request->tags.list[n], error);
  }
  return done;
}

static bool check_metadata(const PlanishDelivering *work, const PlanishMetadata *tags,
                           const Request *request, PlanishError *error)
{
  bool done = planish_delivering_check_tags(tags, request->master_count, error);
  for (size_t n = 0; done && n < work->spec_count; ++n) {
    done = planish_delivering_check_tags(&work->specs[n]->metadata, request->master_count, error);
  }
  return done;
}

static bool plan(PlanishDelivering *work, const PlanishMetadata *tags, const Request *request,
                 PlanishError *error)
{
  bool done = true;
  for (size_t n = 0; done && n < request->master_count; ++n) {
    done = planish_delivering_add(
        work,
        planish_source_new(request->masters[n], planish_progress_tell, &work->progress, error),
        NULL, tags, error);
  }
  return done;
}

static bool make(PlanishDelivering *work, const Request *request, PlanishError *error)
{
  PlanishJson json = planish_json_on(stdout);
  if (!request->json) {
    return planish_delivering_make(work, NULL, error);
  }
  planish_json_array_begin(&json, NULL);
  const bool done = planish_delivering_make(work, &json, error);
  planish_json_array_end(&json);
  return done;
}

static bool open_host(PlanishDelivering *work, const Request *request, PlanishError *error)
{
  work->host =
      planish_delivering_rerenders(work) ? planish_opening_host(request->bundle, error) : NULL;
  return work->host != NULL || !planish_delivering_rerenders(work);
}

static bool deliver(const Request *request, PlanishError *error)
{
  PlanishDelivering work = {
      .folder = request->into, .force = request->force, .progress = planish_progress_new()};
  PlanishMetadata tags = {{NULL}};
  bool done = read_tags(&tags, request, error) &&
              planish_delivering_open(&work, &request->to, error) &&
              open_host(&work, request, error) && check_metadata(&work, &tags, request, error) &&
              plan(&work, &tags, request, error);
  planish_progress_end(&work.progress);
  done = done && make(&work, request, error);
  PlanishHost *host = work.host;
  planish_delivering_release(&work);
  planish_host_free(host);
  planish_metadata_release(&tags);
  return done;
}

static bool list(PlanishError *error)
{
  size_t count = 0;
  char **names = planish_ready_made_names(&count);
  bool done = true;
  for (size_t n = 0; done && n < count; ++n) {
    char *path = planish_ready_made_find(names[n], error);
    PlanishSpec *spec = path == NULL ? NULL : planish_delivering_spec(path, error);
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
  bool wants_list;
  const PlanishOption options[] = {
      {"to", PLANISH_OPTION_TEXTS, &request.to},
      {"into", PLANISH_OPTION_TEXT, &request.into},
      {"tag", PLANISH_OPTION_TEXTS, &request.tags},
      {"force", PLANISH_OPTION_FLAG, &request.force},
      {"json", PLANISH_OPTION_FLAG, &request.json},
      {"bundle", PLANISH_OPTION_TEXT, &request.bundle},
      {"list", PLANISH_OPTION_FLAG, &wants_list},
  };
  int first = 0;
  if (!planish_options_read(argc, argv, help, options, sizeof options / sizeof *options, &first,
                            error)) {
    return false;
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
