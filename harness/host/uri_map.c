#include "harness/host/uri_map.h"

#include "harness/base/text.h"

#include <stdlib.h>
#include <string.h>

static LV2_URID map_uri(LV2_URID_Map_Handle handle, const char *uri)
{
  PlanishUriMap *map = handle;
  for (uint32_t n = 0; n < map->count; ++n) {
    if (strcmp(map->uris[n], uri) == 0) {
      return n + 1;
    }
  }
  char **longer = realloc(map->uris, (map->count + 1) * sizeof *map->uris);
  if (longer == NULL) {
    return 0;
  }
  map->uris = longer;
  map->uris[map->count] = planish_text_copy(uri);
  return map->uris[map->count] == NULL ? 0 : ++map->count;
}

static const char *unmap_uri(LV2_URID_Unmap_Handle handle, LV2_URID urid)
{
  const PlanishUriMap *map = handle;
  return urid == 0 || urid > map->count ? NULL : map->uris[urid - 1];
}

void planish_uri_map_start(PlanishUriMap *map)
{
  map->map = (LV2_URID_Map){map, map_uri};
  map->unmap = (LV2_URID_Unmap){map, unmap_uri};
}

void planish_uri_map_release(PlanishUriMap *map)
{
  for (uint32_t n = 0; n < map->count; ++n) {
    free(map->uris[n]);
  }
  free(map->uris);
  *map = (PlanishUriMap){0};
}
