#include "harness/base/json.h"
#include "harness/report/html.h"
#include "harness/report/sections.h"

#include <stdlib.h>

static double seconds_of(size_t blocks)
{
  return (double)blocks / PLANISH_BLOCKS_PER_S;
}

static void write_excerpt(PlanishJson *json, const PlanishPage *page, size_t index)
{
  const PlanishCarried *carried = &page->carrying->carried[index];
  const float *powers =
      planish_block_powers_values(page->surveys[carried->version].blocks) + carried->span.start;
  planish_json_object_begin(json, NULL);
  planish_json_integer(json, "sound", (int64_t)index);
  planish_json_integer(json, "version", (int64_t)carried->version);
  planish_json_number(json, "place_s", seconds_of(carried->place));
  planish_json_number(json, "own_place_s", seconds_of(carried->span.start));
  planish_json_number(json, "duration_s", seconds_of(carried->span.count));
  planish_json_integer(json, "loop", carried->loop);
  planish_json_array_begin(json, "block_powers");
  for (size_t n = 0; n < carried->span.count; ++n) {
    planish_json_number(json, NULL, (double)powers[n]);
  }
  planish_json_array_end(json);
  planish_json_object_end(json);
}

static void write_versions(PlanishJson *json, const PlanishPage *page)
{
  const PlanishReportPage *report = page->report;
  static const char *const kinds[] = {"mix", "stage", "master", "reference"};
  planish_json_array_begin(json, "versions");
  for (size_t n = 0; n < report->version_count; ++n) {
    const PlanishBlockPowers *blocks = page->surveys[n].blocks;
    planish_json_object_begin(json, NULL);
    planish_json_string(json, "name", report->versions[n].name);
    planish_json_string(json, "kind", kinds[report->versions[n].kind]);
    planish_json_number(json, "whole_lufs",
                        planish_block_loudness(planish_block_powers_values(blocks),
                                               planish_block_powers_count(blocks)));
    planish_json_number(json, "turned_down_by", planish_carried_gain(&page->surveys[n]));
    planish_json_object_end(json);
  }
  planish_json_array_end(json);
}

static void write_span(PlanishJson *json, PlanishSpan span, const char *name)
{
  planish_json_object_begin(json, NULL);
  planish_json_string(json, "name", name);
  planish_json_number(json, "from_s", seconds_of(span.start));
  planish_json_number(json, "to_s", seconds_of(span.start + span.count));
  planish_json_object_end(json);
}

static void write_json(PlanishJson *json, const PlanishPage *page)
{
  const PlanishCarrying *carrying = page->carrying;
  const size_t blocks = planish_block_powers_count(page->surveys[0].blocks);
  planish_json_object_begin(json, NULL);
  planish_json_number(json, "rate_hz", page->surveys[0].rate);
  planish_json_number(json, "duration_s", (double)page->surveys[0].frames / page->surveys[0].rate);
  planish_json_bool(json, "whole", carrying->whole);
  planish_json_number(json, "measured_s", seconds_of(blocks));
  write_versions(json, page);
  planish_json_array_begin(json, "loops");
  for (int kind = 0; kind < PLANISH_LOOP_KINDS; ++kind) {
    write_span(json, carrying->loops[kind], planish_loop_name((PlanishLoopKind)kind));
  }
  planish_json_array_end(json);
  planish_json_array_begin(json, "moments");
  for (size_t n = 0; n < page->moment_count && carrying->moment_blocks > 0; ++n) {
    write_span(json, planish_moment_span(&page->moments[n], carrying->moment_blocks, blocks),
               "moment");
  }
  planish_json_array_end(json);
  planish_json_array_begin(json, "excerpts");
  for (size_t n = 0; n < carrying->count; ++n) {
    write_excerpt(json, page, n);
  }
  planish_json_array_end(json);
  planish_json_object_end(json);
}

void planish_player_data(FILE *out, const PlanishPage *page)
{
  char *text = NULL;
  size_t size = 0;
  FILE *memory = open_memstream(&text, &size);
  if (memory != NULL) {
    PlanishJson json = planish_json_on(memory);
    write_json(&json, page);
    (void)fclose(memory);
  }
  (void)fputs("<script type=\"application/json\" id=\"piece\">", out);
  bool indent = false;
  for (size_t n = 0; n < size; ++n) {
    indent = text[n] == '\n' || (indent && text[n] == ' ');
    /* A string may hold what would end the element; "<" stands nowhere else. */
    if (text[n] == '<') {
      (void)fputs("\\u003c", out);
    } else if (!indent) {
      (void)putc(text[n], out);
    }
  }
  (void)fputs("</script>\n", out);
  free(text);
  for (size_t n = 0; n < page->carrying->count; ++n) {
    planish_text_print(out, "<script type=\"text/plain\" id=\"sound-%zu\">", n);
    planish_excerpt_write(&page->carrying->carried[n].excerpt, out);
    (void)fputs("</script>\n", out);
  }
}
