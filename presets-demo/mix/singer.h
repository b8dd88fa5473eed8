/* A voice-like sound: harmonics whose pitch glides, noise of breath and consonants, through five
 * resonances that move from vowel to vowel. */
#ifndef PLANISH_DEMO_SINGER_H
#define PLANISH_DEMO_SINGER_H

#include <stddef.h>
#include <stdint.h>

typedef struct {
  uint64_t seed;
  double late;     /* seconds behind the score */
  double detune;   /* semitones */
  int thirds;      /* 1: sings a third above in the scale of the song */
  size_t from_bar; /* sings from this bar on */
  size_t to_bar;   /* up to this one */
} PlanishDemoTake;

/* Adds a take of the song's melody to a line as long as the song. */
void planish_demo_sing(const PlanishDemoTake *take, double *line, size_t frames);

#endif
