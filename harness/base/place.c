#include "harness/base/place.h"

#include "harness/base/text.h"

#include <errno.h>
#include <libgen.h>
#include <stdlib.h>
#include <string.h>
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
    return "its folder is not there: make it, or name another";
  case EACCES:
  case EPERM:
    return "this is not allowed there: change the permissions, or name another folder";
  case ENOMEM:
    return "out of memory: close other programs and try again";
  case EMFILE:
  case ENFILE:
    return "too many files are open: close other programs, or raise the limit (ulimit -n)";
  case ENAMETOOLONG:
    return "the name is too long: give it a shorter one";
  case EROFS:
    return "the disk may only be read: write to another";
  default:
    return "the disk fails: write to another";
  }
}

const char *planish_place_read_advice(int reason)
{
  switch (reason) {
  case ENOENT:
  case ENOTDIR:
    return "no such file: see that name and folder are right";
  case EACCES:
  case EPERM:
    return "this is not allowed: change its permissions";
  case EISDIR:
    return "a folder, not a file: name a file in it";
  case ELOOP:
    return "its links lead in a circle: name the file itself";
  case ENAMETOOLONG:
    return "no file has a name as long: see that it is right";
  case ENOMEM:
  case EMFILE:
  case ENFILE:
    return "out of memory: close other programs and try again";
  default:
    return "the disk fails: copy it to another, and try again";
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

static bool same_file(const struct stat *a, const struct stat *b)
{
  return a->st_dev == b->st_dev && a->st_ino == b->st_ino;
}

/* Neither may be there yet: then the same name in the same folder is the same file. */
bool planish_place_same(const char *a, const char *b)
{
  struct stat facts_a;
  struct stat facts_b;
  const bool there_a = stat(a, &facts_a) == 0;
  const bool there_b = stat(b, &facts_b) == 0;
  if (there_a || there_b) {
    return there_a && there_b && same_file(&facts_a, &facts_b);
  }
  char *copies[4] = {planish_text_copy(a), planish_text_copy(a), planish_text_copy(b),
                     planish_text_copy(b)};
  const bool same = copies[0] != NULL && copies[1] != NULL && copies[2] != NULL &&
                    copies[3] != NULL && stat(dirname(copies[0]), &facts_a) == 0 &&
                    stat(dirname(copies[2]), &facts_b) == 0 && same_file(&facts_a, &facts_b) &&
                    strcmp(basename(copies[1]), basename(copies[3])) == 0;
  for (size_t n = 0; n < 4; ++n) {
    free(copies[n]);
  }
  return same;
}

bool planish_place_is_ours(const char *path, const char *line)
{
  char piece[256];
  bool begins = true; /* the piece is the beginning of a line */
  struct stat facts;
  if (stat(path, &facts) == 0 && !S_ISREG(facts.st_mode)) {
    return false;
  }
  FILE *file = fopen(path, "r");
  bool found = file == NULL && errno == ENOENT;
  while (!found && file != NULL && fgets(piece, sizeof piece, file) != NULL) {
    found = begins && strncmp(piece, line, strlen(line)) == 0;
    begins = strchr(piece, '\n') != NULL;
  }
  if (file != NULL) {
    (void)fclose(file);
  }
  return found;
}
