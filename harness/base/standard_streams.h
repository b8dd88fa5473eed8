/* Audio from standard input and to standard output, which the command line calls "-".
 *
 * Neither is waited for where it is a terminal: PLANISH_BAD_USE. A signal that asks for an end
 * (interrupt.h) ends the wait for the other side. Thread: main. */
#ifndef PLANISH_HARNESS_STANDARD_STREAMS_H
#define PLANISH_HARNESS_STANDARD_STREAMS_H

#include "harness/base/error.h"

#include <stdbool.h>

/* Whether a name on the command line, or in a job, is that of a standard stream. NULL is not. */
bool planish_is_stream(const char *path);

/* How messages call a file that is read or written: "standard input" and "standard output" for "-".
 */
const char *planish_input_name(const char *path);
const char *planish_output_name(const char *path);

#define PLANISH_STANDARD_INPUT_HEAD 65536 /* bytes */

/* Copies standard input to its end into a file, from its beginning. `where` is said of the file
 * where it has no room: "beside out.wav". PLANISH_BAD_AUDIO where nothing came. `check` is asked
 * once the first PLANISH_STANDARD_INPUT_HEAD bytes are in the file, so that what is no audio does
 * not fill the disk first; where it says no, it has filled `error`, and the copy ends. */
bool planish_standard_input_copy(int to, const char *where,
                                 bool (*check)(void *user, PlanishError *error), void *user,
                                 PlanishError *error);

/* Keeps standard output for audio: whatever is printed from now on goes to standard error. To be
 * called once, before anything is printed. */
bool planish_standard_output_keep(PlanishError *error);

/* Standard error goes nowhere until it is given back: for calls into a library that speaks there in
 * words of its own. What back() needs; -1, which back() takes, where it could not be done. */
int planish_standard_error_hush(void);
void planish_standard_error_back(int before);

/* Writes a whole file to what was kept. PLANISH_BAD_FILE where it is not taken. */
bool planish_standard_output_send(int from, PlanishError *error);

#endif
