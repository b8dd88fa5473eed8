/* A room: eight delay lines fed back through a Hadamard matrix, each losing treble on its way
 * (feedback delay network; Jot, Chaigne 1991). */
#ifndef PLANISH_DEMO_ROOM_H
#define PLANISH_DEMO_ROOM_H

#include "presets-demo/mix/track.h"

#include <stdbool.h>

typedef struct {
  double seconds;  /* to fall by 60 dB at low frequencies */
  double size;     /* scales the lines, 0.2 .. 2 */
  double predelay; /* seconds, up to 0.1 */
  double damping;  /* 0 (bright) .. 0.9 (dull) */
  double low;      /* what goes in is cut below this frequency in Hz */
} PlanishDemoRoom;

/* Adds the room's answer to `source`, times gain, to `target` (of the same length; may be `source`
 * itself). False where memory lacks. */
bool planish_demo_room_add(const PlanishDemoRoom *room, const PlanishDemoTrack *source, double gain,
                           PlanishDemoTrack *target);

#endif
