#include "harness/sheet/sheet_text.h"

#include "harness/base/place.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <sys/stat.h>
#include <unistd.h>

static char *read_text(const char *path, const char *kind, size_t *size, PlanishError *error)
{
  const int file = open(path, O_RDONLY | O_NONBLOCK | O_CLOEXEC | O_NOCTTY);
  struct stat facts;
  char *text = NULL;
  /* A socket cannot be opened at all. */
  const bool socket = file < 0 && errno == ENXIO;
  if (!socket && (file < 0 || fstat(file, &facts) != 0)) {
    planish_fail(error, PLANISH_BAD_FILE, "cannot read: %s", planish_place_read_advice(errno));
  } else if (socket || !S_ISREG(facts.st_mode)) {
    planish_fail(error, PLANISH_BAD_USE,
                 "no %s: a folder, pipe or device: name a file that holds a %s", kind, kind);
  } else if (facts.st_size > PLANISH_SHEET_BYTES) {
    planish_fail(error, PLANISH_BAD_USE,
                 "no %s: longer than 1 MB: name a %s, which is a short YAML text", kind, kind);
  } else {
    text = malloc((size_t)facts.st_size + 1);
    *size = 0;
    ssize_t got = text == NULL ? -1 : 1;
    while (got > 0 && *size < (size_t)facts.st_size) {
      got = read(file, text + *size, (size_t)facts.st_size - *size);
      *size += got > 0 ? (size_t)got : 0;
    }
    if (got < 0) {
      planish_fail(error, PLANISH_BAD_FILE, "cannot read: %s", planish_place_read_advice(errno));
      free(text);
      text = NULL;
    }
  }
  if (file >= 0) {
    close(file);
  }
  return text;
}

char *planish_sheet_text_read(const char *path, size_t *size, PlanishMistakes *mistakes)
{
  PlanishError error = {0};
  char *text = read_text(path, planish_mistakes_kind(mistakes)->name, size, &error);
  if (text == NULL) {
    const size_t before = mistakes->count;
    planish_mistake(mistakes, 0, 0, "%s", error.text);
    /* Without memory what stands there is not ours, and says so. */
    if (mistakes->count > before && mistakes->list[before].outcome == PLANISH_BAD_USE) {
      mistakes->list[before].outcome = error.outcome;
    }
  }
  return text;
}
