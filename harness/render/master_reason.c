/* Why a landing has missed, in words. */
#include "harness/render/master.h"

#include "harness/base/text.h"

#include <math.h>

/* LU/dB: a limiter that is driven hard still gains more. */
static const double moves_nothing = 0.005;

static void name_control(const PlanishSheet *sheet, char *text, size_t size)
{
  const PlanishSheetStage *stage = &sheet->stages[sheet->by.stage];
  planish_text_format(text, size, "%s.%s", stage->name,
                      stage->plugin->ports[sheet->by.port].symbol);
}

void planish_master_reason(const PlanishMasterJob *job, const PlanishMasterReport *report,
                           char *text, size_t size)
{
  const PlanishLanding *landing = &report->landing;
  const PlanishLandingTask *task = &landing->task;
  const double off = landing->best.loudness - task->loudness;
  char control[120] = "";
  char how_near[120] = "";
  if (task->has_loudness) {
    name_control(job->sheet, control, sizeof control);
    planish_text_format(how_near, sizeof how_near, "%.2f LU %s %.1f LUFS", fabs(off),
                        off < 0.0 ? "under" : "over", task->loudness);
  }
  switch (landing->state) {
  case PLANISH_LANDING_ON_ITS_WAY:
  case PLANISH_LANDED:
    text[0] = '\0';
    break;
  case PLANISH_LANDING_OUT_OF_RENDERS:
    planish_text_format(text, size,
                        "target missed: %s%s%.2f dBTP after %u renders: the nearest is "
                        "kept; set %s near %.2f in the sheet and render again",
                        how_near, how_near[0] == '\0' ? "" : ", ", landing->best.true_peak,
                        landing->renders, control[0] == '\0' ? "the ceilings" : control,
                        landing->best.control);
    break;
  case PLANISH_LANDING_CONTROL_AT_END:
    planish_text_format(text, size,
                        "target missed: %s: %s is at the %s end of its range (%g dB): change the "
                        "working level in \"input\", the target, or the control in \"by\"",
                        how_near, control, off < 0.0 ? "upper" : "lower", landing->last.control);
    break;
  case PLANISH_LANDING_STALL:
    if (landing->slope < moves_nothing) {
      planish_text_format(text, size,
                          "target missed: %s: %s makes it no louder any more: ask for less, put a "
                          "clipper ahead of or behind the limiters, or name another control in "
                          "\"by\"",
                          how_near, control);
      break;
    }
    planish_text_format(text, size,
                        "target missed: %s: the limiters have stalled, 1 dB more of %s wins only "
                        "%.2f LU: put a clipper ahead of or behind them, or ask for less",
                        how_near, control, landing->slope);
    break;
  case PLANISH_LANDING_CEILING_FIXED:
    planish_text_format(text, size,
                        "target missed: the true peak is %.2f dB over %.2f dBTP: no control of "
                        "\"ceiling_at\" can go lower: name one that holds the ceiling",
                        landing->best.true_peak - task->ceiling, task->ceiling);
    break;
  case PLANISH_LANDING_SILENT:
    planish_text_format(
        text, size,
        "target missed: the result is silent, or shorter than 0.4 s: check the mix and "
        "the stages");
    break;
  }
}
