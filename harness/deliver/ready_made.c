#include "harness/deliver/ready_made.h"

#include "harness/base/text.h"

#include <dirent.h>
#include <limits.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define ENDING ".yaml"

static char *beside_program(const char *relative)
{
  char program[PATH_MAX];
  const ssize_t length = readlink("/proc/self/exe", program, sizeof program - 1);
  program[length > 0 ? length : 0] = '\0';
  char *slash = strrchr(program, '/');
  if (slash == NULL) {
    return NULL;
  }
  *slash = '\0';
  return planish_text_new("%s/%s", program, relative);
}

static char *folder_that_is(char *path)
{
  DIR *folder = path == NULL ? NULL : opendir(path);
  if (folder == NULL) {
    free(path);
    return NULL;
  }
  closedir(folder);
  return path;
}

static char *folder(void)
{
  const char *variable = getenv("PLANISH_SPECS");
  char *found = variable == NULL ? NULL : folder_that_is(planish_text_copy(variable));
  found = found == NULL ? folder_that_is(beside_program("deliver/specs")) : found;
  found = found == NULL ? folder_that_is(beside_program("../share/planish/delivery")) : found;
  return found == NULL ? folder_that_is(planish_text_copy(PLANISH_SPECS_DIR)) : found;
}

static bool ends_in(const char *text, const char *ending)
{
  const size_t length = strlen(text);
  return length > strlen(ending) && strcmp(text + length - strlen(ending), ending) == 0;
}

static int by_name(const void *a, const void *b)
{
  char *const *x = a;
  char *const *y = b;
  return strcmp(*x, *y);
}

/* Adds one; false without memory. */
static bool add(char ***names, size_t *count, const char *file)
{
  char **longer = realloc(*names, (*count + 1) * sizeof *longer);
  if (longer == NULL) {
    return false;
  }
  *names = longer;
  longer[*count] = planish_text_new("%.*s", (int)(strlen(file) - strlen(ENDING)), file);
  const bool done = longer[*count] != NULL;
  *count += done;
  return done;
}

char **planish_ready_made_names(size_t *count)
{
  char **names = NULL;
  char *path = folder();
  DIR *stream = path == NULL ? NULL : opendir(path);
  bool more = stream != NULL;
  *count = 0;
  while (more) {
    const struct dirent *entry = readdir(stream);
    more = entry != NULL && (!ends_in(entry->d_name, ENDING) || entry->d_name[0] == '.' ||
                             add(&names, count, entry->d_name));
  }
  if (stream != NULL) {
    closedir(stream);
  }
  free(path);
  if (*count > 0) {
    qsort(names, *count, sizeof *names, by_name);
  }
  return names;
}

void planish_ready_made_free(char **names, size_t count)
{
  for (size_t n = 0; n < count; ++n) {
    free(names[n]);
  }
  free(names);
}

static bool fail_name(const char *given, PlanishError *error)
{
  size_t count = 0;
  char **names = planish_ready_made_names(&count);
  PlanishNearest nearest = planish_nearest_to(given);
  for (size_t n = 0; n < count; ++n) {
    planish_nearest_consider(&nearest, names[n]);
  }
  if (nearest.best != NULL) {
    planish_fail(error, PLANISH_BAD_USE, "no spec of that name: %s: did you mean %s?", given,
                 nearest.best);
  } else {
    planish_fail(error, PLANISH_BAD_USE,
                 "no spec of that name: %s: see those that there are with planish deliver --list, "
                 "or name a file that ends in .yaml",
                 given);
  }
  planish_ready_made_free(names, count);
  return false;
}

char *planish_ready_made_find(const char *given, PlanishError *error)
{
  if (strchr(given, '/') != NULL || ends_in(given, ENDING) || ends_in(given, ".yml")) {
    char *copy = planish_text_copy(given);
    if (copy == NULL) {
      planish_fail_memory(error);
    }
    return copy;
  }
  char *where = folder();
  char *path = where == NULL ? NULL : planish_text_new("%s/%s" ENDING, where, given);
  free(where);
  if (path == NULL || access(path, F_OK) != 0) {
    free(path);
    fail_name(given, error);
    return NULL;
  }
  return path;
}
