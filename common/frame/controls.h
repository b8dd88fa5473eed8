/* The ports of an instance: which buffers they are connected to, and the values in force.
 *
 * Thread: connect from wherever the host does, never at the same time as the rest. Real-time
 * safe but for set-up. */
#ifndef PLANISH_FRAME_CONTROLS_H
#define PLANISH_FRAME_CONTROLS_H

#include "common/frame/stage.h"

/* What a look at the ports found. */
typedef struct {
  bool any;       /* a value in force has changed */
  bool listening; /* a port of the stage's for listening alone is off its default */
  bool sound;     /* one that changes the sound: not a matter of listening or of bypass */
  bool rebuilds;  /* a marked control asks for another value than the one in force */
} PlanishControlChange;

typedef struct {
  const PlanishPorts *ports;
  void **buffers;   /* by port index; NULL: not connected */
  float *values;    /* in force, and what the stage reports; by port index */
  float *wanted;    /* what the last look found in the ports, made good */
  float *held;      /* the same as the host holds it */
  uint32_t *inputs; /* indices of the control inputs */
  uint32_t input_count;
  uint32_t *triggers; /* indices of those that are triggers */
  uint32_t trigger_count;
  bool *pulled;              /* seen on since the last look; by place among the triggers */
  PlanishControlChange last; /* what a look finds where nothing has changed since the last */
} PlanishControls;

void planish_controls_setup(PlanishControls *controls, const PlanishPorts *ports,
                            PlanishArena *arena);

/* What the host holds in a control port now: in range, whole where it must be. A port that is not
 * connected, or holds no number, has its default. */
float planish_controls_asked(const PlanishControls *controls, uint32_t port);

/* At the start of each run, even of no frames: a host may switch a trigger off again before the
 * next look, which then finds it on all the same. */
void planish_controls_note_triggers(PlanishControls *controls);

/* Puts in force what the ports hold, but for marked controls. Cheap where the host has not touched
 * them. */
PlanishControlChange planish_controls_look(PlanishControls *controls);

/* Puts in force what the marked controls hold now. */
void planish_controls_take_marked(PlanishControls *controls);

/* Hands the reported values to the host. */
void planish_controls_report(const PlanishControls *controls);

/* The value in force of a common port, or `otherwise` if the stage lacks it (index -1). */
static inline float planish_controls_get(const PlanishControls *controls, int port, float otherwise)
{
  return port < 0 ? otherwise : controls->values[port];
}

#endif
