#include "harness/report/html.h"

#include <math.h>

static void write_character(FILE *out, const char *at, size_t length)
{
  switch (length == 1 ? *at : '\0') {
  case '&':
    (void)fputs("&amp;", out);
    break;
  case '<':
    (void)fputs("&lt;", out);
    break;
  case '>':
    (void)fputs("&gt;", out);
    break;
  case '"':
    (void)fputs("&quot;", out);
    break;
  case '\'':
    (void)fputs("&#39;", out);
    break;
  default:
    (void)fwrite(at, 1, length, out);
  }
}

void planish_html_text(FILE *out, const char *text)
{
  for (const char *at = text == NULL ? "" : text; *at != '\0';) {
    const size_t length = planish_text_character(at);
    if (length == 0 || (length == 1 && (unsigned char)*at < 0x20 && *at != '\n' && *at != '\t') ||
        *at == 0x7f) {
      (void)fputs("\xef\xbf\xbd", out);
    } else {
      write_character(out, at, length);
    }
    at += length == 0 ? 1 : length;
  }
}

void planish_html_element(FILE *out, const char *tag, const char *kind, const char *text)
{
  if (kind == NULL) {
    planish_text_print(out, "<%s>", tag);
  } else {
    planish_text_print(out, "<%s class=\"%s\">", tag, kind);
  }
  planish_html_text(out, text);
  planish_text_print(out, "</%s>", tag);
}

static void write_number(FILE *out, double value, int decimals, const char *plus)
{
  char digits[64];
  if (!isfinite(value)) {
    (void)fputs(PLANISH_DASH, out);
    return;
  }
  planish_text_format(digits, sizeof digits, "%.*f", decimals, fabs(value));
  double shown = 0.0;
  const bool zero = planish_text_number(digits, &shown) && shown == 0.0;
  planish_text_print(out, "%s%s", zero ? "" : (value < 0.0 ? PLANISH_MINUS : plus), digits);
}

void planish_html_number(FILE *out, double value, int decimals)
{
  write_number(out, value, decimals, "");
}

void planish_html_change(FILE *out, double value, int decimals)
{
  write_number(out, value, decimals, "+");
}

void planish_html_time(FILE *out, double seconds)
{
  const double tenths = floor(seconds * 10.0 + 0.5);
  planish_text_print(out, "%.0f:%04.1f", floor(tenths / 600.0), fmod(tenths, 600.0) / 10.0);
}
