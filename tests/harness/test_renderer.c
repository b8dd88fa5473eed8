#include "harness/host/host.h"
#include "tests/harness/render_fixture.h"

enum { RATE = 48000, LENGTH = 100001, LONG = 1500000, WAVF = SF_FORMAT_WAV | SF_FORMAT_FLOAT };

static PlanishHost *host;
static float *music;

static int open_all(void **state)
{
  PlanishError error = {0};
  host = planish_host_open(&error);
  if (host == NULL || make_folder(state) != 0) {
    return -1;
  }
  music = make_music(LONG);
  write_audio("mix.wav", WAVF, RATE, 2, music, LENGTH);
  write_audio("long.wav", WAVF, RATE, 2, music, LONG);
  return 0;
}

static int close_all(void **state)
{
  planish_host_free(host);
  free(music);
  return remove_folder(state);
}

static Result render(const char *mix, const char *stages, Run *run, PlanishError *error)
{
  char text[600];
  snprintf(text, sizeof text, "planish: 1\n%s", stages);
  return render_sheet(host, text, mix, run, error);
}

static void latency_is_taken_out_to_the_frame(void **state)
{
  (void)state;
  static const char *const taps[] = {"0", "1", "1023", "1024", "4567", "100000"};
  for (size_t n = 0; n < sizeof taps / sizeof *taps; ++n) {
    char stages[300];
    snprintf(stages, sizeof stages,
             "stages: [{stage: test-delay, name: a, taps: %s}, {stage: test-delay, name: b}]\n",
             taps[n]);
    PlanishError error = {0};
    Run run = {0};
    Result result = render("mix.wav", stages, &run, &error);
    assert_string_equal(error.text, "");
    assert_int_equal(run.latency, atoi(taps[n]) + 32);
    assert_int_equal(result.frames, LENGTH);
    /* The last frames too: silence is fed until they have come out. */
    assert_memory_equal(result.samples, music, 2 * LENGTH * sizeof *music);
    free(result.samples);
  }
}

static void preroll_is_cut_off_again(void **state)
{
  (void)state;
  static const char *const prerolls[] = {"", "preroll: 0\n", "preroll: 0.5\n", "preroll: 100\n"};
  for (size_t n = 0; n < 4; ++n) {
    char stages[300];
    snprintf(stages, sizeof stages, "%sstages: [{stage: test-delay, name: a, taps: 77}]\n",
             prerolls[n]);
    PlanishError error = {0};
    Run run = {0};
    Result result = render("mix.wav", stages, &run, &error);
    assert_int_equal(result.frames, LENGTH);
    assert_memory_equal(result.samples, music, 2 * LENGTH * sizeof *music);
    free(result.samples);
  }
}

/* The test's delay settles in 1.5 s, so the chain hears that much, then silence up to a whole
 * multiple of 65,536 frames, then the mix: its frame counter shows where the mix begins. */
static void preroll_is_as_long_as_it_should_be(void **state)
{
  (void)state;
  static const struct {
    const char *preroll;
    unsigned lead; /* frames ahead of the mix */
  } cases[] = {
      {"", 131072}, /* 72000 + 32 + 12000 */
      {"preroll: 0\n", 0},
      {"preroll: 0.001\n", 65536},
      {"preroll: 1.1\n", 65536}, /* 52800 + 32 + 12000 */
      {"preroll: 1.2\n", 131072},
  };
  for (size_t n = 0; n < sizeof cases / sizeof *cases; ++n) {
    /* The latency wanders once so many frames have passed: in the last block, or never. */
    const unsigned total = cases[n].lead + LENGTH + 32;
    for (unsigned late = 0; late <= 1; ++late) {
      char stages[300];
      snprintf(stages, sizeof stages, "%sstages: [{stage: test-delay, name: a, wander_at: %u}]\n",
               cases[n].preroll, total + late);
      PlanishError error = {0};
      Run run = {0};
      Result result = render("mix.wav", stages, &run, &error);
      assert_int_equal(error.outcome, late == 1 ? PLANISH_DONE : PLANISH_BAD_USE);
      free(result.samples);
    }
  }
}

static void a_latency_that_changes_stops_the_render(void **state)
{
  (void)state;
  PlanishError error = {0};
  Run run = {0};
  render("mix.wav",
         "stages: [{stage: test-delay, name: calm}, "
         "{stage: test-delay, name: restless, wander_at: 50000}]\n",
         &run, &error);
  assert_int_equal(error.outcome, PLANISH_BAD_USE);
  assert_non_null(strstr(error.text, "from 32 to 33 frames: stage restless"));
}

static void the_input_gain_comes_first(void **state)
{
  (void)state;
  PlanishError error = {0};
  Run run = {.gain = -6.0};
  Result result = render("mix.wav", "stages: [{stage: test-delay, name: a}]\n", &run, &error);
  for (size_t n = 0; n < 2 * LENGTH; n += 97) {
    assert_true(fabs((double)result.samples[n] - 0.501187233627272 * (double)music[n]) < 1e-7);
  }
  free(result.samples);
}

static void an_excerpt_is_what_stands_there_in_the_whole(void **state)
{
  (void)state;
  static const uint64_t parts[][2] = {
      {0, 5000}, {70000, 99000}, {1400000, 1400001}, {1234567, LONG}};
  static const char stages[] = "stages: [{stage: test-delay, name: a, taps: 500}, "
                               "{stage: test-drive, name: b, input_gain: 6}]\n";
  PlanishError error = {0};
  Run run = {0};
  Result whole = render("long.wav", stages, &run, &error);
  assert_int_equal(whole.frames, LONG);
  for (size_t n = 0; n < sizeof parts / sizeof *parts; ++n) {
    run = (Run){.from = parts[n][0], .to = parts[n][1]};
    Result part = render("long.wav", stages, &run, &error);
    assert_int_equal(part.frames, parts[n][1] - parts[n][0]);
    assert_memory_equal(part.samples, whole.samples + 2 * parts[n][0],
                        2 * part.frames * sizeof(float));
    free(part.samples);
  }
  free(whole.samples);
}

static void each_stage_is_accounted_for(void **state)
{
  (void)state;
  PlanishError error = {0};
  PlanishAccount *accounts = calloc(2, sizeof *accounts);
  Run run = {.accounts = accounts};
  Result result = render("mix.wav",
                         "stages: [{stage: test-delay, name: a, gain: -7.5, taps: 3000}, "
                         "{stage: test-drive, name: b, input_gain: 12}]\n",
                         &run, &error);
  const double change = accounts[0].loudness_out - accounts[0].loudness_in;
  /* The stretch that is looked at moves with the latency, so the change is the gain. */
  assert_true(fabs(change + 7.5) < 1e-6);
  assert_true(accounts[1].loudness_in == accounts[0].loudness_out);
  assert_true(fabs(accounts[0].sample_peak_out - accounts[0].sample_peak_in + 7.5) < 1e-4);
  assert_int_equal(accounts[0].latency, 3000);
  assert_int_equal(accounts[0].report_count, 1);
  assert_true(fabs((double)accounts[0].reports[0].highest - accounts[0].sample_peak_out) < 1e-4);
  const PlanishReport *reduction = &accounts[1].reports[0];
  assert_true(reduction->lowest < -0.3f && reduction->highest < 0.001f);
  const double mean = reduction->sum / (double)reduction->frames;
  assert_true(mean > (double)reduction->lowest && mean < (double)reduction->highest);
  planish_accounts_free(accounts, 2);
  free(result.samples);
}

static void a_mono_plugin_takes_its_place(void **state)
{
  (void)state;
  PlanishError error = {0};
  Run run = {0};
  Result result =
      render("mix.wav", "stages: [{stage: test-mono, name: a, gain: 6}]\n", &run, &error);
  for (size_t n = 0; n < 2 * LENGTH; n += 97) {
    assert_true(fabs((double)result.samples[n] - 1.99526231496888 * (double)music[n]) < 1e-6);
  }
  free(result.samples);
}

static void foreign_effects_take_their_places(void **state)
{
  (void)state;
  PlanishError error = {0};
  Run run = {0};
  Result result =
      render("mix.wav",
             "stages: [{stage: 'https://example.org/lv2/mono', name: a, preset: Half},\n"
             "         {stage: test-delay, name: b},\n"
             "         {stage: 'https://example.org/lv2/drive', name: c,\n"
             "          controls: {name: 6}}]\n",
             &run, &error);
  assert_string_equal(error.text, "");
  for (size_t n = 0; n < 2 * LENGTH; n += 97) {
    assert_true(fabs((double)result.samples[n] - tanh((double)music[n])) < 1e-6);
  }
  free(result.samples);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(latency_is_taken_out_to_the_frame),
      cmocka_unit_test(preroll_is_cut_off_again),
      cmocka_unit_test(preroll_is_as_long_as_it_should_be),
      cmocka_unit_test(a_latency_that_changes_stops_the_render),
      cmocka_unit_test(the_input_gain_comes_first),
      cmocka_unit_test(an_excerpt_is_what_stands_there_in_the_whole),
      cmocka_unit_test(each_stage_is_accounted_for),
      cmocka_unit_test(a_mono_plugin_takes_its_place),
      cmocka_unit_test(foreign_effects_take_their_places),
  };
  return cmocka_run_group_tests(tests, open_all, close_all);
}
