/* Factory presets: from a short text of what each sets to LV2 presets that set every control of
 * the stage, and say in their comment what they promise. */
#ifndef PLANISH_GENERATOR_PRESETS_H
#define PLANISH_GENERATOR_PRESETS_H

#include "ttl/generator/stage.h"

/* Reads the presets of `path` onto the stage's graph, as template:presets of the stage. */
void presets_read(Stage *stage, const char *path);

/* The preset's address; at most `size` bytes. `item`: of the list of template:presets. */
void preset_uri(Stage *stage, const SordNode *item, char *uri, size_t size);

/* All of them, checked: labels and comments, controls that exist, values in range. */
void write_presets(Stage *stage, const char *path);

#endif
