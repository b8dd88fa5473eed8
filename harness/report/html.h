/* Writing HTML (WHATWG) to a stream: text escaped, numbers as they are read.
 *
 * Markup goes out by planish_text_print(), with numbers in it at most; whatever comes from outside,
 * be it a name, goes through planish_html_text(). Whether the stream took everything is the
 * caller's to ask of it (ferror). Thread: one at a time a stream. */
#ifndef PLANISH_HARNESS_HTML_H
#define PLANISH_HARNESS_HTML_H

#include "harness/base/text.h"

#define PLANISH_MINUS "\xe2\x88\x92" /* U+2212 */
#define PLANISH_DASH  "\xe2\x80\x93" /* U+2013: no value */

/* Text, in an element or in an attribute's double quotes. Bytes that are not UTF-8, and control
 * characters but line feed and tab, become U+FFFD. NULL is "". */
void planish_html_text(FILE *out, const char *text);

/* <tag class="kind">text</tag>; without class where it is NULL. */
void planish_html_element(FILE *out, const char *tag, const char *kind, const char *text);

/* A number with so many decimals; a dash where it is not finite. */
void planish_html_number(FILE *out, double value, int decimals);
/* The same with its sign, for changes. */
void planish_html_change(FILE *out, double value, int decimals);

/* "1:23.4". */
void planish_html_time(FILE *out, double seconds);

#endif
