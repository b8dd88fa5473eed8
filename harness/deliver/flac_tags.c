#include "harness/deliver/flac_tags.h"

#include <FLAC/metadata.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* Vorbis I, comment field names. */
static const char *const names[PLANISH_METADATA_FIELDS] = {
    [PLANISH_METADATA_TITLE] = "TITLE", [PLANISH_METADATA_ARTIST] = "ARTIST",
    [PLANISH_METADATA_ALBUM] = "ALBUM", [PLANISH_METADATA_TRACK] = "TRACKNUMBER",
    [PLANISH_METADATA_YEAR] = "DATE",   [PLANISH_METADATA_COMMENT] = "COMMENT",
    [PLANISH_METADATA_ISRC] = "ISRC",
};

static size_t read_bytes(void *to, size_t size, size_t count, FLAC__IOHandle file)
{
  return fread(to, size, count, file);
}

static size_t write_bytes(const void *from, size_t size, size_t count, FLAC__IOHandle file)
{
  return fwrite(from, size, count, file);
}

static int seek(FLAC__IOHandle file, FLAC__int64 offset, int whence)
{
  return fseeko(file, (off_t)offset, whence);
}

static FLAC__int64 tell(FLAC__IOHandle file)
{
  return ftello(file);
}

static int is_at_end(FLAC__IOHandle file)
{
  return feof((FILE *)file);
}

static const FLAC__IOCallbacks callbacks = {read_bytes, write_bytes, seek, tell, is_at_end, NULL};

/* A stream of its own on what is open already. */
static FILE *stream_on(int descriptor, const char *mode)
{
  const int copy = dup(descriptor);
  FILE *file = copy < 0 || lseek(copy, 0, SEEK_SET) != 0 ? NULL : fdopen(copy, mode);
  if (file == NULL && copy >= 0) {
    close(copy);
  }
  return file;
}

/* The block of comments; NULL: there is none. */
static FLAC__StreamMetadata *comments_of(FLAC__Metadata_Chain *chain)
{
  FLAC__Metadata_Iterator *iterator = FLAC__metadata_iterator_new();
  FLAC__StreamMetadata *found = NULL;
  bool more = iterator != NULL;
  if (more) {
    FLAC__metadata_iterator_init(iterator, chain);
  }
  while (more && found == NULL) {
    FLAC__StreamMetadata *block = FLAC__metadata_iterator_get_block(iterator);
    found = block->type == FLAC__METADATA_TYPE_VORBIS_COMMENT ? block : NULL;
    more = found == NULL && FLAC__metadata_iterator_next(iterator);
  }
  if (iterator != NULL) {
    FLAC__metadata_iterator_delete(iterator);
  }
  return found;
}

static bool put(FLAC__StreamMetadata *comments, const char *name, const char *text)
{
  FLAC__StreamMetadata_VorbisComment_Entry entry = {0};
  if (!FLAC__metadata_object_vorbiscomment_entry_from_name_value_pair(&entry, name, text)) {
    return false;
  }
  const bool done =
      FLAC__metadata_object_vorbiscomment_replace_comment(comments, entry, true, true) != 0;
  free(entry.entry);
  return done;
}

/* An empty block of comments, behind the first one, which tells of the stream. */
static FLAC__StreamMetadata *add_comments(FLAC__Metadata_Chain *chain)
{
  FLAC__Metadata_Iterator *iterator = FLAC__metadata_iterator_new();
  FLAC__StreamMetadata *comments = FLAC__metadata_object_new(FLAC__METADATA_TYPE_VORBIS_COMMENT);
  bool done = iterator != NULL && comments != NULL;
  if (done) {
    FLAC__metadata_iterator_init(iterator, chain);
    done = FLAC__metadata_iterator_insert_block_after(iterator, comments);
  }
  if (!done && comments != NULL) {
    FLAC__metadata_object_delete(comments);
  }
  if (iterator != NULL) {
    FLAC__metadata_iterator_delete(iterator);
  }
  return done ? comments : NULL;
}

static bool put_all(FLAC__Metadata_Chain *chain, const PlanishMetadata *metadata)
{
  FLAC__StreamMetadata *comments = comments_of(chain);
  comments = comments == NULL ? add_comments(chain) : comments;
  bool done = comments != NULL;
  for (int n = 0; done && n < PLANISH_METADATA_FIELDS; ++n) {
    done = metadata->text[n] == NULL || put(comments, names[n], metadata->text[n]);
  }
  return done;
}

/* `to` gets all of it, also what is written late. */
static bool copy(FLAC__Metadata_Chain *chain, FILE *from, int to)
{
  FILE *file = stream_on(to, "w+");
  bool done = file != NULL && FLAC__metadata_chain_write_with_callbacks_and_tempfile(
                                  chain, false, from, callbacks, file, callbacks);
  if (file != NULL) {
    done = fclose(file) == 0 && done;
  }
  return done;
}

bool planish_flac_tags_write(int from, int to, const PlanishMetadata *metadata)
{
  errno = 0;
  FILE *file = stream_on(from, "r");
  FLAC__Metadata_Chain *chain = FLAC__metadata_chain_new();
  bool done = file != NULL && chain != NULL &&
              FLAC__metadata_chain_read_with_callbacks(chain, file, callbacks) &&
              put_all(chain, metadata);
  done = done && copy(chain, file, to);
  if (chain != NULL) {
    FLAC__metadata_chain_delete(chain);
  }
  if (file != NULL) {
    (void)fclose(file);
  }
  return done;
}

static bool holds(const FLAC__StreamMetadata *comments, const char *name, const char *text)
{
  const int at = FLAC__metadata_object_vorbiscomment_find_entry_from(comments, 0, name);
  if (at < 0) {
    return false;
  }
  const FLAC__StreamMetadata_VorbisComment_Entry *entry =
      &comments->data.vorbis_comment.comments[at];
  const size_t head = strlen(name) + 1;
  return entry->length == head + strlen(text) &&
         memcmp(entry->entry + head, text, strlen(text)) == 0;
}

bool planish_flac_tags_has(int descriptor, const PlanishMetadata *metadata,
                           PlanishMetadataField *lacking)
{
  FILE *file = stream_on(descriptor, "r");
  FLAC__Metadata_Chain *chain = FLAC__metadata_chain_new();
  const bool read = file != NULL && chain != NULL &&
                    FLAC__metadata_chain_read_with_callbacks(chain, file, callbacks);
  const FLAC__StreamMetadata *comments = read ? comments_of(chain) : NULL;
  bool has = true;
  for (int n = 0; has && n < PLANISH_METADATA_FIELDS; ++n) {
    *lacking = (PlanishMetadataField)n;
    has = metadata->text[n] == NULL ||
          (comments != NULL && holds(comments, names[n], metadata->text[n]));
  }
  if (chain != NULL) {
    FLAC__metadata_chain_delete(chain);
  }
  if (file != NULL) {
    (void)fclose(file);
  }
  return has;
}
