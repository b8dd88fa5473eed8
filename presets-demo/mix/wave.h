/* RIFF WAVE, 24 bit, stereo, 48 kHz, written byte by byte: the same file on every machine. */
#ifndef PLANISH_DEMO_WAVE_H
#define PLANISH_DEMO_WAVE_H

#include "presets-demo/mix/track.h"

#include <stdbool.h>
#include <stdint.h>

enum { PLANISH_DEMO_FRAME_BYTES = 6 };

/* One frame as it stands in the file: left, right, low byte first, rounded to the nearest step (no
 * dither, so that silence is silent), held within full scale. */
void planish_demo_wave_frame(const PlanishDemoTrack *track, size_t frame,
                             uint8_t bytes[PLANISH_DEMO_FRAME_BYTES]);

/* Writes the whole file; on failure no file stands at `path` (a device stays) and errno says why.
 */
bool planish_demo_wave_write(const char *path, const PlanishDemoTrack *track);

#endif
