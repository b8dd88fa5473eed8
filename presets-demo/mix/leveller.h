/* A compressor as it stands on a singer or a bass: evens out a line. */
#ifndef PLANISH_DEMO_LEVELLER_H
#define PLANISH_DEMO_LEVELLER_H

#include <stddef.h>

/* In place. Twice the gain far below `threshold` (of the magnitude, followed within 4 ms up and
 * `fall` seconds down), 1 at it, and never more than twice the threshold out of a steady line. */
void planish_demo_level_out(double *line, size_t frames, double threshold, double fall);

#endif
