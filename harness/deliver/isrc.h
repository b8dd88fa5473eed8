/* International Standard Recording Code, ISO 3901:2019.
 *
 * Twelve characters: two letters, three letters or digits (together the registrant's prefix), two
 * digits of the year, five of the recording. Hyphens, blanks and the word ISRC ahead of it help
 * those who read it and are no part of it; small letters count as capital ones. Thread: any. */
#ifndef PLANISH_HARNESS_ISRC_H
#define PLANISH_HARNESS_ISRC_H

#include "harness/base/error.h"

#define PLANISH_ISRC 13 /* bytes, with the end */

/* Reads one in any of its spellings; `code` gets the twelve characters. PLANISH_BAD_USE, in one
 * line that says which character is wrong. */
bool planish_isrc_read(const char *text, char code[PLANISH_ISRC], PlanishError *error);

#endif
