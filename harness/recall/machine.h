/* What samples may depend on beside settings and versions: the kind of processor, by which the C
 * library and FFTW choose between forms of the same function that round differently, and the
 * libraries that sound passes through. Thread: any. */
#ifndef PLANISH_HARNESS_MACHINE_H
#define PLANISH_HARNESS_MACHINE_H

#include <stddef.h>

/* Such as "x86_64 fma avx2". */
void planish_machine(char *text, size_t size);

/* Such as "glibc 2.36, libsoxr-0.1.3": the C library, and what converts rates. */
void planish_machine_libraries(char *text, size_t size);

#endif
