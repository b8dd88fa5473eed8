/* What is to be told of a delivered file, a line each. Thread: one at a time an object. */
#ifndef PLANISH_HARNESS_LINES_H
#define PLANISH_HARNESS_LINES_H

#include <stddef.h>

enum { PLANISH_LINES = 20, PLANISH_LINE_BYTES = 400 };

typedef struct {
  char text[PLANISH_LINES][PLANISH_LINE_BYTES];
  size_t count;
} PlanishLines;

/* More than there is room for are never told of one file. */
void planish_lines_add(PlanishLines *lines, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

#endif
