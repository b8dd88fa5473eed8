/* Parallel branches: what they take, how they line up, what they add, where the sheet writes them.
 * All is arithmetic: stages that delay and apply a gain, held against sums of the mix. */
#include "harness/render/branch.h"

#include "harness/base/workers.h"
#include "harness/host/host.h"
#include "tests/harness/render_fixture.h"

enum { RATE = 48000, LENGTH = 100001 };

static PlanishHost *host;
static float *music;

static int open_all(void **state)
{
  PlanishError error = {0};
  host = planish_host_open(&error);
  if (host == NULL || make_folder(state) != 0) {
    return -1;
  }
  music = make_music(LENGTH);
  write_audio("mix.wav", SF_FORMAT_WAV | SF_FORMAT_FLOAT, RATE, 2, music, LENGTH);
  return 0;
}

static int close_all(void **state)
{
  planish_host_free(host);
  free(music);
  return remove_folder(state);
}

static Result render(const char *stages, Run *run)
{
  char text[2000];
  PlanishError error = {0};
  snprintf(text, sizeof text, "planish: 1\npreroll: 0\nstages:\n%s", stages);
  const Result result = render_sheet(host, text, "mix.wav", run, &error);
  if (result.samples == NULL) {
    print_error("%s\n", error.text);
  }
  assert_non_null(result.samples);
  return result;
}

/* dB of the largest difference from a[0] left + a[1] right on the left, a[2], a[3] on the right. */
static double against(const Result *result, const double a[4])
{
  double largest = 0.0;
  for (size_t n = 0; n < LENGTH; ++n) {
    const double left = (double)music[2 * n];
    const double right = (double)music[2 * n + 1];
    for (size_t c = 0; c < 2; ++c) {
      const double wanted = a[2 * c] * left + a[2 * c + 1] * right;
      assert_true(isfinite(result->samples[2 * n + c]));
      largest = fmax(largest, fabs((double)result->samples[2 * n + c] - wanted));
    }
  }
  return largest > 0.0 ? 20.0 * log10(largest) : -HUGE_VAL;
}

static void neutral_stages_give_twice_what_came(void **state)
{
  (void)state;
  Run run = {0};
  Result result = render("  - branch: twice\n    level: 0\n    stages:\n"
                         "      - {stage: test-delay, name: a, taps: 777}\n"
                         "      - {stage: test-delay, name: b, taps: 33}\n",
                         &run);
  const double null = against(&result, (double[]){2.0, 0.0, 0.0, 2.0});
  printf("    null of the sum against +6.02 dB: %.1f dB\n", null);
  assert_true(null == -HUGE_VAL);
  assert_int_equal(run.latency, 810);
  free(result.samples);
}

static void it_takes_what_the_sheet_says(void **state)
{
  (void)state;
  static const struct {
    const char *take;
    double a[4]; /* of what is taken */
  } cases[] = {
      {"stereo", {1.0, 0.0, 0.0, 1.0}}, {"mid", {0.5, 0.5, 0.5, 0.5}},
      {"side", {0.5, -0.5, -0.5, 0.5}}, {"left", {1.0, 0.0, 0.0, 0.0}},
      {"right", {0.0, 0.0, 0.0, 1.0}},
  };
  for (size_t n = 0; n < sizeof cases / sizeof *cases; ++n) {
    char stages[300];
    snprintf(stages, sizeof stages,
             "  - branch: part\n    take: %s\n    level: -6\n    stages: [{stage: test-delay, "
             "name: a, gain: 3}]\n",
             cases[n].take);
    Result result = render(stages, NULL);
    double a[4] = {1.0, 0.0, 0.0, 1.0};
    for (int i = 0; i < 4; ++i) {
      a[i] += pow(10.0, -3.0 / 20.0) * cases[n].a[i];
    }
    const double null = against(&result, a);
    printf("    %-8s %.1f dB\n", cases[n].take, null);
    assert_true(null < -130.0);
    free(result.samples);
  }
}

static void it_can_add_the_difference_alone(void **state)
{
  (void)state;
  Result result = render("  - branch: part\n    take: mid\n    level: 0\n    add: difference\n"
                         "    stages: [{stage: test-delay, name: a, gain: 6, taps: 500}]\n",
                         NULL);
  const double more = 0.5 * (pow(10.0, 6.0 / 20.0) - 1.0);
  const double null = against(&result, (double[]){1.0 + more, more, more, 1.0 + more});
  printf("    null %.1f dB\n", null);
  assert_true(null < -130.0);
  free(result.samples);
}

/* Ten deep, each with a latency of its own, at 0 dB: innermost x + x, then x + that, ... up to 11
 * times what came. */
static void branches_nest(void **state)
{
  (void)state;
  char text[4000] = "";
  size_t at = 0;
  for (int n = 0; n < 10; ++n) {
    at +=
        (size_t)snprintf(text + at, sizeof text - at,
                         "%*s- branch: deep%d\n%*slevel: 0\n%*sstages:\n%*s- {stage: test-delay, "
                         "name: s%d, taps: %d}\n",
                         2 + 4 * n, "", n, 4 + 4 * n, "", 4 + 4 * n, "", 6 + 4 * n, "", n, 10 + n);
  }
  char sheet[4200];
  PlanishError error = {0};
  Run run = {0};
  snprintf(sheet, sizeof sheet, "planish: 1\nstages:\n%s", text);
  Result result = render_sheet(host, sheet, "mix.wav", &run, &error);
  assert_non_null(result.samples);
  const double null = against(&result, (double[]){11.0, 0.0, 0.0, 11.0});
  printf("    null of ten within another: %.1f dB, latency %u\n", null, run.latency);
  assert_true(null < -110.0); /* floats of up to 11 */
  assert_int_equal(run.latency, 145);
  free(result.samples);
}

/* The stages around a branch meet what they met without it, and are told apart. */
static void each_is_accounted_for(void **state)
{
  (void)state;
  PlanishAccount accounts[4] = {{0}};
  Run run = {.accounts = accounts};
  Result result = render("  - {stage: test-delay, name: before, taps: 100, gain: -3}\n"
                         "  - branch: part\n    level: -10\n    take: side\n    stages:\n"
                         "      - {stage: test-delay, name: in, taps: 50, gain: 4}\n"
                         "  - {stage: test-delay, name: after, taps: 7, gain: 1}\n",
                         &run);
  /* In the order in which sound comes out: before, in, part, after. */
  static const uint32_t latencies[] = {100, 50, 50, 7};
  for (int n = 0; n < 4; ++n) {
    assert_int_equal(accounts[n].latency, latencies[n]);
  }
  assert_int_equal(run.latency, 157);
  assert_true(fabs(accounts[1].loudness_out - accounts[1].loudness_in - 4.0) < 0.01);
  assert_true(accounts[1].loudness_in < accounts[0].loudness_out);
  assert_true(accounts[2].loudness_in == accounts[0].loudness_out);
  assert_true(accounts[2].loudness_out > accounts[2].loudness_in);
  assert_true(accounts[3].loudness_in == accounts[2].loudness_out);
  for (int n = 0; n < 4; ++n) {
    free(accounts[n].reports);
  }
  free(result.samples);
}

/* The level moves where the sheet says, in the mix's time, whatever the latency; it glides. */
static void the_level_moves(void **state)
{
  (void)state;
  char text[600];
  PlanishError error = {0};
  snprintf(
      text, sizeof text,
      "planish: 1\nstages:\n  - branch: part\n    level: -60\n    stages: [{stage: test-delay, "
      "name: a, taps: 3000}]\nautomation:\n  part.level: [{at: 50000 frames, value: 0, "
      "move: step}]\n");
  Result result = render_sheet(host, text, "mix.wav", NULL, &error);
  assert_non_null(result.samples);
  const double quiet = 1.0 + pow(10.0, -3.0);
  double worst = 0.0;
  double last = quiet;
  double steepest = 0.0;
  for (size_t n = 1000; n < LENGTH; ++n) {
    const double x = (double)music[2 * n];
    if (fabs(x) < 0.02) {
      continue;
    }
    const double gain = (double)result.samples[2 * n] / x;
    if (n < 50000) {
      worst = fmax(worst, fabs(gain - quiet));
    } else if (n >= 50000 + 960) {
      worst = fmax(worst, fabs(gain - 2.0));
    }
    steepest = n == 1000 ? 0.0 : fmax(steepest, fabs(gain - last));
    last = gain;
  }
  printf("    worst gain before and after %.2g, steepest step %.4f\n", worst, steepest);
  assert_true(worst < 1e-5);
  assert_true(steepest < 0.25);
  free(result.samples);
}

/* In blocks of any length, and in pieces: the same samples. */
static void blocks_change_no_bit(void **state)
{
  (void)state;
  enum { FRAMES = 4096, DELAY = 300 };
  static const uint32_t blocks[] = {1, 64, 512};
  const float values[] = {PLANISH_TAKE_SIDE, -3.0f, PLANISH_ADD_DIFFERENCE};
  static float whole[2][FRAMES];
  for (size_t k = 0; k < 3; ++k) {
    PlanishBranch *branch = planish_branch_new(RATE, values, DELAY, 512, NULL);
    assert_non_null(branch);
    static float line[2][DELAY + FRAMES];
    memset(line, 0, sizeof line);
    for (uint32_t at = 0; at < FRAMES; at += blocks[k]) {
      const uint32_t frames = blocks[k];
      float in[2][512];
      float out[2][512];
      for (uint32_t n = 0; n < frames; ++n) {
        in[0][n] = music[2 * (at + n)];
        in[1][n] = music[2 * (at + n) + 1];
      }
      if (at == 2048) {
        planish_branch_set_level(branch, -20.0f);
      }
      planish_branch_take(branch, (float *[]){in[0], in[1]},
                          (float *[]){line[0] + DELAY + at, line[1] + DELAY + at}, frames);
      for (int c = 0; c < 2; ++c) { /* the branch's stage: a delay and a half */
        for (uint32_t n = 0; n < frames; ++n) {
          out[c][n] = 0.5f * line[c][at + n];
        }
      }
      planish_branch_add(branch, (float *[]){out[0], out[1]}, (float *[]){out[0], out[1]}, frames);
      for (int c = 0; c < 2; ++c) {
        if (k == 0) {
          memcpy(whole[c] + at, out[c], frames * sizeof(float));
        }
        assert_memory_equal(whole[c] + at, out[c], frames * sizeof(float));
      }
    }
    planish_branch_free(branch);
  }
  planish_branch_free(NULL);
}

static void check_same_account(const PlanishAccount *a, const PlanishAccount *b)
{
  assert_true(a->loudness_in == b->loudness_in && a->loudness_out == b->loudness_out);
  assert_true(a->sample_peak_in == b->sample_peak_in && a->sample_peak_out == b->sample_peak_out);
  assert_true(a->seconds >= 0.0 && b->seconds >= 0.0);
  assert_int_equal(a->report_count, b->report_count);
  for (uint32_t n = 0; n < a->report_count; ++n) {
    assert_true(a->reports[n].lowest == b->reports[n].lowest);
    assert_true(a->reports[n].highest == b->reports[n].highest);
    assert_true(a->reports[n].sum == b->reports[n].sum);
    assert_int_equal(a->reports[n].frames, b->reports[n].frames);
  }
}

/* The whole render on any number of threads, with branches, automation and what stages report. */
static void processors_change_no_bit(void **state)
{
  (void)state;
  static const char text[] =
      "  - {stage: test-delay, name: a, taps: 3001, gain: -2}\n"
      "  - {branch: e, take: mid, level: -9, stages: [{stage: test-delay, name: f, taps: 500}, "
      "{branch: g, level: -20, stages: [{stage: test-drive, name: h, input_gain: 20}]}]}\n"
      "  - {stage: test-mono, name: b, gain: 1}\n"
      "  - {stage: test-drive, name: d, input_gain: 3, ceiling: -3}\n"
      "automation:\n  d.input_gain: [{at: 0.1, value: 9}, {at: 1.5, value: -9}]\n";
  enum { STAGES = 7 };
  static const unsigned limits[] = {1, 2, 3, 7};
  Result results[4];
  Run runs[4] = {{0}};
  for (size_t n = 0; n < 4; ++n) {
    runs[n].accounts = calloc(STAGES, sizeof *runs[n].accounts);
    planish_workers_limit(limits[n]);
    results[n] = render(text, &runs[n]);
  }
  planish_workers_limit(0);
  for (size_t n = 0; n < 4; ++n) {
    assert_memory_equal(results[n].samples, results[0].samples, 2 * LENGTH * sizeof(float));
    for (size_t stage = 0; stage < STAGES; ++stage) {
      check_same_account(&runs[n].accounts[stage], &runs[0].accounts[stage]);
    }
  }
  for (size_t n = 0; n < 4; ++n) {
    planish_accounts_free(runs[n].accounts, STAGES);
    free(results[n].samples);
  }
}

/* What the program writes of it reads back as the same, resolved too. */
static void it_is_written_and_read_again(void **state)
{
  (void)state;
  static const char text[] = "planish: 1\nstages:\n"
                             "  - {stage: test-delay, name: first}\n"
                             "  - branch: outer\n    take: left\n    level: -12.5\n    stages:\n"
                             "      - {stage: test-delay, name: a, gain: 2}\n"
                             "      - branch: inner\n        add: difference\n        stages:\n"
                             "          - {stage: test-drive, name: b, input_gain: 1}\n"
                             "      - {stage: test-delay, name: c}\n"
                             "  - {stage: test-delay, name: last}\n";
  static const char *const names[] = {"first", "a", "b", "inner", "c", "outer", "last"};
  static const uint32_t depths[] = {0, 1, 2, 1, 1, 0, 0};
  static const int around[] = {-1, 5, 3, 5, 5, -1, -1};
  PlanishSheet *sheet = sheet_of(host, text);
  for (int resolved = 0; resolved < 2; ++resolved) {
    const PlanishSheetWriting writing = {.resolved = resolved == 1};
    char *written = text_of_sheet(sheet, &writing);
    PlanishSheet *again = sheet_of(host, written);
    assert_non_null(again);
    assert_int_equal(again->stage_count, 7);
    for (uint32_t n = 0; n < 7; ++n) {
      assert_string_equal(again->stages[n].name, names[n]);
      assert_int_equal(again->stages[n].depth, depths[n]);
      assert_int_equal(planish_sheet_branch_of(again, n), around[n]);
      assert_true(same_stage(&sheet->stages[n], &again->stages[n], true));
    }
    assert_int_equal(again->stages[5].first, 1);
    assert_int_equal(again->stages[3].first, 2);
    planish_sheet_free(again);
    free(written);
  }
  planish_sheet_free(sheet);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(neutral_stages_give_twice_what_came),
      cmocka_unit_test(it_takes_what_the_sheet_says),
      cmocka_unit_test(it_can_add_the_difference_alone),
      cmocka_unit_test(branches_nest),
      cmocka_unit_test(each_is_accounted_for),
      cmocka_unit_test(the_level_moves),
      cmocka_unit_test(blocks_change_no_bit),
      cmocka_unit_test(processors_change_no_bit),
      cmocka_unit_test(it_is_written_and_read_again),
  };
  return cmocka_run_group_tests(tests, open_all, close_all);
}
