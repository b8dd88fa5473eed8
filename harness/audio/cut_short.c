#include "harness/audio/cut_short.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* Whoever wrote the file into a pipe could not come back to fill its length in, and has left none,
 * or the longest there is: 2^32-1 or 2^31-1, or that less the header and what makes whole frames.
 */
static bool is_unknown(int64_t length)
{
  enum { LESS = 4096 };
  return (length >= (int64_t)UINT32_MAX - LESS && length <= (int64_t)UINT32_MAX) ||
         (length >= (int64_t)INT32_MAX - LESS && length <= (int64_t)INT32_MAX + 1);
}

static bool is_no_promise(const char *line, const char *should_be)
{
  const char *colon = strchr(line, ':');
  const long long length = colon == NULL ? 0 : strtoll(colon + 1, NULL, 10);
  const long long there = strtoll(should_be + strcspn(should_be, "0123456789"), NULL, 10);
  return (colon != NULL && length < there) || is_unknown(length);
}

/* libsndfile reads as much of a broken file as there is, and says so in its log alone. */
static bool log_tells_of_a_cut(SNDFILE *file)
{
  static const char *const signs[][2] = {
      {"data : ", "should be"},                         /* WAV */
      {" SSND : ", "should be"},                        /* AIFF */
      {"riff : ", "should be"},                         /* W64 */
      {"  Data Size   : ", "should be"},                /* AU */
      {"*** Calculated frame count", "does not match"}, /* RF64 */
      {"Ogg : File ended unexpectedly", ""},
  };
  char log[16384];
  const int length = sf_command(file, SFC_GET_LOG_INFO, log, sizeof log);
  log[length < 0 ? 0 : (length < (int)sizeof log ? length : (int)sizeof log - 1)] = '\0';
  char *rest = log;
  for (char *line = strtok_r(log, "\n", &rest); line != NULL; line = strtok_r(NULL, "\n", &rest)) {
    for (size_t n = 0; n < sizeof signs / sizeof *signs; ++n) {
      const char *found = strstr(line, signs[n][1]);
      if (strncmp(line, signs[n][0], strlen(signs[n][0])) == 0 && found != NULL &&
          !is_no_promise(line, found)) {
        return true;
      }
    }
  }
  return false;
}

/* Of a chunk: four letters, and how much of it follows. */
enum { CHUNK_HEAD = 8, FORM_HEAD = 12, MOST_CHUNKS = 65536 };

static int64_t number_of(const unsigned char at[4], bool big_endian)
{
  const int order[2][4] = {{3, 2, 1, 0}, {0, 1, 2, 3}};
  int64_t number = 0;
  for (int n = 0; n < 4; ++n) {
    number = number << 8 | at[order[big_endian ? 1 : 0][n]];
  }
  return number;
}

/* The log ends after some 2000 letters, which what stands in a header can fill: the chunks of WAV
 * and AIFF are looked at once more. RF64 tells its length elsewhere, and has little text. */
static bool chunk_is_cut(int descriptor, int64_t size)
{
  unsigned char head[FORM_HEAD];
  if (pread(descriptor, head, sizeof head, 0) != sizeof head) {
    return false;
  }
  const bool aiff = memcmp(head, "FORM", 4) == 0;
  const bool big_endian = aiff || memcmp(head, "RIFX", 4) == 0;
  if (!big_endian && memcmp(head, "RIFF", 4) != 0) {
    return false;
  }
  int64_t at = FORM_HEAD;
  for (int n = 0; n < MOST_CHUNKS; ++n) {
    if (pread(descriptor, head, CHUNK_HEAD, at) != CHUNK_HEAD) {
      return false;
    }
    const int64_t length = number_of(head + 4, big_endian);
    at += CHUNK_HEAD + length;
    if (memcmp(head, aiff ? "SSND" : "data", 4) == 0) {
      return at > size && !is_unknown(length);
    }
    at += length % 2;
  }
  return false;
}

bool planish_header_promises_more(SNDFILE *file, int descriptor)
{
  struct stat facts;
  return log_tells_of_a_cut(file) ||
         (fstat(descriptor, &facts) == 0 && chunk_is_cut(descriptor, facts.st_size));
}

bool planish_ogg_has_its_end(int descriptor)
{
  enum { LARGEST_PAGE = 65307, FLAGS = 5, PAGE_HEAD = 27, LAST = 4 };
  unsigned char *tail = malloc(LARGEST_PAGE);
  struct stat facts;
  bool ends = tail == NULL;
  if (tail != NULL && fstat(descriptor, &facts) == 0) {
    const int64_t from = facts.st_size > LARGEST_PAGE ? facts.st_size - LARGEST_PAGE : 0;
    const ssize_t got = pread(descriptor, tail, LARGEST_PAGE, from);
    for (ssize_t n = got - PAGE_HEAD; n >= 0; --n) {
      if (memcmp(tail + n, "OggS\0", FLAGS) == 0) {
        ends = (tail[n + FLAGS] & LAST) != 0;
        break;
      }
    }
  }
  free(tail);
  return ends;
}
