#include "ttl/generator/graph.h"

#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

_Noreturn void fail(const char *format, ...)
{
  va_list arguments;
  va_start(arguments, format);
  fputs("planish-generate: ", stderr);
  vfprintf(stderr, format, arguments);
  fputc('\n', stderr);
  va_end(arguments);
  exit(1);
}

FILE *open_output(const char *path)
{
  FILE *file = fopen(path, "w");
  if (file == NULL) {
    fail("%s: cannot be written", path);
  }
  return file;
}

void close_output(FILE *file, const char *path)
{
  const bool bad = ferror(file) != 0;
  if (fclose(file) != 0 || bad) {
    fail("%s: could not be written whole", path);
  }
}

/* Else a statement with an unknown prefix would be left out, and the rest taken. */
static SerdStatus end_with_error(void *handle, const SerdError *error)
{
  (void)handle;
  fputs("planish-generate: ", stderr);
  vfprintf(stderr, error->fmt, *error->args);
  exit(1);
}

Graph graph_new(void)
{
  Graph graph;
  graph.world = sord_world_new();
  sord_world_set_error_sink(graph.world, end_with_error, NULL);
  graph.model = sord_new(graph.world, SORD_SPO | SORD_OPS, false);
  return graph;
}

void graph_free(Graph *graph)
{
  sord_free(graph->model);
  sord_world_free(graph->world);
}

void graph_read(Graph *graph, const char *path, const char *mark)
{
  SerdNode base = serd_node_new_file_uri((const uint8_t *)path, NULL, NULL, true);
  SerdEnv *env = serd_env_new(&base);
  SerdReader *reader = sord_new_reader(graph->model, env, SERD_TURTLE, NULL);
  serd_reader_add_blank_prefix(reader, (const uint8_t *)mark);
  const SerdStatus status = serd_reader_read_file(reader, base.buf);
  serd_reader_free(reader);
  serd_env_free(env);
  serd_node_free(&base);
  if (status != SERD_SUCCESS) {
    fail("%s: %s", path, (const char *)serd_strerror(status));
  }
}

const SordNode *graph_uri(Graph *graph, const char *uri)
{
  /* Never freed: the world owns it, and there are few. */
  return sord_new_uri(graph->world, (const uint8_t *)uri);
}

const SordNode *graph_get(Graph *graph, const SordNode *subject, const char *predicate)
{
  SordIter *i = graph_about(graph, subject, graph_uri(graph, predicate));
  const SordNode *object = i == NULL ? NULL : sord_iter_get_node(i, SORD_OBJECT);
  sord_iter_free(i);
  return object;
}

const char *graph_text(Graph *graph, const SordNode *subject, const char *predicate)
{
  const SordNode *object = graph_get(graph, subject, predicate);
  return object == NULL ? NULL : (const char *)sord_node_get_string(object);
}

int graph_count(Graph *graph, const SordNode *subject, const char *predicate)
{
  SordIter *i = graph_about(graph, subject, graph_uri(graph, predicate));
  int count = 0;
  for (; i != NULL && !sord_iter_end(i); sord_iter_next(i)) {
    ++count;
  }
  sord_iter_free(i);
  return count;
}

bool graph_has(Graph *graph, const SordNode *subject, const char *predicate, const char *object)
{
  return sord_ask(graph->model, subject, graph_uri(graph, predicate), graph_uri(graph, object),
                  NULL);
}

void graph_add(Graph *graph, const SordNode *subject, const SordNode *predicate,
               const SordNode *object)
{
  const SordQuad quad = {subject, predicate, object, NULL};
  sord_add(graph->model, quad);
}

SordIter *graph_about(Graph *graph, const SordNode *subject, const SordNode *predicate)
{
  return sord_search(graph->model, subject, predicate, NULL, NULL);
}

static const SordNode *cell_or_null(Graph *graph, const SordNode *cell)
{
  return cell == NULL || sord_node_equals(cell, graph_uri(graph, NS_RDF "nil")) ? NULL : cell;
}

const SordNode *graph_list(Graph *graph, const SordNode *subject, const char *predicate)
{
  return cell_or_null(graph, graph_get(graph, subject, predicate));
}

const SordNode *graph_item(Graph *graph, const SordNode *cell)
{
  const SordNode *item = graph_get(graph, cell, NS_RDF "first");
  if (item == NULL) {
    fail("a list in parentheses is missing");
  }
  return item;
}

const SordNode *graph_next(Graph *graph, const SordNode *cell)
{
  return cell_or_null(graph, graph_get(graph, cell, NS_RDF "rest"));
}
