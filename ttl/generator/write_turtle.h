/* Writes a stage, or the bundle's manifest, as Turtle. */
#ifndef PLANISH_GENERATOR_WRITE_TURTLE_H
#define PLANISH_GENERATOR_WRITE_TURTLE_H

#include "ttl/generator/stage.h"

void write_stage(Stage *stage, const char *path);

/* The manifest of the stages whose templates are named; `seeAlso` files lie beside it. */
void write_manifest(const char *path, char *const *templates, int count);

#endif
