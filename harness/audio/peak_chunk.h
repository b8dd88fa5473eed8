/* Files without the chunk that tells of their peaks and of when they were written: with it no two
 * files would be the same bytes. */
#ifndef PLANISH_HARNESS_PEAK_CHUNK_H
#define PLANISH_HARNESS_PEAK_CHUNK_H

#include <sndfile.h>

/* For a file that was opened for writing, before the first frame. `format` is what it was opened
 * with. libsndfile 1.2.0 gives RF64 no such chunk by itself, and one when it is told not to. */
static inline void planish_peak_chunk_off(SNDFILE *file, int format)
{
  if ((format & SF_FORMAT_TYPEMASK) != SF_FORMAT_RF64) {
    sf_command(file, SFC_SET_ADD_PEAK_CHUNK, NULL, SF_FALSE);
  }
}

#endif
