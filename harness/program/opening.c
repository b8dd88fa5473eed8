#include "harness/program/opening.h"

#include "harness/host/bundle.h"
#include "harness/program/options.h"

#include <stdlib.h>

PlanishHost *planish_opening_host(const char *option, PlanishError *error)
{
  char *bundle = planish_bundle_find(option, error);
  PlanishHost *host = bundle == NULL ? NULL : planish_host_new(bundle, error);
  free(bundle);
  return host;
}

PlanishSheet *planish_opening_sheet(const char *path, PlanishHost *host, bool audition,
                                    PlanishError *error)
{
  return planish_opening_variant(path, NULL, host, audition, error);
}

PlanishSheet *planish_opening_variant(const char *path, const char *name, PlanishHost *host,
                                      bool audition, PlanishError *error)
{
  PlanishMistakes mistakes = {0};
  PlanishSheet *sheet = planish_sheet_read_variant(path, name, host, audition, &mistakes);
  if (sheet == NULL) {
    planish_options_complain(path, &mistakes, error);
  }
  planish_mistakes_free(&mistakes);
  return sheet;
}
