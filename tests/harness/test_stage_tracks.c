/* The sound between stages and what they report, as taken in one render: the same as that of the
 * chain cut off there, and lined up with the mix to the frame. */
#include "common/dsp/maths.h"
#include "harness/host/host.h"
#include "harness/render/stage_tracks.h"
#include "tests/harness/files_fixture.h"
#include "tests/unit/cmocka_headers.h"

enum { RATE = 48000, LENGTH = 150001, WAVF = SF_FORMAT_WAV | SF_FORMAT_FLOAT };

static const char *const stages[] = {
    "{stage: test-delay, name: a, taps: 3001, gain: -2}",
    "{stage: test-drive, name: b, input_gain: 9}",
    "{stage: test-delay, name: c, taps: 50000}",
    "{stage: test-drive, name: d, input_gain: 3, ceiling: -3}",
};
enum { STAGES = sizeof stages / sizeof *stages };

static PlanishHost *host;

static int open_host(void **state)
{
  PlanishError error = {0};
  host = planish_host_open(&error);
  return host == NULL ? -1 : make_folder(state);
}

static int close_host(void **state)
{
  planish_host_free(host);
  return remove_folder(state);
}

/* One step of the main path, after which comes another. */
static const char *const branched[] = {
    "{stage: test-delay, name: a, taps: 3001, gain: -2}",
    "{branch: e, take: mid, level: -9, stages: [{stage: test-delay, name: f, taps: 500, gain: 1}, "
    "{branch: g, level: -20, stages: [{stage: test-drive, name: h, input_gain: 20}]}]}",
    "{stage: test-drive, name: d, input_gain: 3, ceiling: -3}",
};
enum { BRANCHED = sizeof branched / sizeof *branched };

/* The sheet of the first `count` of these. */
static PlanishSheet *sheet_of(const char *const *list, unsigned count)
{
  char text[600] = "planish: 1\nstages:\n";
  for (unsigned n = 0; n < count; ++n) {
    snprintf(text + strlen(text), sizeof text - strlen(text), "  - %s\n", list[n]);
  }
  PlanishMistakes mistakes = {0};
  PlanishSheet *sheet = planish_sheet_parse(text, strlen(text), host, false, &mistakes);
  assert_non_null(sheet);
  return sheet;
}

typedef struct {
  PlanishReader *mix;
  PlanishSheet *sheet;
  PlanishRenderJob job;
  PlanishError error;
} Scene;

static Scene scene_of_list(const float *samples, const char *const *list, unsigned count,
                           uint64_t from, uint64_t to)
{
  Scene scene = {.sheet = sheet_of(list, count)};
  write_audio("mix.wav", WAVF, RATE, 2, samples, LENGTH);
  scene.mix = planish_reader_open(in_folder("mix.wav"), NULL, &scene.error);
  assert_non_null(scene.mix);
  scene.job = (PlanishRenderJob){
      .mix = scene.mix, .sheet = scene.sheet, .input_gain = -1.5, .from = from, .to = to};
  return scene;
}

static Scene scene_of(const float *samples, unsigned count, uint64_t from, uint64_t to)
{
  return scene_of_list(samples, stages, count, from, to);
}

static void leave(Scene *scene)
{
  assert_string_equal(scene->error.text, "");
  planish_reader_free(scene->mix);
  planish_sheet_free(scene->sheet);
}

static float *samples_of(PlanishTrack *track, uint64_t frames)
{
  PlanishError error = {0};
  float *samples = malloc(2 * frames * sizeof *samples);
  assert_true(planish_track_read(track, 0, samples, frames, &error));
  return samples;
}

/* As the chain of the first `count` stages alone would render it; without stages, the mix with its
 * gain. */
static float *cut_off(const float *music, const char *const *list, unsigned count, uint64_t from,
                      uint64_t to)
{
  float *expected = NULL;
  if (count == 0) {
    expected = malloc(2 * (to - from) * sizeof *expected);
    for (uint64_t n = 0; n < 2 * (to - from); ++n) {
      expected[n] = (float)((double)music[2 * from + n] * planish_gain_of(-1.5));
    }
    return expected;
  }
  Scene cut = scene_of_list(music, list, count, from, to);
  PlanishTrack *track = planish_track_new(in_folder("out.wav"), 0, &cut.error);
  assert_true(planish_render(&cut.job, planish_track_write, track, NULL, NULL, &cut.error));
  assert_int_equal(planish_track_frames(track), to - from);
  expected = samples_of(track, to - from);
  planish_track_free(track);
  leave(&cut);
  return expected;
}

static void each_boundary_is_the_chain_cut_off_there(void **state)
{
  (void)state;
  static const uint64_t parts[][2] = {{0, LENGTH}, {70000, 149000}};
  float *music = make_music(LENGTH);
  for (size_t p = 0; p < 2; ++p) {
    const uint64_t frames = parts[p][1] - parts[p][0];
    Scene whole = scene_of(music, STAGES, parts[p][0], parts[p][1]);
    PlanishStageTracks *all =
        planish_stage_tracks_new(&whole.job, in_folder("out.wav"), NULL, &whole.error);
    assert_non_null(all);
    assert_int_equal(all->count, STAGES + 1);
    for (unsigned n = 0; n <= STAGES; ++n) {
      float *expected = cut_off(music, stages, n, parts[p][0], parts[p][1]);
      float *got = samples_of(all->tracks[n], frames);
      assert_int_equal(planish_track_frames(all->tracks[n]), frames);
      assert_memory_equal(got, expected, 2 * frames * sizeof *got);
      free(expected);
      free(got);
    }
    assert_true(all->accounts[1].loudness_out > all->accounts[1].loudness_in + 3.0);
    planish_stage_tracks_free(all);
    leave(&whole);
  }
  free(music);
}

static void a_branch_is_one_step(void **state)
{
  (void)state;
  static const uint32_t indices[BRANCHED] = {0, 4, 5};
  float *music = make_music(LENGTH);
  Scene whole = scene_of_list(music, branched, BRANCHED, 0, LENGTH);
  PlanishStageTracks *all =
      planish_stage_tracks_new(&whole.job, in_folder("out.wav"), NULL, &whole.error);
  assert_non_null(all);
  assert_int_equal(all->count, BRANCHED + 1);
  assert_int_equal(all->account_count, 6);
  assert_memory_equal(all->stages, indices, sizeof indices);
  for (unsigned n = 0; n <= BRANCHED; ++n) {
    float *expected = cut_off(music, branched, n, 0, LENGTH);
    float *got = samples_of(all->tracks[n], LENGTH);
    assert_memory_equal(got, expected, 2 * LENGTH * sizeof *got);
    free(expected);
    free(got);
  }
  planish_stage_tracks_free(all);
  leave(&whole);
  free(music);
}

static void only_what_is_wanted_is_kept(void **state)
{
  (void)state;
  static const bool wanted[STAGES + 1] = {true, false, false, true, false};
  float *music = make_music(LENGTH);
  Scene scene = scene_of(music, STAGES, 0, LENGTH);
  PlanishStageTracks *tracks =
      planish_stage_tracks_new(&scene.job, in_folder("out.wav"), wanted, &scene.error);
  for (unsigned n = 0; n <= STAGES; ++n) {
    assert_true((tracks->tracks[n] != NULL) == wanted[n]);
  }
  assert_int_equal(planish_track_frames(tracks->tracks[3]), LENGTH);
  planish_stage_tracks_free(tracks);
  planish_stage_tracks_free(NULL);
  leave(&scene);
  free(music);
}

/* Silence but for one frame, and a burst of 100 ms. */
static float *impulse_and_burst(uint64_t impulse, uint64_t burst)
{
  float *samples = calloc(2 * LENGTH, sizeof *samples);
  samples[2 * impulse] = 0.9f;
  for (uint64_t n = burst; n < burst + RATE / 10; ++n) {
    samples[2 * n] = n % 2 == 0 ? 0.8f : -0.8f;
  }
  return samples;
}

static void an_impulse_stands_at_its_frame_everywhere(void **state)
{
  (void)state;
  enum { IMPULSE = 41234, FROM = 30000 };
  float *samples = impulse_and_burst(IMPULSE, 100000);
  Scene scene = scene_of(samples, STAGES, FROM, 90000);
  PlanishStageTracks *tracks =
      planish_stage_tracks_new(&scene.job, in_folder("out.wav"), NULL, &scene.error);
  for (unsigned n = 0; n <= STAGES; ++n) {
    float *got = samples_of(tracks->tracks[n], tracks->frames);
    for (uint64_t at = 0; at < 2 * tracks->frames; ++at) {
      assert_true((got[at] != 0.0f) == (at == 2 * (IMPULSE - FROM)));
    }
    free(got);
  }
  planish_stage_tracks_free(tracks);
  leave(&scene);
  free(samples);
}

/* Two drives, the second 53,001 frames behind the mix: both tell of the burst where it stands in
 * the mix, to a block. */
static void reports_line_up_with_the_mix(void **state)
{
  (void)state;
  enum { BURST = 72000, FROM = 24000 };
  float *samples = impulse_and_burst(0, BURST);
  Scene scene = scene_of(samples, STAGES, FROM, LENGTH);
  PlanishStageTracks *tracks =
      planish_stage_tracks_new(&scene.job, in_folder("out.wav"), NULL, &scene.error);
  const PlanishSeriesSet *set = tracks->series;
  assert_int_equal(set->stretch, 2400);
  assert_int_equal(set->points, (LENGTH - FROM + 2399) / 2400);
  for (unsigned stage = 1; stage < STAGES; stage += 2) {
    const PlanishSeries *series = planish_series_find(set, scene.sheet, stage, "reduction");
    assert_non_null(series);
    assert_int_equal(series->stage, stage);
    for (uint32_t n = 0; n < set->points; ++n) {
      const uint64_t first = FROM + n * set->stretch;
      const bool inside = first >= BURST && first + set->stretch <= BURST + RATE / 10;
      const bool outside = first + set->stretch + PLANISH_CHAIN_BLOCK <= BURST ||
                           first >= BURST + RATE / 10 + PLANISH_CHAIN_BLOCK;
      assert_true(series->points[n].lowest <= series->points[n].highest);
      assert_true(!inside || series->points[n].lowest < -1.0f);
      assert_true(!outside || series->points[n].lowest > -0.01f);
    }
    uint32_t places[10];
    assert_true(planish_series_hardest(set, series, 10, 0, places) >= 2);
    assert_in_range(FROM + places[0] * set->stretch, BURST - 3600, BURST + 4800);
    assert_int_equal(planish_series_hardest(set, series, 10, LENGTH, places), 1);
  }
  assert_null(planish_series_find(set, scene.sheet, 0, "latency"));
  assert_non_null(planish_series_find(set, scene.sheet, 0, "sample_peak"));
  planish_stage_tracks_free(tracks);
  leave(&scene);
  free(samples);
}

static void points_do_not_grow_with_the_file(void **state)
{
  (void)state;
  PlanishError error = {0};
  PlanishSheet *sheet = sheet_of(stages, 2);
  static const uint64_t lengths[] = {1, 2400, 2401, 9600000, 9600001, UINT64_C(518400000)};
  static const uint32_t points[] = {1, 1, 2, 4000, 3999, 4000};
  for (size_t n = 0; n < sizeof lengths / sizeof *lengths; ++n) {
    PlanishSeriesSet *set = planish_series_new(sheet, RATE, lengths[n], &error);
    assert_int_equal(set->points, points[n]);
    assert_true(set->points * set->stretch >= lengths[n]);
    assert_true((set->points - 1) * set->stretch < lengths[n]);
    planish_series_take(set, &(PlanishReported){1, 6, lengths[n] - 1, 1, -3.0f});
    const PlanishSeries *series = planish_series_find(set, sheet, 1, "reduction");
    assert_true(series->points[set->points - 1].lowest == -3.0f);
    assert_true(set->points == 1 || isnan(series->points[0].highest));
    planish_series_free(set);
  }
  planish_series_free(NULL);
  planish_sheet_free(sheet);
}

static void the_hardest_moments_stand_apart(void **state)
{
  (void)state;
  PlanishError error = {0};
  PlanishSheet *sheet = sheet_of(stages, 2);
  PlanishSeriesSet *set = planish_series_new(sheet, RATE, 2400 * 100, &error);
  const PlanishSeries *series = planish_series_find(set, sheet, 1, "reduction");
  static const struct {
    uint32_t point;
    float value;
  } told[] = {{10, -3.0f}, {11, -2.9f}, {50, 2.5f}, {99, -2.0f}, {70, 0.0f}};
  for (size_t n = 0; n < sizeof told / sizeof *told; ++n) {
    planish_series_take(set, &(PlanishReported){1, 6, told[n].point * 2400, 2400, told[n].value});
  }
  uint32_t places[10];
  assert_int_equal(planish_series_hardest(set, series, 10, 2 * 2400, places), 3);
  assert_int_equal(places[0], 10);
  assert_int_equal(places[1], 50);
  assert_int_equal(places[2], 99);
  assert_int_equal(planish_series_hardest(set, series, 10, 2400, places), 4);
  assert_int_equal(places[1], 11);
  assert_int_equal(planish_series_hardest(set, series, 2, 0, places), 2);
  planish_series_free(set);
  planish_sheet_free(sheet);
}

static void room_is_asked_for_ahead(void **state)
{
  (void)state;
  float *music = make_music(LENGTH);
  Scene scene = scene_of(music, STAGES, 0, LENGTH);
  assert_null(planish_stage_tracks_new(&scene.job, in_folder("no/out.wav"), NULL, &scene.error));
  assert_int_equal(scene.error.outcome, PLANISH_BAD_FILE);
  scene.error = (PlanishError){0};
  assert_int_equal(count_files(), 1);
  leave(&scene);
  free(music);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(each_boundary_is_the_chain_cut_off_there),
      cmocka_unit_test(a_branch_is_one_step),
      cmocka_unit_test(only_what_is_wanted_is_kept),
      cmocka_unit_test(an_impulse_stands_at_its_frame_everywhere),
      cmocka_unit_test(reports_line_up_with_the_mix),
      cmocka_unit_test(points_do_not_grow_with_the_file),
      cmocka_unit_test(the_hardest_moments_stand_apart),
      cmocka_unit_test(room_is_asked_for_ahead),
  };
  return cmocka_run_group_tests(tests, open_host, close_host);
}
