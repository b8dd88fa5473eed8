/* planish measure: loudness, peaks, dynamics and stereo of finished files. */
#include "harness/audio/audio_reader.h"
#include "harness/base/interrupt.h"
#include "harness/base/text.h"
#include "harness/measure/measure.h"
#include "harness/measure/measure_json.h"
#include "harness/program/commands.h"
#include "harness/program/each_file.h"
#include "harness/program/warnings.h"

#include <math.h>

enum { BLOCK = 4096 };

static const char help[] =
    "Usage: planish measure [OPTION]... FILE...\n"
    "Measures loudness (ITU-R BS.1770-4, EBU R 128), true peak (by 32 times FFT\n"
    "reconstruction), dynamics, stereo and faults of audio files.\n"
    "A FILE - is standard input.\n"
    "\n"
    "      --json            for machines: an array, one object a file; \"error\" tells why\n"
    "                        one could not be measured\n"
    "      --silence-bad     take samples that are no number as silence\n"
    "      --help\n"
    "\n"
    "Examples:\n"
    "  planish measure mix.wav master.wav\n"
    "  planish measure --json masters/*.wav > measures.json\n";

static bool read_all(PlanishReader *reader, PlanishMeasure *measure, PlanishProgress *progress,
                     PlanishError *error)
{
  float block[2 * BLOCK];
  const double frames = (double)planish_reader_frames(reader);
  bool done = true;
  uint64_t at = 0;
  size_t got = 1;
  while (done && got > 0) {
    done = planish_interrupt_check(error) && planish_reader_read(reader, block, BLOCK, &got, error);
    for (size_t n = 0; done && planish_reader_channels(reader) == 1 && n < got; ++n) {
      block[n] = block[2 * n];
    }
    if (done) {
      planish_measure_process(measure, block, got);
      at += got;
      planish_progress_tell(progress, planish_reader_path(reader), 0, (double)at / frames);
    }
  }
  return done;
}

static bool measure_file(const char *path, bool silence_bad, PlanishProgress *progress,
                         PlanishMeasurement *result, PlanishError *error)
{
  const PlanishReaderOptions options = {.silence_bad = silence_bad, .keep_beside = "-"};
  PlanishReader *reader = planish_reader_open(path, &options, error);
  if (reader == NULL) {
    return false;
  }
  PlanishMeasure *measure =
      planish_measure_new(planish_reader_rate(reader), planish_reader_channels(reader));
  const bool done =
      measure == NULL ? planish_fail_memory(error) : read_all(reader, measure, progress, error);
  if (done) {
    planish_measure_finish(measure, result);
  }
  if (done) {
    planish_warn_of_cut(planish_reader_path(reader), planish_reader_is_cut(reader));
    planish_warn_of_silenced(planish_reader_path(reader), planish_reader_silenced(reader));
  }
  planish_measure_free(measure);
  planish_reader_free(reader);
  return done;
}

static void print_value(const char *name, double value, int decimals, const char *unit)
{
  if (isnan(value)) {
    planish_text_print(stdout, "  %-22s %9s\n", name, "-");
  } else if (isinf(value)) {
    planish_text_print(stdout, "  %-22s %9s %s\n", name, value < 0.0 ? "silent" : "all", unit);
  } else {
    planish_text_print(stdout, "  %-22s %9.*f %s\n", name, decimals, value, unit);
  }
}

static void print_at(const char *name, double value, const char *unit, double seconds)
{
  if (!isfinite(value)) {
    print_value(name, value, 2, unit);
    return;
  }
  char time[PLANISH_TEXT_TIME];
  planish_text_print(stdout, "  %-22s %9.2f %-5s at %s\n", name, value, unit,
                     planish_text_of_time(time, seconds));
}

/* Told where the sound ends before `window` seconds of it were heard: silence is something else. */
static bool print_if_short(const char *name, double window, const PlanishMeasurement *m)
{
  const bool is_short = (double)m->frames < window * m->rate;
  if (is_short) {
    planish_text_print(stdout, "  %-22s %9s (under %g s)\n", name, "-", window);
  }
  return is_short;
}

static void print_loudness(const PlanishMeasurement *m)
{
  enum { SHORT, LONG };
  static const double windows[] = {0.4, 3.0}; /* s, by ITU-R BS.1770 and EBU Tech 3341 */
  if (!print_if_short("integrated", windows[SHORT], m)) {
    print_value("integrated", m->integrated, 2, "LUFS");
  }
  if (!print_if_short("momentary maximum", windows[SHORT], m)) {
    print_at("momentary maximum", m->momentary_max, "LUFS", (double)m->momentary_max_end / m->rate);
  }
  if (!print_if_short("short-term maximum", windows[LONG], m)) {
    print_at("short-term maximum", m->shortterm_max, "LUFS",
             (double)m->shortterm_max_end / m->rate);
  }
}

static void print_result(const char *path, const PlanishMeasurement *m)
{
  char time[PLANISH_TEXT_TIME];
  planish_text_print(stdout, "%s\n", path);
  planish_text_print(stdout, "  %-22s %9s %g Hz, %s (%llu frames)\n", "format",
                     m->channels == 1 ? "mono" : "stereo", m->rate,
                     planish_text_of_time(time, m->duration), (unsigned long long)m->frames);
  print_loudness(m);
  print_value("loudness range", m->range, 2, "LU");
  print_at("true peak", m->true_peak, "dBTP", m->true_peak_at / m->rate);
  print_at("sample peak", m->sample_peak, "dBFS", (double)m->sample_peak_at / m->rate);
  print_value("peak to loudness", m->plr, 2, "LU");
  print_value("least peak to 3 s", m->psr_min, 2, "LU");
  print_value("rms", m->rms, 2, "dBFS");
  print_value("rms of mid", m->mid_rms, 2, "dBFS");
  print_value("rms of side", m->side_rms, 2, "dBFS");
  print_value("correlation", m->correlation, 3, "");
  print_value("lost in mono", m->mono_loss, 2, "LU");
  print_value("DC left", m->dc_offset[0], 6, "");
  print_value("DC right", m->dc_offset[m->channels == 1 ? 0 : 1], 6, "");
  planish_text_print(stdout, "  %-22s %9llu\n", "clipped runs",
                     (unsigned long long)m->clipped_runs);
}

static PlanishOutcome measure(const PlanishOneFile *file, PlanishError *error)
{
  PlanishMeasurement result;
  const bool done = measure_file(file->path, file->silence_bad, file->progress, &result, error);
  planish_progress_end(file->progress);
  if (!done) {
    return error->outcome;
  }
  if (file->json != NULL) {
    planish_measure_json(file->json, NULL, file->name, &result);
  } else {
    print_result(file->name, &result);
  }
  return PLANISH_DONE;
}

bool planish_command_measure(int argc, char **argv, PlanishError *error)
{
  return planish_each_file(argc, argv, help, measure, error);
}
