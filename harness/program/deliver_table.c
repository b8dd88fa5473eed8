#include "harness/program/deliver_table.h"

#include "harness/base/text.h"
#include "harness/program/figures.h"

static void print_line(const char *name, const char *text)
{
  planish_text_print(stdout, "%-9s %s\n", name, text);
}

/* "WAV 16 bit with shaped dither", "MP3 320 kbit/s" */
static void describe(const PlanishSpec *spec, char *text, size_t size)
{
  const char *name = planish_coding_of(spec->format)->name;
  if (spec->bits == 32) {
    planish_text_format(text, size, "%s 32-bit float", name);
  } else if (spec->bits > 0) {
    planish_text_format(text, size, "%s %u bit with %sdither", name, spec->bits,
                        spec->shaped ? "shaped " : "");
  } else if (spec->format == PLANISH_FORMAT_VORBIS) {
    planish_text_format(text, size, "%s quality %g", name, spec->quality);
  } else {
    planish_text_format(text, size, "%s %g kbit/s", name, spec->bit_rate);
  }
}

static void print_overs(const PlanishDelivery *delivery)
{
  const PlanishOvers *overs = &delivery->back.overs;
  char time[PLANISH_TEXT_TIME];
  if (!planish_coding_of(delivery->job.spec->format)->coded) {
    return;
  }
  if (overs->places == 0) {
    planish_text_print(stdout, "%-9s nothing over %.2f dBTP\n", "decoded", overs->ceiling);
    return;
  }
  planish_text_print(stdout,
                     "%-9s over %.2f dBTP in %llu %s, up to %.2f dBTP; %llu samples over full "
                     "scale\n",
                     "decoded", overs->ceiling, (unsigned long long)overs->places,
                     overs->places == 1 ? "place" : "places", overs->highest,
                     (unsigned long long)overs->samples);
  for (size_t n = 0; n < overs->places && n < PLANISH_PLACES_KEPT; ++n) {
    planish_text_print(stdout, "%-9s   %s  %+.2f dBTP\n", "",
                       planish_text_of_time(time, overs->at[n]), overs->height[n]);
  }
  if (overs->places > PLANISH_PLACES_KEPT) {
    planish_text_print(stdout, "%-9s   and more\n", "");
  }
  if (overs->has_avoiding) {
    planish_text_print(stdout, "%-9s a ceiling of %.2f dBTP would avoid that\n", "",
                       overs->avoiding);
  }
}

static void print_measured(const PlanishMeasurement *measured)
{
  char loudness[PLANISH_FIGURE];
  char peak[PLANISH_FIGURE];
  char range[PLANISH_FIGURE];
  planish_figure(loudness, measured->integrated, "LUFS");
  planish_figure(peak, measured->true_peak, "dBTP");
  planish_figure(range, measured->range, "LU");
  planish_text_print(stdout, "%-9s %s, %s, loudness range %s\n", "read back", loudness, peak,
                     range);
}

void planish_deliver_table(const PlanishDelivery *delivery)
{
  char form[80];
  char time[PLANISH_TEXT_TIME];
  planish_text_print(stdout, "%-9s %s: %s\n", "spec", delivery->job.spec->name,
                     planish_source_path(delivery->job.source));
  for (size_t n = 0; n < delivery->notes.count; ++n) {
    print_line("note", delivery->notes.text[n]);
  }
  if (!delivery->made) {
    return;
  }
  describe(delivery->job.spec, form, sizeof form);
  planish_text_print(stdout, "%-9s %s: %s, %g Hz, %llu frames, %s\n", "written", delivery->path,
                     form, delivery->rate, (unsigned long long)delivery->frames,
                     planish_text_of_time(time, (double)delivery->frames / delivery->rate));
  print_measured(&delivery->back.measured);
  print_overs(delivery);
}

void planish_deliver_tell_missed(const PlanishDelivery *delivery)
{
  char line[PLANISH_LINE_BYTES + 640];
  for (size_t n = 0; n < delivery->missed.count; ++n) {
    planish_text_line(line, sizeof line, "missed: %s: %s", delivery->path,
                      delivery->missed.text[n]);
    planish_text_print(stderr, "planish: %s\n", line);
  }
}
