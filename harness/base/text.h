/* Text with numbers in it, the same in every locale, and names that are nearly right.
 *
 * Nothing else in harness/ calls strtod, or printf with a floating-point number.
 * Thread: any. */
#ifndef PLANISH_HARNESS_TEXT_H
#define PLANISH_HARNESS_TEXT_H

#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

/* snprintf, vsnprintf and fprintf with a decimal point whatever the locale. */
int planish_text_format(char *text, size_t size, const char *format, ...)
    __attribute__((format(printf, 3, 4)));
int planish_text_vformat(char *text, size_t size, const char *format, va_list arguments);
int planish_text_print(FILE *file, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* A new string, free() gives it back; NULL without memory. */
char *planish_text_new(const char *format, ...) __attribute__((format(printf, 1, 2)));
char *planish_text_copy(const char *text);

/* The same as one line: names from outside may hold line feeds and worse, which become '?', and may
 * be long: what does not fit is left out in the middle, since a message ends with what to do. */
void planish_text_line(char *text, size_t size, const char *format, ...)
    __attribute__((format(printf, 3, 4)));
void planish_text_vline(char *text, size_t size, const char *format, va_list arguments)
    __attribute__((format(printf, 3, 0)));

/* How many bytes the character at `text` takes in UTF-8 (RFC 3629: no overlong forms, no
 * surrogates, nothing over U+10FFFF); 0 where there is no valid one, or the text ends. */
size_t planish_text_character(const char *text);

/* Reads a whole text as one finite decimal number: sign, digits, point, exponent; no hexadecimal,
 * no blanks, no "inf" or "nan". False leaves *value as it was. */
bool planish_text_number(const char *text, double *value);

/* The shortest decimal text that reads back as that value, at most PLANISH_TEXT_NUMBER bytes with
 * its end: "-18", "0.1", "1.5e+300"; with an exponent only where it would be long without, and
 * always a point then. The value must be finite. Returns the length. */
#define PLANISH_TEXT_NUMBER 40
int planish_text_of_double(char text[PLANISH_TEXT_NUMBER], double value);
int planish_text_of_float(char text[PLANISH_TEXT_NUMBER], float value);

/* The value to print with so many decimals: 0 instead of what would come out as "-0.00". */
double planish_text_unsigned_zero(double value, int decimals);

/* A port's value to print, in %.9g or less: of at most six significant digits, so that 0.3 is "0.3"
 * and not the float nearest to it; a whole number as it is. */
double planish_text_six_digits(float value);

/* Reads a place in time: seconds ("83", "83.5") or minutes and seconds ("1:23.5"), not negative. */
bool planish_text_time(const char *text, double *seconds);

/* A place in time as it is told: "1:23.500", to the nearest millisecond; "-" where there is none.
 * Gives `text` back. */
#define PLANISH_TEXT_TIME 32
const char *planish_text_of_time(char text[PLANISH_TEXT_TIME], double seconds);

/* The name nearest to a misspelt one: feed candidates with consider(), then read `best`, NULL if
 * none is near enough to be meant (more than one letter and more than a third of them would have to
 * change). Distance: Damerau's with neighbours swapped as one step, capital letters as small. */
typedef struct {
  const char *wanted;
  const char *best; /* points to the candidate that was handed in */
  unsigned distance;
} PlanishNearest;

PlanishNearest planish_nearest_to(const char *wanted);
void planish_nearest_consider(PlanishNearest *nearest, const char *candidate);

#endif
