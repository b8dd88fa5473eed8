#include "ttl/generator/presets.h"

#include "ttl/generator/write_turtle.h"

#include <ctype.h>
#include <stdlib.h>
#include <string.h>

#define NS_PSET "http://lv2plug.in/ns/ext/presets#"

enum { LONGEST_URI = 256, LONGEST_COMMENT = 1024 };

static const char *preset_label(Stage *stage, const SordNode *item)
{
  const char *label = graph_text(&stage->graph, item, NS_RDFS "label");
  if (label == NULL) {
    fail("%s: a preset has no rdfs:label", stage->name);
  }
  return label;
}

static double preset_number(Stage *stage, const SordNode *item, const char *predicate)
{
  const char *text = graph_text(&stage->graph, item, predicate);
  char *end = NULL;
  const double number = text == NULL ? 0.0 : strtod(text, &end);
  if (text == NULL || end == text || *end != '\0') {
    fail("%s: preset %s has no number as %s", stage->name, preset_label(stage, item),
         strrchr(predicate, '#') + 1);
  }
  return number;
}

void presets_read(Stage *stage, const char *path)
{
  graph_read(&stage->graph, path, "presets");
  if (graph_list(&stage->graph, stage->plugin, NS_TEMPLATE "presets") == NULL) {
    fail("%s: %s has no template:presets of <%s>", stage->name, path, stage->uri);
  }
}

/* Small letters and digits of the label, what lies between as a hyphen. */
void preset_uri(Stage *stage, const SordNode *item, char *uri, size_t size)
{
  const char *label = preset_label(stage, item);
  size_t length = (size_t)snprintf(uri, size, "urn:planish:preset:%s:", stage->name);
  bool gap = false;
  const size_t start = length;
  for (; *label != '\0' && length + 3 < size; ++label) {
    if (!isalnum((unsigned char)*label)) {
      gap = length > start;
      continue;
    }
    if (gap) {
      uri[length++] = '-';
      gap = false;
    }
    uri[length++] = (char)tolower((unsigned char)*label);
  }
  uri[length] = '\0';
}

/* What a preset sets: sound alone, not what its user listens by. */
static bool is_set(Stage *stage, const Port *port)
{
  const char *group = graph_text(&stage->graph, port->node, NS_TEMPLATE "group");
  return port_is(stage, port, NS_LV2 "ControlPort") && port_is(stage, port, NS_LV2 "InputPort") &&
         strcmp(port->symbol, "enabled") != 0 &&
         (group == NULL || strcmp(group, "listening") != 0) &&
         !port_has(stage, port, NS_PPROPS "trigger");
}

/* The value of a choice by its label. */
static double choice(Stage *stage, const Port *port, const char *label)
{
  SordIter *i =
      graph_about(&stage->graph, port->node, graph_uri(&stage->graph, NS_LV2 "scalePoint"));
  const char *value = NULL;
  for (; i != NULL && !sord_iter_end(i) && value == NULL; sord_iter_next(i)) {
    const SordNode *point = sord_iter_get_node(i, SORD_OBJECT);
    if (strcmp(graph_text(&stage->graph, point, NS_RDFS "label"), label) == 0) {
      value = graph_text(&stage->graph, point, NS_RDF "value");
    }
  }
  sord_iter_free(i);
  if (value == NULL) {
    fail("%s: a preset sets %s to \"%s\", which is none of its choices", stage->name, port->symbol,
         label);
  }
  return strtod(value, NULL);
}

static double value_of(Stage *stage, const Port *port, const char *text)
{
  char *end = NULL;
  const double number = strtod(text, &end);
  const double value = end == text || *end != '\0' ? choice(stage, port, text) : number;
  if (!(value >= port_number(stage, port, NS_LV2 "minimum") &&
        value <= port_number(stage, port, NS_LV2 "maximum"))) {
    fail("%s: a preset sets %s to %g, which is out of its range", stage->name, port->symbol, value);
  }
  return value;
}

/* What the preset says of a control; NULL: nothing. */
static const char *said_of(Stage *stage, const SordNode *item, const char *symbol)
{
  Graph *graph = &stage->graph;
  const char *said = NULL;
  const SordNode *cell = graph_list(graph, item, NS_TEMPLATE "sets");
  for (; cell != NULL; cell = graph_next(graph, cell)) {
    const char *own = graph_text(graph, graph_item(graph, cell), NS_LV2 "symbol");
    const int index = own == NULL ? -1 : stage_index(stage, own);
    if (index < 0 || !is_set(stage, &stage->ports[index])) {
      fail("%s: preset %s sets %s, which is none of its controls", stage->name,
           preset_label(stage, item), own == NULL ? "nothing" : own);
    }
    if (strcmp(own, symbol) == 0) {
      if (said != NULL) {
        fail("%s: preset %s sets %s twice", stage->name, preset_label(stage, item), symbol);
      }
      said = graph_text(graph, graph_item(graph, cell), NS_RDF "value");
    }
  }
  return said;
}

static void write_values(FILE *out, Stage *stage, const SordNode *item)
{
  const char *before = " ;\n    lv2:port";
  for (int i = 0; i < stage->port_count; ++i) {
    const Port *port = &stage->ports[i];
    if (is_set(stage, port)) {
      const char *said = said_of(stage, item, port->symbol);
      const double value =
          said == NULL ? port_number(stage, port, NS_LV2 "default") : value_of(stage, port, said);
      const bool whole = value == (double)(long)value;
      fprintf(out, "%s [ lv2:symbol \"%s\" ; pset:value %.9g%s ]", before, port->symbol, value,
              whole ? ".0" : "");
      before = " ,\n       ";
    }
  }
}

static bool is_word_of(const char *word, const char *const *words)
{
  while (*words != NULL && (word == NULL || strcmp(word, *words) != 0)) {
    ++words;
  }
  return *words != NULL;
}

/* Which way it changes what is heard, and the control whose range it nears only where it is loud.
 */
static void write_ways(FILE *out, Stage *stage, const SordNode *item)
{
  static const char *const ways[] = {"up",      "down",      "attacks up", "attacks down",
                                     "body up", "body down", "brighter",   "darker",
                                     "left",    "right",     "either",     NULL};
  const char *way = graph_text(&stage->graph, item, NS_TEMPLATE "heardAs");
  const char *range = graph_text(&stage->graph, item, NS_TEMPLATE "onlyWhenLoud");
  if (!is_word_of(way, ways)) {
    fail("%s: preset %s is heard as %s, which is no way", stage->name, preset_label(stage, item),
         way == NULL ? "nothing" : way);
  }
  fputs(" ;\n    planish:heardAs ", out);
  write_text(out, way);
  if (range != NULL) {
    if (said_of(stage, item, range) == NULL) {
      fail("%s: preset %s nears %s, which it does not set", stage->name, preset_label(stage, item),
           range);
    }
    fputs(" ;\n    planish:onlyWhenLoud ", out);
    write_text(out, range);
  }
}

/* What the preset promises, in the words of its comment and as facts. */
static void write_promises(FILE *out, Stage *stage, const SordNode *item)
{
  Graph *graph = &stage->graph;
  const char *comment = graph_text(graph, item, NS_RDFS "comment");
  if (comment == NULL) {
    fail("%s: preset %s has no rdfs:comment", stage->name, preset_label(stage, item));
  }
  char text[LONGEST_COMMENT];
  const bool neutral = graph_text(graph, item, NS_TEMPLATE "heardOn") == NULL;
  if (neutral) {
    snprintf(text, sizeof text, "%s", comment);
  } else {
    const double working = preset_number(stage, item, NS_TEMPLATE "workingLoudness");
    const double least = preset_number(stage, item, NS_TEMPLATE "leastLoudness");
    const double most = preset_number(stage, item, NS_TEMPLATE "mostLoudness");
    const double peak = preset_number(stage, item, NS_TEMPLATE "mostPeak");
    if (least > most) {
      fail("%s: preset %s: loudness from %g to %g LU", stage->name, preset_label(stage, item),
           least, most);
    }
    snprintf(text, sizeof text,
             "%s For music at %g LUFS: loudness %+g to %+g LU, true peak %+g dB at most.", comment,
             working, least, most, peak);
  }
  fputs(" ;\n    rdfs:comment ", out);
  write_text(out, text);
  if (!neutral) {
    fprintf(out, " ;\n    planish:workingLoudness %.1f",
            preset_number(stage, item, NS_TEMPLATE "workingLoudness"));
    fprintf(out, " ;\n    planish:leastLoudnessChange %.2f",
            preset_number(stage, item, NS_TEMPLATE "leastLoudness"));
    fprintf(out, " ;\n    planish:mostLoudnessChange %.2f",
            preset_number(stage, item, NS_TEMPLATE "mostLoudness"));
    fprintf(out, " ;\n    planish:mostPeakChange %.2f",
            preset_number(stage, item, NS_TEMPLATE "mostPeak"));
    fputs(" ;\n    planish:heardOn ", out);
    write_text(out, graph_text(graph, item, NS_TEMPLATE "heardOn"));
    fprintf(out, " ;\n    planish:heardFrom %.1f",
            preset_number(stage, item, NS_TEMPLATE "heardFrom"));
    fprintf(out, " ;\n    planish:heardTo %.1f", preset_number(stage, item, NS_TEMPLATE "heardTo"));
    write_ways(out, stage, item);
  }
}

/* Two presets of one address would be one. */
static void check_alone(Stage *stage, const SordNode *cell, const char *uri)
{
  const SordNode *other = graph_next(&stage->graph, cell);
  for (; other != NULL; other = graph_next(&stage->graph, other)) {
    char its[LONGEST_URI];
    preset_uri(stage, graph_item(&stage->graph, other), its, sizeof its);
    if (strcmp(its, uri) == 0) {
      fail("%s: two presets are called %s", stage->name,
           preset_label(stage, graph_item(&stage->graph, other)));
    }
  }
}

void write_presets(Stage *stage, const char *path)
{
  FILE *out = open_output(path);
  fprintf(out, "# Written from the presets of %s; do not edit.\n", stage->name);
  write_prefixes(out);
  const SordNode *cell = graph_list(&stage->graph, stage->plugin, NS_TEMPLATE "presets");
  for (; cell != NULL; cell = graph_next(&stage->graph, cell)) {
    const SordNode *item = graph_item(&stage->graph, cell);
    char uri[LONGEST_URI];
    preset_uri(stage, item, uri, sizeof uri);
    check_alone(stage, cell, uri);
    fprintf(out, "\n<%s>\n    a pset:Preset ;\n    lv2:appliesTo <%s> ;\n    rdfs:label ", uri,
            stage->uri);
    write_text(out, preset_label(stage, item));
    write_promises(out, stage, item);
    write_values(out, stage, item);
    fputs(" .\n", out);
  }
  close_output(out, path);
}
