#include "harness/album/album.h"

#include "harness/base/text.h"
#include "harness/deliver/file_name.h"
#include "harness/deliver/metadata_node.h"
#include "harness/measure/measure.h"
#include "harness/sheet/sheet_changes.h"
#include "harness/sheet/sheet_reading.h"
#include "harness/sheet/sheet_text.h"

#include <libgen.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { LONGEST_GAP = 600, CD_RATE = 44100, MOST_OFFSET = 40 }; /* s, Hz, LU */

static const double usual_gap = 2.0; /* s, common practice */

static const PlanishTextKind album_kind = {"album sheet", "album: 1"};

/* What a track may change in the sheet; the album itself the target alone. */
static const char *const changes[] = {"target",       "set",     "without",  "input",
                                      "head_silence", "fade_in", "fade_out", "tail"};

static PlanishAlbum *album_of(const PlanishSheetReading *reading)
{
  return reading->part;
}

/* A track that is read. */
typedef struct {
  const PlanishAlbum *album;
  PlanishAlbumTrack *track;
  bool has_mix;
} TrackPart;

static PlanishAlbumTrack *track_of(const PlanishSheetReading *reading)
{
  const TrackPart *part = reading->part;
  return part->track;
}

static void read_head(PlanishSheetReading *reading, const PlanishNode *node)
{
  double format = 0.0;
  if (node->kind != PLANISH_NODE_SCALAR || node->quoted ||
      !planish_text_number(node->text, &format) || format != PLANISH_ALBUM_FORMAT) {
    planish_mistake(reading->mistakes, node->line, node->column,
                    "album: an unknown format of album sheet: this program reads %d",
                    PLANISH_ALBUM_FORMAT);
  }
}

/* Read later, with the sheet. */
static void read_later(PlanishSheetReading *reading, const PlanishNode *node)
{
  (void)reading;
  (void)node;
}

/* A path as seen from the folder of another; NULL: no memory. */
static char *path_beside(const char *other, const char *path)
{
  char *copy = planish_text_copy(other);
  char *beside = copy == NULL     ? NULL
                 : path[0] == '/' ? planish_text_copy(path)
                                  : planish_text_new("%s/%s", dirname(copy), path);
  const bool here = beside != NULL && path[0] != '/' && strncmp(beside, "./", 2) == 0;
  if (here) {
    memmove(beside, beside + 2, strlen(beside + 2) + 1);
  }
  free(copy);
  return beside;
}

static char *read_path(PlanishSheetReading *reading, const PlanishNode *node, const char *album)
{
  if (node->kind != PLANISH_NODE_SCALAR || node->text[0] == '\0') {
    planish_mistake(reading->mistakes, node->line, node->column, "%s: no path: name a file",
                    node->key->text);
    return NULL;
  }
  char *path = path_beside(album, node->text);
  if (path == NULL) {
    planish_mistake_memory(reading->mistakes);
  }
  return path;
}

static void read_sheet(PlanishSheetReading *reading, const PlanishNode *node)
{
  PlanishAlbum *album = album_of(reading);
  album->sheet_path = read_path(reading, node, album->path);
}

static void read_album_text(PlanishSheetReading *reading, const PlanishNode *node)
{
  static const struct {
    const char *key;
    PlanishMetadataField field;
  } fields[] = {{"title", PLANISH_METADATA_ALBUM},
                {"artist", PLANISH_METADATA_ARTIST},
                {"year", PLANISH_METADATA_YEAR},
                {"comment", PLANISH_METADATA_COMMENT}};
  for (size_t n = 0; n < PLANISH_LENGTH_OF(fields); ++n) {
    if (strcmp(fields[n].key, node->key->text) == 0) {
      planish_metadata_read_node(reading, node, &album_of(reading)->metadata, fields[n].field);
    }
  }
}

/* The check digit: weights 1 and 3 in turn, to a multiple of ten. */
static bool is_ean(const char *text)
{
  int sum = 0;
  if (strlen(text) != PLANISH_ALBUM_EAN - 1 || strspn(text, "0123456789") != strlen(text)) {
    return false;
  }
  for (int n = 0; n < PLANISH_ALBUM_EAN - 1; ++n) {
    sum += (text[n] - '0') * (n % 2 == 0 ? 1 : 3);
  }
  return sum % 10 == 0;
}

static void read_ean(PlanishSheetReading *reading, const PlanishNode *node)
{
  if (node->kind != PLANISH_NODE_SCALAR || !is_ean(node->text)) {
    planish_mistake(reading->mistakes, node->line, node->column,
                    "ean: no EAN: give its 13 digits, the last of which checks the others");
    return;
  }
  memcpy(album_of(reading)->ean, node->text, PLANISH_ALBUM_EAN);
}

static void read_rate(PlanishSheetReading *reading, const PlanishNode *node)
{
  double *rate = &album_of(reading)->rate;
  if (planish_sheet_number(node, "rate", PLANISH_MEASURE_MIN_RATE, PLANISH_MEASURE_MAX_RATE, "Hz",
                           rate, reading->mistakes) &&
      *rate != floor(*rate)) {
    planish_mistake(reading->mistakes, node->line, node->column,
                    "rate: %s: no whole number: give whole Hz", node->text);
  }
}

static void read_other_rates(PlanishSheetReading *reading, const PlanishNode *node)
{
  static const char *const words[] = {"convert", "refuse"};
  unsigned word = 0;
  planish_sheet_word(node, "other_rates", words, 2, &word, reading->mistakes);
  album_of(reading)->refuses_rates = word == 1;
}

static void read_cd(PlanishSheetReading *reading, const PlanishNode *node)
{
  planish_sheet_switch(node, "cd", &album_of(reading)->cd, reading->mistakes);
}

static void read_pattern(PlanishSheetReading *reading, const PlanishNode *node)
{
  PlanishError error = {0};
  PlanishAlbum *album = album_of(reading);
  if (node->kind != PLANISH_NODE_SCALAR || node->text[0] == '\0') {
    planish_mistake(reading->mistakes, node->line, node->column, "name: no text: give a pattern");
  } else if (strstr(node->text, "{spec}") != NULL) {
    planish_mistake(reading->mistakes, node->line, node->column,
                    "name: {spec}: a master is made for no spec: leave it out");
  } else if (!planish_file_name_check(node->text, &error)) {
    planish_mistake(reading->mistakes, node->line, node->column, "%s", error.text);
  } else {
    album->pattern = planish_text_copy(node->text);
    if (album->pattern == NULL) {
      planish_mistake_memory(reading->mistakes);
    }
  }
}

static void read_mix(PlanishSheetReading *reading, const PlanishNode *node)
{
  TrackPart *part = reading->part;
  part->has_mix = true;
  part->track->mix = read_path(reading, node, part->album->path);
}

static void read_track_text(PlanishSheetReading *reading, const PlanishNode *node)
{
  for (int n = 0; n < PLANISH_METADATA_FIELDS; ++n) {
    if (strcmp(planish_metadata_names[n], node->key->text) == 0) {
      planish_metadata_read_node(reading, node, &track_of(reading)->metadata,
                                 (PlanishMetadataField)n);
    }
  }
}

static void read_offset(PlanishSheetReading *reading, const PlanishNode *node)
{
  PlanishAlbumTrack *track = track_of(reading);
  track->has_offset = planish_sheet_number(node, "offset", -MOST_OFFSET, MOST_OFFSET, "LU",
                                           &track->offset, reading->mistakes);
}

static void read_gap(PlanishSheetReading *reading, const PlanishNode *node)
{
  PlanishAlbumTrack *track = track_of(reading);
  track->runs_on = planish_sheet_time(node, "gap", LONGEST_GAP, &track->gap, reading->mistakes) &&
                   track->gap.value == 0.0;
}

static unsigned long number_of(const PlanishMetadata *metadata)
{
  const char *text = metadata->text[PLANISH_METADATA_TRACK];
  return text == NULL ? 0 : strtoul(text, NULL, 10);
}

/* A track's number goes on from the one before. */
static void number_track(PlanishSheetReading *reading, PlanishAlbum *album, const PlanishNode *map)
{
  PlanishAlbumTrack *track = &album->tracks[album->count];
  const unsigned long before = album->count == 0 ? 0 : number_of(&track[-1].metadata);
  const unsigned long own = number_of(&track->metadata);
  PlanishError error = {0};
  if (own > 0 && own <= before) {
    const PlanishNode *node = planish_sheet_member(map, "track");
    planish_mistake(reading->mistakes, node->line, node->column,
                    "track: %lu: %s: tracks stand in the order of their numbers, each with its own",
                    own, own == before ? "stands twice" : "comes too late");
  } else if (own == 0) {
    char number[24];
    planish_text_format(number, sizeof number, "%lu", before + 1);
    if (!planish_metadata_set(&track->metadata, PLANISH_METADATA_TRACK, number, &error)) {
      planish_mistake_memory(reading->mistakes);
    }
  }
}

/* The whole stream has one chain, and nothing steps within it. */
static void check_run(PlanishSheetReading *reading, const PlanishAlbum *album,
                      const PlanishNode *map)
{
  static const char *const of_the_first[] = {"set",    "without",      "input",
                                             "offset", "head_silence", "fade_in"};
  const PlanishAlbumTrack *track = &album->tracks[album->count];
  const PlanishNode *gap = planish_sheet_member(map, "gap");
  for (size_t n = 0; track->runs_on && n < PLANISH_LENGTH_OF(of_the_first); ++n) {
    const PlanishNode *node = planish_sheet_member(map, of_the_first[n]);
    if (node != NULL) {
      planish_mistake(reading->mistakes, node->key->line, node->key->column,
                      "%s: of a track that runs on (gap: 0): it has that of the track where the "
                      "stream begins: give it there, or a gap",
                      of_the_first[n]);
    }
  }
  if (gap != NULL && album->count == 0) {
    planish_mistake(reading->mistakes, gap->key->line, gap->key->column,
                    "gap: of the first track: nothing is ahead of it: use head_silence");
  }
}

/* What a stream ends with is that of its last track. */
static void end_run(PlanishSheetReading *reading, PlanishAlbum *album, const PlanishNode *map)
{
  PlanishAlbumTrack *track = &album->tracks[album->count];
  if (!track->runs_on) {
    return;
  }
  PlanishSheet ending = {0};
  PlanishSheetReading own = {.sheet = &ending, .mistakes = reading->mistakes};
  const PlanishNode *fade = planish_sheet_member(map, "fade_out");
  const PlanishNode *tail = planish_sheet_member(map, "tail");
  if (fade != NULL && !fade->bad) {
    planish_sheet_read_fade_out(&own, fade);
  }
  if (tail != NULL && !tail->bad) {
    planish_sheet_read_tail(&own, tail);
  }
  track->fade_out = ending.fade_out;
  track->tail = ending.tail;
}

static void read_track(PlanishSheetReading *reading, PlanishAlbum *album, const PlanishNode *map)
{
  static const PlanishSheetMember members[] = {
      {"mix", read_mix},           {"title", read_track_text},
      {"artist", read_track_text}, {"comment", read_track_text},
      {"isrc", read_track_text},   {"track", read_track_text},
      {"offset", read_offset},     {"gap", read_gap},
      {"set", read_later},         {"without", read_later},
      {"input", read_later},       {"head_silence", read_later},
      {"fade_in", read_later},     {"fade_out", read_later},
      {"tail", read_later},
  };
  PlanishAlbumTrack *track = &album->tracks[album->count];
  PlanishError error = {0};
  *track = (PlanishAlbumTrack){.gap = {.value = usual_gap}};
  if (!planish_metadata_add(&track->metadata, &album->metadata, &error)) {
    planish_mistake_memory(reading->mistakes);
  }
  TrackPart part = {.album = album, .track = track};
  (void)planish_sheet_read_map(reading, map, "a track", members, PLANISH_LENGTH_OF(members), &part);
  if (map->kind == PLANISH_NODE_MAP && !part.has_mix) {
    planish_mistake(reading->mistakes, map->line, map->column,
                    "a track without a mix: add \"mix:\" with the path of one");
  }
  if (map->kind == PLANISH_NODE_MAP) {
    number_track(reading, album, map);
    check_run(reading, album, map);
    end_run(reading, album, map);
  }
  album->count += 1;
}

/* The end of a track that is run on from is inside the stream. */
static void check_ends(PlanishSheetReading *reading, const PlanishAlbum *album,
                       const PlanishNode *list)
{
  static const char *const of_the_last[] = {"fade_out", "tail"};
  const PlanishNode *map = list->first;
  for (size_t n = 0; n + 1 < album->count && map != NULL; ++n, map = map->next) {
    for (size_t k = 0; album->tracks[n + 1].runs_on && k < PLANISH_LENGTH_OF(of_the_last); ++k) {
      const PlanishNode *node = planish_sheet_member(map, of_the_last[k]);
      if (node != NULL) {
        planish_mistake(
            reading->mistakes, node->key->line, node->key->column,
            "%s: the next track runs on from this one: give it to the last of the stream",
            of_the_last[k]);
      }
    }
  }
}

static void check_doubles(PlanishSheetReading *reading, const PlanishAlbum *album,
                          const PlanishNode *list)
{
  const PlanishNode *map = list->first;
  for (size_t n = 0; n < album->count && map != NULL; ++n, map = map->next) {
    const char *isrc = album->tracks[n].metadata.text[PLANISH_METADATA_ISRC];
    for (size_t i = 0; isrc != NULL && i < n; ++i) {
      const char *other = album->tracks[i].metadata.text[PLANISH_METADATA_ISRC];
      if (other != NULL && strcmp(isrc, other) == 0) {
        const PlanishNode *node = planish_sheet_member(map, "isrc");
        planish_mistake(reading->mistakes, node->line, node->column,
                        "isrc: %s stands at track %s, too: each recording has its own", isrc,
                        album->tracks[i].metadata.text[PLANISH_METADATA_TRACK]);
      }
    }
  }
}

static void read_tracks(PlanishSheetReading *reading, PlanishAlbum *album, const PlanishNode *root)
{
  const PlanishNode *list = planish_sheet_member(root, "tracks");
  const PlanishNode *place = list == NULL ? root : list;
  if (list == NULL || list->kind != PLANISH_NODE_LIST || list->first == NULL) {
    planish_mistake(reading->mistakes, place->line, place->column,
                    "no tracks: add \"tracks:\" and a list of them, each {mix: PATH, title: ...}");
    return;
  }
  const size_t count = planish_sheet_member_count(list);
  if (count > PLANISH_ALBUM_TRACKS) {
    planish_mistake(reading->mistakes, list->line, list->column,
                    "tracks: %zu: an album has at most %d", count, PLANISH_ALBUM_TRACKS);
    return;
  }
  album->tracks = calloc(count, sizeof *album->tracks);
  if (album->tracks == NULL) {
    planish_mistake_memory(reading->mistakes);
    return;
  }
  for (const PlanishNode *map = list->first; map != NULL; map = map->next) {
    if (!map->bad) {
      read_track(reading, album, map);
    }
  }
  check_doubles(reading, album, list);
  check_ends(reading, album, list);
}

static void check_rates(PlanishSheetReading *reading, PlanishAlbum *album, const PlanishNode *root)
{
  const PlanishNode *rate = planish_sheet_member(root, "rate");
  if (album->cd && album->rate > 0.0 && album->rate != CD_RATE) {
    planish_mistake(reading->mistakes, rate->line, rate->column,
                    "rate: %g Hz, and a CD has %d: leave out rate, or cd", album->rate, CD_RATE);
  }
  album->rate = album->cd ? CD_RATE : album->rate;
}

static void read_root(PlanishSheetReading *reading, PlanishAlbum *album, const PlanishNode *root)
{
  static const PlanishSheetMember members[] = {
      {"album", read_head},
      {"sheet", read_sheet},
      {"title", read_album_text},
      {"artist", read_album_text},
      {"year", read_album_text},
      {"comment", read_album_text},
      {"ean", read_ean},
      {"target", read_later},
      {"rate", read_rate},
      {"other_rates", read_other_rates},
      {"cd", read_cd},
      {"name", read_pattern},
      {"tracks", read_later},
  };
  const PlanishNode *first = root->kind == PLANISH_NODE_MAP ? root->first : NULL;
  if (first == NULL || first != planish_sheet_member(root, "album")) {
    planish_mistake(reading->mistakes, root->line, root->column,
                    "no album sheet: it must begin with \"%s\"", album_kind.begin);
    return;
  }
  (void)planish_sheet_read_map(reading, root, "the album", members, PLANISH_LENGTH_OF(members),
                               album);
  if (planish_sheet_member(root, "sheet") == NULL) {
    planish_mistake(reading->mistakes, root->line, root->column,
                    "no chain: add \"sheet:\" with the path of the sheet that all tracks share");
  }
  check_rates(reading, album, root);
  read_tracks(reading, album, root);
}

/* A track's own ending goes over that of the sheet where the stream began. */
static void take_ending(PlanishAlbumTrack *first, const PlanishAlbumTrack *last)
{
  if (last->fade_out.length.value > 0.0) {
    first->sheet->fade_out = last->fade_out;
  }
  if (last->tail.value > 0.0) {
    first->sheet->tail = last->tail;
  }
}

static void read_sheets(PlanishAlbum *album, const PlanishNode *root, const PlanishNode *chain,
                        PlanishHost *host, PlanishMistakes *mistakes)
{
  const PlanishNode *map = planish_sheet_member(root, "tracks")->first;
  PlanishAlbumTrack *first = NULL;
  for (size_t n = 0; n < album->count; ++n, map = map->next) {
    PlanishAlbumTrack *track = &album->tracks[n];
    const PlanishNode *const in_turn[] = {root, map};
    const PlanishSheetChanged changed = {.root = chain,
                                         .changes = in_turn,
                                         .change_count = 2,
                                         .keys = changes,
                                         .key_count = PLANISH_LENGTH_OF(changes),
                                         .where = "the album"};
    if (!track->runs_on) {
      track->sheet = planish_sheet_of_changed(&changed, host, mistakes);
      first = track;
    } else if (first != NULL && first->sheet != NULL) {
      take_ending(first, track);
    }
    if (!track->runs_on && track->sheet != NULL && !track->sheet->has_loudness) {
      planish_mistake(mistakes, root->line, root->column,
                      "no loudness for the tracks to land on: add \"target: {loudness: LUFS}\"");
      return;
    }
  }
}

/* The tree of the common sheet, once it is without mistakes of its own. */
static PlanishNode *open_chain(const PlanishAlbum *album, PlanishHost *host,
                               PlanishAlbumMistakes *mistakes)
{
  size_t size = 0;
  mistakes->sheet_path = planish_text_copy(album->sheet_path);
  char *text = planish_sheet_text_read(album->sheet_path, &size, &mistakes->sheet);
  if (text == NULL) {
    return NULL;
  }
  PlanishSheet *sheet = planish_sheet_parse(text, size, host, false, &mistakes->sheet);
  PlanishNode *root = sheet == NULL ? NULL : planish_sheet_tree_new(text, size, &mistakes->sheet);
  planish_sheet_free(sheet);
  free(text);
  return root;
}

static void read_all(PlanishAlbum *album, const PlanishNode *root, PlanishHost *host,
                     PlanishAlbumMistakes *mistakes)
{
  PlanishSheetReading reading = {.mistakes = &mistakes->album};
  read_root(&reading, album, root);
  PlanishNode *chain = album->sheet_path == NULL ? NULL : open_chain(album, host, mistakes);
  /* Of tracks that could not be read there is nothing to change. */
  if (chain != NULL && mistakes->album.count == 0) {
    read_sheets(album, root, chain, host, &mistakes->album);
  }
  planish_sheet_tree_free(chain);
}

static PlanishAlbum *new_album(const char *path, const PlanishNode *root, PlanishHost *host,
                               PlanishAlbumMistakes *mistakes)
{
  PlanishAlbum *album = calloc(1, sizeof *album);
  if (album != NULL) {
    album->path = planish_text_copy(path);
  }
  if (album != NULL && album->path != NULL) {
    read_all(album, root, host, mistakes);
  } else {
    planish_mistake_memory(&mistakes->album);
  }
  return album;
}

static PlanishAlbum *parse(const char *text, size_t size, const char *path, PlanishHost *host,
                           PlanishAlbumMistakes *mistakes)
{
  PlanishNode *root = planish_sheet_tree_new(text, size, &mistakes->album);
  PlanishAlbum *album = root == NULL ? NULL : new_album(path, root, host, mistakes);
  planish_sheet_tree_free(root);
  if (mistakes->album.count > 0 || mistakes->sheet.count > 0) {
    planish_mistakes_sort(&mistakes->album);
    planish_album_free(album);
    album = NULL;
  }
  return album;
}

PlanishAlbum *planish_album_parse(const char *text, size_t size, const char *path,
                                  PlanishHost *host, PlanishAlbumMistakes *mistakes)
{
  *mistakes = (PlanishAlbumMistakes){.album = {.kind = &album_kind}};
  return parse(text, size, path, host, mistakes);
}

PlanishAlbum *planish_album_read(const char *path, PlanishHost *host,
                                 PlanishAlbumMistakes *mistakes)
{
  size_t size = 0;
  *mistakes = (PlanishAlbumMistakes){.album = {.kind = &album_kind}};
  char *text = planish_sheet_text_read(path, &size, &mistakes->album);
  PlanishAlbum *album = text == NULL ? NULL : parse(text, size, path, host, mistakes);
  free(text);
  return album;
}

void planish_album_free(PlanishAlbum *album)
{
  if (album == NULL) {
    return;
  }
  for (size_t n = 0; n < album->count; ++n) {
    planish_metadata_release(&album->tracks[n].metadata);
    planish_sheet_free(album->tracks[n].sheet);
    free(album->tracks[n].mix);
  }
  planish_metadata_release(&album->metadata);
  free(album->tracks);
  free(album->path);
  free(album->sheet_path);
  free(album->pattern);
  free(album);
}

void planish_album_mistakes_free(PlanishAlbumMistakes *mistakes)
{
  planish_mistakes_free(&mistakes->album);
  planish_mistakes_free(&mistakes->sheet);
  free(mistakes->sheet_path);
  mistakes->sheet_path = NULL;
}
