/* Levels of two channels drawn towards the higher: at 1 both are the higher, so both channels get
 * one gain and the image stands still; at 0 each keeps its own.
 *
 * Thread: any. Real-time safe. */
#ifndef PLANISH_DSP_CHANNEL_LINK_H
#define PLANISH_DSP_CHANNEL_LINK_H

/* Exact at both ends. */
static inline void planish_link(double *a, double *b, double link)
{
  const double higher = *a > *b ? *a : *b;
  *a = higher - (1.0 - link) * (higher - *a);
  *b = higher - (1.0 - link) * (higher - *b);
}

#endif
