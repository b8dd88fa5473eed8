/* Whether a file of sound ends before it should.
 *
 * Thread: any. The file's position stays where it is. */
#ifndef PLANISH_HARNESS_CUT_SHORT_H
#define PLANISH_HARNESS_CUT_SHORT_H

#include <sndfile.h>
#include <stdbool.h>

/* `file` is open on `descriptor`. A length that its writer could not know is no promise. */
bool planish_header_promises_more(SNDFILE *file, int descriptor);

/* RFC 3533: the last page of a stream has a flag of its own. */
bool planish_ogg_has_its_end(int descriptor);

#endif
