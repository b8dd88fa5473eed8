/* One stage, expanded: its own ports and the common ones it takes, each with its index. */
#ifndef PLANISH_GENERATOR_STAGE_H
#define PLANISH_GENERATOR_STAGE_H

#include "ttl/generator/graph.h"

enum { MAX_PORTS = 400, MAX_GROUPS = 64 };

typedef struct {
  const SordNode *node; /* in the graph, with {n} replaced */
  const char *symbol;
} Port;

typedef struct {
  Graph graph;
  const SordNode *plugin;
  const char *uri;
  const char *name; /* what follows urn:planish: */
  Port ports[MAX_PORTS];
  int port_count;
  const SordNode *groups[MAX_GROUPS];
  int group_count;
} Stage;

/* Reads and expands a template. `indices` is the list of port indices that are taken for good
 * (lines of STAGE INDEX SYMBOL); ports that it lacks follow in the template's order. */
void stage_read(Stage *stage, const char *common, const char *indices, const char *path);
void stage_free(Stage *stage);

/* Index of a symbol; -1: the stage has no such port. */
int stage_index(const Stage *stage, const char *symbol);

bool port_is(Stage *stage, const Port *port, const char *type);
bool port_has(Stage *stage, const Port *port, const char *property);

/* The number that the port has of a predicate; ends the program where it has none. */
double port_number(Stage *stage, const Port *port, const char *predicate);

/* The names of the template's file: "ms-eq" of ".../ms-eq.ttl". Free it. */
char *stage_name_of(const char *path);

#endif
