/* How loud and how high a stretch of sound is, measured on the way from one stage to the next.
 * Thread: one at a time an object. */
#ifndef PLANISH_HARNESS_LEVEL_H
#define PLANISH_HARNESS_LEVEL_H

#include <stdint.h>

typedef struct PlanishLevel PlanishLevel;

/* Rate within PLANISH_LOUDNESS_MIN_RATE..MAX_RATE. NULL outside of it, or without memory. */
PlanishLevel *planish_level_new(double rate);
/* NULL is allowed. */
void planish_level_free(PlanishLevel *level);

/* At most PLANISH_LEVEL_BLOCK frames of finite samples. */
#define PLANISH_LEVEL_BLOCK 1024
void planish_level_process(PlanishLevel *level, const float *left, const float *right,
                           uint32_t frames);

/* LUFS, integrated; -HUGE_VAL for silence. */
double planish_level_loudness(const PlanishLevel *level);
/* dBFS; PLANISH_SILENCE_DB (maths.h) for silence. */
double planish_level_sample_peak(const PlanishLevel *level);

#endif
