/* Album sheets, beside tests/fuzz/chain.yaml: any text is read, or refused with its mistakes. */
#include "harness/album/album.h"

#include <stdlib.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
  static PlanishHost *host;
  PlanishError error = {0};
  if (host == NULL) {
    host = planish_host_open(&error);
  }
  if (host == NULL || getenv("PLANISH_ALBUM") == NULL) {
    abort();
  }
  PlanishAlbumMistakes mistakes;
  PlanishAlbum *album =
      planish_album_parse((const char *)data, size, getenv("PLANISH_ALBUM"), host, &mistakes);
  planish_album_free(album);
  planish_album_mistakes_free(&mistakes);
  return 0;
}
