#include "harness/render/landing_controls.h"

#include "common/dsp/maths.h"

#include <stdlib.h>
#include <string.h>

static float *value_of(PlanishSheet *sheet, const PlanishControl *control)
{
  return &sheet->stages[control->stage].values[control->port];
}

static const PlanishPluginPort *port_of(const PlanishSheet *sheet, const PlanishControl *control)
{
  return &sheet->stages[control->stage].plugin->ports[control->port];
}

bool planish_landing_controls_new(PlanishLandingControls *controls, PlanishSheet *sheet,
                                  PlanishError *error)
{
  *controls = (PlanishLandingControls){.sheet = sheet};
  controls->ceilings = calloc((size_t)sheet->ceiling_count + 1, sizeof *controls->ceilings);
  if (controls->ceilings == NULL) {
    return planish_fail_memory(error);
  }
  for (uint32_t n = 0; n < sheet->ceiling_count; ++n) {
    controls->ceilings[n] = *value_of(sheet, &sheet->ceiling_at[n]);
  }
  if (sheet->has_by) {
    controls->by = *value_of(sheet, &sheet->by);
  }
  return true;
}

void planish_landing_controls_free(PlanishLandingControls *controls)
{
  free(controls->ceilings);
  controls->ceilings = NULL;
}

/* Whether a control is a plain gain: what it adds to the level ahead of whatever limits. */
static bool is_plain_gain(const PlanishPluginPort *port)
{
  return strcmp(port->unit, "dB") == 0 &&
         (strcmp(port->symbol, "input_gain") == 0 || strcmp(port->symbol, "output_gain") == 0 ||
          strcmp(port->symbol, "gain") == 0);
}

PlanishLandingTask planish_landing_controls_task(const PlanishLandingControls *controls)
{
  const PlanishSheet *sheet = controls->sheet;
  PlanishLandingTask task = {
      .has_loudness = sheet->has_loudness && sheet->has_by,
      .loudness = sheet->loudness,
      .has_ceiling = sheet->has_ceiling,
      .ceiling = sheet->ceiling,
  };
  if (task.has_loudness) {
    task.minimum = (double)port_of(sheet, &sheet->by)->minimum;
    task.maximum = (double)port_of(sheet, &sheet->by)->maximum;
  }
  for (uint32_t n = 0; n < sheet->ceiling_count; ++n) {
    const double room =
        (double)controls->ceilings[n] - (double)port_of(sheet, &sheet->ceiling_at[n])->minimum;
    task.most_lowering = n == 0 ? room : planish_min(task.most_lowering, room);
  }
  return task;
}

double planish_landing_controls_begin(const PlanishLandingControls *controls, double working)
{
  const PlanishSheet *sheet = controls->sheet;
  if (!sheet->has_loudness || !sheet->has_by) {
    return 0.0;
  }
  const PlanishSheetStage *stage = &sheet->stages[sheet->by.stage];
  return stage->given[sheet->by.port] || stage->depth > 0 ||
                 !is_plain_gain(port_of(sheet, &sheet->by)) || !isfinite(working)
             ? (double)controls->by
             : sheet->loudness - working;
}

/* So many stages come before a control's, or before the branch on the main path that it stands in.
 */
static uint32_t kept_before(const PlanishSheet *sheet, const PlanishControl *control)
{
  return sheet->stages[planish_sheet_next(sheet, control->stage, 0)].first;
}

uint32_t planish_landing_still_stages(const PlanishSheet *sheet)
{
  uint32_t first = sheet->has_by ? kept_before(sheet, &sheet->by) : sheet->stage_count;
  for (uint32_t n = 0; n < sheet->ceiling_count; ++n) {
    const uint32_t own = kept_before(sheet, &sheet->ceiling_at[n]);
    first = own < first ? own : first;
  }
  return first;
}

void planish_landing_controls_apply(const PlanishLandingControls *controls,
                                    const PlanishLandingTask *task, double control, double lowering)
{
  PlanishSheet *sheet = controls->sheet;
  if (task->has_loudness) {
    *value_of(sheet, &sheet->by) = (float)control;
  }
  for (uint32_t n = 0; n < sheet->ceiling_count; ++n) {
    *value_of(sheet, &sheet->ceiling_at[n]) = (float)((double)controls->ceilings[n] - lowering);
  }
}

/* Of a stage; NAN where one of them moves. */
static double gains_of(const PlanishSheet *sheet, uint32_t index)
{
  const PlanishSheetStage *stage = &sheet->stages[index];
  const PlanishPlugin *plugin = stage->plugin;
  double gains = 0.0;
  if (plugin->enabled >= 0 && stage->values[plugin->enabled] <= 0.0f) {
    return 0.0;
  }
  for (uint32_t port = 0; port < plugin->port_count; ++port) {
    const PlanishControl control = {.stage = index, .port = port};
    if (plugin->ports[port].kind == PLANISH_PLUGIN_CONTROL_INPUT &&
        is_plain_gain(&plugin->ports[port])) {
      gains += planish_sheet_automation(sheet, &control) == NULL ? (double)stage->values[port]
                                                                 : (double)NAN;
    }
  }
  return gains;
}

double planish_landing_controls_unlimited(const PlanishLandingControls *controls,
                                          const PlanishAccount *accounts, const bool *without)
{
  const PlanishSheet *sheet = controls->sheet;
  if (!sheet->has_by || !is_plain_gain(port_of(sheet, &sheet->by)) ||
      sheet->stages[sheet->by.stage].depth > 0) {
    return (double)NAN;
  }
  double gains = 0.0;
  for (uint32_t n = sheet->by.stage; n < sheet->stage_count; ++n) {
    const bool counts = sheet->stages[n].depth == 0 && (without == NULL || !without[n]);
    gains += counts ? gains_of(sheet, n) : 0.0;
  }
  return accounts[sheet->by.stage].loudness_in + gains;
}
