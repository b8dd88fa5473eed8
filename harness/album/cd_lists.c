#include "harness/album/cd_lists.h"

#include "harness/base/text.h"
#include "harness/deliver/sectors.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { SECONDS_A_MINUTE = 60, TIME = 32, LEAST_TRACK = 4, MOST_MINUTES = 80 };

static const char *time_of(char text[TIME], uint64_t sectors)
{
  const uint64_t seconds = sectors / PLANISH_SECTORS_A_SECOND;
  planish_text_format(text, TIME, "%02llu:%02llu:%02llu",
                      (unsigned long long)(seconds / SECONDS_A_MINUTE),
                      (unsigned long long)(seconds % SECONDS_A_MINUTE),
                      (unsigned long long)(sectors % PLANISH_SECTORS_A_SECOND));
  return text;
}

/* Of the track's first sound, and of the gap ahead of it: whole sectors of what is black there. */
typedef struct {
  uint64_t start;
  uint64_t gap;
} Place;

static Place place_of(const PlanishAlbumPlan *plan, size_t track)
{
  uint64_t frames = 0;
  for (size_t n = 0; n < track; ++n) {
    frames += plan->tracks[n].frames;
  }
  return (Place){.start = frames / PLANISH_SECTOR,
                 .gap = track == 0 ? 0 : plan->tracks[track - 1].silence / PLANISH_SECTOR};
}

static void print_quoted(FILE *out, const char *indent, const char *key, const char *text)
{
  if (text == NULL) {
    return;
  }
  (void)fprintf(out, "%s%s \"", indent, key);
  for (const char *at = text; *at != '\0'; ++at) {
    (void)fputc(*at == '"' ? '\'' : *at, out);
  }
  (void)fputs("\"\r\n", out);
}

static void print_cue(FILE *out, const PlanishAlbumPlan *plan, const char *image)
{
  const PlanishAlbum *album = plan->album;
  char time[TIME];
  (void)fputs(PLANISH_CD_CUE_MARK "\r\n", out);
  if (album->ean[0] != '\0') {
    (void)fprintf(out, "CATALOG %s\r\n", album->ean);
  }
  print_quoted(out, "", "PERFORMER", album->metadata.text[PLANISH_METADATA_ARTIST]);
  print_quoted(out, "", "TITLE", album->metadata.text[PLANISH_METADATA_ALBUM]);
  (void)fprintf(out, "FILE \"%s\" WAVE\r\n", image);
  for (size_t n = 0; n < album->count; ++n) {
    const PlanishMetadata *metadata = &album->tracks[n].metadata;
    const Place place = place_of(plan, n);
    (void)fprintf(out, "  TRACK %02zu AUDIO\r\n", n + 1);
    print_quoted(out, "    ", "TITLE", metadata->text[PLANISH_METADATA_TITLE]);
    print_quoted(out, "    ", "PERFORMER", metadata->text[PLANISH_METADATA_ARTIST]);
    if (metadata->text[PLANISH_METADATA_ISRC] != NULL) {
      (void)fprintf(out, "    ISRC %s\r\n", metadata->text[PLANISH_METADATA_ISRC]);
    }
    if (place.gap > 0) {
      (void)fprintf(out, "    INDEX 00 %s\r\n", time_of(time, place.start - place.gap));
    }
    (void)fprintf(out, "    INDEX 01 %s\r\n", time_of(time, place.start));
  }
}

static void print_pq_line(FILE *out, const PlanishAlbumPlan *plan, size_t n)
{
  const PlanishMetadata *metadata = &plan->album->tracks[n].metadata;
  const Place place = place_of(plan, n);
  const uint64_t black = plan->tracks[n].silence / PLANISH_SECTOR;
  const bool last = n + 1 == plan->album->count;
  const uint64_t length = plan->tracks[n].frames / PLANISH_SECTOR - (last ? 0 : black);
  const char *isrc = metadata->text[PLANISH_METADATA_ISRC];
  const char *title = metadata->text[PLANISH_METADATA_TITLE];
  char start[TIME];
  char lasts[TIME];
  if (place.gap > 0) {
    (void)fprintf(out, "%5zu      0  %-9s  %-9s\n", n + 1, time_of(start, place.start - place.gap),
                  time_of(lasts, place.gap));
  }
  (void)fprintf(out, "%5zu      1  %-9s  %-9s  %-12s  %s\n", n + 1, time_of(start, place.start),
                time_of(lasts, length), isrc == NULL ? "-" : isrc, title == NULL ? "-" : title);
}

static void print_pq(FILE *out, const PlanishAlbumPlan *plan)
{
  const PlanishMetadata *metadata = &plan->album->metadata;
  const char *title = metadata->text[PLANISH_METADATA_ALBUM];
  const char *artist = metadata->text[PLANISH_METADATA_ARTIST];
  char time[TIME];
  (void)fprintf(out, PLANISH_CD_PQ_MARK "\n\ntitle   %s\nartist  %s\nEAN     %s\n\n",
                title == NULL ? "-" : title, artist == NULL ? "-" : artist,
                plan->album->ean[0] == '\0' ? "-" : plan->album->ean);
  (void)fprintf(out,
                "Times are minutes:seconds:sectors from the beginning of the image. The pause of "
                "2 s ahead of\ntrack 1, which every CD has, is not in it.\n\n");
  (void)fprintf(out, "track  index  start      length     ISRC          title\n");
  for (size_t n = 0; n < plan->album->count; ++n) {
    print_pq_line(out, plan, n);
  }
  (void)fprintf(out, "  end         %s\n", time_of(time, place_of(plan, plan->album->count).start));
}

char *planish_cd_cue(const PlanishAlbumPlan *plan, const char *image, size_t *size)
{
  char *text = NULL;
  FILE *out = open_memstream(&text, size);
  if (out == NULL) {
    return NULL;
  }
  print_cue(out, plan, image);
  if (fclose(out) != 0) {
    free(text);
    return NULL;
  }
  return text;
}

char *planish_cd_pq(const PlanishAlbumPlan *plan, size_t *size)
{
  char *text = NULL;
  FILE *out = open_memstream(&text, size);
  if (out == NULL) {
    return NULL;
  }
  print_pq(out, plan);
  if (fclose(out) != 0) {
    free(text);
    return NULL;
  }
  return text;
}

static bool has_quote(const char *text)
{
  return text != NULL && strchr(text, '"') != NULL;
}

static const char *number_of(const PlanishAlbumPlan *plan, size_t track)
{
  return plan->album->tracks[track].metadata.text[PLANISH_METADATA_TRACK];
}

static void note_short_tracks(const PlanishAlbumPlan *plan, PlanishLines *notes)
{
  const uint64_t least = (uint64_t)LEAST_TRACK * PLANISH_SECTORS_A_SECOND * PLANISH_SECTOR;
  size_t count = 0;
  size_t first = 0;
  for (size_t n = 0; n < plan->album->count; ++n) {
    if (plan->tracks[n].frames - plan->tracks[n].silence < least) {
      first = count == 0 ? n : first;
      count += 1;
    }
  }
  if (count > 0) {
    planish_lines_add(notes,
                      "CD: %zu tracks shorter than %d s, which no CD may have (IEC 60908), the "
                      "first of them track %s: join them with others",
                      count, LEAST_TRACK, number_of(plan, first));
  }
}

static void note_quotes(const PlanishAlbumPlan *plan, PlanishLines *notes)
{
  const PlanishMetadata *own = &plan->album->metadata;
  size_t count = has_quote(own->text[PLANISH_METADATA_ARTIST]) +
                 (size_t)has_quote(own->text[PLANISH_METADATA_ALBUM]);
  for (size_t n = 0; n < plan->album->count; ++n) {
    const PlanishMetadata *metadata = &plan->album->tracks[n].metadata;
    count += has_quote(metadata->text[PLANISH_METADATA_TITLE]) +
             (size_t)has_quote(metadata->text[PLANISH_METADATA_ARTIST]);
  }
  if (count > 0) {
    planish_lines_add(notes,
                      "cue sheet: %zu texts hold double quotation marks, which it cannot write: "
                      "single ones stand there",
                      count);
  }
}

void planish_cd_notes(const PlanishAlbumPlan *plan, PlanishLines *notes)
{
  const uint64_t most = (uint64_t)MOST_MINUTES * SECONDS_A_MINUTE * PLANISH_SECTORS_A_SECOND;
  const uint64_t length = place_of(plan, plan->album->count).start;
  bool in_turn = true;
  char time[TIME];
  for (size_t n = 0; n < plan->album->count; ++n) {
    in_turn = in_turn && strtoul(number_of(plan, n), NULL, 10) == n + 1;
  }
  note_short_tracks(plan, notes);
  note_quotes(plan, notes);
  if (length > most) {
    planish_lines_add(notes, "CD: %s long, and the longest discs hold %d minutes: split the album",
                      time_of(time, length), MOST_MINUTES);
  }
  if (!in_turn) {
    planish_lines_add(notes, "CD: tracks are numbered otherwise than 1, 2, 3 ...: cue sheet and PQ "
                             "list count from 1");
  }
}
