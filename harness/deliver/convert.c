#include "harness/deliver/convert.h"

#include "harness/audio/rate_converter.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { QUIET_FRAMES = 64 }; /* in a row, after which the ringing has ended */

static const double half_step = 0x1p-24; /* of 24 bit */

struct PlanishConvert {
  PlanishReader *reader;
  PlanishRateConverter *converter; /* NULL: the rate is the master's */
  uint64_t at;                     /* next frame of the result */
  uint64_t head_end;               /* frames of the result: black up to here, and from there on */
  uint64_t tail_begin;
  bool begun;     /* something has sounded at the head */
  uint64_t quiet; /* frames in a row at the tail */
  float block[2 * PLANISH_CONVERT_BLOCK];
};

static bool read_master(void *user, float *interleaved, size_t frames, size_t *got,
                        PlanishError *error)
{
  return planish_reader_read(user, interleaved, frames, got, error);
}

static bool start(PlanishConvert *convert, double rate, PlanishBlack black, PlanishError *error)
{
  const double from = planish_reader_rate(convert->reader);
  const uint64_t frames = planish_reader_frames(convert->reader);
  if (!planish_reader_seek(convert->reader, 0, error)) {
    return false;
  }
  if (rate == from) {
    return true;
  }
  convert->head_end = (uint64_t)floor((double)black.head * rate / from);
  convert->tail_begin = (uint64_t)ceil((double)(frames - black.tail) * rate / from);
  convert->converter =
      planish_rate_converter_new(from, rate, frames, read_master, convert->reader, error);
  return convert->converter != NULL;
}

PlanishConvert *planish_convert_new(PlanishReader *reader, double rate, PlanishBlack black,
                                    PlanishError *error)
{
  PlanishConvert *convert = calloc(1, sizeof *convert);
  if (convert == NULL) {
    planish_fail_memory(error);
    return NULL;
  }
  convert->reader = reader;
  if (!start(convert, rate, black, error)) {
    planish_convert_free(convert);
    return NULL;
  }
  return convert;
}

void planish_convert_free(PlanishConvert *convert)
{
  if (convert != NULL) {
    planish_rate_converter_free(convert->converter);
    free(convert);
  }
}

static void keep_black(PlanishConvert *convert, double *frame)
{
  const bool quiet = fabs(frame[0]) < half_step && fabs(frame[1]) < half_step;
  const bool head = convert->at < convert->head_end && !convert->begun;
  const bool tail = convert->at >= convert->tail_begin;
  convert->begun = convert->begun || !quiet;
  convert->quiet = tail && (quiet || convert->quiet >= QUIET_FRAMES) ? convert->quiet + 1 : 0;
  if ((head && quiet) || convert->quiet > QUIET_FRAMES) {
    frame[0] = 0.0;
    frame[1] = 0.0;
  }
  convert->at += 1;
}

bool planish_convert_read(PlanishConvert *convert, double *interleaved, size_t frames, size_t *got,
                          PlanishError *error)
{
  if (convert->converter == NULL) {
    if (!planish_reader_read(convert->reader, convert->block, frames, got, error)) {
      return false;
    }
    for (size_t n = 0; n < 2 * *got; ++n) {
      interleaved[n] = (double)convert->block[n];
    }
    return true;
  }
  if (!planish_rate_converter_read_double(convert->converter, interleaved, frames, got, error)) {
    return false;
  }
  for (size_t n = 0; n < *got; ++n) {
    keep_black(convert, interleaved + 2 * n);
  }
  return true;
}
