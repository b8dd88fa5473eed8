#include "harness/base/temporary_file.h"

#include "harness/base/standard_streams.h"
#include "harness/base/text.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <libgen.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#define PREFIX ".planish-"
#define SUFFIX ".part"

/* Nobody else may read what is on its way. */
enum { PRIVATE = 0600 };

enum { ATTEMPTS = 1000, LONGEST_HOST = 64 };

static const char *folder_of_streams(void)
{
  const char *folder = getenv("TMPDIR");
  return folder == NULL || folder[0] == '\0' ? "/tmp" : folder;
}

static char *folder_of(const char *target)
{
  if (planish_is_stream(target)) {
    return planish_text_copy(folder_of_streams());
  }
  char *copy = planish_text_copy(target);
  char *folder = copy == NULL ? NULL : planish_text_copy(dirname(copy));
  free(copy);
  return folder;
}

/* How the names of this machine's files begin. Locks need not reach from one machine to another, so
 * a shared folder is swept of our own alone. */
static void name_prefix(char prefix[sizeof PREFIX + LONGEST_HOST + 1])
{
  char host[LONGEST_HOST + 1] = "";
  (void)gethostname(host, sizeof host - 1);
  for (char *c = strchr(host, '/'); c != NULL; c = strchr(c, '/')) {
    *c = '_';
  }
  snprintf(prefix, sizeof PREFIX + LONGEST_HOST + 1, PREFIX "%s-", host);
}

static bool is_temporary(const char *name, const char *prefix)
{
  const size_t length = strlen(name);
  const size_t head = strlen(prefix);
  return length > head + sizeof SUFFIX - 1 && strncmp(name, prefix, head) == 0 &&
         strcmp(name + length - (sizeof SUFFIX - 1), SUFFIX) == 0;
}

/* The name may have gone to another file while this one was being opened and locked. */
static bool is_still_at(int folder, const char *name, const struct stat *file)
{
  struct stat there;
  return fstatat(folder, name, &there, AT_SYMLINK_NOFOLLOW) == 0 && there.st_dev == file->st_dev &&
         there.st_ino == file->st_ino;
}

/* Whoever still writes it holds the lock. */
static void remove_if_abandoned(int folder, const char *name)
{
  const int file = openat(folder, name, O_RDWR | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC);
  struct stat facts;
  if (file >= 0 && fstat(file, &facts) == 0 && S_ISREG(facts.st_mode) &&
      flock(file, LOCK_EX | LOCK_NB) == 0 && is_still_at(folder, name, &facts)) {
    (void)unlinkat(folder, name, 0);
  }
  if (file >= 0) {
    close(file);
  }
}

static void sweep(const char *folder, const char *prefix)
{
  DIR *stream = opendir(folder);
  if (stream == NULL) {
    return;
  }
  for (const struct dirent *entry = readdir(stream); entry != NULL; entry = readdir(stream)) {
    if (is_temporary(entry->d_name, prefix)) {
      remove_if_abandoned(dirfd(stream), entry->d_name);
    }
  }
  closedir(stream);
}

/* False where another program has swept the file away before it could be locked. */
static bool hold(int descriptor)
{
  struct stat facts;
  const bool lost = flock(descriptor, LOCK_EX | LOCK_NB) != 0 && errno == EWOULDBLOCK;
  return !lost && fstat(descriptor, &facts) == 0 && facts.st_nlink > 0;
}

static bool create(PlanishTemporaryFile *file, const char *folder, const char *prefix)
{
  for (unsigned attempt = 0; attempt < ATTEMPTS; ++attempt) {
    free(file->path);
    file->path = planish_text_new("%s/%s%ld-%u" SUFFIX, folder, prefix, (long)getpid(), attempt);
    if (file->path == NULL) {
      errno = ENOMEM;
      return false;
    }
    file->descriptor = open(file->path, O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, PRIVATE);
    if (file->descriptor >= 0 && hold(file->descriptor)) {
      return true;
    }
    if (file->descriptor >= 0) {
      close(file->descriptor);
      file->descriptor = -1;
    } else if (errno != EEXIST) {
      break;
    }
  }
  const int reason = errno;
  free(file->path);
  file->path = NULL;
  errno = reason;
  return false;
}

bool planish_temporary_file_new(PlanishTemporaryFile *file, const char *target)
{
  *file = (PlanishTemporaryFile){.descriptor = -1};
  char *folder = folder_of(target);
  if (folder == NULL) {
    errno = ENOMEM;
    return false;
  }
  char prefix[sizeof PREFIX + LONGEST_HOST + 1];
  name_prefix(prefix);
  sweep(folder, prefix);
  const bool done = create(file, folder, prefix);
  const int reason = errno;
  free(folder);
  errno = reason;
  return done;
}

bool planish_temporary_file_new_unnamed(PlanishTemporaryFile *file, const char *target)
{
  if (!planish_temporary_file_new(file, target)) {
    return false;
  }
  (void)unlink(file->path);
  free(file->path);
  file->path = NULL;
  return true;
}

char *planish_temporary_file_where(const char *target)
{
  return planish_is_stream(target) ? planish_text_new("in TMPDIR (%s)", folder_of_streams())
                                   : planish_text_new("beside %s", target);
}

/* What the file has that stands there, which may be the user's alone; else what a new one has. */
static mode_t usual_mode(const char *target)
{
  struct stat there;
  if (lstat(target, &there) == 0 && S_ISREG(there.st_mode)) {
    return there.st_mode & 0777;
  }
  const mode_t mask = umask(0);
  (void)umask(mask);
  return 0666 & ~mask;
}

bool planish_temporary_file_commit(PlanishTemporaryFile *file, const char *target)
{
  (void)chmod(file->path, usual_mode(target)); /* not every file system has modes */
  if (rename(file->path, target) != 0) {
    return false;
  }
  free(file->path);
  file->path = NULL;
  return true;
}

void planish_temporary_file_free(PlanishTemporaryFile *file)
{
  if (file->path != NULL) {
    unlink(file->path);
    free(file->path);
    file->path = NULL;
  }
  if (file->descriptor >= 0) {
    close(file->descriptor);
    file->descriptor = -1;
  }
}
