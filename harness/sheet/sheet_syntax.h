/* What is wrong with a text that is no YAML, in our own words. */
#ifndef PLANISH_HARNESS_SHEET_SYNTAX_H
#define PLANISH_HARNESS_SHEET_SYNTAX_H

#include "harness/sheet/sheet_tree.h"

#include <yaml.h>

/* Tells of the one mistake at which `parser` stopped, which read `text` of `size` bytes: where it
 * is (of what was never closed: where it was opened) and what to do. The parser gives no more than
 * places; what stands at them says what happened. */
void planish_sheet_tell_syntax(const yaml_parser_t *parser, const char *text, size_t size,
                               PlanishMistakes *mistakes);

#endif
