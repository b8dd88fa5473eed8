/* What the command line puts in place of the sheet's. */
#include "harness/sheet/sheet_value.h"

#include "harness/base/text.h"

#include <string.h>

bool planish_sheet_set_loudness(PlanishSheet *sheet, double lufs, PlanishError *error)
{
  if (lufs < PLANISH_SHEET_QUIETEST || lufs > PLANISH_SHEET_LOUDEST) {
    return planish_fail(error, PLANISH_BAD_USE,
                        "%g is out of range: the target's loudness: give %d to %d LUFS", lufs,
                        PLANISH_SHEET_QUIETEST, PLANISH_SHEET_LOUDEST);
  }
  if (!sheet->has_by) {
    return planish_fail(
        error, PLANISH_BAD_USE,
        "no control to land with: the target's loudness: add \"target: {by: NAME.SYMBOL}\" to "
        "the sheet");
  }
  sheet->has_loudness = true;
  sheet->loudness = lufs;
  return true;
}

bool planish_sheet_set_ceiling(PlanishSheet *sheet, double dbtp, PlanishError *error)
{
  double lowest = PLANISH_SHEET_LOWEST_CEILING;
  double highest = 0.0;
  for (uint32_t n = 0; n < sheet->ceiling_count; ++n) {
    const PlanishControl *control = &sheet->ceiling_at[n];
    const PlanishPluginPort *port = &sheet->stages[control->stage].plugin->ports[control->port];
    lowest = (double)port->minimum > lowest ? (double)port->minimum : lowest;
    highest = (double)port->maximum < highest ? (double)port->maximum : highest;
  }
  if (dbtp < lowest || dbtp > highest) {
    return planish_fail(error, PLANISH_BAD_USE, "%g is out of range: --ceiling: give %g to %g dBTP",
                        dbtp, lowest, highest);
  }
  for (uint32_t n = 0; n < sheet->ceiling_count; ++n) {
    const PlanishControl *control = &sheet->ceiling_at[n];
    sheet->stages[control->stage].values[control->port] = (float)dbtp;
  }
  sheet->has_ceiling = true;
  sheet->ceiling = dbtp;
  return true;
}

bool planish_sheet_set_control(PlanishSheet *sheet, const char *assignment, bool audition,
                               PlanishError *error)
{
  char name[128];
  const char *equals = strchr(assignment, '=');
  if (equals == NULL || equals - assignment >= (ptrdiff_t)sizeof name) {
    return planish_fail(error, PLANISH_BAD_USE, "no setting: --set %s: give NAME.SYMBOL=VALUE",
                        assignment);
  }
  planish_text_format(name, sizeof name, "%.*s", (int)(equals - assignment), assignment);
  PlanishControl control;
  if (!planish_sheet_control(sheet, name, &control, error)) {
    return false;
  }
  if (planish_sheet_automation(sheet, &control) != NULL) {
    return planish_fail(error, PLANISH_BAD_USE,
                        "the sheet automates it: --set %s: change its points in the sheet",
                        assignment);
  }
  PlanishSheetStage *stage = &sheet->stages[control.stage];
  const PlanishPluginPort *port = &stage->plugin->ports[control.port];
  stage->given[control.port] = true;
  return planish_sheet_port_value(port, equals + 1, false, &stage->values[control.port], error) &&
         planish_sheet_check_audition(port, stage->values[control.port], audition, error);
}
