#include "harness/audio/rate_converter.h"

#include <soxr.h>
#include <stdlib.h>
#include <string.h>

enum { BLOCK = 4096 };

struct PlanishRateConverter {
  soxr_t soxr;
  PlanishRateSource source;
  void *user;
  uint64_t left;       /* frames still to be given */
  PlanishError *error; /* of the read that is under way */
  bool failed;
  float block[2 * BLOCK];
  double given[2 * BLOCK]; /* the same */
  double made[2 * BLOCK];
};

uint64_t planish_converted_frames(uint64_t frames, double from, double to)
{
  const uint64_t in = (uint64_t)from;
  const uint64_t out = (uint64_t)to;
  const uint64_t count = frames / in * out + (frames % in * out + in / 2) / in;
  return count > 0 ? count : 1;
}

static size_t pull(void *user, soxr_in_t *data, size_t wanted)
{
  PlanishRateConverter *converter = user;
  size_t got = 0;
  converter->failed = converter->failed ||
                      !converter->source(converter->user, converter->block,
                                         wanted < BLOCK ? wanted : BLOCK, &got, converter->error);
  for (size_t n = 0; !converter->failed && n < 2 * got; ++n) {
    converter->given[n] = (double)converter->block[n];
  }
  *data = converter->failed ? NULL : converter->given;
  return converter->failed ? 0 : got;
}

PlanishRateConverter *planish_rate_converter_new(double from, double to, uint64_t frames,
                                                 PlanishRateSource source, void *user,
                                                 PlanishError *error)
{
  PlanishRateConverter *converter = calloc(1, sizeof *converter);
  if (converter == NULL) {
    planish_fail_memory(error);
    return NULL;
  }
  converter->source = source;
  converter->user = user;
  converter->left = planish_converted_frames(frames, from, to);
  const soxr_io_spec_t doubles = soxr_io_spec(SOXR_FLOAT64_I, SOXR_FLOAT64_I);
  const soxr_quality_spec_t quality = soxr_quality_spec(SOXR_VHQ, SOXR_ROLLOFF_NONE);
  /* One thread: what several give is not promised to be the same. */
  const soxr_runtime_spec_t runtime = soxr_runtime_spec(1);
  soxr_error_t problem = NULL;
  converter->soxr = soxr_create(from, to, 2, &problem, &doubles, &quality, &runtime);
  problem = converter->soxr == NULL ? problem
                                    : soxr_set_input_fn(converter->soxr, pull, converter, BLOCK);
  if (converter->soxr == NULL || problem != NULL) {
    planish_fail(error, PLANISH_BAD_USE, "cannot convert from %g to %g Hz: choose another rate",
                 from, to);
    planish_rate_converter_free(converter);
    return NULL;
  }
  return converter;
}

void planish_rate_converter_free(PlanishRateConverter *converter)
{
  if (converter != NULL) {
    soxr_delete(converter->soxr);
    free(converter);
  }
}

bool planish_rate_converter_read_double(PlanishRateConverter *converter, double *interleaved,
                                        size_t frames, size_t *got, PlanishError *error)
{
  const size_t wanted = converter->left < frames ? (size_t)converter->left : frames;
  size_t done = 0;
  size_t more = 1;
  converter->error = error;
  while (done < wanted && more > 0) {
    more = soxr_output(converter->soxr, interleaved + 2 * done, wanted - done);
    done += more;
  }
  converter->error = NULL;
  if (converter->failed) {
    return false;
  }
  if (soxr_error(converter->soxr) != NULL) {
    return planish_fail_memory(error);
  }
  /* The last frame may lie a rounding beyond the source. */
  memset(interleaved + 2 * done, 0, 2 * (wanted - done) * sizeof *interleaved);
  converter->left -= wanted;
  *got = wanted;
  return true;
}

bool planish_rate_converter_read(PlanishRateConverter *converter, float *interleaved, size_t frames,
                                 size_t *got, PlanishError *error)
{
  size_t count = 1;
  *got = 0;
  while (*got < frames && count > 0) {
    const size_t wanted = frames - *got < BLOCK ? frames - *got : BLOCK;
    if (!planish_rate_converter_read_double(converter, converter->made, wanted, &count, error)) {
      return false;
    }
    for (size_t n = 0; n < 2 * count; ++n) {
      interleaved[2 * *got + n] = (float)converter->made[n];
    }
    *got += count;
  }
  return true;
}
