#include "harness/deliver/source.h"

#include "harness/audio/audio_reader.h"
#include "harness/audio/rate_converter.h"
#include "harness/base/interrupt.h"
#include "harness/base/text.h"
#include "harness/deliver/convert.h"

#include <stdlib.h>
#include <string.h>

enum { BLOCK = PLANISH_CONVERT_BLOCK, MOST_RATES = 16 };

struct PlanishSource {
  PlanishReader *reader;
  PlanishBlack black;
  PlanishSourceTell tell;
  void *user;
  PlanishMeasurement measured[MOST_RATES];
  size_t count;
};

/* Measures on the way, and finds the black. */
typedef struct {
  PlanishMeasure *measure;
  uint64_t frames;
  uint64_t first; /* frame that sounds */
  uint64_t end;   /* after the last one that does */
  float block[2 * BLOCK];
} Survey;

static bool survey_frames(void *user, const double *interleaved, size_t frames, PlanishError *error)
{
  Survey *survey = user;
  (void)error;
  for (size_t n = 0; n < frames; ++n) {
    const bool sounds = interleaved[2 * n] != 0.0 || interleaved[2 * n + 1] != 0.0;
    survey->block[2 * n] = (float)interleaved[2 * n];
    survey->block[2 * n + 1] = (float)interleaved[2 * n + 1];
    if (sounds) {
      survey->first = survey->end == 0 ? survey->frames + n : survey->first;
      survey->end = survey->frames + n + 1;
    }
  }
  planish_measure_process(survey->measure, survey->block, frames);
  survey->frames += frames;
  return true;
}

/* With what the survey is to fill in. */
static bool play_survey(PlanishSource *source, double rate, Survey *found, PlanishBlack *black,
                        PlanishError *error)
{
  if (!planish_source_play(source, rate, 1.0, 0, survey_frames, found, "measuring", error)) {
    return false;
  }
  planish_measure_finish(found->measure, &source->measured[source->count++]);
  *black = found->end == 0 ? (PlanishBlack){found->frames, 0}
                           : (PlanishBlack){found->first, found->frames - found->end};
  return true;
}

static bool survey(PlanishSource *source, double rate, PlanishBlack *black, PlanishError *error)
{
  Survey *found = calloc(1, sizeof *found);
  if (found == NULL) {
    return planish_fail_memory(error);
  }
  found->measure = planish_measure_new(rate, 2);
  const bool done = found->measure == NULL ? planish_fail_memory(error)
                                           : play_survey(source, rate, found, black, error);
  planish_measure_free(found->measure);
  free(found);
  return done;
}

static bool check_word(const PlanishReader *reader, PlanishError *error)
{
  const PlanishReaderWord word = planish_reader_word(reader);
  return word.floating ||
         planish_fail(error, PLANISH_BAD_AUDIO,
                      "no 32-bit float master: %s: %s: render it again with --float, since dither "
                      "belongs once, last",
                      planish_reader_path(reader),
                      word.lossy ? "was coded with loss" : "is in words, and has had its dither");
}

PlanishSource *planish_source_new(const char *path, PlanishSourceTell tell, void *user,
                                  PlanishError *error)
{
  PlanishSource *source = calloc(1, sizeof *source);
  if (source == NULL) {
    planish_fail_memory(error);
    return NULL;
  }
  source->tell = tell;
  source->user = user;
  source->reader = planish_reader_open(path, NULL, error);
  if (source->reader == NULL || !check_word(source->reader, error) ||
      !survey(source, planish_reader_rate(source->reader), &source->black, error)) {
    planish_source_free(source);
    return NULL;
  }
  return source;
}

void planish_source_free(PlanishSource *source)
{
  if (source != NULL) {
    planish_reader_free(source->reader);
    free(source);
  }
}

const char *planish_source_path(const PlanishSource *source)
{
  return planish_reader_path(source->reader);
}

double planish_source_rate(const PlanishSource *source)
{
  return planish_reader_rate(source->reader);
}

bool planish_source_is_mono(const PlanishSource *source)
{
  return planish_reader_channels(source->reader) == 1;
}

uint64_t planish_source_frames(const PlanishSource *source, double rate)
{
  const uint64_t frames = planish_reader_frames(source->reader);
  const double own = planish_source_rate(source);
  return rate == own ? frames : planish_converted_frames(frames, own, rate);
}

bool planish_source_measure(PlanishSource *source, double rate, PlanishMeasurement *measured,
                            PlanishError *error)
{
  size_t n = 0;
  PlanishBlack black;
  while (n < source->count && source->measured[n].rate != rate) {
    n += 1;
  }
  if (n == source->count) {
    /* Of so many rates the last is measured again each time. */
    source->count = n < MOST_RATES ? n : MOST_RATES - 1;
    n = source->count;
    if (!survey(source, rate, &black, error)) {
      return false;
    }
  }
  *measured = source->measured[n];
  return true;
}

static bool play_black(uint64_t frames, PlanishSourceSink sink, void *user, PlanishError *error)
{
  static const double black[2 * BLOCK];
  bool done = true;
  while (done && frames > 0) {
    const size_t count = frames < BLOCK ? (size_t)frames : BLOCK;
    done = sink(user, black, count, error);
    frames -= count;
  }
  return done;
}

bool planish_source_play(PlanishSource *source, double rate, double gain, uint64_t frames,
                         PlanishSourceSink sink, void *user, const char *what, PlanishError *error)
{
  double block[2 * BLOCK];
  const uint64_t own = planish_source_frames(source, rate);
  PlanishConvert *convert = planish_convert_new(source->reader, rate, source->black, error);
  bool done = convert != NULL;
  size_t got = 1;
  uint64_t at = 0;
  while (done && got > 0 && at < own) {
    done =
        planish_interrupt_check(error) && planish_convert_read(convert, block, BLOCK, &got, error);
    for (size_t n = 0; done && n < 2 * got; ++n) {
      block[n] *= gain;
    }
    done = done && sink(user, block, got, error);
    at += got;
    if (done && source->tell != NULL) {
      source->tell(source->user, what, 0, (double)at / (double)own);
    }
  }
  planish_convert_free(convert);
  return done && (at >= frames || play_black(frames - at, sink, user, error));
}
