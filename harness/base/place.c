#include "harness/base/place.h"

#include "harness/base/text.h"

#include <errno.h>
#include <libgen.h>
#include <stdlib.h>
#include <sys/stat.h>
#include <unistd.h>

const char *planish_place_advice(int reason)
{
  switch (reason) {
  case 0:
  case ENOSPC:
    return "the disk is full: make room, or write to another disk";
  case EDQUOT:
    return "your share of the disk is used up: make room, or write to another disk";
  case EFBIG:
    return "the disk or a limit allows no file of this length: write to another disk";
  case ENOENT:
  case ENOTDIR:
    return "its folder is not there any more: make it, or name another";
  case EACCES:
  case EPERM:
    return "this is not allowed there: change the permissions, or name another folder";
  case ENOMEM:
    return "out of memory: close other programs and try again";
  case EROFS:
    return "the disk may only be read: write to another";
  default:
    return "the disk fails: write to another";
  }
}

bool planish_place_check(const char *path, PlanishError *error)
{
  struct stat facts;
  if (stat(path, &facts) == 0) {
    if (!S_ISREG(facts.st_mode)) {
      return planish_fail(error, PLANISH_BAD_FILE,
                          "not a plain file: %s: name a file that may be written", path);
    }
    return access(path, W_OK) == 0 || planish_fail(error, PLANISH_BAD_FILE, "cannot write: %s: %s",
                                                   path, planish_place_advice(errno));
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
