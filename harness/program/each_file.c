#include "harness/program/each_file.h"

#include "harness/base/standard_streams.h"
#include "harness/base/text.h"
#include "harness/program/options.h"

#include <stdio.h>

static void tell_problem(const PlanishOneFile *file, const PlanishError *problem)
{
  (void)fflush(stdout);
  planish_text_print(stderr, "planish: %s\n", problem->text);
  if (file->json != NULL) {
    planish_json_object_begin(file->json, NULL);
    planish_json_string(file->json, "file", file->name);
    planish_json_string(file->json, "error", problem->text);
    planish_json_object_end(file->json);
  }
}

static PlanishOutcome look_at(PlanishOneFile *file, const char *path, PlanishOneFileTold tell)
{
  PlanishError problem = {0};
  file->path = path;
  file->name = planish_input_name(path);
  const PlanishOutcome outcome = tell(file, &problem);
  if (problem.outcome != PLANISH_DONE) {
    planish_progress_end(file->progress);
    tell_problem(file, &problem);
  }
  return outcome;
}

bool planish_each_file(int argc, char **argv, const char *help, PlanishOneFileTold tell,
                       PlanishError *error)
{
  bool as_json;
  bool silence_bad;
  const PlanishOption options[] = {
      {"json", PLANISH_OPTION_FLAG, &as_json},
      {"silence-bad", PLANISH_OPTION_FLAG, &silence_bad},
  };
  int first = 0;
  if (!planish_options_read(argc, argv, help, options, sizeof options / sizeof *options, &first,
                            error)) {
    return false;
  }
  if (first == argc) {
    return planish_fail(error, PLANISH_BAD_USE, "no file: name one or more: see planish %s --help",
                        argv[0]);
  }
  PlanishProgress progress = planish_progress_new();
  PlanishJson json = planish_json_on(stdout);
  PlanishOneFile file = {
      .silence_bad = silence_bad, .progress = &progress, .json = as_json ? &json : NULL};
  PlanishOutcome worst = PLANISH_DONE;
  if (as_json) {
    planish_json_array_begin(&json, NULL);
  }
  for (int n = first; n < argc && worst != PLANISH_INTERRUPTED; ++n) {
    const PlanishOutcome outcome = look_at(&file, argv[n], tell);
    worst = outcome > worst ? outcome : worst;
  }
  if (as_json) {
    planish_json_array_end(&json);
  }
  return worst == PLANISH_DONE || planish_fail(error, worst, "%s", "");
}
