/* The grid on which controls are looked at, counted from activate; and so the longest stretch of
 * frames that is worked on at once. */
#ifndef PLANISH_DSP_GRID_H
#define PLANISH_DSP_GRID_H

/* Frames between two looks. */
#define PLANISH_GRID 32

#endif
