#include "harness/host/bundle.h"

#include "harness/base/text.h"

#include <limits.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* realpath() of a folder that holds a manifest; NULL if it is none. */
static char *resolve(const char *path)
{
  char *full = realpath(path, NULL);
  char *manifest = full == NULL ? NULL : planish_text_new("%s/manifest.ttl", full);
  if (manifest == NULL || access(manifest, R_OK) != 0) {
    free(full);
    full = NULL;
  }
  free(manifest);
  return full;
}

static char *resolve_beside_program(const char *relative)
{
  char program[PATH_MAX];
  const ssize_t length = readlink("/proc/self/exe", program, sizeof program - 1);
  if (length <= 0) {
    return NULL;
  }
  program[length] = '\0';
  char *slash = strrchr(program, '/');
  if (slash == NULL) {
    return NULL;
  }
  *slash = '\0';
  char *path = planish_text_new("%s/%s", program, relative);
  char *full = path == NULL ? NULL : resolve(path);
  free(path);
  return full;
}

static char *resolve_named(const char *path, const char *by, PlanishError *error)
{
  char *full = resolve(path);
  if (full == NULL) {
    planish_fail(error, PLANISH_BAD_USE,
                 "no LV2 bundle: %s: %s must name a folder that holds manifest.ttl", path, by);
  }
  return full;
}

char *planish_bundle_find(const char *option, PlanishError *error)
{
  if (option != NULL) {
    return resolve_named(option, "--bundle", error);
  }
  const char *variable = getenv("PLANISH_BUNDLE");
  if (variable != NULL && variable[0] != '\0') {
    return resolve_named(variable, "PLANISH_BUNDLE", error);
  }
  char *full = resolve_beside_program("../lv2/planish.lv2");
  if (full == NULL) {
    full = resolve_beside_program("../lib/lv2/planish.lv2");
  }
  if (full == NULL) {
    full = resolve(PLANISH_LV2_DIR "/planish.lv2");
  }
  if (full == NULL) {
    planish_fail(error, PLANISH_BAD_USE,
                 "no bundle of stages: looked beside the program and in %s: name its folder with "
                 "--bundle or PLANISH_BUNDLE",
                 PLANISH_LV2_DIR);
  }
  return full;
}
