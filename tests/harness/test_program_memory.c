/* Every allocation of a master's making, of a check and of a comparison fails once: it is told,
 * nothing crashes, nothing is left behind. (A build with the address sanitiser also sees what
 * leaks.) */
#include "harness/check/check_file.h"
#include "harness/compare/compare.h"
#include "harness/host/host.h"
#include "harness/render/master.h"
#include "harness/sheet/sheet_presets.h"
#include "tests/harness/files_fixture.h"
#include "tests/unit/cmocka_headers.h"

#include <fftw3.h>

enum {
  LENGTH = 30000,
  FILES = 2, /* that are there to begin with */
};

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

static void clean_up(void)
{
  static const char *const files[] = {"manifest", "loud", "whole-numbers"};
  for (size_t n = 0; n < sizeof files / sizeof *files; ++n) {
    char path[600];
    snprintf(path, sizeof path, "%s/%s.ttl", out_path, files[n]);
    remove(path);
  }
  remove(out_path);
  remove(matched_path);
}

static void walk(bool (*make)(PlanishError *error), int files)
{
  PlanishError error = {0};
  countdown = -1;
  asked = 0;
  const bool works = make(&error);
  assert_string_equal(error.text, "");
  assert_true(works);
  const long count = asked;
  clean_up();
  assert_int_equal(count_files(), FILES);
  long told = 0;
  for (long n = 0; n < count; ++n) {
    planish_error_clear(&error);
    countdown = n;
    const bool done = make(&error);
    countdown = -1;
    assert_true(done == (error.outcome == PLANISH_DONE));
    assert_int_equal(count_files(), done ? files : FILES);
    clean_up();
    told += done ? 0 : 1;
  }
  print_message("%ld allocations, %ld of which end the work\n", count, told);
  assert_true(told > count / 2);
}

static void each_allocation_of_a_master_may_fail(void **state)
{
  (void)state;
  walk(make_master, FILES + 2);
}

static void each_allocation_of_presets_may_fail(void **state)
{
  (void)state;
  walk(make_presets, FILES + 1);
}

static void each_allocation_of_a_check_may_fail(void **state)
{
  (void)state;
  walk(check, FILES);
}

static void each_allocation_of_a_comparison_may_fail(void **state)
{
  (void)state;
  walk(compare, FILES);
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
  free(music);
  return 0;
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(each_allocation_of_a_master_may_fail),
      cmocka_unit_test(each_allocation_of_presets_may_fail),
      cmocka_unit_test(each_allocation_of_a_check_may_fail),
      cmocka_unit_test(each_allocation_of_a_comparison_may_fail),
  };
  return cmocka_run_group_tests(tests, open_all, remove_folder);
}
