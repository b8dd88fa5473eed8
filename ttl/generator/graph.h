/* The generator's view of Turtle: one sord model that holds all templates read so far, and short
 * ways to ask it. Errors end the program with a line that names the file. */
#ifndef PLANISH_GENERATOR_GRAPH_H
#define PLANISH_GENERATOR_GRAPH_H

#include <sord/sord.h>
#include <stdbool.h>
#include <stdio.h>

#define NS_RDF      "http://www.w3.org/1999/02/22-rdf-syntax-ns#"
#define NS_RDFS     "http://www.w3.org/2000/01/rdf-schema#"
#define NS_LV2      "http://lv2plug.in/ns/lv2core#"
#define NS_PG       "http://lv2plug.in/ns/ext/port-groups#"
#define NS_PPROPS   "http://lv2plug.in/ns/ext/port-props#"
#define NS_UNITS    "http://lv2plug.in/ns/extensions/units#"
#define NS_TEMPLATE "urn:planish:template#"

typedef struct {
  SordWorld *world;
  SordModel *model;
} Graph;

Graph graph_new(void);
void graph_free(Graph *graph);

/* Adds the statements of a Turtle file. `mark` keeps the blank nodes of several files apart. */
void graph_read(Graph *graph, const char *path, const char *mark);

/* A node of a full URI; stays alive as long as the graph. */
const SordNode *graph_uri(Graph *graph, const char *uri);

/* The object of the only, or first, statement (subject, predicate, ?); NULL: there is none. */
const SordNode *graph_get(Graph *graph, const SordNode *subject, const char *predicate);

/* The same as text; NULL: there is none. */
const char *graph_text(Graph *graph, const SordNode *subject, const char *predicate);

/* Statements (subject, predicate, ?). */
int graph_count(Graph *graph, const SordNode *subject, const char *predicate);

bool graph_has(Graph *graph, const SordNode *subject, const char *predicate, const char *object);

void graph_add(Graph *graph, const SordNode *subject, const SordNode *predicate,
               const SordNode *object);

/* The statements about `subject`, in the order of the objects' text where they are literals. Walk
 * with sord_iter_*; free it. NULL: there are none. */
SordIter *graph_about(Graph *graph, const SordNode *subject, const SordNode *predicate);

/* Walks an RDF list: the first cell, or NULL; the item of a cell; the next cell, or NULL. What is
 * no list ends the program. */
const SordNode *graph_list(Graph *graph, const SordNode *subject, const char *predicate);
const SordNode *graph_item(Graph *graph, const SordNode *cell);
const SordNode *graph_next(Graph *graph, const SordNode *cell);

/* Prints "planish-generate: ..." and ends the program with status 1. */
_Noreturn void fail(const char *format, ...) __attribute__((format(printf, 1, 2)));

FILE *open_output(const char *path);
void close_output(FILE *file, const char *path);

#endif
