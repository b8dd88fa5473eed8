#include "ttl/generator/write_turtle.h"

#include "ttl/generator/presets.h"

#include <stdlib.h>
#include <string.h>

static const struct {
  const char *prefix;
  const char *uri;
} prefixes[] = {
    {"doap", "http://usefulinc.com/ns/doap#"},
    {"lv2", NS_LV2},
    {"pg", NS_PG},
    {"planish", "urn:planish:vocabulary#"},
    {"pprops", NS_PPROPS},
    {"pset", "http://lv2plug.in/ns/ext/presets#"},
    {"rdf", NS_RDF},
    {"rdfs", NS_RDFS},
    {"units", NS_UNITS},
    {"xsd", "http://www.w3.org/2001/XMLSchema#"},
};
enum { PREFIX_COUNT = sizeof prefixes / sizeof *prefixes };

/* What a reader of a port looks for first comes first. */
static const char *const reading_order[] = {
    NS_RDF "type",      NS_LV2 "index",    NS_LV2 "symbol",  NS_LV2 "name",
    NS_LV2 "shortName", NS_RDFS "comment", NS_RDFS "label",  NS_RDF "value",
    NS_LV2 "default",   NS_LV2 "minimum",  NS_LV2 "maximum", NS_LV2 "scalePoint",
};
enum { ORDER_COUNT = sizeof reading_order / sizeof *reading_order };

static void write_node(FILE *out, Stage *stage, const SordNode *node, int depth);

static void write_uri(FILE *out, const char *uri)
{
  for (int i = 0; i < PREFIX_COUNT; ++i) {
    const size_t length = strlen(prefixes[i].uri);
    if (strncmp(uri, prefixes[i].uri, length) == 0) {
      fprintf(out, "%s:%s", prefixes[i].prefix, uri + length);
      return;
    }
  }
  fprintf(out, "<%s>", uri);
}

void write_text(FILE *out, const char *text)
{
  fputc('"', out);
  for (; *text != '\0'; ++text) {
    if (*text == '"' || *text == '\\') {
      fputc('\\', out);
    }
    if (*text == '\n') {
      fputs("\\n", out);
    } else if (*text == '\r') {
      fputs("\\r", out);
    } else {
      fputc(*text, out);
    }
  }
  fputc('"', out);
}

static void write_literal(FILE *out, const SordNode *node)
{
  const char *text = (const char *)sord_node_get_string(node);
  const SordNode *datatype = sord_node_get_datatype(node);
  const char *type = datatype == NULL ? "" : (const char *)sord_node_get_string(datatype);
  const char *local = strrchr(type, '#');
  if (local != NULL && (strcmp(local, "#decimal") == 0 || strcmp(local, "#integer") == 0)) {
    fputs(text, out);
    return;
  }
  write_text(out, text);
  if (datatype != NULL) {
    fputs("^^", out);
    write_uri(out, type);
  }
  if (sord_node_get_language(node) != NULL) {
    fprintf(out, "@%s", sord_node_get_language(node));
  }
}

static void indent(FILE *out, int depth)
{
  fprintf(out, "\n%*s", depth * 4, "");
}

static bool is_ours(const SordNode *predicate)
{
  const char *uri = (const char *)sord_node_get_string(predicate);
  return strncmp(uri, NS_TEMPLATE, strlen(NS_TEMPLATE)) == 0;
}

static int by_value(const void *a, const void *b)
{
  const double x = ((const double *)a)[0];
  const double y = ((const double *)b)[0];
  return x < y ? -1 : x > y;
}

/* Objects of a predicate; scale points by rising value. */
static int collect(Stage *stage, const SordNode *subject, const SordNode *predicate,
                   const SordNode **objects, int most)
{
  struct {
    double value;
    const SordNode *node;
  } sorted[64];
  int count = 0;
  SordIter *i = graph_about(&stage->graph, subject, predicate);
  for (; i != NULL && !sord_iter_end(i) && count < most && count < 64; sord_iter_next(i)) {
    sorted[count].node = sord_iter_get_node(i, SORD_OBJECT);
    const char *value = graph_text(&stage->graph, sorted[count].node, NS_RDF "value");
    sorted[count].value = value == NULL ? count : strtod(value, NULL);
    ++count;
  }
  sord_iter_free(i);
  qsort(sorted, (size_t)count, sizeof *sorted, by_value);
  for (int k = 0; k < count; ++k) {
    objects[k] = sorted[k].node;
  }
  return count;
}

static void write_predicate(FILE *out, Stage *stage, const SordNode *subject,
                            const SordNode *predicate, int depth, bool *first)
{
  const SordNode *objects[64];
  const int count = collect(stage, subject, predicate, objects, 64);
  for (int i = 0; i < count; ++i) {
    if (i == 0) {
      fputs(*first ? "" : " ;", out);
      indent(out, depth);
      const char *uri = (const char *)sord_node_get_string(predicate);
      if (strcmp(uri, NS_RDF "type") == 0) {
        fputc('a', out);
      } else {
        write_uri(out, uri);
      }
      *first = false;
    } else {
      fputs(" ,", out);
    }
    fputc(' ', out);
    write_node(out, stage, objects[i], depth);
  }
}

static bool in_reading_order(const SordNode *predicate)
{
  for (int i = 0; i < ORDER_COUNT; ++i) {
    if (strcmp((const char *)sord_node_get_string(predicate), reading_order[i]) == 0) {
      return true;
    }
  }
  return false;
}

/* All that is said of a subject, but for what speaks to the generator. */
static void write_about(FILE *out, Stage *stage, const SordNode *subject, int depth, bool *first)
{
  for (int i = 0; i < ORDER_COUNT; ++i) {
    write_predicate(out, stage, subject, graph_uri(&stage->graph, reading_order[i]), depth, first);
  }
  const SordNode *last = NULL;
  SordIter *i = graph_about(&stage->graph, subject, NULL);
  for (; i != NULL && !sord_iter_end(i); sord_iter_next(i)) {
    const SordNode *predicate = sord_iter_get_node(i, SORD_PREDICATE);
    if (predicate != last && !is_ours(predicate) && !in_reading_order(predicate)) {
      write_predicate(out, stage, subject, predicate, depth, first);
    }
    last = predicate;
  }
  sord_iter_free(i);
}

static void write_node(FILE *out, Stage *stage, const SordNode *node, int depth)
{
  bool first = true;
  switch (sord_node_get_type(node)) {
  case SORD_URI:
    write_uri(out, (const char *)sord_node_get_string(node));
    break;
  case SORD_LITERAL:
    write_literal(out, node);
    break;
  case SORD_BLANK:
    fputc('[', out);
    write_about(out, stage, node, depth + 1, &first);
    indent(out, depth);
    fputc(']', out);
    break;
  }
}

void write_prefixes(FILE *out)
{
  for (int i = 0; i < PREFIX_COUNT; ++i) {
    fprintf(out, "@prefix %s: <%s> .\n", prefixes[i].prefix, prefixes[i].uri);
  }
}

/* Hosts that sort groups by their names here show them as the template lists them: a stage's own
 * ahead of what all have. */
static void write_group(FILE *out, Stage *stage, const char *symbol)
{
  for (int i = 0; i < stage->group_count; ++i) {
    if (strcmp(graph_text(&stage->graph, stage->groups[i], NS_LV2 "symbol"), symbol) == 0) {
      fprintf(out, "<%s#%02d-%s>", stage->uri, i + 1, symbol);
      return;
    }
  }
}

static void write_groups(FILE *out, Stage *stage)
{
  for (int i = 0; i < stage->group_count; ++i) {
    bool first = true;
    const char *symbol = graph_text(&stage->graph, stage->groups[i], NS_LV2 "symbol");
    fputc('\n', out);
    write_group(out, stage, symbol);
    if (graph_get(&stage->graph, stage->groups[i], NS_RDF "type") == NULL) {
      fputs("\n    a pg:Group", out);
      first = false;
    }
    write_about(out, stage, stage->groups[i], 1, &first);
    const char *source = graph_text(&stage->graph, stage->groups[i], NS_TEMPLATE "source");
    if (source != NULL) {
      fputs(" ;\n    pg:source ", out);
      write_group(out, stage, source);
    }
    fputs(" .\n", out);
  }
}

/* Steps of a slider, where even ones suit: a tenth of a decibel, one per cent. */
static void write_steps(FILE *out, Stage *stage, const Port *port)
{
  static const struct {
    const char *unit;
    double step;
  } units[] = {{NS_UNITS "db", 0.1}, {NS_UNITS "pc", 1.0}};
  for (size_t i = 0; i < sizeof units / sizeof *units; ++i) {
    if (port_is(stage, port, NS_LV2 "InputPort") &&
        graph_has(&stage->graph, port->node, NS_UNITS "unit", units[i].unit)) {
      const double range =
          port_number(stage, port, NS_LV2 "maximum") - port_number(stage, port, NS_LV2 "minimum");
      fprintf(out, " ;\n        pprops:rangeSteps %d", (int)(range / units[i].step + 1.5));
    }
  }
}

static void write_ports(FILE *out, Stage *stage)
{
  for (int i = 0; i < stage->port_count; ++i) {
    const SordNode *node = stage->ports[i].node;
    bool first = false;
    fprintf(out, " ;\n    lv2:port [\n        lv2:index %d", i);
    write_about(out, stage, node, 2, &first);
    fputs(" ;\n        pg:group ", out);
    write_group(out, stage, graph_text(&stage->graph, node, NS_TEMPLATE "group"));
    write_steps(out, stage, &stage->ports[i]);
    fputs("\n    ]", out);
  }
}

void write_stage(Stage *stage, const char *path)
{
  Graph *graph = &stage->graph;
  FILE *out = open_output(path);
  fprintf(out, "# Written from the templates of %s; do not edit.\n", stage->name);
  write_prefixes(out);
  write_groups(out, stage);

  fprintf(out, "\n<%s>\n    a lv2:Plugin", stage->uri);
  bool first = false;
  write_about(out, stage, graph_uri(graph, NS_TEMPLATE "everyStage"), 1, &first);
  write_about(out, stage, stage->plugin, 1, &first);
  fputs(" ;\n    pg:mainInput ", out);
  write_group(out, stage, "in");
  fputs(" ;\n    pg:mainOutput ", out);
  write_group(out, stage, "out");
  write_ports(out, stage);
  fputs(" .\n", out);

  const SordNode *project = graph_uri(graph, "urn:planish:project");
  first = true;
  fputs("\n<urn:planish:project>", out);
  write_about(out, stage, project, 1, &first);
  fputs(" .\n", out);
  close_output(out, path);
}

/* Lists the presets of a stage: hosts read what they set, when it is asked for. */
static void list_presets(FILE *out, Stage *stage)
{
  const SordNode *cell = graph_list(&stage->graph, stage->plugin, NS_TEMPLATE "presets");
  for (; cell != NULL; cell = graph_next(&stage->graph, cell)) {
    char uri[256];
    const SordNode *item = graph_item(&stage->graph, cell);
    preset_uri(stage, item, uri, sizeof uri);
    fprintf(out, "\n<%s>\n    a pset:Preset ;\n    lv2:appliesTo <%s> ;\n    rdfs:label ", uri,
            stage->uri);
    write_text(out, graph_text(&stage->graph, item, NS_RDFS "label"));
    fprintf(out, " ;\n    rdfs:seeAlso <%s-presets.ttl> .\n", stage->name);
  }
}

void write_manifest(const char *path, const char *common, const char *indices, char *const *files,
                    int count)
{
  static Stage stage;
  FILE *out = open_output(path);
  fputs("# Written by the build; do not edit.\n", out);
  write_prefixes(out);
  for (int i = 0; i + 1 < count; i += 2) {
    stage_read(&stage, common, indices, files[i]);
    presets_read(&stage, files[i + 1]);
    fprintf(out,
            "\n<%s>\n"
            "    a lv2:Plugin ;\n"
            "    lv2:binary <%s.so> ;\n"
            "    rdfs:seeAlso <%s.ttl> .\n",
            stage.uri, stage.name, stage.name);
    list_presets(out, &stage);
    stage_free(&stage);
  }
  close_output(out, path);
}
