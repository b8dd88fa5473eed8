/* What a template must get right. Each error ends the program with a line that names the port. */
#ifndef PLANISH_GENERATOR_CHECK_H
#define PLANISH_GENERATOR_CHECK_H

#include "ttl/generator/stage.h"

void check_stage(Stage *stage);

#endif
