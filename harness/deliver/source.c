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
  PlanishReader *reader; /* of all that run on */
  char *path;
  uint64_t first; /* frame of it that is the source's own */
  uint64_t end;   /* after the last that is */
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

/* With what the survey is to fill in. `black` may be NULL. */
static bool play_survey(PlanishSource *source, double rate, Survey *found, PlanishBlack *black,
                        PlanishError *error)
{
  if (!planish_source_play(source, rate, 1.0, 0, survey_frames, found, "measuring", error)) {
    return false;
  }
  planish_measure_finish(found->measure, &source->measured[source->count++]);
  if (black == NULL) {
    return true;
  }
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

/* Digital black is that of the whole run: where one runs on into the next there is none. */
static bool know(PlanishSource *source, PlanishError *error)
{
  const double rate = planish_reader_rate(source->reader);
  const uint64_t first = source->first;
  const uint64_t end = source->end;
  const bool whole = first == 0 && end == planish_reader_frames(source->reader);
  source->first = 0;
  source->end = planish_reader_frames(source->reader);
  bool done = survey(source, rate, &source->black, error);
  source->first = first;
  source->end = end;
  if (!whole) {
    source->count = 0;
  }
  return done && (whole || survey(source, rate, NULL, error));
}

static bool open_run(PlanishSource *source, const PlanishSourceRun *run, PlanishError *error)
{
  source->reader = planish_reader_open_joined(run->paths, run->count, NULL, error);
  const char *path =
      run->named != NULL ? run->named : run->paths[run->own < run->count ? run->own : 0];
  source->path = planish_text_copy(path);
  bool done = source->path != NULL ? source->reader != NULL : planish_fail_memory(error);
  uint64_t at = 0;
  for (size_t n = 0; done && n < run->count; ++n) {
    PlanishReader *part = planish_reader_open(run->paths[n], NULL, error);
    done = part != NULL && check_word(part, error);
    if (done && n == run->own) {
      source->first = at;
    }
    at += done ? planish_reader_frames(part) : 0;
    if (n == run->own || run->own >= run->count) {
      source->end = at;
    }
    planish_reader_free(part);
  }
  if (done && run->frames > 0) {
    source->first = run->from < at ? run->from : at - 1;
    source->end = run->frames < at - source->first ? source->first + run->frames : at;
  }
  return done;
}

PlanishSource *planish_source_new_of_run(const PlanishSourceRun *run, PlanishSourceTell tell,
                                         void *user, PlanishError *error)
{
  PlanishSource *source = calloc(1, sizeof *source);
  if (source == NULL) {
    planish_fail_memory(error);
    return NULL;
  }
  source->tell = tell;
  source->user = user;
  if (!open_run(source, run, error) || !know(source, error)) {
    planish_source_free(source);
    return NULL;
  }
  return source;
}

PlanishSource *planish_source_new(const char *path, PlanishSourceTell tell, void *user,
                                  PlanishError *error)
{
  const PlanishSourceRun run = {.paths = &path, .count = 1, .own = 0};
  return planish_source_new_of_run(&run, tell, user, error);
}

void planish_source_free(PlanishSource *source)
{
  if (source != NULL) {
    planish_reader_free(source->reader);
    free(source->path);
    free(source);
  }
}

const char *planish_source_path(const PlanishSource *source)
{
  return source->path;
}

double planish_source_rate(const PlanishSource *source)
{
  return planish_reader_rate(source->reader);
}

bool planish_source_is_mono(const PlanishSource *source)
{
  return planish_reader_channels(source->reader) == 1;
}

/* A place in the run at another rate: the nearest frame. */
static uint64_t place_at(const PlanishSource *source, uint64_t frame, double rate)
{
  const double own = planish_source_rate(source);
  return rate == own || frame == 0 ? frame : planish_converted_frames(frame, own, rate);
}

uint64_t planish_source_frames(const PlanishSource *source, double rate)
{
  const uint64_t frames =
      place_at(source, source->end, rate) - place_at(source, source->first, rate);
  return frames > 0 ? frames : 1;
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

/* Where a block that begins at frame `at` of the run is inside what is wanted: from *from on,
 * *count frames. */
static void cut(uint64_t at, size_t got, uint64_t first, uint64_t end, size_t *from, size_t *count)
{
  const uint64_t begin = at < first ? (first - at < got ? first - at : got) : 0;
  const uint64_t stop = at + got > end ? (end > at ? end - at : 0) : got;
  *from = (size_t)begin;
  *count = stop > begin ? (size_t)(stop - begin) : 0;
}

bool planish_source_play(PlanishSource *source, double rate, double gain, uint64_t frames,
                         PlanishSourceSink sink, void *user, const char *what, PlanishError *error)
{
  double block[2 * BLOCK];
  const uint64_t first = place_at(source, source->first, rate);
  const uint64_t own = planish_source_frames(source, rate);
  PlanishConvert *convert = planish_convert_new(source->reader, rate, source->black, error);
  bool done = convert != NULL;
  size_t got = 1;
  uint64_t at = 0;
  while (done && got > 0 && at < first + own) {
    size_t from = 0;
    size_t count = 0;
    done =
        planish_interrupt_check(error) && planish_convert_read(convert, block, BLOCK, &got, error);
    cut(at, got, first, first + own, &from, &count);
    for (size_t n = 2 * from; done && n < 2 * (from + count); ++n) {
      block[n] *= gain;
    }
    done = done && (count == 0 || sink(user, block + 2 * from, count, error));
    at += got;
    if (done && source->tell != NULL) {
      source->tell(source->user, what, 0, (double)at / (double)(first + own));
    }
  }
  planish_convert_free(convert);
  return done && (own >= frames || play_black(frames - own, sink, user, error));
}
