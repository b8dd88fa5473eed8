/* Renders for tests: a sheet's text and a mix of the tests' folder in, samples out. */
#ifndef PLANISH_TESTS_RENDER_FIXTURE_H
#define PLANISH_TESTS_RENDER_FIXTURE_H

#include "harness/render/renderer.h"
#include "tests/harness/files_fixture.h"
#include "tests/harness/sheet_fixture.h"

typedef struct {
  float *samples; /* NULL: the render failed; free() gives them back */
  size_t frames;
} Result;

typedef struct {
  double gain; /* dB, ahead of the first stage */
  uint64_t from;
  uint64_t to; /* 0: the mix's end */
  PlanishAccount *accounts;
  uint32_t latency;
} Run;

static inline bool keep_result(void *user, const float *interleaved, size_t frames,
                               PlanishError *error)
{
  Result *result = user;
  (void)error;
  memcpy(result->samples + 2 * result->frames, interleaved, 2 * frames * sizeof *interleaved);
  result->frames += frames;
  return true;
}

/* `run` may be NULL: the whole, as it is. */
static inline Result render_sheet(PlanishHost *host, const char *text, const char *mix, Run *run,
                                  PlanishError *error)
{
  Run whole = {0};
  Run *how = run == NULL ? &whole : run;
  PlanishSheet *sheet = sheet_of(host, text);
  assert_non_null(sheet);
  PlanishReader *reader = planish_mix_open(in_folder(mix), sheet, false, error);
  assert_non_null(reader);
  const PlanishRenderJob job = {
      .mix = reader,
      .sheet = sheet,
      .input_gain = how->gain,
      .from = how->from,
      .to = how->to == 0 ? planish_reader_frames(reader) : how->to,
  };
  Result result = {.samples = malloc(2 * planish_render_frames(&job) * sizeof(float))};
  assert_non_null(result.samples);
  if (planish_render(&job, keep_result, &result, how->accounts, &how->latency, error)) {
    assert_int_equal(result.frames, planish_render_frames(&job));
  } else {
    free(result.samples);
    result = (Result){0};
  }
  planish_reader_free(reader);
  planish_sheet_free(sheet);
  return result;
}

#endif
