/* Writes a stage, or the bundle's manifest, as Turtle. */
#ifndef PLANISH_GENERATOR_WRITE_TURTLE_H
#define PLANISH_GENERATOR_WRITE_TURTLE_H

#include "ttl/generator/stage.h"

void write_stage(Stage *stage, const char *path);

/* The manifest of the stages whose templates and presets are named, in pairs; `seeAlso` files lie
 * beside it. */
void write_manifest(const char *path, const char *common, const char *indices, char *const *files,
                    int count);

/* For other files of the bundle. */
void write_prefixes(FILE *out);
void write_text(FILE *out, const char *text);

#endif
