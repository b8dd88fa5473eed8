/* Writes the C header of a stage's ports: indices, scale points, and the table for the frame. */
#ifndef PLANISH_GENERATOR_WRITE_HEADER_H
#define PLANISH_GENERATOR_WRITE_HEADER_H

#include "ttl/generator/stage.h"

void write_header(Stage *stage, const char *path);

#endif
