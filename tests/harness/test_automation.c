/* Controls that move are where the sheet says, to the frame, whatever the blocks are. */
#include "harness/render/automation.h"

#include "harness/host/host.h"
#include "tests/harness/render_fixture.h"

enum { RATE = 48000, LENGTH = 1500000, GRID = 32 };

static PlanishHost *host;

static int open_all(void **state)
{
  PlanishError error = {0};
  host = planish_host_open(&error);
  if (host == NULL || make_folder(state) != 0) {
    return -1;
  }
  /* Ones, so that the result of a gain is the gain. */
  float *ones = malloc(2 * LENGTH * sizeof *ones);
  for (size_t n = 0; n < 2 * LENGTH; ++n) {
    ones[n] = 1.0f;
  }
  write_audio("ones.wav", SF_FORMAT_WAV | SF_FORMAT_FLOAT, RATE, 2, ones, LENGTH);
  free(ones);
  return 0;
}

static int close_all(void **state)
{
  planish_host_free(host);
  return remove_folder(state);
}

static Result render(const char *text, uint64_t from, uint64_t to)
{
  PlanishError error = {0};
  Run run = {.from = from, .to = to};
  const Result result = render_sheet(host, text, "ones.wav", &run, &error);
  assert_non_null(result.samples);
  return result;
}

/* What the sheet asks for at a frame, on its own reading: {frame, dB, step} in order of time. */
typedef struct {
  double frame;
  double db;
  bool step;
} Point;

static double wanted(const Point *points, size_t count, double frame)
{
  size_t n = 0;
  while (n + 1 < count && points[n + 1].frame <= frame) {
    n += 1;
  }
  if (n + 1 == count || points[n + 1].step) {
    return points[n].db;
  }
  return points[n].db + (points[n + 1].db - points[n].db) * (frame - points[n].frame) /
                            (points[n + 1].frame - points[n].frame);
}

static double level(float sample)
{
  return 20.0 * log10((double)sample);
}

/* The stage steps at points and at every 32nd of its own frames; `early` is how far the mix's frame
 * 0 lies behind one of those. */
static double largest_error(const Result *result, size_t first, const Point *points, size_t count,
                            unsigned early)
{
  double largest = 0.0;
  for (size_t n = 0; n < result->frames; ++n) {
    const size_t frame = first + n;
    size_t held = (frame + early) / GRID * GRID;
    held = held > early ? held - early : 0;
    for (size_t p = 0; p < count; ++p) {
      const size_t at = (size_t)points[p].frame;
      held = at <= frame && at > held ? at : held;
    }
    largest =
        fmax(largest, fabs(level(result->samples[2 * n]) - wanted(points, count, (double)held)));
  }
  return largest;
}

#define POINTS                                                                                     \
  "- {at: 0.1, value: -3}\n    - {at: 0.25, value: 5, move: step}\n"                               \
  "    - {at: 0.25001, value: -6}\n    - {at: 0:12.5, value: 1.5}\n"                               \
  "    - {at: 20, value: 12}\n    - {at: 20, value: -12, move: step}\n"
static const Point points[] = {{0, 2, true},       {4800, -3, false},    {12000, 5, true},
                               {12000, -6, false}, {600000, 1.5, false}, {960000, 12, false},
                               {960000, -12, true}};
enum { COUNT = sizeof points / sizeof *points };

static void points_and_lines_are_met_to_the_frame(void **state)
{
  (void)state;
  static const struct {
    const char *ahead;
    unsigned latency;
    double preroll;
  } cases[] = {
      {"", 0, 0.0},
      {"{stage: test-delay, name: late, taps: 77}, ", 77, 0.0},
      {"{stage: test-delay, name: late, taps: 32}, ", 32, 1.0},
      {"{stage: test-delay, name: x, taps: 1000}, {stage: test-delay, name: y, taps: 31}, ", 1031,
       0.3},
  };
  for (size_t n = 0; n < sizeof cases / sizeof *cases; ++n) {
    char text[900];
    snprintf(text, sizeof text,
             "planish: 1\npreroll: %g\nstages: [%s{stage: test-mono, name: a, gain: 2}, "
             "{stage: test-delay, name: after, taps: 555}]\nautomation:\n  a.gain:\n    " POINTS,
             cases[n].preroll, cases[n].ahead);
    Result result = render(text, 0, LENGTH);
    const double error = largest_error(&result, 0, points, COUNT, cases[n].latency % GRID);
    print_message("latency %u ahead, pre-roll %g s: off by at most %.7f dB\n", cases[n].latency,
                  cases[n].preroll, error);
    assert_true(error < 2e-6);
    free(result.samples);
  }
}

static void an_excerpt_moves_as_the_whole_does(void **state)
{
  (void)state;
  static const char text[] =
      "planish: 1\nstages: [{stage: test-delay, name: late, taps: 77}, "
      "{stage: test-mono, name: a, gain: 2}]\nautomation:\n  a.gain:\n    " POINTS;
  static const uint64_t parts[][2] = {
      {0, 20000}, {11990, 12010}, {700000, 990000}, {1400000, LENGTH}};
  Result whole = render(text, 0, LENGTH);
  for (size_t n = 0; n < sizeof parts / sizeof *parts; ++n) {
    Result part = render(text, parts[n][0], parts[n][1]);
    assert_memory_equal(part.samples, whole.samples + 2 * parts[n][0],
                        2 * part.frames * sizeof(float));
    free(part.samples);
  }
  free(whole.samples);
}

/* Switches and choices step, and frames are as good as seconds. */
static void frames_and_switches(void **state)
{
  (void)state;
  static const char text[] =
      "planish: 1\nstages: [{stage: test-delay, name: a, taps: 0}]\n"
      "automation:\n  a.gain: [{at: 1001 frames, value: -6, move: step}, "
      "{at: 1002 frames, value: 0.5, move: step}, {at: 5000 frames, value: 0, move: step}]\n"
      "  a.shape: [{at: 1, value: 4x}]\n  a.enabled: [{at: 2, value: false}]\n";
  static const Point steps[] = {{0, 0, true}, {1001, -6, true}, {1002, 0.5, true}, {5000, 0, true}};
  Result result = render(text, 0, 10000);
  assert_true(largest_error(&result, 0, steps, 4, 0) < 2e-6);
  free(result.samples);
}

static void run_steps(PlanishChain *chain, PlanishChainBlock *block)
{
  PlanishError error = {0};
  for (uint32_t step = 0; step < planish_chain_steps(chain); ++step) {
    assert_true(planish_chain_run(chain, step, block, &error));
  }
}

/* The chain by itself, run in blocks of any size. */
static void samples_do_not_depend_on_blocks(void **state)
{
  (void)state;
  static const char text[] =
      "planish: 1\nstages: [{stage: test-delay, name: late, taps: 77}, "
      "{stage: test-drive, name: a, input_gain: 2}, {stage: test-mono, name: b}]\n"
      "automation:\n  a.input_gain: [{at: 0.01, value: 9}, {at: 0.5, value: -9}]\n"
      "  a.ceiling: [{at: 0.2, value: -12, move: step}, {at: 0.4, value: -1}]\n"
      "  b.gain: [{at: 0.0001, value: 3}, {at: 0.016, value: 0, move: step}]\n";
  enum { FRAMES = 40000 };
  PlanishError error = {0};
  PlanishSheet *sheet = sheet_of(host, text);
  float *music = make_music(FRAMES);
  float *kept[2] = {malloc(2 * FRAMES * sizeof(float)), malloc(2 * FRAMES * sizeof(float))};
  unsigned seed = 11;
  for (int round = 0; round < 12; ++round) {
    PlanishChain *chain = planish_chain_new(sheet, RATE, NULL, &error);
    assert_non_null(chain);
    planish_chain_locate(chain, 500);
    float *out = kept[round > 0];
    for (uint32_t done = 0; done < FRAMES;) {
      static PlanishChainBlock block;
      seed = seed * 1664525U + 1013904223U;
      uint32_t count =
          round == 0 ? PLANISH_CHAIN_BLOCK : 1 + (seed >> 8) % (1u << (round % 10 + 1));
      count = count < FRAMES - done ? count : FRAMES - done;
      block.at = done;
      block.frames = count;
      for (uint32_t n = 0; n < count; ++n) {
        block.audio[0][0][n] = music[2 * (done + n)];
        block.audio[0][1][n] = music[2 * (done + n) + 1];
      }
      run_steps(chain, &block);
      for (uint32_t n = 0; n < count; ++n) {
        out[2 * (done + n)] = block.audio[block.holds][0][n];
        out[2 * (done + n) + 1] = block.audio[block.holds][1][n];
      }
      done += count;
    }
    planish_chain_free(chain);
    assert_memory_equal(kept[0], out, 2 * FRAMES * sizeof(float));
  }
  free(kept[0]);
  free(kept[1]);
  free(music);
  planish_sheet_free(sheet);
}

/* Values are handed over where they change and on the grid, nowhere else. */
static void values_are_handed_over_on_the_grid(void **state)
{
  (void)state;
  PlanishError error = {0};
  PlanishMoves moves;
  PlanishSheet *sheet = sheet_of(
      host, "planish: 1\nstages: [{stage: test-mono, name: a}]\nautomation:\n"
            "  a.gain: [{at: 10 frames, value: 0, move: step}, {at: 100 frames, value: 6}, "
            "{at: 300 frames, value: 6}, {at: 301 frames, value: 1, move: step}]\n");
  assert_true(planish_moves_new(&moves, sheet, 0, RATE, &error));
  assert_int_equal(moves.count, 1);
  static const uint64_t expected[] = {15, 32, 64, 96, 105, 305, 306, UINT64_MAX};
  uint64_t at = 0;
  for (size_t n = 0; n < sizeof expected / sizeof *expected; ++n) {
    planish_move_value(&moves.moves[0], 5, at);
    at = planish_moves_next(&moves, 5, at);
    assert_int_equal(at, expected[n]);
  }
  planish_moves_free(&moves);
  planish_moves_free(&moves);
  planish_sheet_free(sheet);
}

static void the_command_line_leaves_automation_alone(void **state)
{
  (void)state;
  PlanishError error = {0};
  PlanishSheet *sheet = sheet_of(host, "planish: 1\nstages: [{stage: test-mono, name: a}]\n"
                                       "automation: {a.gain: [{at: 0, value: 3}]}\n");
  assert_true(sheet->stages[0].values[2] == 3.0f);
  assert_false(planish_sheet_set_control(sheet, "a.gain=1", false, &error));
  assert_non_null(strstr(error.text, "automates"));
  planish_sheet_free(sheet);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(points_and_lines_are_met_to_the_frame),
      cmocka_unit_test(an_excerpt_moves_as_the_whole_does),
      cmocka_unit_test(frames_and_switches),
      cmocka_unit_test(samples_do_not_depend_on_blocks),
      cmocka_unit_test(values_are_handed_over_on_the_grid),
      cmocka_unit_test(the_command_line_leaves_automation_alone),
  };
  return cmocka_run_group_tests(tests, open_all, close_all);
}
