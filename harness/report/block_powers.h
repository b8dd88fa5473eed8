/* K-weighted power of a track in blocks of 100 ms, from which the loudness of any stretch follows.
 *
 * ITU-R BS.1770-4: gating blocks of 400 ms that begin every 100 ms are the means of four blocks in
 * a row. Block n begins at frame planish_block_start(rate, n); an unfinished block at the end does
 * not count. Four bytes a block: 144 kB an hour. Thread: one at a time an object. */
#ifndef PLANISH_HARNESS_BLOCK_POWERS_H
#define PLANISH_HARNESS_BLOCK_POWERS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define PLANISH_BLOCKS_PER_S 10

typedef struct PlanishBlockPowers PlanishBlockPowers;

static inline uint64_t planish_block_start(double rate, uint64_t block)
{
  return (uint64_t)((double)block * rate / PLANISH_BLOCKS_PER_S + 0.5);
}

/* Rate of 8000 Hz or more. NULL without memory. */
PlanishBlockPowers *planish_block_powers_new(double rate);
/* NULL is allowed. */
void planish_block_powers_free(PlanishBlockPowers *blocks);

/* The next frames, two samples each. False without memory. */
bool planish_block_powers_process(PlanishBlockPowers *blocks, const float *interleaved,
                                  size_t frames);

/* Mean squares, both channels added, and how many there are. */
const float *planish_block_powers_values(const PlanishBlockPowers *blocks);
size_t planish_block_powers_count(const PlanishBlockPowers *blocks);

/* The gated loudness of `count` blocks in a row, LUFS; -INFINITY for silence or under four blocks.
 */
double planish_block_loudness(const float *powers, size_t count);

/* The loudness of one power, LUFS; -INFINITY for 0. */
double planish_block_level(double power);

#endif
