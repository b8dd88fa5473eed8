#include "harness/deliver/isrc.h"

#include <string.h>
#include <strings.h>

enum { LENGTH = PLANISH_ISRC - 1, LETTERS = 2, PREFIX = 5 };

/* Without regard to the locale. */
static bool is_digit(char c)
{
  return c >= '0' && c <= '9';
}

static char capital(char c)
{
  return c >= 'a' && c <= 'z' ? (char)(c - 'a' + 'A') : c;
}

static bool is_letter(char c)
{
  return c >= 'A' && c <= 'Z';
}

/* What belongs at a place; NULL where it is there. */
static const char *wanted_at(int place, char c)
{
  if (place < LETTERS) {
    return is_letter(c) ? NULL : "a letter";
  }
  if (place < PREFIX) {
    return is_letter(c) || is_digit(c) ? NULL : "a letter or a digit";
  }
  return is_digit(c) ? NULL : "a digit";
}

static bool check(const char *code, const char *text, PlanishError *error)
{
  for (int n = 0; n < LENGTH; ++n) {
    const char *wanted = wanted_at(n, code[n]);
    if (wanted != NULL) {
      return planish_fail(error, PLANISH_BAD_USE,
                          "isrc: no ISRC (ISO 3901): %s: character %d is %c, where %s belongs%s",
                          text, n + 1, code[n], wanted,
                          code[n] == 'O' ? ": a zero for the letter O?"
                                         : ": see the code you hold");
    }
  }
  return true;
}

bool planish_isrc_read(const char *text, char code[PLANISH_ISRC], PlanishError *error)
{
  const char *from = text;
  int length = 0;
  if (strncasecmp(from, "ISRC", 4) == 0 && (from[4] == ' ' || from[4] == '-' || from[4] == ':')) {
    from += 5;
  }
  for (; *from != '\0'; ++from) {
    if (*from == ' ' || *from == '-') {
      continue;
    }
    if (length < LENGTH) {
      code[length] = capital(*from);
    }
    length += 1;
  }
  if (length != LENGTH) {
    return planish_fail(error, PLANISH_BAD_USE,
                        "isrc: no ISRC (ISO 3901): %s: has %d characters, not 12: see the code you "
                        "hold",
                        text, length);
  }
  code[LENGTH] = '\0';
  return check(code, text, error);
}
