/* A CD's sectors: 75 a second, at 44100 Hz (IEC 60908). */
#ifndef PLANISH_HARNESS_SECTORS_H
#define PLANISH_HARNESS_SECTORS_H

#define PLANISH_SECTOR           588 /* frames */
#define PLANISH_SECTORS_A_SECOND 75
#define PLANISH_SECTORS_PREGAP   150 /* ahead of the first track, outside the sound */

#endif
