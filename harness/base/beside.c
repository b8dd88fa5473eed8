#include "harness/base/beside.h"

#include "harness/base/place.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { LONGEST_FORMER = 4 << 20 }; /* bytes; what is longer was none of ours */

static bool fail_write(const char *path, PlanishError *error)
{
  return planish_fail(error, PLANISH_BAD_FILE, "cannot write: %s: %s", path,
                      planish_place_advice(errno));
}

static bool write_all(int descriptor, const char *text, size_t size)
{
  errno = 0;
  while (size > 0) {
    const ssize_t put = write(descriptor, text, size);
    if (put <= 0) {
      return false;
    }
    text += put;
    size -= (size_t)put;
  }
  return fsync(descriptor) == 0;
}

bool planish_beside_new(PlanishBeside *beside, const char *path, const char *text, size_t size,
                        PlanishError *error)
{
  *beside = (PlanishBeside){.path = planish_place_real(path), .temporary = {.descriptor = -1}};
  if (beside->path == NULL) {
    return planish_fail_memory(error);
  }
  if (planish_temporary_file_new(&beside->temporary, beside->path) &&
      write_all(beside->temporary.descriptor, text, size)) {
    return true;
  }
  fail_write(beside->path, error);
  planish_beside_release(beside);
  return false;
}

/* False where something stands there that cannot be remembered. */
static bool remember(PlanishBeside *beside)
{
  struct stat facts;
  const int file = open(beside->path, O_RDONLY | O_NONBLOCK | O_CLOEXEC | O_NOCTTY);
  if (file < 0) {
    return errno == ENOENT;
  }
  bool done = fstat(file, &facts) == 0 && S_ISREG(facts.st_mode) && facts.st_size <= LONGEST_FORMER;
  beside->former = done ? malloc((size_t)facts.st_size + 1) : NULL;
  done = beside->former != NULL;
  while (done && beside->former_size < (size_t)facts.st_size) {
    const ssize_t got = read(file, beside->former + beside->former_size,
                             (size_t)facts.st_size - beside->former_size);
    done = got > 0;
    beside->former_size += done ? (size_t)got : 0;
  }
  close(file);
  return done;
}

bool planish_beside_commit(PlanishBeside *beside, PlanishError *error)
{
  if (beside->path == NULL) {
    return true;
  }
  errno = EFBIG;
  return (remember(beside) && planish_temporary_file_commit(&beside->temporary, beside->path)) ||
         fail_write(beside->path, error);
}

void planish_beside_undo(PlanishBeside *beside)
{
  if (beside->path == NULL || beside->temporary.path != NULL) {
    return;
  }
  PlanishTemporaryFile again = {.descriptor = -1};
  if (beside->former == NULL) {
    (void)unlink(beside->path);
  } else if (planish_temporary_file_new(&again, beside->path) &&
             write_all(again.descriptor, beside->former, beside->former_size)) {
    (void)planish_temporary_file_commit(&again, beside->path);
  }
  planish_temporary_file_free(&again);
}

void planish_beside_release(PlanishBeside *beside)
{
  if (beside->path != NULL) {
    planish_temporary_file_free(&beside->temporary);
  }
  free(beside->path);
  free(beside->former);
  *beside = (PlanishBeside){.temporary = {.descriptor = -1}};
}
