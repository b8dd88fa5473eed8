/* The matched player: what stands in the page before the script brings it to life. */
#include "harness/report/chart.h"
#include "harness/report/sections.h"

static void draw_wave(const PlanishChart *chart, const void *data)
{
  const PlanishPage *page = data;
  const PlanishSurvey *surveys = page->surveys;
  const double step = (double)surveys[0].frames / surveys[0].rate / PLANISH_OUTLINE_COLUMNS;
  const size_t shown[] = {page->master, page->mix};
  static const char *const kinds[] = {"master", "mix"};
  for (size_t v = 0; v < 2; ++v) {
    if (shown[v] != PLANISH_NO_VERSION) {
      const PlanishOutline *outline = &surveys[shown[v]].outline;
      planish_chart_area(chart, kinds[v], step / 2.0, step, outline->lowest, outline->highest,
                         PLANISH_OUTLINE_COLUMNS);
    }
  }
}

static void write_carried(FILE *out, const PlanishPage *page)
{
  const double blocks =
      (double)page->surveys[0].frames / page->surveys[0].rate * PLANISH_BLOCKS_PER_S;
  const PlanishCarrying *carrying = page->carrying;
  for (size_t n = 0; n < carrying->count; ++n) {
    const PlanishCarried *carried = &carrying->carried[n];
    if (carried->version == 0) {
      planish_text_print(out, "<rect x=\"%.4f\" width=\"%.4f\" y=\"0\" height=\"1\"/>",
                         (double)carried->place / blocks, (double)carried->span.count / blocks);
    }
  }
}

static void write_swatch(FILE *out, const char *kind, const char *name)
{
  planish_text_print(out, "<li><span class=\"swatch %s\"></span>", kind);
  planish_html_text(out, name);
  (void)fputs("</li>", out);
}

static void write_wave(FILE *out, const PlanishPage *page)
{
  const PlanishSurvey *survey = &page->surveys[0];
  const PlanishChartFrame frame = {
      .says = "Waveform of master and mix over the whole piece",
      .axis = PLANISH_AXIS_TIME,
      .x_high = (double)survey->frames / survey->rate,
      .y_low = -1.0,
      .y_high = 1.0,
      .y_unit = "",
      .height = 130.0,
  };
  (void)fputs("<figure class=\"wave\"><div id=\"wave\"><svg class=\"carried\" viewBox=\"0 0 1 1\" "
              "preserveAspectRatio=\"none\" aria-hidden=\"true\">",
              out);
  write_carried(out, page);
  (void)fputs("</svg>", out);
  planish_chart_write(out, &frame, draw_wave, page);
  (void)fputs("<div id=\"chosen\" hidden></div><div id=\"head\" hidden></div></div><figcaption><ul "
              "class=\"legend\">",
              out);
  if (page->mix != PLANISH_NO_VERSION) {
    write_swatch(out, "mix", page->report->versions[page->mix].name);
  }
  if (page->master != PLANISH_NO_VERSION) {
    write_swatch(out, "master", page->report->versions[page->master].name);
  }
  (void)fputs("<li><span class=\"swatch\"></span>carried in this page: drag there to choose a "
              "loop</li></ul></figcaption></figure>\n",
              out);
}

static void write_loops(FILE *out, const PlanishPage *page)
{
  (void)fputs("<fieldset id=\"loops\"><legend>Loop</legend>", out);
  for (int kind = 0; kind < PLANISH_LOOP_KINDS; ++kind) {
    planish_text_print(out,
                       "<label><input type=\"radio\" name=\"loop\" value=\"%d\"%s><span>%s</span>"
                       "</label>",
                       kind, kind == 0 ? " checked" : "", planish_loop_name((PlanishLoopKind)kind));
  }
  if (page->carrying->whole) {
    (void)fputs("<label><input type=\"radio\" name=\"loop\" value=\"whole\"><span>the whole</span>"
                "</label>",
                out);
  }
  (void)fputs(
      "<label><input type=\"radio\" name=\"loop\" value=\"own\"><span>own</span></label><span "
      "class=\"own\"><label>from <input type=\"number\" id=\"from\" min=\"0\" step=\"0.1\"> "
      "s</label> <label>to <input type=\"number\" id=\"to\" min=\"0\" step=\"0.1\"> "
      "s</label></span>"
      "</fieldset>\n",
      out);
}

static void write_versions(FILE *out, const PlanishReportPage *report)
{
  /* The script reads them off the page. Letters that are no other key of the player's. */
  static const char keys[] = "1234567890ACDEFGHIJKNOQRSTUVWYZ";
  (void)fputs("<fieldset id=\"versions\"><legend>Version</legend><p class=\"columns\" "
              "aria-hidden=\"true\"><span class=\"loudness\">loudness</span><span "
              "class=\"gain\">gain</span></p>\n",
              out);
  for (size_t n = 0; n < report->version_count; ++n) {
    char kind[32];
    planish_version_class(report, n, kind, sizeof kind);
    planish_text_print(out,
                       "<label class=\"%s\"><input type=\"radio\" name=\"version\" "
                       "value=\"%zu\"%s><span class=\"key\" aria-hidden=\"true\">",
                       kind, n, n == 0 ? " checked" : "");
    if (n < sizeof keys - 1) {
      planish_text_print(out, "%c", keys[n]);
    }
    (void)fputs("</span><span class=\"name\">", out);
    planish_html_text(out, report->versions[n].name);
    (void)fputs("</span><span class=\"loudness\"></span><span class=\"gain\"></span></label>\n",
                out);
  }
  (void)fputs("</fieldset>\n", out);
}

static void write_blind(FILE *out, const PlanishReportPage *report)
{
  (void)fputs(
      "<fieldset id=\"blind\"><legend>Blind</legend><p id=\"blind-setup\"><label>of <select "
      "id=\"blind-a\">",
      out);
  for (int list = 0; list < 2; ++list) {
    for (size_t n = 0; n < report->version_count; ++n) {
      planish_text_print(out, "<option value=\"%zu\">", n);
      planish_html_text(out, report->versions[n].name);
      (void)fputs("</option>", out);
    }
    (void)fputs(list == 0 ? "</select></label> <label>and <select id=\"blind-b\">"
                          : "</select></label> ",
                out);
  }
  (void)fputs(
      "<label>I say <select id=\"blind-question\"><option value=\"name\">which is "
      "which</option><option value=\"prefer\">which I prefer</option></select></label> <button "
      "type=\"button\" id=\"blind-start\">Start blind</button></p>\n"
      "<div id=\"blind-run\" hidden><p id=\"blind-ask\"></p><p><label><input type=\"radio\" "
      "name=\"hidden\" value=\"0\" checked><span class=\"key\" aria-hidden=\"true\">1</span><span "
      "class=\"name\">first</span></label> <label><input type=\"radio\" name=\"hidden\" "
      "value=\"1\"><span class=\"key\" aria-hidden=\"true\">2</span><span "
      "class=\"name\">second</span></label></p><p><button type=\"button\" id=\"blind-first\">It is "
      "the first</button> <button type=\"button\" id=\"blind-second\">It is the second</button> "
      "<button type=\"button\" id=\"blind-stop\">Stop and show</button></p></div><p "
      "id=\"blind-tally\" role=\"status\"></p></fieldset>\n",
      out);
}

static double seconds_of(PlanishSpan span)
{
  return (double)span.count / PLANISH_BLOCKS_PER_S;
}

static void write_loops_carried(FILE *out, const PlanishPage *page)
{
  const PlanishCarrying *carrying = page->carrying;
  const double loudest = seconds_of(carrying->loops[PLANISH_LOOP_LOUDEST]);
  const double others = seconds_of(carrying->loops[PLANISH_LOOP_ENDING]);
  if (loudest > others) {
    planish_text_print(out, "the loudest %.0f s, three loops of %.0f s", loudest, others);
  } else {
    planish_text_print(out, "four loops of %.0f s", others);
  }
  if (carrying->moment_blocks > 0 && page->moment_count > 0) {
    planish_text_print(out, " and %.0f s around each of the hardest moments",
                       (double)carrying->moment_blocks / PLANISH_BLOCKS_PER_S);
  }
}

static bool has_kind(const PlanishReportPage *report, PlanishVersionKind kind)
{
  for (size_t n = 0; n < report->version_count; ++n) {
    if (report->versions[n].kind == kind) {
      return true;
    }
  }
  return false;
}

static void write_what_is_carried(FILE *out, const PlanishPage *page)
{
  const PlanishCarrying *carrying = page->carrying;
  const bool stages = has_kind(page->report, PLANISH_VERSION_STAGE);
  const bool references = has_kind(page->report, PLANISH_VERSION_REFERENCE);
  (void)fputs("<p class=\"carries\">Carried: ", out);
  if (carrying->whole) {
    (void)fputs("the whole piece", out);
  } else {
    write_loops_carried(out, page);
  }
  if (stages && carrying->few_of_stages) {
    (void)fputs("; of the stages the loudest loop alone", out);
  }
  if (references) {
    (void)fputs(carrying->few_of_references
                    ? "; of references their own loudest, in the place of the loudest"
                    : "; of references their own loudest, quietest, rise and ending, in these "
                      "places",
                out);
  }
  planish_text_print(out,
                     ". FLAC in %u bit%s. Loudness is that of the loop (ITU-R BS.1770, gated); all "
                     "play as loud as the quietest.</p>\n",
                     carrying->bits, carrying->bits < 24 ? " with triangular dither" : "");
}

void planish_section_player(FILE *out, const PlanishPage *page)
{
  if (page->carrying->count == 0) {
    return;
  }
  planish_section_begin(out, "player", "Listen at matched loudness");
  (void)fputs(
      "<p class=\"caution\"><strong>Mind your ears and speakers.</strong> Turn the monitors down "
      "before you press play, start low, and keep the level moderate: loud sound over hours harms "
      "hearing.</p>\n"
      "<noscript><p>The player needs JavaScript; all else on this page does "
      "without.</p></noscript>\n"
      "<div id=\"desk\" hidden>\n<div class=\"transport\"><button type=\"button\" id=\"play\" "
      "aria-pressed=\"false\">Play</button><output id=\"clock\">0:00.0</output><label "
      "class=\"level\">Level <input type=\"range\" id=\"level\" min=\"-40\" max=\"0\" step=\"1\" "
      "value=\"-12\"> <output id=\"level-shown\">&minus;12 dB</output></label><label>Matched over "
      "<select id=\"match\"><option value=\"loop\">the loop</option><option value=\"whole\">the "
      "whole</option></select></label></div>\n<p id=\"state\" role=\"status\"></p>\n",
      out);
  write_wave(out, page);
  write_loops(out, page);
  write_versions(out, page->report);
  write_blind(out, page->report);
  (void)fputs(
      "<details class=\"keys\"><summary>Keys</summary><p><kbd>Space</kbd> or <kbd>P</kbd> play and "
      "stop, the figure or letter beside a version that version, <kbd>X</kbd> the version heard "
      "before and back, <kbd>[</kbd> <kbd>]</kbd> the one above and below, <kbd>L</kbd> the next "
      "loop, <kbd>M</kbd> the next of the hardest moments, "
      "<kbd>B</kbd> blind on and off; in blind mode <kbd>1</kbd> and <kbd>2</kbd> listen, "
      "<kbd>Shift</kbd> with them answers.</p><p><label><input type=\"checkbox\" id=\"keys\" "
      "checked> these keys work</label></p></details>\n</div>\n",
      out);
  write_what_is_carried(out, page);
  planish_section_end(out);
}
