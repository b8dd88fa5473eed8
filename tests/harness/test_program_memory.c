/* Allocations of a master's making, of recall, revision, check, comparison, delivery and of an
 * album fail, each once, or every few of what takes long: it is told, nothing crashes, nothing is
 * left behind. (A build with the address sanitiser also sees what leaks.) */
#include "harness/album/album_make.h"
#include "harness/album/album_page.h"
#include "harness/album/cd_lists.h"
#include "harness/check/check_file.h"
#include "harness/compare/compare.h"
#include "harness/deliver/deliver.h"
#include "harness/host/host.h"
#include "harness/recall/recall.h"
#include "harness/recall/recall_file.h"
#include "harness/recall/revise.h"
#include "harness/render/master.h"
#include "harness/sheet/sheet_presets.h"
#include "tests/harness/files_fixture.h"
#include "tests/unit/cmocka_headers.h"

#include <fftw3.h>

enum { LENGTH = 30000 };

static long countdown = -1; /* allocations until one fails; negative: none does */
static long asked;

static bool fails(void)
{
  asked += 1;
  return countdown >= 0 && countdown-- == 0;
}

void *__real_malloc(size_t size);
void *__real_calloc(size_t count, size_t size);
void *__real_realloc(void *block, size_t size);
void *__wrap_malloc(size_t size);
void *__wrap_calloc(size_t count, size_t size);
void *__wrap_realloc(void *block, size_t size);

void *__wrap_malloc(size_t size)
{
  return fails() ? NULL : __real_malloc(size);
}

void *__wrap_calloc(size_t count, size_t size)
{
  return fails() ? NULL : __real_calloc(count, size);
}

void *__wrap_realloc(void *block, size_t size)
{
  return fails() ? NULL : __real_realloc(block, size);
}

void *__real_aligned_alloc(size_t alignment, size_t size);
void *__wrap_aligned_alloc(size_t alignment, size_t size);
double *__real_fftw_alloc_real(size_t count);
double *__wrap_fftw_alloc_real(size_t count);
fftw_complex *__real_fftw_alloc_complex(size_t count);
fftw_complex *__wrap_fftw_alloc_complex(size_t count);
float *__real_fftwf_alloc_real(size_t count);
float *__wrap_fftwf_alloc_real(size_t count);
fftwf_complex *__real_fftwf_alloc_complex(size_t count);
fftwf_complex *__wrap_fftwf_alloc_complex(size_t count);

void *__wrap_aligned_alloc(size_t alignment, size_t size)
{
  return fails() ? NULL : __real_aligned_alloc(alignment, size);
}

double *__wrap_fftw_alloc_real(size_t count)
{
  return fails() ? NULL : __real_fftw_alloc_real(count);
}

fftw_complex *__wrap_fftw_alloc_complex(size_t count)
{
  return fails() ? NULL : __real_fftw_alloc_complex(count);
}

float *__wrap_fftwf_alloc_real(size_t count)
{
  return fails() ? NULL : __real_fftwf_alloc_real(count);
}

fftwf_complex *__wrap_fftwf_alloc_complex(size_t count)
{
  return fails() ? NULL : __real_fftwf_alloc_complex(count);
}

static const char text[] =
    "planish: 1\n"
    "input: {loudness: -18, dc: remove}\n"
    "rate: 48000\n"
    "target: {loudness: -17, ceiling: -0.5, by: drive.input_gain, ceiling_at: [drive.ceiling]}\n"
    "preroll: 0\n"
    "stages: [{stage: test-delay, name: a, preset: Loud, gain: 0}, {stage: test-drive, name: "
    "drive},\n"
    "         {stage: test-mono, name: m}]\n"
    "automation: {m.gain: [{at: 0.1, value: 1}], a.gain: [{at: 0.2, value: 2}]}\n"
    "head_silence: 0.1\nfade_out: {length: 0.1, shape: s-shaped}\ntail: 0.1\n";

static char mix_path[512];
static char low_path[512];
static char out_path[512];
static char matched_path[512];
static char out_note_path[520]; /* of what is at out_path */
static char note_path[512];     /* of a master that stands */
static char new_path[512];

static bool master(PlanishHost *host, PlanishSheet *sheet, PlanishError *error)
{
  (void)host;
  PlanishReader *mix = planish_mix_open(mix_path, sheet, false, error);
  if (mix == NULL) {
    return false;
  }
  const PlanishMasterJob job = {.mix = mix,
                                .sheet = sheet,
                                .out = out_path,
                                .matched = matched_path,
                                .to = planish_reader_frames(mix)};
  PlanishMasterReport report;
  const bool done = planish_master(&job, &report, error);
  planish_master_report_free(&report);
  planish_reader_free(mix);
  return done;
}

static bool make_master(PlanishError *error)
{
  PlanishHost *host = planish_host_open(error);
  PlanishMistakes mistakes = {0};
  PlanishSheet *sheet =
      host == NULL ? NULL : planish_sheet_parse(text, sizeof text - 1, host, false, &mistakes);
  bool done = sheet != NULL && master(host, sheet, error);
  if (host != NULL && sheet == NULL) {
    assert_true(mistakes.count > 0);
    planish_fail(error, mistakes.list[0].outcome, "%s", mistakes.list[0].text);
  }
  planish_mistakes_free(&mistakes);
  planish_sheet_free(sheet);
  planish_host_free(host);
  return done;
}

/* Presets become a sheet, and that becomes presets. */
static bool make_presets(PlanishError *error)
{
  static const char *const presets[] = {"urn:planish:test-drive:preset:loud", "Whole numbers"};
  PlanishHost *host = planish_host_open(error);
  PlanishSheet *sheet = host == NULL ? NULL : planish_sheet_from_presets(host, presets, 2, error);
  const bool done = sheet != NULL && planish_sheet_write_presets(sheet, out_path, "x", error);
  planish_sheet_free(sheet);
  planish_host_free(host);
  return done;
}

/* What a render leaves beside its master, ... */
static bool note_master(PlanishError *error)
{
  PlanishHost *host = planish_host_open(error);
  PlanishMistakes mistakes = {0};
  PlanishSheet *sheet =
      host == NULL ? NULL : planish_sheet_parse(text, sizeof text - 1, host, false, &mistakes);
  PlanishReader *mix = sheet == NULL ? NULL : planish_mix_open(mix_path, sheet, false, error);
  PlanishRecallFile file;
  bool done = mix != NULL && planish_recall_file_start(&file, "1", mix_path, false, error);
  if (done) {
    const PlanishMasterJob job = {.mix = mix,
                                  .sheet = sheet,
                                  .out = out_path,
                                  .to = planish_reader_frames(mix),
                                  .made = planish_recall_file_write,
                                  .made_user = &file};
    PlanishMasterReport report;
    done = planish_master(&job, &report, error);
    planish_master_report_free(&report);
  } else if (mistakes.count > 0) {
    planish_fail(error, mistakes.list[0].outcome, "%s", mistakes.list[0].text);
  }
  planish_reader_free(mix);
  planish_mistakes_free(&mistakes);
  planish_sheet_free(sheet);
  planish_host_free(host);
  return done;
}

static PlanishSheet *read_note(PlanishHost *host, PlanishError *error)
{
  PlanishMistakes mistakes = {0};
  PlanishSheet *sheet = host == NULL ? NULL : planish_sheet_read(note_path, host, false, &mistakes);
  if (host != NULL && sheet == NULL) {
    planish_fail(error, mistakes.list[0].outcome, "%s", mistakes.list[0].text);
  }
  planish_mistakes_free(&mistakes);
  return sheet;
}

/* ... made again by it, with a version that has changed, ... */
static bool recall_master(PlanishError *error)
{
  PlanishHost *host = planish_host_open(error);
  PlanishSheet *sheet = read_note(host, error);
  bool done = sheet != NULL;
  if (done) {
    const PlanishRecallJob job = {
        .file = note_path, .sheet = sheet, .out = out_path, .program = "2"};
    PlanishRecallResult result;
    done = planish_recall(&job, &result, error);
    assert_true(!done || (result.same && result.change_count == 1));
    planish_recall_result_release(&result);
  }
  planish_sheet_free(sheet);
  planish_host_free(host);
  return done;
}

/* ... and held against another mix. */
static bool revise_master(PlanishError *error)
{
  PlanishHost *host = planish_host_open(error);
  PlanishSheet *sheet = read_note(host, error);
  bool done = sheet != NULL;
  if (done) {
    const PlanishReviseJob job = {.side = {{.path = note_path, .sheet = sheet}, {.path = new_path}},
                                  .level = -60.0};
    PlanishRevision revision;
    done = planish_revise(&job, &revision, error);
    planish_revision_release(&revision);
  }
  planish_sheet_free(sheet);
  planish_host_free(host);
  return done;
}

static bool check(PlanishError *error)
{
  PlanishCheckResult result;
  return planish_check_file(mix_path, false, NULL, NULL, &result, error);
}

/* At two rates, so that there is a converter as well. */
static bool compare(PlanishError *error)
{
  const PlanishCompareSetup setup = {.path = {low_path, mix_path}};
  PlanishComparison result;
  return planish_compare(&setup, &result, error);
}

/* To a file with dither and chunks, at another rate; and to one with comments, and a coded one that
 * passes its ceiling. */
static bool deliver(PlanishError *error)
{
  static const char *const specs[] = {
      "delivery: 1\nformat: wav\nrate: 48000\nbits: 16\ndither: shaped\nceiling: -20\nname: out\n"
      "bext: {description: d}\nmetadata: {title: t, isrc: AA6Q72000047}\n",
      "delivery: 1\nformat: flac\nname: out\nmetadata: {title: t, isrc: AA6Q72000047}\n",
      "delivery: 1\nformat: vorbis\nquality: 0\nname: out\ndecoded_ceiling: -30\n"};
  bool done = true;
  PlanishSource *source = planish_source_new(mix_path, NULL, NULL, error);
  for (size_t n = 0; source != NULL && done && n < sizeof specs / sizeof *specs; ++n) {
    PlanishMistakes mistakes = {0};
    PlanishSpec *spec = planish_spec_parse(specs[n], strlen(specs[n]), "s", &mistakes);
    const PlanishDeliverJob job = {.source = source, .spec = spec, .force = true};
    PlanishDelivery *delivery = spec == NULL ? NULL : planish_delivery_new(&job, error);
    done = delivery != NULL && planish_delivery_make(delivery, error);
    if (spec == NULL) {
      planish_fail(error, mistakes.list[0].outcome, "%s", mistakes.list[0].text);
    }
    planish_delivery_free(delivery);
    planish_spec_free(spec);
    planish_mistakes_free(&mistakes);
  }
  planish_source_free(source);
  /* What is whole stays. */
  for (size_t n = 0; n < 3 && !done; ++n) {
    remove(in_folder(n == 0 ? "out.wav" : n == 1 ? "out.flac" : "out.ogg"));
  }
  return source != NULL && done;
}

static const char chain[] = "planish: 1\n"
                            "target: {loudness: -17, by: drive.input_gain}\n"
                            "stages: [{stage: test-drive, name: drive}]\n";
static const char album_text[] = "album: 1\nsheet: chain.yaml\ntitle: t\nname: \"{track}\"\n"
                                 "tracks: [{mix: mix.wav}, {mix: mix.wav, gap: 0}]\n";

static bool make_planned(const PlanishAlbumJob *job, PlanishError *error)
{
  PlanishAlbumResult result = {0};
  PlanishAlbumPlan *plan = planish_album_plan_new(job, error);
  bool done = plan != NULL && planish_album_make(plan, job, &result, error);
  size_t size = 0;
  char *texts[3] = {NULL};
  if (done) {
    texts[0] = planish_album_page(plan, &result, &size);
    texts[1] = planish_cd_cue(plan, "x.wav", &size);
    texts[2] = planish_cd_pq(plan, &size);
  }
  for (size_t n = 0; n < 3; ++n) {
    if (done && texts[n] == NULL) {
      done = planish_fail_memory(error);
    }
    free(texts[n]);
  }
  planish_album_result_free(&result);
  planish_album_plan_free(plan);
  return done;
}

/* Two tracks that run on, in processes of their own, in which allocations fail as well. */
static bool make_album(PlanishError *error)
{
  PlanishHost *host = planish_host_open(error);
  PlanishAlbumMistakes mistakes = {0};
  char path[512];
  snprintf(path, sizeof path, "%s", in_folder("album.yaml"));
  PlanishAlbum *album =
      host == NULL ? NULL
                   : planish_album_parse(album_text, sizeof album_text - 1, path, host, &mistakes);
  const PlanishAlbumJob job = {
      .album = album, .host = host, .folder = files_folder, .program = "1", .cores = 1};
  const bool done = album != NULL && make_planned(&job, error);
  if (host != NULL && album == NULL) {
    const PlanishMistakes *told = mistakes.album.count > 0 ? &mistakes.album : &mistakes.sheet;
    assert_true(told->count > 0);
    planish_fail(error, told->list[0].outcome, "%s", told->list[0].text);
  }
  planish_album_mistakes_free(&mistakes);
  planish_album_free(album);
  planish_host_free(host);
  /* What is whole stays. */
  for (size_t n = 0; n < 4 && !done; ++n) {
    static const char *const files[] = {"01.wav", "01.wav.yaml", "02.wav", "02.wav.yaml"};
    remove(in_folder(files[n]));
  }
  return done;
}

static void clean_up(void)
{
  static const char *const masters[] = {"01.wav", "01.wav.yaml", "02.wav", "02.wav.yaml"};
  for (size_t n = 0; n < sizeof masters / sizeof *masters; ++n) {
    remove(in_folder(masters[n]));
  }
  remove(in_folder("out.flac"));
  remove(in_folder("out.ogg"));
  static const char *const files[] = {"manifest", "loud", "whole-numbers"};
  for (size_t n = 0; n < sizeof files / sizeof *files; ++n) {
    char path[600];
    snprintf(path, sizeof path, "%s/%s.ttl", out_path, files[n]);
    remove(path);
  }
  remove(out_path);
  remove(matched_path);
  remove(out_note_path);
}

/* `files`: that stand where it is done. Of what takes long every `step`th fails. */
static void walk(bool (*make)(PlanishError *error), int files, long step)
{
  PlanishError error = {0};
  countdown = -1;
  asked = 0;
  const bool works = make(&error);
  assert_string_equal(error.text, "");
  assert_true(works);
  const long count = asked;
  clean_up();
  const int before = count_files();
  long told = 0;
  for (long n = 0; n < count; n += step) {
    planish_error_clear(&error);
    countdown = n;
    const bool done = make(&error);
    countdown = -1;
    assert_true(done == (error.outcome == PLANISH_DONE));
    assert_int_equal(count_files(), done ? before + files : before);
    clean_up();
    told += done ? 0 : 1;
  }
  print_message("%ld allocations, %ld of which end the work\n", (count + step - 1) / step, told);
  assert_true(told > count / step / 2);
}

static void each_allocation_of_a_master_may_fail(void **state)
{
  (void)state;
  walk(make_master, 2, 1);
}

static void each_allocation_of_presets_may_fail(void **state)
{
  (void)state;
  walk(make_presets, 1, 1);
}

static void each_allocation_of_a_recall_may_fail(void **state)
{
  (void)state;
  PlanishError error = {0};
  char path[512];
  walk(note_master, 2, 1);
  /* One that stays. */
  memcpy(path, out_path, sizeof path);
  snprintf(out_path, sizeof out_path, "%s", in_folder("kept.wav"));
  assert_true(note_master(&error));
  memcpy(out_path, path, sizeof path);
  walk(recall_master, 1, 1);
}

static void each_allocation_of_a_revision_may_fail(void **state)
{
  (void)state;
  walk(revise_master, 0, 3);
}

static void each_allocation_of_a_check_may_fail(void **state)
{
  (void)state;
  walk(check, 0, 1);
}

static void each_allocation_of_a_comparison_may_fail(void **state)
{
  (void)state;
  walk(compare, 0, 4);
}

static void each_allocation_of_a_delivery_may_fail(void **state)
{
  (void)state;
  walk(deliver, 3, 2);
}

static void each_allocation_of_an_album_may_fail(void **state)
{
  (void)state;
  write_text("chain.yaml", chain);
  walk(make_album, 4, 1);
  remove(in_folder("chain.yaml"));
}

static int open_all(void **state)
{
  if (make_folder(state) != 0) {
    return -1;
  }
  float *music = make_music(LENGTH);
  snprintf(mix_path, sizeof mix_path, "%s",
           write_audio("mix.wav", SF_FORMAT_WAV | SF_FORMAT_FLOAT, 44100, 2, music, LENGTH));
  snprintf(low_path, sizeof low_path, "%s",
           write_audio("low.wav", SF_FORMAT_WAV | SF_FORMAT_FLOAT, 8000, 2, music, LENGTH / 8));
  snprintf(out_path, sizeof out_path, "%s", in_folder("out.wav"));
  snprintf(matched_path, sizeof matched_path, "%s", in_folder("matched.wav"));
  snprintf(out_note_path, sizeof out_note_path, "%s.yaml", out_path);
  snprintf(note_path, sizeof note_path, "%s", in_folder("kept.wav.yaml"));
  snprintf(new_path, sizeof new_path, "%s", in_folder("new.wav"));
  for (int n = 20000; n < 24000; ++n) {
    music[n] *= 0.5f;
  }
  write_audio("new.wav", SF_FORMAT_WAV | SF_FORMAT_FLOAT, 44100, 2, music, LENGTH);
  free(music);
  return 0;
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(each_allocation_of_a_master_may_fail),
      cmocka_unit_test(each_allocation_of_presets_may_fail),
      cmocka_unit_test(each_allocation_of_a_recall_may_fail),
      cmocka_unit_test(each_allocation_of_a_revision_may_fail),
      cmocka_unit_test(each_allocation_of_a_check_may_fail),
      cmocka_unit_test(each_allocation_of_a_comparison_may_fail),
      cmocka_unit_test(each_allocation_of_a_delivery_may_fail),
      cmocka_unit_test(each_allocation_of_an_album_may_fail),
  };
  return cmocka_run_group_tests(tests, open_all, remove_folder);
}
