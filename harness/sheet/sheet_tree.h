/* The text of a sheet, or of another file of its kind, as a tree of scalars, lists and maps, each
 * with its line and column.
 *
 * YAML 1.1 by libyaml's events, less what a sheet has no use for: anchors, aliases, tags, more than
 * one document, keys that are no plain text, keys that stand twice in one map, more than
 * PLANISH_SHEET_DEPTH levels or PLANISH_SHEET_MEMBERS in one list or map. Thread: one at a time a
 * tree. */
#ifndef PLANISH_HARNESS_SHEET_TREE_H
#define PLANISH_HARNESS_SHEET_TREE_H

#include "harness/base/error.h"

#include <stdbool.h>
#include <stddef.h>

#define PLANISH_SHEET_DEPTH    32
#define PLANISH_SHEET_BYTES    1048576L /* a longer text is no sheet */
#define PLANISH_SHEET_MEMBERS  1000     /* of one list or map */
#define PLANISH_SHEET_MISTAKES 100      /* that are told; of others, that there are more */

/* What kind of text is read, for messages. */
typedef struct {
  const char *name;  /* "sheet" */
  const char *begin; /* the line that it begins with: "planish: 1" */
} PlanishTextKind;

/* What is wrong with a sheet, in the order in which it was found. */
typedef struct {
  PlanishError *list;
  size_t count;
  size_t untold;               /* that found no room */
  const PlanishTextKind *kind; /* NULL: a sheet */
} PlanishMistakes;

const PlanishTextKind *planish_mistakes_kind(const PlanishMistakes *mistakes);

/* Adds one. Always false. Without memory it is lost, but never the first. */
bool planish_mistake(PlanishMistakes *mistakes, int line, int column, const char *format, ...)
    __attribute__((format(printf, 4, 5)));
/* Adds that memory ran out. Always false. */
bool planish_mistake_memory(PlanishMistakes *mistakes);
/* In the order of their places. */
void planish_mistakes_sort(PlanishMistakes *mistakes);
/* The kind stays. */
void planish_mistakes_free(PlanishMistakes *mistakes);

typedef enum { PLANISH_NODE_SCALAR, PLANISH_NODE_LIST, PLANISH_NODE_MAP } PlanishNodeKind;

typedef struct PlanishNode {
  PlanishNodeKind kind;
  int line; /* both from 1 */
  int column;
  char *text;                /* of a scalar */
  bool bad;                  /* the mistake in it has been told: read on without it */
  bool quoted;               /* the scalar stands in quotes: text, never a number */
  struct PlanishNode *key;   /* in a map: a scalar */
  struct PlanishNode *first; /* of a list or map */
  struct PlanishNode *next;  /* in the list or map that this stands in */
} PlanishNode;

/* Parses `text`. NULL where it is no YAML at all or holds nothing; the mistakes say why. Other
 * mistakes leave a tree that can be read on. */
PlanishNode *planish_sheet_tree_new(const char *text, size_t size, PlanishMistakes *mistakes);

/* A node with all that stands in it and its key, alone: `next` is NULL. NULL: no memory. */
PlanishNode *planish_sheet_tree_copy(const PlanishNode *node);

/* Frees it and what comes next to it. NULL is allowed. */
void planish_sheet_tree_free(PlanishNode *node);

#endif
