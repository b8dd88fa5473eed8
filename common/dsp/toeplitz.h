/* Linear systems whose matrix is symmetric and constant along its diagonals, as those of least
 * squares on filters are: Levinson's recursion.
 *
 * Thread: any. For set-up: O(size^2). */
#ifndef PLANISH_DSP_TOEPLITZ_H
#define PLANISH_DSP_TOEPLITZ_H

#include <stdint.h>

enum { PLANISH_TOEPLITZ_MAX_SIZE = 512 };

/* Solves for x; `row` is the matrix's first, positive definite, `side` the right side. Size
 * 1..PLANISH_TOEPLITZ_MAX_SIZE. */
void planish_toeplitz_solve(const double *row, const double *side, double *x, uint32_t size);

#endif
