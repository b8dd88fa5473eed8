/* How many bits the samples really use: the shortest word, of those with full scale at +-1, on
 * whose grid every one of them lies. Exact: a whole number of up to 24 bits is a float without
 * loss.
 *
 * Thread: one at a time an object. Real-time safe. */
#ifndef PLANISH_HARNESS_WORD_LENGTH_H
#define PLANISH_HARNESS_WORD_LENGTH_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

typedef struct {
  uint32_t used; /* bits that were ever set, of words of 32 bits */
  bool between;  /* a sample lies off the grid of 32 bits, or over full scale */
} PlanishWordLength;

/* All zero is the start. Any number of samples, of all channels. */
void planish_word_length_process(PlanishWordLength *word, const float *samples, size_t count);

/* 1..32; 0 where there is no such grid, or nothing but silence. */
unsigned planish_word_length_bits(const PlanishWordLength *word);

#endif
