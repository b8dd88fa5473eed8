#include "harness/report/sections.h"

#include "harness/report/html.h"

void planish_section_begin(FILE *out, const char *id, const char *title)
{
  planish_text_print(
      out, "<section id=\"%s\" aria-labelledby=\"%s-title\">\n<h2 id=\"%s-title\">%s</h2>\n", id,
      id, id, title);
}

void planish_section_end(FILE *out)
{
  (void)fputs("</section>\n", out);
}

void planish_version_class(const PlanishReportPage *report, size_t version, char *text, size_t size)
{
  static const char *const names[] = {"mix", "stage", "master", "reference"};
  const PlanishVersionKind kind = report->versions[version].kind;
  if (kind != PLANISH_VERSION_REFERENCE) {
    planish_text_format(text, size, "%s", names[kind]);
    return;
  }
  unsigned before = 0;
  for (size_t n = 0; n < version; ++n) {
    before += report->versions[n].kind == PLANISH_VERSION_REFERENCE;
  }
  planish_text_format(text, size, "reference r%u", before % 4 + 1);
}

void planish_legend_entry(FILE *out, const char *kind, const char *name)
{
  planish_text_print(out,
                     "<li><svg class=\"sample\" viewBox=\"0 0 28 10\" aria-hidden=\"true\"><path "
                     "class=\"line %s\" d=\"M1 5H27\"/></svg>",
                     kind);
  planish_html_text(out, name);
  (void)fputs("</li>", out);
}

static void write_cells(FILE *out, const PlanishReportTable *table, const PlanishReportRow *row)
{
  for (size_t n = 0; n < table->column_count; ++n) {
    (void)fputs("<td>", out);
    planish_html_number(out, row->values[n], table->decimals[n]);
    (void)fputs("</td>", out);
  }
}

void planish_section_table(FILE *out, const PlanishReportTable *table)
{
  (void)fputs("<div class=\"scroll\" tabindex=\"0\" role=\"group\" aria-label=\"", out);
  planish_html_text(out, table->corner);
  (void)fputs("\"><table><thead><tr><th scope=\"col\">", out);
  planish_html_text(out, table->corner);
  (void)fputs("</th>", out);
  for (size_t n = 0; n < table->column_count; ++n) {
    (void)fputs("<th scope=\"col\">", out);
    planish_html_text(out, table->columns[n]);
    (void)fputs("</th>", out);
  }
  (void)fputs("</tr></thead><tbody>\n", out);
  for (size_t n = 0; n < table->row_count; ++n) {
    const PlanishReportRow *row = &table->rows[n];
    (void)fputs("<tr><th scope=\"row\">", out);
    planish_html_text(out, row->name);
    if (row->unit[0] != '\0') {
      (void)fputs(" <span class=\"unit\">", out);
      planish_html_text(out, row->unit);
      (void)fputs("</span>", out);
    }
    (void)fputs("</th>", out);
    write_cells(out, table, row);
    (void)fputs("</tr>\n", out);
  }
  (void)fputs("</tbody></table></div>\n", out);
}

void planish_section_list(FILE *out, const PlanishReportFinding *findings, size_t count)
{
  (void)fputs("<ul class=\"findings\">\n", out);
  for (size_t n = 0; n < count; ++n) {
    const PlanishReportFinding *finding = &findings[n];
    const char *kind = planish_finding_severity_name(finding->severity);
    planish_text_print(out, "<li class=\"%s\"><strong>%s</strong> ", kind, kind);
    planish_html_element(out, "span", "what", finding->what);
    if (finding->where != NULL) {
      (void)fputs(", ", out);
      planish_html_element(out, "span", "where", finding->where);
    }
    if (finding->remedy != NULL) {
      (void)fputs(": ", out);
      planish_html_element(out, "span", "remedy", finding->remedy);
    }
    (void)fputs("</li>\n", out);
  }
  (void)fputs("</ul>\n", out);
}
