#include "ttl/generator/write_header.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static char in_identifier(char c, bool capitals)
{
  if (c >= 'a' && c <= 'z') {
    return capitals ? (char)(c - 'a' + 'A') : c;
  }
  if (c >= 'A' && c <= 'Z') {
    return capitals ? c : (char)(c - 'A' + 'a');
  }
  return c >= '0' && c <= '9' ? c : '_';
}

/* The text as part of a C identifier. */
static void write_name(FILE *out, const char *text, bool capitals)
{
  for (; *text != '\0'; ++text) {
    fputc(in_identifier(*text, capitals), out);
  }
}

static void write_constant(FILE *out, Stage *stage, const char *symbol, const char *point)
{
  fputs("  ", out);
  write_name(out, stage->name, true);
  fputc('_', out);
  write_name(out, symbol, true);
  if (point != NULL) {
    fputc('_', out);
    write_name(out, point, true);
  }
}

static void write_indices(FILE *out, Stage *stage)
{
  fputs("enum {\n", out);
  for (int i = 0; i < stage->port_count; ++i) {
    write_constant(out, stage, stage->ports[i].symbol, NULL);
    fprintf(out, " = %d,\n", i);
  }
  write_constant(out, stage, "port_count", NULL);
  fprintf(out, " = %d\n};\n", stage->port_count);
}

/* Enumerations alone: other ports have points only as marks on a scale. */
static void write_points(FILE *out, Stage *stage, const Port *port)
{
  SordIter *i =
      graph_about(&stage->graph, port->node, graph_uri(&stage->graph, NS_LV2 "scalePoint"));
  if (i == NULL) {
    return;
  }
  fputs("\nenum {\n", out);
  for (; !sord_iter_end(i); sord_iter_next(i)) {
    const SordNode *point = sord_iter_get_node(i, SORD_OBJECT);
    write_constant(out, stage, port->symbol, graph_text(&stage->graph, point, NS_RDFS "label"));
    fprintf(out, " = %ld,\n", strtol(graph_text(&stage->graph, point, NS_RDF "value"), NULL, 10));
  }
  sord_iter_free(i);
  fputs("};\n", out);
}

static const char *truth(bool value)
{
  return value ? "true" : "false";
}

static void write_row(FILE *out, Stage *stage, const Port *port)
{
  fprintf(out, "    {\"%s\", ", port->symbol);
  if (port_is(stage, port, NS_LV2 "AudioPort")) {
    fputs("PLANISH_PORT_AUDIO, false, false, false, false, false, 0.0f, 0.0f, 0.0f},\n", out);
    return;
  }
  const bool input = port_is(stage, port, NS_LV2 "InputPort");
  const bool whole =
      port_has(stage, port, NS_LV2 "integer") || port_has(stage, port, NS_LV2 "enumeration");
  const double minimum = port_number(stage, port, NS_LV2 "minimum");
  const double maximum = port_number(stage, port, NS_LV2 "maximum");
  const double initial =
      input ? port_number(stage, port, NS_LV2 "default") : fmax(minimum, fmin(0.0, maximum));
  fprintf(out, "PLANISH_PORT_%s, %s, %s, %s, %s, %s, %#.9gf, %#.9gf, %#.9gf},\n",
          input ? "INPUT" : "OUTPUT", truth(whole), truth(port_has(stage, port, NS_LV2 "toggled")),
          truth(graph_get(&stage->graph, port->node, NS_TEMPLATE "listening") != NULL),
          truth(port_has(stage, port, NS_PPROPS "expensive")),
          truth(port_has(stage, port, NS_PPROPS "trigger")), minimum, maximum, initial);
}

static void write_table(FILE *out, Stage *stage)
{
  fputs("\nstatic const PlanishPort ", out);
  write_name(out, stage->name, false);
  fputs("_port_table[] = {\n", out);
  for (int i = 0; i < stage->port_count; ++i) {
    write_row(out, stage, &stage->ports[i]);
  }
  fputs("};\n\nstatic const PlanishPorts ", out);
  write_name(out, stage->name, false);
  fprintf(out, "_ports = {\n    .uri = \"%s\",\n    .ports = ", stage->uri);
  write_name(out, stage->name, false);
  fprintf(out, "_port_table,\n    .port_count = %d,\n", stage->port_count);
  static const char *const common[] = {
      "enabled",     "output_gain",  "listen",  "loudness_match", "match_gain",
      "loudness_in", "loudness_out", "latency", "channels",       "mix"};
  for (size_t i = 0; i < sizeof common / sizeof *common; ++i) {
    fprintf(out, "    .%s = %d,\n", common[i], stage_index(stage, common[i]));
  }
  fputs("};\n", out);
}

void write_header(Stage *stage, const char *path)
{
  FILE *out = open_output(path);
  fprintf(out,
          "/* Written from the templates of %s; do not edit. */\n"
          "#pragma once\n\n"
          "#include \"common/frame/stage.h\"\n\n",
          stage->name);
  write_indices(out, stage);
  for (int i = 0; i < stage->port_count; ++i) {
    if (port_has(stage, &stage->ports[i], NS_LV2 "enumeration")) {
      write_points(out, stage, &stage->ports[i]);
    }
  }
  write_table(out, stage);
  close_output(out, path);
}
