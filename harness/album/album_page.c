#include "harness/album/album_page.h"

#include "harness/report/chart.h"
#include "harness/report/html.h"
#include "harness/report/page_head.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

typedef struct {
  const PlanishAlbumPlan *plan;
  const PlanishAlbumResult *result;
  FILE *out;
} Page;

static const char *text_of(const PlanishAlbumPlanTrack *track, PlanishMetadataField field)
{
  return track->track->metadata.text[field];
}

static const char *title_of(const Page *page)
{
  const PlanishAlbum *album = page->plan->album;
  const char *title = album->metadata.text[PLANISH_METADATA_ALBUM];
  return title == NULL ? album->path : title;
}

static void write_top(const Page *page)
{
  const char *artist = page->plan->album->metadata.text[PLANISH_METADATA_ARTIST];
  (void)fputs("<body>\n<header><div>", page->out);
  planish_html_element(page->out, "h1", NULL, title_of(page));
  planish_html_element(page->out, "p", NULL, artist);
  (void)fputs("</div></header>\n<main>\n", page->out);
}

static void write_missed(const Page *page)
{
  for (size_t s = 0; s < page->plan->stream_count; ++s) {
    const char *reason = page->result->streams[s].reason;
    if (reason[0] != '\0') {
      (void)fputs("<li class=\"fault\"><strong>Missed</strong> ", page->out);
      planish_html_text(page->out, page->plan->tracks[page->plan->streams[s].first].path);
      (void)fputs(": ", page->out);
      planish_html_text(page->out, reason);
      (void)fputs("</li>\n", page->out);
    }
  }
}

static void write_verdict(const Page *page)
{
  const PlanishMeasurement *album = &page->result->album;
  FILE *out = page->out;
  size_t missed = 0;
  for (size_t s = 0; s < page->plan->stream_count; ++s) {
    missed += page->result->streams[s].reason[0] != '\0';
  }
  planish_text_print(out, "<section>\n<div class=\"verdict %s\"><strong>%s</strong>",
                     missed > 0 ? "missed" : "landed",
                     missed > 0 ? "Not all tracks landed" : "All tracks landed");
  (void)fputs("<span class=\"figure\">", out);
  planish_html_number(out, album->integrated, 2);
  (void)fputs(" <span class=\"unit\">LUFS</span></span><span class=\"figure\">", out);
  planish_html_number(out, album->true_peak, 2);
  (void)fputs(" <span class=\"unit\">dBTP</span></span><span class=\"figure\">", out);
  planish_html_time(out, album->duration);
  planish_text_print(out, "</span></div>\n<p class=\"target\">%zu tracks at %g Hz, landing at ",
                     page->plan->album->count, page->plan->rate);
  planish_html_number(out, page->plan->loudness, 2);
  planish_text_print(out, " LUFS and their offsets%s; loudness range of the whole ",
                     page->plan->album->cd ? ", on sectors of a CD" : "");
  planish_html_number(out, album->range, 2);
  (void)fputs(" LU.</p>\n<ul class=\"findings\">\n", out);
  write_missed(page);
  (void)fputs(
      "</ul>\n<p class=\"caution\">Turn the monitors down before you play a master after its "
      "mix, and check every file before you send it.</p>\n</section>\n",
      out);
}

/* The loudness of each track over its time. */
static void draw_loudness(const PlanishChart *chart, const void *data)
{
  const Page *page = data;
  double at = 0.0;
  for (size_t n = 0; n < page->plan->album->count; ++n) {
    const PlanishAlbumPlanTrack *track = &page->plan->tracks[n];
    const double sounds = (double)(track->frames - track->silence) / page->plan->rate;
    const double x[] = {at, at + sounds};
    const double mix[] = {track->mix.measured.integrated, track->mix.measured.integrated};
    const double master[] = {page->result->tracks[n].integrated,
                             page->result->tracks[n].integrated};
    planish_chart_line(chart, "mix", x, mix, 2);
    planish_chart_line(chart, "master", x, master, 2);
    if (chart->width > 500.0 || page->plan->album->count < 9) {
      planish_text_print(chart->out,
                         "<text class=\"mark\" x=\"%.1f\" y=\"%.1f\" text-anchor=\"middle\">%s"
                         "</text>",
                         planish_chart_x(chart, at + sounds / 2.0),
                         planish_chart_y(chart, master[0]) - 7.0,
                         text_of(track, PLANISH_METADATA_TRACK));
    }
    at += (double)track->frames / page->plan->rate;
  }
}

static void write_loudness(const Page *page)
{
  double low = -12.0;
  double high = -6.0;
  for (size_t n = 0; n < page->plan->album->count; ++n) {
    low = fmin(low, fmin(page->plan->tracks[n].mix.measured.integrated,
                         page->result->tracks[n].integrated));
    high = fmax(high, page->result->tracks[n].integrated);
  }
  const PlanishChartFrame frame = {
      .says = "The integrated loudness of each mix and of its master over the album's time",
      .axis = PLANISH_AXIS_TIME,
      .x_high = page->result->album.duration,
      .y_low = 3.0 * floor(fmax(low, -60.0) / 3.0) - 3.0,
      .y_high = 3.0 * ceil(high / 3.0) + 3.0,
      .y_step = 3.0,
      .y_unit = "LUFS",
      .height = 240.0,
  };
  (void)fputs("<section>\n<h2>Loudness from track to track</h2>\n<figure>\n", page->out);
  planish_chart_write(page->out, &frame, draw_loudness, page);
  (void)fputs("<figcaption>Solid: masters. Dashed: mixes, as they came.</figcaption>\n</figure>\n"
              "</section>\n",
              page->out);
}

static void write_cell(FILE *out, double value, int decimals)
{
  (void)fputs("<td>", out);
  planish_html_number(out, value, decimals);
  (void)fputs("</td>", out);
}

/* Under the title: the ISRC, and whether it runs on. */
static void write_beneath(FILE *out, const char *isrc, bool first)
{
  if (isrc == NULL && first) {
    return;
  }
  (void)fputs("<br><span class=\"unit\">", out);
  planish_html_text(out, isrc);
  (void)fputs(first ? "</span>" : isrc == NULL ? "runs on</span>" : ", runs on</span>", out);
}

static void write_track(const Page *page, size_t n, const PlanishAlbumStreamResult *stream,
                        double at)
{
  const PlanishAlbumPlanTrack *track = &page->plan->tracks[n];
  const PlanishMeasurement *master = &page->result->tracks[n];
  const double none = (double)NAN;
  const bool first = !track->track->runs_on;
  const char *title = text_of(track, PLANISH_METADATA_TITLE);
  FILE *out = page->out;
  (void)fputs("<tr><th scope=\"row\">", out);
  planish_html_text(out, text_of(track, PLANISH_METADATA_TRACK));
  (void)fputs(". ", out);
  planish_html_text(out, title == NULL ? track->path : title);
  write_beneath(out, text_of(track, PLANISH_METADATA_ISRC), first);
  (void)fputs("</th><td>", out);
  planish_html_time(out, at);
  (void)fputs("</td><td>", out);
  planish_html_time(out, (double)(track->frames - track->silence) / page->plan->rate);
  (void)fputs("</td>", out);
  write_cell(out, (double)track->silence / page->plan->rate, 2);
  write_cell(out, track->mix.measured.integrated, 2);
  (void)fputs("<td>", out);
  planish_html_change(out, track->offset, 2);
  (void)fputs("</td>", out);
  write_cell(out, master->integrated, 2);
  write_cell(out, master->true_peak, 2);
  write_cell(out, master->plr, 2);
  write_cell(out, master->range, 2);
  write_cell(out, first && stream->has_drive ? stream->extra_drive : none, 2);
  write_cell(out, first && stream->has_audible ? 100.0 * stream->audible : none, 1);
  (void)fputs("</tr>\n", out);
}

static void write_tracks(const Page *page)
{
  static const char *const heads[][2] = {
      {"begins", ""},   {"sounds", ""},        {"gap", "s"},          {"mix", "LUFS"},
      {"offset", "LU"}, {"master", "LUFS"},    {"true peak", "dBTP"}, {"PLR", "LU"},
      {"range", "LU"},  {"extra drive", "dB"}, {"audible", "%"},
  };
  uint64_t at = 0;
  (void)fputs("<section>\n<h2>Tracks</h2>\n<div class=\"scroll\" tabindex=\"0\" role=\"region\" "
              "aria-label=\"Tracks\"><table>\n<thead><tr><th scope=\"col\">track</th>",
              page->out);
  for (size_t n = 0; n < sizeof heads / sizeof *heads; ++n) {
    planish_text_print(page->out, "<th scope=\"col\">%s <span class=\"unit\">%s</span></th>",
                       heads[n][0], heads[n][1]);
  }
  (void)fputs("</tr></thead>\n<tbody>\n", page->out);
  for (size_t s = 0; s < page->plan->stream_count; ++s) {
    for (size_t k = 0; k < page->plan->streams[s].count; ++k) {
      const size_t n = page->plan->streams[s].first + k;
      write_track(page, n, &page->result->streams[s], (double)at / page->plan->rate);
      at += page->plan->tracks[n].frames;
    }
  }
  (void)fputs("</tbody></table></div>\n<p>The gap is the silence that a file ends with. "
              "<em>Offset</em>: the loudness asked for against that of the album. <em>Extra "
              "drive</em>: gain that no longer turns into loudness; from 1 dB on it is paid for in "
              "sound. <em>Audible</em>: how often distortion is over the mask in the loudest 30 "
              "s.</p>\n</section>\n",
              page->out);
}

char *planish_album_page(const PlanishAlbumPlan *plan, const PlanishAlbumResult *result,
                         size_t *size)
{
  char *text = NULL;
  const Page page = {.plan = plan, .result = result, .out = open_memstream(&text, size)};
  if (page.out == NULL) {
    return NULL;
  }
  planish_page_head(page.out, title_of(&page), false);
  write_top(&page);
  write_verdict(&page);
  write_loudness(&page);
  write_tracks(&page);
  (void)fputs("</main>\n" PLANISH_ALBUM_PAGE_MARK, page.out);
  planish_html_text(page.out, plan->program);
  (void)fputs(
      ". This page is whole in itself and asks nothing of a network.</p></footer>\n</body>\n"
      "</html>\n",
      page.out);
  const bool bad = ferror(page.out) != 0;
  if (fclose(page.out) != 0 || bad) {
    free(text);
    return NULL;
  }
  return text;
}
