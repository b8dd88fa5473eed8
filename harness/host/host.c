#include "harness/host/host.h"

#include "harness/base/text.h"
#include "harness/host/bundle.h"

#include <stdlib.h>
#include <string.h>

#define URN_PREFIX "urn:planish:"

struct PlanishHost {
  LilvWorld *world;   /* the bundle alone */
  LilvWorld *foreign; /* what LV2_PATH has; NULL until asked for */
  char **uris;        /* the bundle's, in order */
  uint32_t uri_count;
  PlanishPlugin **plugins; /* read so far */
  uint32_t plugin_count;
};

static int by_text(const void *a, const void *b)
{
  return strcmp(*(char *const *)a, *(char *const *)b);
}

static bool load_bundle(PlanishHost *host, const char *bundle, PlanishError *error)
{
  host->world = lilv_world_new();
  char *folder = planish_text_new("%s/", bundle);
  LilvNode *uri =
      host->world == NULL || folder == NULL ? NULL : lilv_new_file_uri(host->world, NULL, folder);
  free(folder);
  if (uri == NULL) {
    return planish_fail_memory(error);
  }
  lilv_world_load_bundle(host->world, uri);
  lilv_node_free(uri);
  const LilvPlugins *all = lilv_world_get_all_plugins(host->world);
  host->uris = calloc((size_t)lilv_plugins_size(all) + 1, sizeof *host->uris);
  if (host->uris == NULL) {
    return planish_fail_memory(error);
  }
  LILV_FOREACH(plugins, i, all)
  {
    const LilvNode *plugin_uri = lilv_plugin_get_uri(lilv_plugins_get(all, i));
    host->uris[host->uri_count] = planish_text_copy(lilv_node_as_uri(plugin_uri));
    if (host->uris[host->uri_count++] == NULL) {
      return planish_fail_memory(error);
    }
  }
  qsort(host->uris, host->uri_count, sizeof *host->uris, by_text);
  return host->uri_count > 0 || planish_fail(error, PLANISH_BAD_USE,
                                             "no plugins: %s: name a bundle of stages with "
                                             "--bundle or PLANISH_BUNDLE",
                                             bundle);
}

PlanishHost *planish_host_new(const char *bundle, PlanishError *error)
{
  PlanishHost *host = calloc(1, sizeof *host);
  if (host == NULL) {
    planish_fail_memory(error);
    return NULL;
  }
  if (!load_bundle(host, bundle, error)) {
    planish_host_free(host);
    return NULL;
  }
  return host;
}

PlanishHost *planish_host_open(PlanishError *error)
{
  char *bundle = planish_bundle_find(NULL, error);
  PlanishHost *host = bundle == NULL ? NULL : planish_host_new(bundle, error);
  free(bundle);
  return host;
}

void planish_host_free(PlanishHost *host)
{
  if (host == NULL) {
    return;
  }
  for (uint32_t n = 0; n < host->plugin_count; ++n) {
    planish_plugin_free(host->plugins[n]);
  }
  free(host->plugins);
  for (uint32_t n = 0; n < host->uri_count; ++n) {
    free(host->uris[n]);
  }
  free(host->uris);
  lilv_world_free(host->foreign);
  lilv_world_free(host->world);
  free(host);
}

uint32_t planish_host_count(const PlanishHost *host)
{
  return host->uri_count;
}

const char *planish_host_uri(const PlanishHost *host, uint32_t n)
{
  return host->uris[n];
}

/* lilv would tell of what is none in words of its own. */
bool planish_host_is_uri(const char *text)
{
  static const char scheme[] = "0123456789+-."
                               "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ";
  const size_t length = strspn(text, scheme);
  return strspn(text, scheme + strlen("0123456789+-.")) > 0 && text[length] == ':' &&
         strpbrk(text, " <>\"{}|\\^`") == NULL;
}

static const LilvPlugin *look_up(LilvWorld *world, const char *uri)
{
  LilvNode *node = lilv_new_uri(world, uri);
  const LilvPlugin *plugin =
      node == NULL ? NULL : lilv_plugins_get_by_uri(lilv_world_get_all_plugins(world), node);
  lilv_node_free(node);
  return plugin;
}

static const PlanishPlugin *keep(PlanishHost *host, LilvWorld *world, const LilvPlugin *lilv,
                                 PlanishError *error)
{
  PlanishPlugin **longer =
      realloc(host->plugins, (host->plugin_count + 1) * sizeof(PlanishPlugin *));
  if (longer == NULL) {
    planish_fail_memory(error);
    return NULL;
  }
  host->plugins = longer;
  PlanishPlugin *plugin = planish_plugin_new(world, lilv, error);
  if (plugin != NULL) {
    host->plugins[host->plugin_count++] = plugin;
  }
  return plugin;
}

LilvWorld *planish_host_world(PlanishHost *host)
{
  return host->world;
}

LilvWorld *planish_host_foreign_world(PlanishHost *host, PlanishError *error)
{
  if (host->foreign == NULL) {
    host->foreign = lilv_world_new();
    if (host->foreign == NULL) {
      planish_fail_memory(error);
      return NULL;
    }
    lilv_world_load_all(host->foreign);
  }
  return host->foreign;
}

static const PlanishPlugin *find_foreign(PlanishHost *host, const char *uri, PlanishError *error)
{
  if (!planish_host_is_uri(uri)) {
    planish_fail(error, PLANISH_BAD_USE,
                 "no URI: %s: name a stage that \"planish stages\" lists, or a plugin's URI", uri);
    return NULL;
  }
  LilvWorld *world = planish_host_foreign_world(host, error);
  if (world == NULL) {
    return NULL;
  }
  const LilvPlugin *lilv = look_up(world, uri);
  if (lilv == NULL) {
    planish_fail(error, PLANISH_BAD_USE,
                 "plugin not installed: %s: install it, or set LV2_PATH to the folder that holds "
                 "its bundle",
                 uri);
    return NULL;
  }
  return keep(host, world, lilv, error);
}

static void fail_unknown(const PlanishHost *host, const char *name, PlanishError *error)
{
  PlanishNearest nearest = planish_nearest_to(name);
  for (uint32_t n = 0; n < host->uri_count; ++n) {
    const char *uri = host->uris[n];
    const bool ours = strncmp(uri, URN_PREFIX, sizeof URN_PREFIX - 1) == 0;
    planish_nearest_consider(&nearest, ours ? uri + sizeof URN_PREFIX - 1 : uri);
  }
  if (nearest.best != NULL) {
    planish_fail(error, PLANISH_BAD_USE, "unknown stage: %s: did you mean %s?", name, nearest.best);
  } else {
    planish_fail(error, PLANISH_BAD_USE, "unknown stage: %s: see them with \"planish stages\"",
                 name);
  }
}

const PlanishPlugin *planish_host_plugin(PlanishHost *host, const char *name, PlanishError *error)
{
  const bool whole = strchr(name, ':') != NULL;
  const bool ours = !whole || strncmp(name, URN_PREFIX, sizeof URN_PREFIX - 1) == 0;
  char *uri = whole ? planish_text_copy(name) : planish_text_new(URN_PREFIX "%s", name);
  if (uri == NULL) {
    planish_fail_memory(error);
    return NULL;
  }
  const PlanishPlugin *plugin = NULL;
  for (uint32_t n = 0; n < host->plugin_count && plugin == NULL; ++n) {
    plugin = strcmp(host->plugins[n]->uri, uri) == 0 ? host->plugins[n] : NULL;
  }
  const LilvPlugin *lilv =
      plugin == NULL && planish_host_is_uri(uri) ? look_up(host->world, uri) : NULL;
  if (lilv != NULL) {
    plugin = keep(host, host->world, lilv, error);
  } else if (plugin == NULL && ours) {
    fail_unknown(host, whole ? name + sizeof URN_PREFIX - 1 : name, error);
  } else if (plugin == NULL) {
    plugin = find_foreign(host, uri, error);
  }
  free(uri);
  return plugin;
}
