#include "harness/base/place.h"

#include "harness/base/text.h"

#include <errno.h>
#include <libgen.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

bool planish_place_check(const char *path, PlanishError *error)
{
  struct stat facts;
  if (stat(path, &facts) == 0) {
    if (!S_ISREG(facts.st_mode)) {
      return planish_fail(error, PLANISH_BAD_FILE,
                          "not a plain file: %s: name a file that may be written", path);
    }
    return access(path, W_OK) == 0 ||
           planish_fail(error, PLANISH_BAD_FILE, "cannot write: %s: %s", path, strerror(errno));
  }
  if (lstat(path, &facts) == 0) {
    return planish_fail(error, PLANISH_BAD_FILE,
                        "a link that leads nowhere: %s: remove it, or name another file", path);
  }
  char *copy = planish_text_copy(path);
  if (copy == NULL) {
    return planish_fail_memory(error);
  }
  const bool there = stat(dirname(copy), &facts) == 0 && S_ISDIR(facts.st_mode);
  free(copy);
  return there || planish_fail(error, PLANISH_BAD_FILE,
                               "cannot write: %s: its folder is not there; make it first", path);
}

char *planish_place_real(const char *path)
{
  char *real = realpath(path, NULL);
  return real != NULL ? real : planish_text_copy(path);
}
