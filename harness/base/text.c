#include "harness/base/text.h"

#include <ctype.h>
#include <locale.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { LONGEST_NAME = 63 };

/* glibc hands out its one "C" locale without allocating; freelocale() of it does nothing. */
static locale_t enter_c_locale(locale_t *c_locale)
{
  *c_locale = newlocale(LC_ALL_MASK, "C", (locale_t)0);
  return *c_locale == (locale_t)0 ? (locale_t)0 : uselocale(*c_locale);
}

static void leave_c_locale(locale_t c_locale, locale_t before)
{
  if (c_locale != (locale_t)0) {
    (void)uselocale(before);
    freelocale(c_locale);
  }
}

int planish_text_vformat(char *text, size_t size, const char *format, va_list arguments)
{
  locale_t c_locale;
  const locale_t before = enter_c_locale(&c_locale);
  const int length = vsnprintf(text, size, format, arguments);
  leave_c_locale(c_locale, before);
  return length;
}

int planish_text_format(char *text, size_t size, const char *format, ...)
{
  va_list arguments;
  va_start(arguments, format);
  const int length = planish_text_vformat(text, size, format, arguments);
  va_end(arguments);
  return length;
}

int planish_text_print(FILE *file, const char *format, ...)
{
  locale_t c_locale;
  const locale_t before = enter_c_locale(&c_locale);
  va_list arguments;
  va_start(arguments, format);
  const int length = vfprintf(file, format, arguments);
  va_end(arguments);
  leave_c_locale(c_locale, before);
  return length;
}

char *planish_text_new(const char *format, ...)
{
  va_list arguments;
  va_start(arguments, format);
  va_list again;
  va_copy(again, arguments);
  const int length = planish_text_vformat(NULL, 0, format, arguments);
  va_end(arguments);
  char *text = length < 0 ? NULL : malloc((size_t)length + 1);
  if (text != NULL) {
    planish_text_vformat(text, (size_t)length + 1, format, again);
  }
  va_end(again);
  return text;
}

char *planish_text_copy(const char *text)
{
  const size_t size = strlen(text) + 1;
  char *copy = malloc(size);
  return copy == NULL ? NULL : memcpy(copy, text, size);
}

static bool is_continuation(char byte)
{
  return ((unsigned char)byte & 0xc0) == 0x80;
}

/* Copies `whole`, of `length` bytes, with its middle left out, not cutting a character of UTF-8. */
static void shorten(char *text, size_t size, const char *whole, size_t length)
{
  static const char gap[] = " ... ";
  size_t head = (size - sizeof gap) / 2;
  const char *tail = whole + length - (size - sizeof gap - head);
  while (head > 0 && is_continuation(whole[head])) {
    head -= 1;
  }
  while (is_continuation(*tail)) {
    tail += 1;
  }
  memcpy(text, whole, head);
  memcpy(text + head, gap, sizeof gap - 1);
  memcpy(text + head + sizeof gap - 1, tail, strlen(tail) + 1);
}

void planish_text_vline(char *text, size_t size, const char *format, va_list arguments)
{
  va_list again;
  va_copy(again, arguments);
  const int length = planish_text_vformat(text, size, format, arguments);
  char *whole = length >= (int)size ? malloc((size_t)length + 1) : NULL;
  if (whole != NULL) {
    planish_text_vformat(whole, (size_t)length + 1, format, again);
    shorten(text, size, whole, (size_t)length);
    free(whole);
  }
  va_end(again);
  for (; *text != '\0'; ++text) {
    *text = (unsigned char)*text < ' ' || *text == 0x7f ? '?' : *text;
  }
}

void planish_text_line(char *text, size_t size, const char *format, ...)
{
  va_list arguments;
  va_start(arguments, format);
  planish_text_vline(text, size, format, arguments);
  va_end(arguments);
}

bool planish_text_number(const char *text, double *value)
{
  if (text[0] == '\0' || text[strspn(text, "+-.0123456789eE")] != '\0') {
    return false;
  }
  locale_t c_locale;
  const locale_t before = enter_c_locale(&c_locale);
  char *end = NULL;
  const double number = strtod(text, &end);
  leave_c_locale(c_locale, before);
  if (*end != '\0' || !isfinite(number)) {
    return false;
  }
  *value = number;
  return true;
}

/* `text` is digits with an exponent: without one where that is short, else with a point in it. */
static int without_exponent(char *text, double value, int digits)
{
  char *exponent = strchr(text, 'e');
  const double size = fabs(value);
  if (exponent == NULL) {
    return (int)strlen(text);
  }
  if (size >= 1e-6 && size < 1e15) {
    const int decimals = digits - 1 - (int)floor(log10(size));
    return planish_text_format(text, PLANISH_TEXT_NUMBER, "%.*f", decimals > 0 ? decimals : 0,
                               value);
  }
  if (memchr(text, '.', (size_t)(exponent - text)) == NULL) {
    memmove(exponent + 2, exponent, strlen(exponent) + 1);
    exponent[0] = '.';
    exponent[1] = '0';
  }
  return (int)strlen(text);
}

int planish_text_of_double(char text[PLANISH_TEXT_NUMBER], double value)
{
  double back = 0.0;
  int digits = 0;
  do {
    digits += 1;
    planish_text_format(text, PLANISH_TEXT_NUMBER, "%.*g", digits, value);
  } while (digits < 17 && (!planish_text_number(text, &back) || back != value));
  return without_exponent(text, value, digits);
}

int planish_text_of_float(char text[PLANISH_TEXT_NUMBER], float value)
{
  double back = 0.0;
  int digits = 0;
  do {
    digits += 1;
    planish_text_format(text, PLANISH_TEXT_NUMBER, "%.*g", digits, (double)value);
  } while (digits < 9 && (!planish_text_number(text, &back) || (float)back != value));
  return without_exponent(text, (double)value, digits);
}

const char *planish_text_of_time(char text[PLANISH_TEXT_TIME], double seconds)
{
  const double rounded = floor(seconds * 1000.0 + 0.5);
  if (!(rounded >= 0.0 && rounded < 1e15)) {
    planish_text_format(text, PLANISH_TEXT_TIME, "-");
    return text;
  }
  const unsigned long long thousandths = (unsigned long long)rounded;
  planish_text_format(text, PLANISH_TEXT_TIME, "%llu:%02llu.%03llu", thousandths / 60000,
                      thousandths / 1000 % 60, thousandths % 1000);
  return text;
}

bool planish_text_time(const char *text, double *seconds)
{
  const char *colon = strchr(text, ':');
  double minutes = 0.0;
  double rest = 0.0;
  if (colon != NULL) {
    char head[16];
    const size_t length = (size_t)(colon - text);
    if (length == 0 || length >= sizeof head || strspn(text, "0123456789") != length) {
      return false;
    }
    memcpy(head, text, length);
    head[length] = '\0';
    if (!planish_text_number(head, &minutes)) {
      return false;
    }
  }
  const char *tail = colon == NULL ? text : colon + 1;
  if (tail[strspn(tail, ".0123456789")] != '\0' || !planish_text_number(tail, &rest) ||
      (colon != NULL && rest >= 60.0)) {
    return false;
  }
  *seconds = 60.0 * minutes + rest;
  return true;
}

static unsigned least(unsigned a, unsigned b)
{
  return a < b ? a : b;
}

static bool same_letter(char a, char b)
{
  return tolower((unsigned char)a) == tolower((unsigned char)b);
}

/* One row of the table: letter `i` (from 1) of `a` against all of `b`. */
static void fill_row(unsigned rows[3][LONGEST_NAME + 1], const char *a, size_t i, const char *b,
                     size_t length)
{
  unsigned *row = rows[i % 3];
  const unsigned *above = rows[(i + 2) % 3];
  const unsigned *above_that = rows[(i + 1) % 3];
  row[0] = (unsigned)i;
  for (size_t j = 1; j <= length; ++j) {
    const unsigned changed = same_letter(a[i - 1], b[j - 1]) ? 0 : 1;
    row[j] = least(least(above[j], row[j - 1]) + 1, above[j - 1] + changed);
    if (i > 1 && j > 1 && same_letter(a[i - 1], b[j - 2]) && same_letter(a[i - 2], b[j - 1])) {
      row[j] = least(row[j], above_that[j - 2] + 1);
    }
  }
}

/* Optimal string alignment (Damerau 1964): three rows of the usual table. */
static unsigned distance_between(const char *a, const char *b)
{
  unsigned rows[3][LONGEST_NAME + 1];
  const size_t length_a = strlen(a);
  const size_t length_b = strlen(b);
  if (length_a > LONGEST_NAME || length_b > LONGEST_NAME) {
    return LONGEST_NAME;
  }
  for (size_t j = 0; j <= length_b; ++j) {
    rows[0][j] = (unsigned)j;
  }
  for (size_t i = 1; i <= length_a; ++i) {
    fill_row(rows, a, i, b, length_b);
  }
  return rows[length_a % 3][length_b];
}

PlanishNearest planish_nearest_to(const char *wanted)
{
  const size_t length = strlen(wanted);
  return (PlanishNearest){
      .wanted = wanted, .distance = length < 3 ? 2 : least((unsigned)length / 3 + 1, LONGEST_NAME)};
}

void planish_nearest_consider(PlanishNearest *nearest, const char *candidate)
{
  const unsigned distance = distance_between(nearest->wanted, candidate);
  if (distance < nearest->distance) {
    nearest->distance = distance;
    nearest->best = candidate;
  }
}

/* The text ends with a zero byte, which is no continuation, so nothing is read beyond it. */
size_t planish_text_character(const char *text)
{
  const unsigned char *at = (const unsigned char *)text;
  static const struct {
    unsigned char first, last;     /* of the lead byte */
    unsigned char lowest, highest; /* of the byte after it */
    unsigned char length;
  } forms[] = {
      {0xc2, 0xdf, 0x80, 0xbf, 2}, {0xe0, 0xe0, 0xa0, 0xbf, 3}, {0xe1, 0xec, 0x80, 0xbf, 3},
      {0xed, 0xed, 0x80, 0x9f, 3}, {0xee, 0xef, 0x80, 0xbf, 3}, {0xf0, 0xf0, 0x90, 0xbf, 4},
      {0xf1, 0xf3, 0x80, 0xbf, 4}, {0xf4, 0xf4, 0x80, 0x8f, 4},
  };
  if (at[0] < 0x80) {
    return at[0] != 0;
  }
  for (size_t i = 0; i < sizeof forms / sizeof *forms; ++i) {
    if (at[0] < forms[i].first || at[0] > forms[i].last) {
      continue;
    }
    if (at[1] < forms[i].lowest || at[1] > forms[i].highest) {
      return 0;
    }
    for (size_t k = 2; k < forms[i].length; ++k) {
      if (at[k] < 0x80 || at[k] > 0xbf) {
        return 0;
      }
    }
    return forms[i].length;
  }
  return 0;
}

double planish_text_unsigned_zero(double value, int decimals)
{
  return fabs(value) < 0.5 * pow(10.0, -decimals) ? 0.0 : value;
}

double planish_text_six_digits(float value)
{
  char text[PLANISH_TEXT_NUMBER];
  double number = (double)value;
  if (isfinite(value) && floorf(value) != value) {
    planish_text_format(text, sizeof text, "%.6g", number);
    planish_text_number(text, &number);
  }
  return number;
}
