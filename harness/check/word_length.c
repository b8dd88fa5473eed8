#include "harness/check/word_length.h"

void planish_word_length_process(PlanishWordLength *word, const float *samples, size_t count)
{
  uint32_t used = word->used;
  bool between = word->between;
  for (size_t n = 0; n < count; ++n) {
    const double scaled = (double)samples[n] * 2147483648.0;
    if (!(scaled >= -2147483648.0 && scaled <= 2147483648.0)) {
      between = true;
      continue;
    }
    const int64_t whole = (int64_t)scaled;
    between = between || (double)whole != scaled;
    used |= (uint32_t)(whole < 0 ? -whole : whole);
  }
  word->used = used;
  word->between = between;
}

unsigned planish_word_length_bits(const PlanishWordLength *word)
{
  if (word->between || word->used == 0) {
    return 0;
  }
  unsigned bits = 32;
  for (uint32_t used = word->used; (used & 1U) == 0; used >>= 1) {
    bits -= 1;
  }
  return bits;
}
