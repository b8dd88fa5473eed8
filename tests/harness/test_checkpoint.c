/* Renders that begin at a checkpoint: the same samples and accounts as from the start. Through the
 * stages themselves, with pre-roll and some that settle. */
#include "harness/host/host.h"
#include "harness/render/renderer.h"
#include "tests/harness/files_fixture.h"
#include "tests/unit/cmocka_headers.h"

enum { RATE = 48000, LENGTH = 150001, WAVF = SF_FORMAT_WAV | SF_FORMAT_FLOAT, STAGES = 5 };

static const char text[] =
    "planish: 1\n"
    "stages:\n"
    "  - {stage: ms-eq, name: tidy, mono_below: 110, b1_type: high pass, b1_freq: 25}\n"
    "  - {stage: resonance, name: calm}\n"
    "  - {stage: dynamics, name: steer, threshold: -20}\n"
    "  - {stage: limiter, name: first, input_gain: 6}\n"
    "  - {stage: clipper, name: clip, input_gain: 3}\n";

enum { MOVED = 3 }; /* the limiter */

static PlanishHost *host;
static PlanishSheet *sheet;
static PlanishReader *mix;

static int open_all(void **state)
{
  PlanishError error = {0};
  PlanishMistakes mistakes = {0};
  host = planish_host_open(&error);
  if (host == NULL || make_folder(state) != 0) {
    return -1;
  }
  sheet = planish_sheet_parse(text, strlen(text), host, false, &mistakes);
  float *music = make_music(LENGTH);
  write_audio("mix.wav", WAVF, RATE, 2, music, LENGTH);
  free(music);
  mix = planish_reader_open(in_folder("mix.wav"), NULL, &error);
  if (sheet == NULL) {
    print_error("%s\n", mistakes.list[0].text);
  }
  return sheet == NULL || mix == NULL ? -1 : 0;
}

static int close_all(void **state)
{
  planish_reader_free(mix);
  planish_sheet_free(sheet);
  planish_host_free(host);
  return remove_folder(state);
}

/* What came of one render. */
typedef struct {
  float *samples;
  size_t frames;
  PlanishAccount *accounts;
} Result;

static bool keep(void *user, const float *interleaved, size_t frames, PlanishError *error)
{
  Result *result = user;
  (void)error;
  memcpy(result->samples + 2 * result->frames, interleaved, 2 * frames * sizeof *interleaved);
  result->frames += frames;
  return true;
}

static Result render(PlanishCheckpoint *checkpoint, const bool *without, float gain, uint64_t from)
{
  PlanishError error = {0};
  const int port = planish_plugin_find(sheet->stages[MOVED].plugin, "input_gain");
  sheet->stages[MOVED].values[port] = gain;
  Result result = {
      .samples = malloc(2 * LENGTH * sizeof(float)),
      .accounts = calloc(STAGES, sizeof(PlanishAccount)),
  };
  const PlanishRenderJob job = {.mix = mix,
                                .sheet = sheet,
                                .input_gain = 2.5,
                                .from = from,
                                .to = LENGTH,
                                .without = without,
                                .checkpoint = checkpoint};
  assert_true(planish_render(&job, keep, &result, result.accounts, NULL, &error));
  assert_int_equal(result.frames, LENGTH - from);
  return result;
}

static void leave(Result *result)
{
  planish_accounts_free(result->accounts, STAGES);
  free(result->samples);
}

static void expect_same(const Result *a, const Result *b)
{
  assert_int_equal(a->frames, b->frames);
  assert_memory_equal(a->samples, b->samples, 2 * a->frames * sizeof *a->samples);
  for (int n = 0; n < STAGES; ++n) {
    const PlanishAccount *one = &a->accounts[n];
    const PlanishAccount *two = &b->accounts[n];
    assert_true(one->loudness_in == two->loudness_in && one->loudness_out == two->loudness_out);
    assert_true(one->sample_peak_in == two->sample_peak_in);
    assert_true(one->sample_peak_out == two->sample_peak_out);
    assert_int_equal(one->latency, two->latency);
    assert_int_equal(one->report_count, two->report_count);
    for (uint32_t i = 0; i < one->report_count; ++i) {
      assert_true(one->reports[i].port == two->reports[i].port &&
                  one->reports[i].lowest == two->reports[i].lowest &&
                  one->reports[i].highest == two->reports[i].highest &&
                  one->reports[i].sum == two->reports[i].sum);
    }
  }
}

static PlanishCheckpoint checkpoint_ahead_of(uint32_t stages)
{
  return (PlanishCheckpoint){.stages = stages, .beside = in_folder("out.wav")};
}

static void the_samples_are_the_same(void **state)
{
  (void)state;
  static const struct {
    double preroll; /* s; -1: the chain's own */
    uint64_t from;
  } cases[] = {{-1.0, 0}, {0.0, 90000}, {0.7, 0}};
  for (size_t n = 0; n < 3; ++n) {
    sheet->has_preroll = cases[n].preroll >= 0.0;
    sheet->preroll = cases[n].preroll;
    PlanishCheckpoint checkpoint = checkpoint_ahead_of(MOVED);
    for (int pass = 0; pass < 2; ++pass) {
      const float gain = 4.0f + 2.0f * (float)pass;
      Result expected = render(NULL, NULL, gain, cases[n].from);
      Result got = render(&checkpoint, NULL, gain, cases[n].from);
      assert_true(checkpoint.filled && !checkpoint.no_room);
      expect_same(&got, &expected);
      leave(&expected);
      leave(&got);
    }
    planish_checkpoint_release(&checkpoint);
    assert_int_equal(count_files(), 1);
  }
  sheet->has_preroll = false;
}

/* What is kept is not looked at again: a mark in the track comes out at the other end. */
static void it_is_read_and_the_stages_before_are_not_run(void **state)
{
  (void)state;
  PlanishCheckpoint checkpoint = checkpoint_ahead_of(STAGES);
  Result first = render(&checkpoint, NULL, 6.0f, 0);
  const uint64_t total = planish_track_frames(checkpoint.track);
  assert_int_equal(total, checkpoint.feed.total);
  planish_track_clear(checkpoint.track);
  float *marks = calloc(2 * total, sizeof *marks);
  marks[2 * (total - 5)] = 0.25f;
  assert_true(planish_track_write(checkpoint.track, marks, total, NULL));
  Result second = render(&checkpoint, NULL, 6.0f, 0);
  for (size_t n = 0; n < 2 * LENGTH; ++n) {
    assert_true(second.samples[n] == (n == 2 * (LENGTH - 5) ? 0.25f : 0.0f));
  }
  free(marks);
  leave(&first);
  leave(&second);
  planish_checkpoint_release(&checkpoint);
}

static void a_chain_that_is_fed_otherwise_begins_at_the_start(void **state)
{
  (void)state;
  PlanishCheckpoint checkpoint = checkpoint_ahead_of(MOVED);
  Result whole = render(&checkpoint, NULL, 6.0f, 0);
  leave(&whole);
  sheet->has_preroll = true;
  sheet->preroll = 0.0;
  Result expected = render(NULL, NULL, 6.0f, 0);
  Result got = render(&checkpoint, NULL, 6.0f, 0);
  expect_same(&got, &expected);
  sheet->has_preroll = false;
  leave(&expected);
  leave(&got);
  planish_checkpoint_release(&checkpoint);
}

/* A stage that is left out is as one that the sheet does not have. */
static void a_stage_can_be_left_out(void **state)
{
  (void)state;
  static const char shorter[] =
      "planish: 1\n"
      "stages:\n"
      "  - {stage: ms-eq, name: tidy, mono_below: 110, b1_type: high pass, b1_freq: 25}\n"
      "  - {stage: resonance, name: calm}\n"
      "  - {stage: dynamics, name: steer, threshold: -20}\n"
      "  - {stage: limiter, name: first, input_gain: 6}\n";
  const bool without[STAGES] = {[4] = true};
  PlanishCheckpoint checkpoint = checkpoint_ahead_of(MOVED);
  Result whole = render(&checkpoint, NULL, 6.0f, 0);
  Result got = render(&checkpoint, without, 6.0f, 0);
  Result from_start = render(NULL, without, 6.0f, 0);
  expect_same(&got, &from_start);
  PlanishSheet *former = sheet;
  PlanishMistakes mistakes = {0};
  sheet = planish_sheet_parse(shorter, strlen(shorter), host, false, &mistakes);
  Result expected = render(NULL, NULL, 6.0f, 0);
  planish_sheet_free(sheet);
  sheet = former;
  assert_memory_equal(got.samples, expected.samples, 2 * LENGTH * sizeof *got.samples);
  assert_int_equal(got.accounts[4].latency, 0);
  assert_int_equal(got.accounts[4].report_count, 0);
  assert_true(got.accounts[4].loudness_out == got.accounts[4].loudness_in);
  assert_true(memcmp(got.samples, whole.samples, 2 * LENGTH * sizeof *got.samples) != 0);
  leave(&whole);
  leave(&got);
  leave(&from_start);
  leave(&expected);
  planish_checkpoint_release(&checkpoint);
}

static void without_room_nothing_is_kept(void **state)
{
  (void)state;
  PlanishCheckpoint checkpoint = checkpoint_ahead_of(MOVED);
  checkpoint.spare = UINT64_MAX / 2;
  Result expected = render(NULL, NULL, 6.0f, 0);
  for (int pass = 0; pass < 2; ++pass) {
    Result got = render(&checkpoint, NULL, 6.0f, 0);
    expect_same(&got, &expected);
    assert_true(checkpoint.no_room && !checkpoint.filled && checkpoint.track == NULL);
    leave(&got);
  }
  leave(&expected);
  planish_checkpoint_release(&checkpoint);
}

/* The file has no name any more; the system tells what is open. */
static void cut_open_tracks_short(void)
{
  for (int descriptor = 3; descriptor < 64; ++descriptor) {
    char link[64];
    char target[512] = "";
    snprintf(link, sizeof link, "/proc/self/fd/%d", descriptor);
    if (readlink(link, target, sizeof target - 1) > 0 &&
        strstr(target, ".part (deleted)") != NULL) {
      assert_int_equal(ftruncate(descriptor, 100000), 0);
    }
  }
}

static void what_cannot_be_read_back_is_told(void **state)
{
  (void)state;
  PlanishCheckpoint checkpoint = checkpoint_ahead_of(MOVED);
  Result first = render(&checkpoint, NULL, 6.0f, 0);
  leave(&first);
  cut_open_tracks_short();
  PlanishError error = {0};
  const PlanishRenderJob job = {
      .mix = mix, .sheet = sheet, .input_gain = 2.5, .to = LENGTH, .checkpoint = &checkpoint};
  assert_false(planish_render(&job, NULL, NULL, NULL, NULL, &error));
  assert_int_equal(error.outcome, PLANISH_BAD_FILE);
  assert_non_null(strstr(error.text, "cannot read back: temporary file beside"));
  planish_checkpoint_release(&checkpoint);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_samples_are_the_same),
      cmocka_unit_test(it_is_read_and_the_stages_before_are_not_run),
      cmocka_unit_test(a_chain_that_is_fed_otherwise_begins_at_the_start),
      cmocka_unit_test(a_stage_can_be_left_out),
      cmocka_unit_test(without_room_nothing_is_kept),
      cmocka_unit_test(what_cannot_be_read_back_is_told),
  };
  return cmocka_run_group_tests(tests, open_all, close_all);
}
