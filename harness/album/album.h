/* An album sheet: tracks in order, one common chain, as YAML text.
 *
 *   album: 1                         the format; comes first
 *   sheet: PATH                      of the common chain (sheet.h), from the album sheet's folder
 *   title, artist, year, comment     of the album; a track's own go over them
 *   ean: 13 digits                   of the album (GS1: the last is a check digit)
 *   target: {...}                    members over those of the sheet's target
 *   rate: Hz                         of all masters; left out: the sheet's, else the highest that a
 *                                    mix has
 *   other_rates: convert | refuse    of mixes (left out: convert)
 *   cd: true                         44100 Hz; tracks begin and end on a CD's sectors, 588 frames
 *   name: PATTERN                    of files (deliver/file_name.h), without ending; left out:
 *                                    "{track} {title}", "{track} {master}" of one without a title
 *   tracks:
 *     - mix: PATH                    from the album sheet's folder
 *       title, artist, comment, isrc
 *       track: N                     its number; left out: the one after that of the track before
 *       offset: LU                   its loudness against the target's; left out: see below
 *       gap: TIME                    of digital black ahead of it (left out: 2 s); 0: it runs on
 *                                    from the track before
 *       set, without, input, head_silence, fade_in, fade_out, tail      as in sheet_changes.h
 *
 * Offsets that are left out keep the differences between the mixes: the loudest of these tracks is
 * at 0. Tracks that run on are one stream, rendered as one and cut; the stream lands as a whole,
 * with the settings and the offset of its first track, so that nothing steps in between. Its last
 * track may have fade_out and tail, its first head_silence and fade_in.
 *
 * The gap stands at the end of the file ahead of it, so that the files joined are the album. With
 * `cd` it is lengthened to the next sector, and cuts in a stream are moved to the nearest.
 *
 * Thread: that of the host. */
#ifndef PLANISH_HARNESS_ALBUM_H
#define PLANISH_HARNESS_ALBUM_H

#include "harness/deliver/metadata.h"
#include "harness/sheet/sheet.h"

#define PLANISH_ALBUM_FORMAT 1
#define PLANISH_ALBUM_TRACKS 99 /* at most, as on a CD (IEC 60908) */
#define PLANISH_ALBUM_EAN    14 /* bytes, with the end */

typedef struct {
  char *mix;                /* path */
  PlanishMetadata metadata; /* with that of the album */
  bool has_offset;
  double offset; /* LU */
  bool runs_on;  /* from the track before */
  PlanishSheetTime gap;
  PlanishSheet *sheet;   /* of a track that does not run on, for all that run on from it; its target
                            is that of the album */
  PlanishSheetTime tail; /* of one that runs on, ... */
  PlanishFade fade_out;  /* ... and the last of its stream */
} PlanishAlbumTrack;

typedef struct {
  char *path;
  char *sheet_path;
  PlanishMetadata metadata;    /* its title as `album` */
  char ean[PLANISH_ALBUM_EAN]; /* "": none */
  double rate;                 /* Hz; 0: not given */
  bool refuses_rates;
  bool cd;
  char *pattern; /* NULL: not given */
  PlanishAlbumTrack *tracks;
  size_t count;
} PlanishAlbum;

/* What is wrong with an album sheet, or with the sheet of its chain. */
typedef struct {
  PlanishMistakes album;
  PlanishMistakes sheet;
  char *sheet_path; /* NULL: it is not known */
} PlanishAlbumMistakes;

/* Reads an album sheet from a text, as if it stood at `path`, or from a file. NULL where there is
 * any mistake. `mistakes` need not be zeroed. */
PlanishAlbum *planish_album_parse(const char *text, size_t size, const char *path,
                                  PlanishHost *host, PlanishAlbumMistakes *mistakes);
PlanishAlbum *planish_album_read(const char *path, PlanishHost *host,
                                 PlanishAlbumMistakes *mistakes);
/* NULL is allowed. */
void planish_album_free(PlanishAlbum *album);
void planish_album_mistakes_free(PlanishAlbumMistakes *mistakes);

#endif
