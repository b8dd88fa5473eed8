/* Numbers for URIs, as LV2's map and unmap features want them: place in a list, from 1.
 *
 * Thread: one at a time an object. Not real-time safe. */
#ifndef PLANISH_HARNESS_URI_MAP_H
#define PLANISH_HARNESS_URI_MAP_H

#include <lv2/urid/urid.h>
#include <stdint.h>

/* Zeroed at first; stays where it is once planish_uri_map_start() was called. */
typedef struct {
  char **uris;
  uint32_t count;
  LV2_URID_Map map;
  LV2_URID_Unmap unmap;
} PlanishUriMap;

void planish_uri_map_start(PlanishUriMap *map);
void planish_uri_map_release(PlanishUriMap *map);

#endif
