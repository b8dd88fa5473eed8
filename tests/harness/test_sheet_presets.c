/* planish sheet, with the stages themselves: the starting sheet, presets for hosts and from them.
 */
#include "harness/sheet/sheet_presets.h"

#include "harness/host/host.h"
#include "tests/harness/program_fixture.h"
#include "tests/harness/sheet_fixture.h"

#include <locale.h>
#include <sys/socket.h>
#include <sys/un.h>

static PlanishHost *host;

static int open_presets(void **state)
{
  PlanishError error = {0};
  host = planish_host_open(&error);
  return host == NULL ? -1 : open_all(state);
}

static int close_presets(void **state)
{
  planish_host_free(host);
  return close_all(state);
}

/* The line that begins so, without its "# ". */
static void uncomment(char *text, const char *line)
{
  char *place = strstr(text, line);
  if (place == NULL) {
    print_error("the starting sheet lacks %s\n", line);
    fail();
    return;
  }
  memmove(place, place + 2, strlen(place + 2) + 1);
}

static void the_starting_sheet_can_be_used_as_it_is(void **state)
{
  (void)state;
  empty_folder(state);
  Outcome outcome = RUN("sheet", "new");
  assert_int_equal(outcome.code, 0);
  char text[sizeof outcome.out];
  memcpy(text, outcome.out, sizeof text);
  PlanishSheet *sheet = sheet_of(host, text);
  assert_non_null(sheet);
  assert_int_equal(sheet->stage_count, 4);
  planish_sheet_free(sheet);
  /* And so can every line of it that is off, but for a gain beside the loudness and a preset. */
  static const char *const lines[] = {
      "# balance:",      "# polarity:", "# swap:",       "# dc:",
      "# rate:",         "# preroll:",  "# automation:", "#   steer.threshold:",
      "# head_silence:", "# fade_in:",  "# fade_out:",   "# tail:"};
  for (size_t n = 0; n < sizeof lines / sizeof *lines; ++n) {
    uncomment(text, lines[n]);
  }
  for (int point = 0; point < 4; ++point) {
    uncomment(text, "#     - {at:");
  }
  sheet = sheet_of(host, text);
  assert_non_null(sheet);
  assert_true(sheet->mending.balance == 0.5 && sheet->mending.invert[1] && sheet->mending.swap &&
              sheet->mending.remove_dc && sheet->rate == 48000.0 && sheet->has_preroll &&
              sheet->automation_count == 1 && sheet->automation[0].count == 4 &&
              sheet->head_silence.value > 0.0 && sheet->fade_in.length.value > 0.0 &&
              sheet->fade_out.shape == PLANISH_FADE_S_SHAPED && sheet->tail.value > 0.0);
  planish_sheet_free(sheet);
}

static void nothing_is_written_over(void **state)
{
  (void)state;
  empty_folder(state);
  Outcome outcome = RUN("sheet", "new", name("song.yaml"));
  expect(&outcome, 0, "");
  assert_string_equal(outcome.out, "");
  outcome = RUN("sheet", "new", name("song.yaml"));
  expect(&outcome, 4, "something stands there");
  outcome = RUN("sheet", "check", name("song.yaml"));
  expect(&outcome, 0, "");
  assert_non_null(strstr(outcome.out, "no mistakes; 4 stages: tidy steer level clip"));
  outcome = RUN("sheet", "presets", name("song.yaml"), name("song.yaml"));
  expect(&outcome, 4, "something stands there");
  outcome = RUN("sheet", "presets", name("song.yaml"), name("none/song.lv2"));
  expect(&outcome, 4, "cannot make the folder");
  assert_int_equal(count_files(), 1);
}

static void mistakes_and_misuse_are_told(void **state)
{
  (void)state;
  empty_folder(state);
  write_text("good.yaml", "planish: 1\nstages: [{stage: limiter, name: a}]\n");
  write_text("bad.yaml",
             "planish: 1\nstages: [{stage: limiter, name: a, celing: -1, release: x}]\n");
  write_text("manifest.yaml", "planish: 1\nstages: [{stage: limiter, name: manifest}]\n");
  write_text("long.yaml", "");
  assert_int_equal(truncate(in_folder("long.yaml"), PLANISH_SHEET_BYTES + 1), 0);
  struct sockaddr_un place = {.sun_family = AF_UNIX};
  snprintf(place.sun_path, sizeof place.sun_path, "%s", name("socket"));
  const int endpoint = socket(AF_UNIX, SOCK_STREAM, 0);
  assert_int_equal(bind(endpoint, (const struct sockaddr *)&place, sizeof place), 0);
  close(endpoint);
  Outcome outcome = RUN("sheet", "check", name("bad.yaml"), name("good.yaml"), name("none.yaml"));
  assert_int_equal(outcome.code, 2);
  assert_int_equal(lines_of(outcome.error), 3);
  assert_non_null(strstr(outcome.error,
                         "bad.yaml:2:36: celing: no control of limiter: did you mean "
                         "ceiling?"));
  assert_non_null(strstr(outcome.error, "bad.yaml:2:57: release: no number"));
  assert_non_null(strstr(outcome.error, "none.yaml: cannot read"));
  assert_non_null(strstr(outcome.out, "good.yaml: no mistakes; 1 stage: a"));
  const struct {
    const char *arguments[5];
    int code;
    const char *says;
  } cases[] = {
      {{"sheet"}, 2, "needs one of new, check, from, presets"},
      {{"sheet", "chekc"}, 2, "did you mean check?"},
      {{"sheet", "make"}, 2, "give new, check, from or presets"},
      {{"sheet", "check"}, 2, "no sheet"},
      {{"sheet", "from"}, 2, "no preset"},
      {{"sheet", "from", "Nothing of that name"}, 2, "no stage has a preset"},
      {{"sheet", "from", "/none/x.ttl"}, 2, "cannot be read"},
      {{"sheet", "presets"}, 2, "takes SHEET"},
      {{"sheet", "new", "a", "b"}, 2, "takes one file or none"},
      {{"sheet", "new", "/none/x.yaml"}, 4, "its folder is not there: make it"},
      {{"sheet", "presets", name("none.yaml")}, 4, "cannot read"},
      {{"sheet", "check", name("socket")}, 2, "a folder, pipe or device"},
      {{"sheet", "check", "/"}, 2, "a folder, pipe or device"},
      {{"sheet", "check", name("long.yaml")}, 2, "longer than 1 MB"},
      {{"sheet", "presets", name("manifest.yaml"), name("x.lv2")}, 2, "give the stage another"},
  };
  for (size_t n = 0; n < sizeof cases / sizeof *cases; ++n) {
    const char *arguments[8] = {"planish"};
    memcpy(arguments + 1, cases[n].arguments, sizeof cases[n].arguments);
    outcome = finish(launch(arguments));
    expect(&outcome, cases[n].code, cases[n].says);
  }
  assert_int_equal(count_files(), 5);
}

static double at_random(unsigned *seed)
{
  *seed = *seed * 1664525U + 1013904223U;
  return (double)(*seed >> 8) / 16777216.0;
}

/* Every control anywhere in its range, but what a preset does not hold. */
static void set_at_random(PlanishSheet *sheet, unsigned *seed)
{
  for (uint32_t s = 0; s < sheet->stage_count; ++s) {
    const PlanishPlugin *plugin = sheet->stages[s].plugin;
    for (uint32_t n = 0; n < plugin->port_count; ++n) {
      const PlanishPluginPort *port = &plugin->ports[n];
      const bool kept = (int)n == plugin->enabled || strncmp(port->symbol, "listen", 6) == 0 ||
                        strcmp(port->symbol, "loudness_match") == 0;
      const double x = at_random(seed);
      double value = (double)port->minimum + x * (double)(port->maximum - port->minimum);
      if (port->kind != PLANISH_PLUGIN_CONTROL_INPUT || kept) {
        continue;
      }
      value = port->whole || port->toggled ? floor(value + 0.5) : value;
      value =
          port->enumeration ? (double)port->points[(uint32_t)(x * port->point_count)].value : value;
      sheet->stages[s].values[n] = (float)value;
    }
  }
}

/* A sheet of every stage of the bundle. */
static PlanishSheet *every_stage(void)
{
  char text[2048] = "planish: 1\nstages:\n";
  for (uint32_t n = 0; n < planish_host_count(host); ++n) {
    snprintf(text + strlen(text), sizeof text - strlen(text), "  - {stage: %s, name: s-%u}\n",
             planish_host_uri(host, n), (unsigned)n);
  }
  return sheet_of(host, text);
}

/* To a host and back: what lilv reads of the presets is what was set, to the bit. */
static void settings_go_to_a_host_and_come_back(void)
{
  PlanishError error = {0};
  unsigned seed = 17;
  char search[600];
  snprintf(search, sizeof search, "%s/path", files_folder);
  char *before = strdup(getenv("LV2_PATH"));
  setenv("LV2_PATH", search, 1);
  for (int round = 0; round < 3; ++round) {
    char folder[700];
    snprintf(folder, sizeof folder, "%s/x.presets.lv2", search);
    assert_int_equal(mkdir(search, 0700), 0);
    PlanishSheet *sheet = every_stage();
    set_at_random(sheet, &seed);
    assert_true(planish_sheet_write_presets(sheet, folder, "He said \"so\"\\", &error));
    char labels[16][64];
    const char *names[16];
    for (uint32_t n = 0; n < sheet->stage_count; ++n) {
      snprintf(labels[n], sizeof labels[n], "He said \"so\"\\: s-%u", (unsigned)n);
      names[n] = labels[n];
    }
    /* A host of its own: the other has looked at the path already. */
    PlanishHost *other = planish_host_open(&error);
    PlanishSheet *back = planish_sheet_from_presets(other, names, sheet->stage_count, &error);
    assert_string_equal(error.text, "");
    assert_int_equal(back->stage_count, sheet->stage_count);
    for (uint32_t s = 0; s < sheet->stage_count; ++s) {
      assert_string_equal(back->stages[s].plugin->uri, sheet->stages[s].plugin->uri);
      assert_memory_equal(back->stages[s].values, sheet->stages[s].values,
                          sheet->stages[s].plugin->port_count * sizeof(float));
    }
    /* As text, and read again by the first host. */
    char *text = text_of_sheet(back, NULL);
    PlanishSheet *again = sheet_of(host, text);
    assert_non_null(again);
    for (uint32_t s = 0; s < sheet->stage_count; ++s) {
      assert_memory_equal(again->stages[s].values, sheet->stages[s].values,
                          sheet->stages[s].plugin->port_count * sizeof(float));
    }
    free(text);
    planish_sheet_free(again);
    planish_sheet_free(back);
    planish_host_free(other);
    char command[4096];
    snprintf(
        command, sizeof command,
        "if command -v serdi >/dev/null; then for f in %s/*.ttl; do serdi -q \"$f\" >/dev/null "
        "|| exit 1; done; fi; ! grep -E 'pset:value [-0-9]+ ' %s/*.ttl; s=$?; rm -r %s; exit $s",
        folder, folder, search);
    assert_int_equal(system(command), 0);
    planish_sheet_free(sheet);
  }
  setenv("LV2_PATH", before, 1);
  free(before);
}

static void settings_survive_a_host(void **state)
{
  empty_folder(state);
  settings_go_to_a_host_and_come_back();
}

static void settings_survive_a_decimal_comma(void **state)
{
  if (setlocale(LC_ALL, "de_DE.UTF-8") == NULL) {
    print_message("skipped: no locale with a decimal comma\n");
    skip();
  }
  empty_folder(state);
  settings_go_to_a_host_and_come_back();
  setlocale(LC_ALL, "C");
}

static void a_resolved_sheet_of_every_stage_comes_back(void **state)
{
  (void)state;
  unsigned seed = 29;
  for (int round = 0; round < 50; ++round) {
    PlanishSheet *sheet = every_stage();
    set_at_random(sheet, &seed);
    char *text = text_of_sheet(sheet, &(PlanishSheetWriting){.resolved = true});
    PlanishSheet *again = sheet_of(host, text);
    assert_true(again != NULL && same_sheet(sheet, again, true));
    planish_sheet_free(again);
    free(text);
    planish_sheet_free(sheet);
  }
}

/* Two presets of one label get names of their own; a preset's file is as good as its label. */
static void presets_by_file_become_a_sheet(void **state)
{
  empty_folder(state);
  write_text("loud.yaml",
             "planish: 1\nstages:\n  - {stage: limiter, name: level, input_gain: 3.3}\n"
             "automation: {level.release: [{at: 0, value: 33}, {at: 9, value: 20}]}\n");
  Outcome outcome = RUN("sheet", "presets", name("loud.yaml"), name("loud.lv2"));
  expect(&outcome, 0, "");
  /* Whether a stage is on, and what is for listening, is no setting. */
  char saved[8000];
  FILE *preset = fopen(name("loud.lv2/level.ttl"), "r");
  saved[fread(saved, 1, sizeof saved - 1, preset)] = '\0';
  fclose(preset);
  assert_non_null(strstr(saved, "lv2:symbol \"release\" ; pset:value 33.0"));
  assert_null(strstr(saved, "\"enabled\""));
  assert_null(strstr(saved, "\"listen\""));
  assert_non_null(strstr(outcome.out, "1 preset, shown by hosts as \"loud: NAME\"; automation"));
  outcome = RUN("sheet", "from", name("loud.lv2/level.ttl"), name("loud.lv2/level.ttl"), "--out",
                name("back.yaml"));
  expect(&outcome, 0, "");
  char text[2000];
  FILE *file = fopen(name("back.yaml"), "r");
  text[fread(text, 1, sizeof text - 1, file)] = '\0';
  fclose(file);
  PlanishSheet *sheet = sheet_of(host, text);
  assert_non_null(sheet);
  assert_string_equal(sheet->stages[0].name, "loud-level");
  assert_string_equal(sheet->stages[1].name, "loud-level-2");
  for (uint32_t n = 0; n < 2; ++n) {
    const PlanishSheetStage *stage = &sheet->stages[n];
    assert_true(stage->values[planish_plugin_find(stage->plugin, "input_gain")] == 3.3f);
    assert_true(stage->values[planish_plugin_find(stage->plugin, "release")] == 33.0f);
    assert_null(stage->preset);
  }
  assert_null(strstr(text, "ceiling")); /* as by default */
  planish_sheet_free(sheet);
  remove(in_folder("loud.lv2/level.ttl"));
  remove(in_folder("loud.lv2/manifest.ttl"));
}

/* 0.1 is in a range that begins at 0.1f; a switch that a host saved at 0.5 is on (LV2
 * specification, lv2:toggled: over 0). */
static void odd_values_of_hosts_are_taken(void **state)
{
  empty_folder(state);
  write_text("half.ttl", "@prefix lv2: <http://lv2plug.in/ns/lv2core#> .\n"
                         "@prefix pset: <http://lv2plug.in/ns/ext/presets#> .\n"
                         "<> a pset:Preset ; lv2:appliesTo <urn:planish:clipper> ;\n"
                         "  <http://www.w3.org/2000/01/rdf-schema#label> \"Half\" ;\n"
                         "  lv2:port [ lv2:symbol \"hold_true_peak\" ; pset:value 0.5 ] .\n");
  char text[1024];
  snprintf(text, sizeof text,
           "planish: 1\nstages:\n  - {stage: clipper, name: a, preset: \"%s\"}\n"
           "  - {stage: ms-eq, name: b, b1_q: 0.1}\n",
           name("half.ttl"));
  PlanishSheet *sheet = sheet_of(host, text);
  assert_non_null(sheet);
  const PlanishPlugin *clipper = sheet->stages[0].plugin;
  const PlanishPlugin *equaliser = sheet->stages[1].plugin;
  assert_true(sheet->stages[0].values[planish_plugin_find(clipper, "hold_true_peak")] == 1.0f);
  assert_true(sheet->stages[1].values[planish_plugin_find(equaliser, "b1_q")] == 0.1f);
  planish_sheet_free(sheet);
}

/* A label may be the name that another got for being the second of its kind. */
static void presets_get_names_of_their_own(void **state)
{
  empty_folder(state);
  mkdir(in_folder("many"), 0700);
  static const char *const files[] = {"many/a.ttl", "many/b.ttl", "many/c.ttl"};
  static const char *const labels[] = {"X 3", "X", "X"};
  for (int n = 0; n < 3; ++n) {
    char text[400];
    snprintf(text, sizeof text,
             "@prefix lv2: <http://lv2plug.in/ns/lv2core#> .\n"
             "@prefix pset: <http://lv2plug.in/ns/ext/presets#> .\n"
             "<> a pset:Preset ; lv2:appliesTo <urn:planish:limiter> ;\n"
             "  <http://www.w3.org/2000/01/rdf-schema#label> \"%s\" ;\n"
             "  lv2:port [ lv2:symbol \"release\" ; pset:value %d.0 ] .\n",
             labels[n], 20 + n);
    write_text(files[n], text);
  }
  Outcome outcome = RUN("sheet", "from", name(files[0]), name(files[1]), name(files[2]));
  expect(&outcome, 0, "");
  PlanishSheet *sheet = sheet_of(host, outcome.out);
  assert_non_null(sheet);
  assert_int_equal(sheet->stage_count, 3);
  assert_string_equal(sheet->stages[0].name, "x-3");
  assert_string_equal(sheet->stages[1].name, "x");
  assert_string_equal(sheet->stages[2].name, "x-4");
  planish_sheet_free(sheet);
  for (int n = 0; n < 3; ++n) {
    remove(in_folder(files[n]));
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_starting_sheet_can_be_used_as_it_is),
      cmocka_unit_test(nothing_is_written_over),
      cmocka_unit_test(mistakes_and_misuse_are_told),
      cmocka_unit_test(settings_survive_a_host),
      cmocka_unit_test(settings_survive_a_decimal_comma),
      cmocka_unit_test(a_resolved_sheet_of_every_stage_comes_back),
      cmocka_unit_test(presets_by_file_become_a_sheet),
      cmocka_unit_test(odd_values_of_hosts_are_taken),
      cmocka_unit_test(presets_get_names_of_their_own),
  };
  return cmocka_run_group_tests(tests, open_presets, close_presets);
}
