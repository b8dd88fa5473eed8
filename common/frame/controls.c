#include "common/frame/controls.h"

#include <math.h>

void planish_controls_setup(PlanishControls *controls, const PlanishPorts *ports,
                            PlanishArena *arena)
{
  controls->ports = ports;
  controls->buffers = planish_arena_take(arena, ports->port_count, sizeof *controls->buffers);
  controls->values = planish_arena_take(arena, ports->port_count, sizeof *controls->values);
  controls->wanted = planish_arena_take(arena, ports->port_count, sizeof *controls->wanted);
  controls->held = planish_arena_take(arena, ports->port_count, sizeof *controls->held);
  controls->inputs = planish_arena_take(arena, ports->port_count, sizeof *controls->inputs);
  controls->triggers = planish_arena_take(arena, ports->port_count, sizeof *controls->triggers);
  controls->pulled = planish_arena_take(arena, ports->port_count, sizeof *controls->pulled);
  if (!planish_arena_is_filling(arena)) {
    return;
  }
  for (uint32_t i = 0; i < ports->port_count; ++i) {
    controls->values[i] = ports->ports[i].initial;
    controls->wanted[i] = ports->ports[i].initial;
    controls->held[i] = ports->ports[i].initial;
    if (ports->ports[i].kind == PLANISH_PORT_INPUT) {
      controls->inputs[controls->input_count++] = i;
    }
    if (ports->ports[i].trigger) {
      controls->triggers[controls->trigger_count++] = i;
    }
  }
}

float planish_controls_asked(const PlanishControls *controls, uint32_t index)
{
  const PlanishPort *port = &controls->ports->ports[index];
  const float *buffer = controls->buffers[index];
  if (buffer == NULL || isnan(*buffer)) {
    return port->initial;
  }
  float value = *buffer;
  if (port->toggled) {
    return value > 0.0f ? 1.0f : 0.0f;
  }
  value = fminf(fmaxf(value, port->minimum), port->maximum);
  return port->whole ? floorf(value + 0.5f) : value;
}

static bool is_sound(const PlanishPorts *ports, int index)
{
  return !ports->ports[index].listening && index != ports->enabled && index != ports->listen &&
         index != ports->loudness_match;
}

void planish_controls_note_triggers(PlanishControls *controls)
{
  for (uint32_t n = 0; n < controls->trigger_count; ++n) {
    if (planish_controls_asked(controls, controls->triggers[n]) > 0.0f) {
      controls->pulled[n] = true;
    }
  }
}

/* Whether any port holds something else than at the last look. A port that is not connected, or
 * holds no number, never counts as the same; the look then finds its default again. */
static bool is_touched(const PlanishControls *controls)
{
  bool touched = false;
  for (uint32_t n = 0; n < controls->input_count; ++n) {
    const uint32_t i = controls->inputs[n];
    const float *buffer = controls->buffers[i];
    touched |= buffer == NULL || *buffer != controls->held[i];
  }
  for (uint32_t n = 0; n < controls->trigger_count; ++n) {
    touched |= controls->pulled[n] && !(controls->values[controls->triggers[n]] > 0.0f);
  }
  return touched;
}

/* Whether a trigger was seen on since the last look. */
static bool take_pull(PlanishControls *controls, uint32_t port)
{
  bool pulled = false;
  for (uint32_t n = 0; n < controls->trigger_count; ++n) {
    if (controls->triggers[n] == port) {
      pulled = controls->pulled[n];
      controls->pulled[n] = false;
    }
  }
  return pulled;
}

static PlanishControlChange look(PlanishControls *controls)
{
  const PlanishPorts *ports = controls->ports;
  PlanishControlChange change = {0};
  for (uint32_t n = 0; n < controls->input_count; ++n) {
    const uint32_t i = controls->inputs[n];
    const float *buffer = controls->buffers[i];
    const bool pulled = ports->ports[i].trigger && take_pull(controls, i);
    const float asked = pulled ? 1.0f : planish_controls_asked(controls, i);
    controls->held[i] = pulled || buffer == NULL ? asked : *buffer;
    controls->wanted[i] = asked;
    change.listening =
        change.listening || (ports->ports[i].listening && asked != ports->ports[i].initial);
    if (asked == controls->values[i]) {
      continue;
    }
    if (ports->ports[i].rebuilds) {
      change.rebuilds = true;
    } else {
      controls->values[i] = asked;
      change.any = true;
      change.sound = change.sound || is_sound(ports, (int)i);
    }
  }
  return change;
}

PlanishControlChange planish_controls_look(PlanishControls *controls)
{
  if (!is_touched(controls)) {
    return controls->last;
  }
  const PlanishControlChange change = look(controls);
  controls->last =
      (PlanishControlChange){.listening = change.listening, .rebuilds = change.rebuilds};
  return change;
}

void planish_controls_take_marked(PlanishControls *controls)
{
  const PlanishPorts *ports = controls->ports;
  for (uint32_t i = 0; i < ports->port_count; ++i) {
    if (ports->ports[i].kind == PLANISH_PORT_INPUT && ports->ports[i].rebuilds) {
      controls->values[i] = planish_controls_asked(controls, i);
    }
  }
  controls->last.rebuilds = false;
}

void planish_controls_report(const PlanishControls *controls)
{
  const PlanishPorts *ports = controls->ports;
  for (uint32_t i = 0; i < ports->port_count; ++i) {
    float *buffer = controls->buffers[i];
    if (ports->ports[i].kind == PLANISH_PORT_OUTPUT && buffer != NULL) {
      *buffer = controls->values[i];
    }
  }
}
