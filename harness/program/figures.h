/* Figures of sound as the tables print them. Thread: any. */
#ifndef PLANISH_HARNESS_FIGURES_H
#define PLANISH_HARNESS_FIGURES_H

#define PLANISH_FIGURE 48 /* bytes, with the end; units have at most 8 */

/* "-8.01 LUFS", or "silent" where `value` is not finite, or not over PLANISH_SILENCE_DB (maths.h).
 * `unit` may be "". */
void planish_figure(char text[PLANISH_FIGURE], double value, const char *unit);

/* "+0.12 LU" from `before` to `after`; "" where one of them is silent. */
void planish_figure_change(char text[PLANISH_FIGURE], double before, double after,
                           const char *unit);

#endif
