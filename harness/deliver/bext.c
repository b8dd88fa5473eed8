#include "harness/deliver/bext.h"

#include "harness/base/place.h"
#include "harness/base/text.h"

#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* Where things stand in the chunk: EBU Tech 3285 v2. */
enum { VERSION_AT = 346, LOUDNESS_AT = 412, LOUDNESS_BYTES = 10, LEAST = 602, MOST_AXML = 65536 };

static uint32_t little(const unsigned char *bytes, int count)
{
  uint32_t value = 0;
  for (int n = count; n-- > 0;) {
    value = value << 8 | bytes[n];
  }
  return value;
}

/* Where the content of a chunk ahead of the sound begins, and its length; 0: there is none. */
static off_t find_chunk(int descriptor, const char *name, uint32_t *length)
{
  unsigned char head[8];
  off_t at = 12; /* RIFF, length, WAVE */
  while (pread(descriptor, head, sizeof head, at) == (ssize_t)sizeof head &&
         memcmp(head, "data", 4) != 0) {
    *length = little(head + 4, 4);
    if (memcmp(head, name, 4) == 0) {
      return at + (off_t)sizeof head;
    }
    at += (off_t)sizeof head + (off_t)*length + (*length & 1);
  }
  return 0;
}

static off_t find_bext(int descriptor)
{
  uint32_t length = 0;
  unsigned char version[2];
  const off_t at = find_chunk(descriptor, "bext", &length);
  const bool good = at > 0 && length >= LEAST &&
                    pread(descriptor, version, sizeof version, at + VERSION_AT) == 2 &&
                    little(version, 2) >= 2;
  return good ? at : 0;
}

static int16_t hundredths(double value)
{
  const double rounded = round(100.0 * value);
  return isfinite(value) && fabs(rounded) < PLANISH_BEXT_UNKNOWN ? (int16_t)rounded
                                                                 : PLANISH_BEXT_UNKNOWN;
}

PlanishBextLoudness planish_bext_loudness_of(const PlanishMeasurement *measured)
{
  /* Of what has no loudness there is no range. */
  const bool sounds = isfinite(measured->integrated);
  return (PlanishBextLoudness){
      .loudness = hundredths(measured->integrated),
      .range = sounds ? hundredths(measured->range) : PLANISH_BEXT_UNKNOWN,
      .true_peak = hundredths(measured->true_peak),
      .momentary = hundredths(measured->momentary_max),
      .shortterm = hundredths(measured->shortterm_max),
  };
}

static bool fail_write(PlanishError *error)
{
  return planish_fail(error, PLANISH_BAD_FILE, "cannot write its bext chunk: %s",
                      planish_place_advice(errno));
}

bool planish_bext_put_loudness(int descriptor, const PlanishBextLoudness *loudness,
                               PlanishError *error)
{
  const int16_t values[] = {loudness->loudness, loudness->range, loudness->true_peak,
                            loudness->momentary, loudness->shortterm};
  unsigned char bytes[LOUDNESS_BYTES];
  for (size_t n = 0; n < LOUDNESS_BYTES / 2; ++n) {
    bytes[2 * n] = (unsigned char)((uint16_t)values[n] & 0xff);
    bytes[2 * n + 1] = (unsigned char)((uint16_t)values[n] >> 8);
  }
  const off_t at = find_bext(descriptor);
  errno = 0;
  return (at > 0 && pwrite(descriptor, bytes, sizeof bytes, at + LOUDNESS_AT) == sizeof bytes) ||
         fail_write(error);
}

bool planish_bext_put_word(int descriptor, unsigned bits, PlanishError *error)
{
  const char digits[] = {(char)('0' + bits / 10), (char)('0' + bits % 10)};
  char history[64] = "";
  const off_t at = find_bext(descriptor);
  const ssize_t got = at == 0 ? 0 : pread(descriptor, history, sizeof history - 1, at + LEAST);
  const char *word = got > 0 ? strstr(history, ",W=") : NULL;
  errno = 0;
  return word == NULL ||
         pwrite(descriptor, digits, sizeof digits, at + LEAST + (word - history) + 3) ==
             sizeof digits ||
         fail_write(error);
}

bool planish_bext_get_loudness(int descriptor, PlanishBextLoudness *loudness)
{
  unsigned char bytes[LOUDNESS_BYTES];
  const off_t at = find_bext(descriptor);
  if (at == 0 || pread(descriptor, bytes, sizeof bytes, at + LOUDNESS_AT) != sizeof bytes) {
    return false;
  }
  int16_t *values[] = {&loudness->loudness, &loudness->range, &loudness->true_peak,
                       &loudness->momentary, &loudness->shortterm};
  for (size_t n = 0; n < LOUDNESS_BYTES / 2; ++n) {
    *values[n] = (int16_t)little(bytes + 2 * n, 2);
  }
  return true;
}

/* Elements and attributes are those of EBU Tech 3352, as remembered. */
char *planish_axml_of_isrc(const char *isrc)
{
  char *text = planish_text_new(
      "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n"
      "<ebuCoreMain xmlns=\"urn:ebu:metadata-schema:ebuCore_2012\" "
      "xmlns:dc=\"http://purl.org/dc/elements/1.1/\">\n"
      "<coreMetadata>\n"
      "<identifier typeLabel=\"GUID\" typeDefinition=\"Globally Unique Identifier\" "
      "formatLabel=\"ISRC\" formatDefinition=\"International Standard Recording Code\">\n"
      "<dc:identifier>ISRC:%s</dc:identifier>\n"
      "</identifier>\n"
      "</coreMetadata>\n"
      "</ebuCoreMain>\n",
      isrc);
  /* libsndfile fills chunks up to whole groups of four bytes with zeros, which XML has not. */
  const size_t length = text == NULL ? 0 : strlen(text);
  char *filled =
      text == NULL ? NULL : planish_text_new("%s%.*s", text, (int)((4 - length % 4) % 4), "\n\n\n");
  free(text);
  return filled;
}

bool planish_axml_has_isrc(int descriptor, const char *isrc)
{
  uint32_t length = 0;
  const off_t at = find_chunk(descriptor, "axml", &length);
  char *text = at > 0 && length <= MOST_AXML ? calloc(length + 1, 1) : NULL;
  char *wanted = planish_text_new("<dc:identifier>ISRC:%s</dc:identifier>", isrc);
  const bool found = text != NULL && wanted != NULL &&
                     pread(descriptor, text, length, at) == (ssize_t)length &&
                     strstr(text, wanted) != NULL;
  free(wanted);
  free(text);
  return found;
}
