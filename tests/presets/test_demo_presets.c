/* The demo's chain stands in the presets too: "Demo: NAME" of each stage of presets-demo/demo.yaml
 * sets what the sheet sets. Two things are said in their comments: the control that landing moves
 * stands where it landed, and what the sheet has in a parallel branch is mixed in. */
#include "harness/host/preset.h"
#include "harness/sheet/sheet.h"
#include "tests/unit/cmocka_headers.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static PlanishSheet *read_demo(PlanishHost *host)
{
  PlanishMistakes mistakes = {0};
  PlanishSheet *sheet = planish_sheet_read("presets-demo/demo.yaml", host, false, &mistakes);
  assert_non_null(sheet);
  return sheet;
}

static bool is_landed(const PlanishSheet *sheet, uint32_t stage, uint32_t port)
{
  return sheet->by.stage == stage && sheet->by.port == port;
}

static uint32_t port_named(const PlanishPlugin *plugin, const char *symbol)
{
  uint32_t port = 0;
  while (port < plugin->port_count && strcmp(plugin->ports[port].symbol, symbol) != 0) {
    ++port;
  }
  assert_true(port < plugin->port_count);
  return port;
}

/* In a branch of the side at a level, the difference is added: as on the side, mixed in by it. */
static double as_branch(const PlanishSheet *sheet, uint32_t stage, const char *symbol, double value)
{
  const int branch = planish_sheet_branch_of(sheet, stage);
  if (branch >= 0 && strcmp(symbol, "channels") == 0) {
    return 2.0;
  }
  if (branch >= 0 && strcmp(symbol, "mix") == 0) {
    const PlanishSheetStage *own = &sheet->stages[branch];
    return round(100.0 * pow(10.0, (double)own->values[port_named(own->plugin, "level")] / 20.0));
  }
  return value;
}

static void check_stage(PlanishHost *host, const PlanishSheet *sheet, uint32_t n)
{
  const PlanishSheetStage *stage = &sheet->stages[n];
  PlanishError error = {0};
  char label[80];
  (void)snprintf(label, sizeof label, "Demo: %s", stage->name);
  PlanishPreset *preset = planish_preset_new(host, stage->plugin, label, &error);
  if (preset == NULL) {
    fail_msg("%s", error.text);
    return;
  }
  uint32_t inputs = 0;
  for (uint32_t i = 0; i < preset->count; ++i) {
    const uint32_t port = port_named(stage->plugin, preset->values[i].symbol);
    const double wanted =
        as_branch(sheet, n, preset->values[i].symbol, (double)stage->values[port]);
    if (is_landed(sheet, n, port)) {
      print_message("%s.%s: landed at %.2f\n", stage->name, preset->values[i].symbol,
                    preset->values[i].value);
    } else if (fabs(preset->values[i].value - wanted) > 1e-6 * fmax(1.0, fabs(wanted))) {
      fail_msg("%s.%s: %g in the preset, %g in the sheet", stage->name, preset->values[i].symbol,
               preset->values[i].value, wanted);
    }
    ++inputs;
  }
  print_message("%s: %u controls as in the sheet\n", label, inputs);
  assert_true(inputs >= 7);
  planish_preset_free(preset);
}

static void the_demo_chain_stands_in_presets(void **state)
{
  (void)state;
  PlanishError error = {0};
  PlanishHost *host = planish_host_open(&error);
  assert_non_null(host);
  PlanishSheet *sheet = read_demo(host);
  uint32_t checked = 0;
  for (uint32_t n = 0; n < sheet->stage_count; ++n) {
    if (!planish_sheet_is_branch(&sheet->stages[n])) {
      check_stage(host, sheet, n);
      ++checked;
    }
  }
  assert_true(checked >= 10);
  planish_sheet_free(sheet);
  planish_host_free(host);
}

int main(void)
{
  const struct CMUnitTest tests[] = {cmocka_unit_test(the_demo_chain_stands_in_presets)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
