/* The LV2 ABI. Built once for every stage, with PLANISH_STAGE_URI, so that the descriptor is a
 * constant and a stage has no data that changes outside its instances. */
#include "common/frame/frame.h"

#include <lv2/core/lv2.h>
#include <lv2/log/log.h>
#include <lv2/urid/urid.h>

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

static const void *feature(const LV2_Feature *const *features, const char *uri)
{
  for (; features != NULL && *features != NULL; ++features) {
    /* Hosts have been seen to hand over entries without a URI. */
    if ((*features)->URI != NULL && strcmp((*features)->URI, uri) == 0) {
      return (*features)->data;
    }
  }
  return NULL;
}

__attribute__((format(printf, 3, 4))) static void print(const LV2_Log_Log *log, LV2_URID type,
                                                        const char *format, ...)
{
  va_list arguments;
  va_start(arguments, format);
  if (log != NULL && log->vprintf != NULL) {
    log->vprintf(log->handle, type, format, arguments);
  } else {
    vfprintf(stderr, format, arguments);
  }
  va_end(arguments);
}

static LV2_Handle instantiate(const LV2_Descriptor *descriptor, double rate,
                              const char *bundle_path, const LV2_Feature *const *features)
{
  (void)bundle_path;
  PlanishStatus status = PLANISH_OK;
  PlanishFrame *frame = planish_frame_new(&planish_stage, rate, &status);
  if (frame == NULL) {
    const LV2_Log_Log *log = feature(features, LV2_LOG__log);
    const LV2_URID_Map *map = feature(features, LV2_URID__map);
    const LV2_URID error =
        map == NULL || map->map == NULL ? 0 : map->map(map->handle, LV2_LOG__Error);
    print(map == NULL ? NULL : log, error, "%s: %s (at %g Hz)\n", descriptor->URI,
          planish_status_text(status), rate);
  }
  return frame;
}

static void connect_port(LV2_Handle instance, uint32_t port, void *data)
{
  planish_frame_connect(instance, port, data);
}

static void activate(LV2_Handle instance)
{
  planish_frame_activate(instance);
}

static void run(LV2_Handle instance, uint32_t frames)
{
  planish_frame_run(instance, frames);
}

static void deactivate(LV2_Handle instance)
{
  (void)instance;
}

static void cleanup(LV2_Handle instance)
{
  planish_frame_free(instance);
}

static const void *extension_data(const char *uri)
{
  (void)uri;
  return NULL;
}

static const LV2_Descriptor descriptor = {
    PLANISH_STAGE_URI, instantiate, connect_port,   activate, run,
    deactivate,        cleanup,     extension_data,
};

LV2_SYMBOL_EXPORT const LV2_Descriptor *lv2_descriptor(uint32_t index)
{
  return index == 0 ? &descriptor : NULL;
}
