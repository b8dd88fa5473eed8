/* What is mended in a mix as it is read: the mean taken out, polarity, channels, balance.
 *
 * In this order: each channel's mean over the whole file is taken off; a channel's polarity is
 * turned; left and right change places; the balance moves. All of it is one factor and one offset
 * a channel. The mean, rather than a high pass: it takes what a check reports as DC and nothing
 * else, neither level nor phase of any tone. Where a file holds digital black beside DC, that black
 * then stands at minus the mean.
 * Thread: any. Real-time safe. */
#ifndef PLANISH_HARNESS_MENDING_H
#define PLANISH_HARNESS_MENDING_H

#include <stdbool.h>
#include <stddef.h>

typedef struct {
  double balance; /* dB; over 0 the right goes up by half of it and the left down by half */
  bool invert[2]; /* left and right of the file */
  bool swap;
  bool remove_dc;
} PlanishMending;

/* Whether it leaves every sample as it is. */
bool planish_mending_is_neutral(const PlanishMending *mending);

/* Whether it treats both channels alike, so that dual mono stays so. */
bool planish_mending_is_even(const PlanishMending *mending);

/* `frames` frames, in place. `mean`: of left and right of the file. */
void planish_mending_process(const PlanishMending *mending, const double mean[2],
                             float *interleaved, size_t frames);

#endif
