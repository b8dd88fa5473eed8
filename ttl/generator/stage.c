#include "ttl/generator/stage.h"

#include <stdlib.h>
#include <string.h>

/* `text` with every {n} replaced by the number. Free it. */
static char *numbered(const char *text, int n)
{
  const size_t size = strlen(text) + 1;
  char *out = calloc(1, 2 * size + 16);
  if (out == NULL) {
    fail("out of memory");
  }
  char *to = out;
  while (*text != '\0') {
    if (strncmp(text, "{n}", 3) == 0) {
      to += sprintf(to, "%d", n);
      text += 3;
    } else {
      *to++ = *text++;
    }
  }
  return out;
}

static const SordNode *copy(Graph *graph, const SordNode *node, int n);

static void copy_statements(Graph *graph, const SordNode *from, const SordNode *to, int n)
{
  /* Collected first: a model must not grow under an iterator. */
  SordQuad quads[256];
  size_t count = 0;
  SordIter *i = graph_about(graph, from, NULL);
  for (; i != NULL && !sord_iter_end(i) && count < 256; sord_iter_next(i)) {
    sord_iter_get(i, quads[count++]);
  }
  sord_iter_free(i);
  for (size_t q = 0; q < count; ++q) {
    graph_add(graph, to, quads[q][SORD_PREDICATE], copy(graph, quads[q][SORD_OBJECT], n));
  }
}

/* A copy of a node and of what hangs on it, with {n} replaced. URIs stay as they are. */
static const SordNode *copy(Graph *graph, const SordNode *node, int n)
{
  switch (sord_node_get_type(node)) {
  case SORD_URI:
    return node;
  case SORD_LITERAL: {
    char *text = numbered((const char *)sord_node_get_string(node), n);
    SordNode *datatype = sord_node_copy(sord_node_get_datatype(node));
    const SordNode *made = sord_new_literal(graph->world, datatype, (const uint8_t *)text,
                                            sord_node_get_language(node));
    free(text);
    return made;
  }
  case SORD_BLANK:
    break;
  }
  static int serial = 0;
  char label[32];
  snprintf(label, sizeof label, "copy%d", serial++);
  const SordNode *made = sord_new_blank(graph->world, (const uint8_t *)label);
  copy_statements(graph, node, made, n);
  return made;
}

/* template:defaults holds one default a repetition. */
static void choose_default(Graph *graph, const SordNode *port, int n)
{
  const SordNode *cell = graph_list(graph, port, NS_TEMPLATE "defaults");
  for (int i = 1; cell != NULL && i < n; ++i) {
    cell = graph_next(graph, cell);
  }
  if (cell != NULL) {
    graph_add(graph, port, graph_uri(graph, NS_LV2 "default"), graph_item(graph, cell));
  }
}

static void add_port(Stage *stage, const SordNode *source, int n)
{
  if (stage->port_count == MAX_PORTS) {
    fail("%s: more than %d ports", stage->name, MAX_PORTS);
  }
  Port *port = &stage->ports[stage->port_count++];
  port->node = copy(&stage->graph, source, n);
  port->symbol = graph_text(&stage->graph, port->node, NS_LV2 "symbol");
  if (port->symbol == NULL) {
    fail("%s: a port has no lv2:symbol", stage->name);
  }
  choose_default(&stage->graph, port->node, n);
}

static void add_group(Stage *stage, const SordNode *source, int n)
{
  if (stage->group_count == MAX_GROUPS) {
    fail("%s: more than %d groups", stage->name, MAX_GROUPS);
  }
  stage->groups[stage->group_count++] = copy(&stage->graph, source, n);
}

static int repetitions(Graph *graph, const SordNode *item)
{
  const char *text = graph_text(graph, item, NS_TEMPLATE "repeat");
  return text == NULL ? 0 : (int)strtol(text, NULL, 10);
}

static void add_ports(Stage *stage, const SordNode *subject, int n)
{
  Graph *graph = &stage->graph;
  const SordNode *cell = graph_list(graph, subject, NS_TEMPLATE "ports");
  for (; cell != NULL; cell = graph_next(graph, cell)) {
    const SordNode *item = graph_item(graph, cell);
    const int repeat = repetitions(graph, item);
    for (int i = 1; i <= repeat; ++i) {
      add_ports(stage, item, i);
    }
    if (repeat == 0) {
      add_port(stage, item, n);
    }
  }
}

static void add_groups(Stage *stage, const SordNode *subject)
{
  Graph *graph = &stage->graph;
  const SordNode *cell = graph_list(graph, subject, NS_TEMPLATE "groups");
  for (; cell != NULL; cell = graph_next(graph, cell)) {
    const SordNode *item = graph_item(graph, cell);
    const int repeat = repetitions(graph, item);
    for (int i = repeat == 0 ? 0 : 1; i <= repeat; ++i) {
      add_group(stage, item, i);
    }
  }
}

/* The common ports that every stage has, and those that the template asks for by name. */
static void add_common_ports(Stage *stage)
{
  Graph *graph = &stage->graph;
  const SordNode *common = graph_uri(graph, NS_TEMPLATE "everyStage");
  const SordNode *cell = graph_list(graph, common, NS_TEMPLATE "ports");
  for (; cell != NULL; cell = graph_next(graph, cell)) {
    const SordNode *item = graph_item(graph, cell);
    const char *taken = graph_text(graph, item, NS_TEMPLATE "takenBy");
    if (taken == NULL || graph_has(graph, stage->plugin, NS_TEMPLATE "common", taken)) {
      add_port(stage, item, 0);
    }
  }
}

/* template:listen adds points to the common port `listen`. */
static void add_listening_points(Stage *stage)
{
  Graph *graph = &stage->graph;
  const SordNode *cell = graph_list(graph, stage->plugin, NS_TEMPLATE "listen");
  const int listen = stage_index(stage, "listen");
  if (cell == NULL || listen < 0) {
    return;
  }
  const SordNode *port = stage->ports[listen].node;
  SordNode *integer =
      sord_new_uri(graph->world, (const uint8_t *)"http://www.w3.org/2001/XMLSchema#integer");
  const SordNode *maximum = NULL;
  for (int value = 2; cell != NULL; cell = graph_next(graph, cell), ++value) {
    char text[16];
    snprintf(text, sizeof text, "%d", value);
    char label[32];
    snprintf(label, sizeof label, "point%d", value);
    const SordNode *point = sord_new_blank(graph->world, (const uint8_t *)label);
    maximum = sord_new_literal(graph->world, integer, (const uint8_t *)text, NULL);
    graph_add(graph, port, graph_uri(graph, NS_LV2 "scalePoint"), point);
    graph_add(graph, point, graph_uri(graph, NS_RDFS "label"), graph_item(graph, cell));
    graph_add(graph, point, graph_uri(graph, NS_RDF "value"), maximum);
  }
  const SordNode *predicate = graph_uri(graph, NS_LV2 "maximum");
  const SordQuad old = {port, predicate, graph_get(graph, port, NS_LV2 "maximum"), NULL};
  sord_remove(graph->model, old);
  graph_add(graph, port, predicate, maximum);
}

static void place(Stage *stage, Port *placed, int index, const char *symbol)
{
  const int at = stage_index(stage, symbol);
  if (at < 0) {
    fail("%s: port %s is gone, but it was published with index %d", stage->name, symbol, index);
  }
  if (index < 0 || index >= stage->port_count || placed[index].symbol != NULL) {
    fail("%s: index %d of port %s leaves a gap or is taken twice", stage->name, index, symbol);
  }
  placed[index] = stage->ports[at];
  stage->ports[at].symbol = "";
}

/* Ports keep the index they were published with; new ones follow. */
static void put_in_order(Stage *stage, const char *indices)
{
  FILE *file = fopen(indices, "r");
  if (file == NULL) {
    fail("%s: cannot be read", indices);
  }
  static Port placed[MAX_PORTS];
  memset(placed, 0, sizeof placed);
  int published = 0;
  char line[256];
  while (fgets(line, sizeof line, file) != NULL) {
    char *rest = NULL;
    const char *name = strtok_r(line, " \n", &rest);
    const char *index = strtok_r(NULL, " \n", &rest);
    const char *symbol = strtok_r(NULL, " \n", &rest);
    if (symbol != NULL && name[0] != '#' && strcmp(name, stage->name) == 0) {
      place(stage, placed, (int)strtol(index, NULL, 10), symbol);
      ++published;
    }
  }
  fclose(file);
  for (int i = 0; i < published; ++i) {
    if (placed[i].symbol == NULL) {
      fail("%s: %s has no line for index %d", stage->name, indices, i);
    }
  }
  for (int i = 0; i < stage->port_count; ++i) {
    if (stage->ports[i].symbol[0] != '\0') {
      placed[published++] = stage->ports[i];
    }
  }
  memcpy(stage->ports, placed, sizeof placed);
}

char *stage_name_of(const char *path)
{
  const char *slash = strrchr(path, '/');
  char *name = strdup(slash == NULL ? path : slash + 1);
  char *dot = name == NULL ? NULL : strrchr(name, '.');
  if (dot != NULL) {
    *dot = '\0';
  }
  return name;
}

void stage_read(Stage *stage, const char *common, const char *indices, const char *path)
{
  memset(stage, 0, sizeof *stage);
  stage->graph = graph_new();
  stage->name = stage_name_of(path);
  char uri[128];
  snprintf(uri, sizeof uri, "urn:planish:%s", stage->name);
  stage->plugin = graph_uri(&stage->graph, uri);
  stage->uri = (const char *)sord_node_get_string(stage->plugin);

  graph_read(&stage->graph, common, "common");
  graph_read(&stage->graph, path, "own");
  if (graph_get(&stage->graph, stage->plugin, "http://usefulinc.com/ns/doap#name") == NULL) {
    fail("%s: does not describe <%s>, which its file name promises", path, uri);
  }
  add_common_ports(stage);
  add_listening_points(stage);
  add_ports(stage, stage->plugin, 0);
  add_groups(stage, stage->plugin);
  add_groups(stage, graph_uri(&stage->graph, NS_TEMPLATE "everyStage"));
  put_in_order(stage, indices);
}

void stage_free(Stage *stage)
{
  free((char *)stage->name);
  graph_free(&stage->graph);
}

int stage_index(const Stage *stage, const char *symbol)
{
  for (int i = 0; i < stage->port_count; ++i) {
    if (strcmp(stage->ports[i].symbol, symbol) == 0) {
      return i;
    }
  }
  return -1;
}

bool port_is(Stage *stage, const Port *port, const char *type)
{
  return graph_has(&stage->graph, port->node, NS_RDF "type", type);
}

bool port_has(Stage *stage, const Port *port, const char *property)
{
  return graph_has(&stage->graph, port->node, NS_LV2 "portProperty", property);
}

double port_number(Stage *stage, const Port *port, const char *predicate)
{
  const char *text = graph_text(&stage->graph, port->node, predicate);
  char *end = NULL;
  const double number = text == NULL ? 0.0 : strtod(text, &end);
  if (text == NULL || end == text || *end != '\0') {
    fail("%s: port %s has no number as %s", stage->name, port->symbol, strrchr(predicate, '#') + 1);
  }
  return number;
}
