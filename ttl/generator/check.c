#include "ttl/generator/check.h"

#include "common/frame/stage.h"

#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { AUDIO_PORTS = 4, LONGEST_SHORT_NAME = 16 };

static void check_symbols(const Stage *stage)
{
  for (int i = 0; i < stage->port_count; ++i) {
    const char *symbol = stage->ports[i].symbol;
    bool good = isalpha((unsigned char)symbol[0]) != 0 || symbol[0] == '_';
    for (const char *c = symbol; *c != '\0'; ++c) {
      good = good && (isalnum((unsigned char)*c) != 0 || *c == '_');
    }
    if (!good) {
      fail("%s: \"%s\" is no symbol of letters, digits and _", stage->name, symbol);
    }
    if (stage_index(stage, symbol) != i) {
      fail("%s: two ports have the symbol %s", stage->name, symbol);
    }
  }
}

static void check_one(Stage *stage, const Port *port, const char *predicate)
{
  const int count = graph_count(&stage->graph, port->node, predicate);
  if (count != 1) {
    fail("%s: port %s has %d of %s instead of one", stage->name, port->symbol, count, predicate);
  }
}

static void check_words(Stage *stage, const Port *port)
{
  check_one(stage, port, NS_LV2 "symbol");
  check_one(stage, port, NS_LV2 "name");
  check_one(stage, port, NS_LV2 "shortName");
  check_one(stage, port, NS_RDFS "comment");
  const char *short_name = graph_text(&stage->graph, port->node, NS_LV2 "shortName");
  if (strlen(short_name) > LONGEST_SHORT_NAME) {
    fail("%s: port %s: a lv2:shortName has at most 16 characters", stage->name, port->symbol);
  }
}

static void check_kind(Stage *stage, const Port *port, int index)
{
  const bool input = port_is(stage, port, NS_LV2 "InputPort");
  const bool audio = port_is(stage, port, NS_LV2 "AudioPort");
  if (input == port_is(stage, port, NS_LV2 "OutputPort") ||
      audio == port_is(stage, port, NS_LV2 "ControlPort")) {
    fail("%s: port %s is not one of input and output, and one of audio and control", stage->name,
         port->symbol);
  }
  if (audio != (index < AUDIO_PORTS) || (audio && input != (index < AUDIO_PORTS / 2))) {
    fail("%s: port %s: the audio ports are the first four, two in and two out", stage->name,
         port->symbol);
  }
}

static void check_range(Stage *stage, const Port *port)
{
  const bool input = port_is(stage, port, NS_LV2 "InputPort");
  check_one(stage, port, NS_LV2 "minimum");
  check_one(stage, port, NS_LV2 "maximum");
  if (input) {
    check_one(stage, port, NS_LV2 "default");
  }
  const double minimum = port_number(stage, port, NS_LV2 "minimum");
  const double maximum = port_number(stage, port, NS_LV2 "maximum");
  const double initial = input ? port_number(stage, port, NS_LV2 "default") : minimum;
  if (!(minimum <= initial && initial <= maximum)) {
    fail("%s: port %s: minimum, default and maximum are not in order", stage->name, port->symbol);
  }
  const bool whole = port_has(stage, port, NS_LV2 "integer") ||
                     port_has(stage, port, NS_LV2 "enumeration") ||
                     port_has(stage, port, NS_LV2 "toggled");
  if (whole &&
      (minimum != floor(minimum) || maximum != floor(maximum) || initial != floor(initial))) {
    fail("%s: port %s: minimum, default and maximum are not whole", stage->name, port->symbol);
  }
  if (port_has(stage, port, NS_LV2 "toggled") && (minimum != 0.0 || maximum != 1.0)) {
    fail("%s: port %s: a switch goes from 0 to 1", stage->name, port->symbol);
  }
  if (port_has(stage, port, NS_PPROPS "logarithmic") && !(minimum > 0.0)) {
    fail("%s: port %s: a logarithmic range lies above 0", stage->name, port->symbol);
  }
}

static bool has_point(Stage *stage, const Port *port, double value)
{
  SordIter *i =
      graph_about(&stage->graph, port->node, graph_uri(&stage->graph, NS_LV2 "scalePoint"));
  bool found = false;
  for (; i != NULL && !sord_iter_end(i) && !found; sord_iter_next(i)) {
    const SordNode *point = sord_iter_get_node(i, SORD_OBJECT);
    const char *text = graph_text(&stage->graph, point, NS_RDF "value");
    found = text != NULL && strtod(text, NULL) == value &&
            graph_count(&stage->graph, point, NS_RDFS "label") == 1;
  }
  sord_iter_free(i);
  return found;
}

/* Some hosts allow no value but a scale point. */
static void check_points(Stage *stage, const Port *port)
{
  const int count = graph_count(&stage->graph, port->node, NS_LV2 "scalePoint");
  if (!port_has(stage, port, NS_LV2 "enumeration")) {
    if (count > 0) {
      fail("%s: port %s has scale points, but is no enumeration", stage->name, port->symbol);
    }
    return;
  }
  const double minimum = port_number(stage, port, NS_LV2 "minimum");
  const double maximum = port_number(stage, port, NS_LV2 "maximum");
  const int values = (int)(maximum - minimum) + 1;
  for (int i = 0; i < values; ++i) {
    if (count != values || !has_point(stage, port, minimum + i)) {
      fail("%s: port %s needs one labelled scale point for each value", stage->name, port->symbol);
    }
  }
}

/* The frame and hosts tell marked controls by one of these each. */
static void check_marks(Stage *stage, const Port *port)
{
  const bool expensive = port_has(stage, port, NS_PPROPS "expensive");
  if (expensive != port_has(stage, port, NS_PPROPS "causesArtifacts") ||
      expensive != port_has(stage, port, NS_PPROPS "notAutomatic")) {
    fail("%s: port %s: expensive, causesArtifacts and notAutomatic go together", stage->name,
         port->symbol);
  }
}

static bool has_group(Stage *stage, const char *symbol, int before)
{
  for (int i = 0; i < before; ++i) {
    const char *other = graph_text(&stage->graph, stage->groups[i], NS_LV2 "symbol");
    if (strcmp(other, symbol) == 0) {
      return true;
    }
  }
  return false;
}

static void check_groups(Stage *stage)
{
  for (int i = 0; i < stage->group_count; ++i) {
    const char *symbol = graph_text(&stage->graph, stage->groups[i], NS_LV2 "symbol");
    if (symbol == NULL || graph_text(&stage->graph, stage->groups[i], NS_LV2 "name") == NULL) {
      fail("%s: a group has no lv2:symbol or no lv2:name", stage->name);
    }
    if (has_group(stage, symbol, i)) {
      fail("%s: two groups have the symbol %s", stage->name, symbol);
    }
  }
  for (int i = 0; i < stage->port_count; ++i) {
    const Port *port = &stage->ports[i];
    const char *group = graph_text(&stage->graph, port->node, NS_TEMPLATE "group");
    if (group == NULL) {
      fail("%s: port %s has no template:group", stage->name, port->symbol);
    }
    if (!has_group(stage, group, stage->group_count)) {
      fail("%s: port %s: there is no group %s", stage->name, port->symbol, group);
    }
  }
}

static bool is_offered(Stage *stage, const SordNode *common)
{
  const SordNode *every = graph_uri(&stage->graph, NS_TEMPLATE "everyStage");
  const SordNode *cell = graph_list(&stage->graph, every, NS_TEMPLATE "ports");
  for (; cell != NULL; cell = graph_next(&stage->graph, cell)) {
    const SordNode *port = graph_item(&stage->graph, cell);
    const SordNode *taken = graph_get(&stage->graph, port, NS_TEMPLATE "takenBy");
    if (taken != NULL && sord_node_equals(taken, common)) {
      return true;
    }
  }
  return false;
}

/* The frame finds its ports by symbol. */
static void check_own(Stage *stage)
{
  Graph *graph = &stage->graph;
  const SordNode *cell = graph_list(graph, stage->plugin, NS_TEMPLATE "ports");
  for (; cell != NULL; cell = graph_next(graph, cell)) {
    const char *own = graph_text(graph, graph_item(graph, cell), NS_LV2 "symbol");
    const SordNode *every = graph_uri(graph, NS_TEMPLATE "everyStage");
    const SordNode *other = graph_list(graph, every, NS_TEMPLATE "ports");
    for (; own != NULL && other != NULL; other = graph_next(graph, other)) {
      if (strcmp(own, graph_text(graph, graph_item(graph, other), NS_LV2 "symbol")) == 0) {
        fail("%s: %s is the symbol of a common port", stage->name, own);
      }
    }
  }
}

static void check_common(Stage *stage)
{
  SordIter *i =
      graph_about(&stage->graph, stage->plugin, graph_uri(&stage->graph, NS_TEMPLATE "common"));
  for (; i != NULL && !sord_iter_end(i); sord_iter_next(i)) {
    const SordNode *common = sord_iter_get_node(i, SORD_OBJECT);
    if (!is_offered(stage, common)) {
      fail("%s: no common port is taken by %s", stage->name,
           (const char *)sord_node_get_string(common));
    }
  }
  sord_iter_free(i);
  const int listen = stage_index(stage, "listen");
  const double most =
      listen < 0 ? 0.0 : port_number(stage, &stage->ports[listen], NS_LV2 "maximum");
  if (most > 1.0 + PLANISH_MAX_POINTS) {
    fail("%s: a stage adds at most %d listening points", stage->name, PLANISH_MAX_POINTS);
  }
}

void check_stage(Stage *stage)
{
  check_symbols(stage);
  for (int i = 0; i < stage->port_count; ++i) {
    const Port *port = &stage->ports[i];
    check_words(stage, port);
    check_kind(stage, port, i);
    if (port_is(stage, port, NS_LV2 "ControlPort")) {
      check_range(stage, port);
      check_points(stage, port);
      check_marks(stage, port);
    }
  }
  check_groups(stage);
  check_own(stage);
  check_common(stage);
}
