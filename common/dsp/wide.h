/* Marks a function whose loops are worth compiling twice, for processors with AVX2 and for all:
 * the loader picks. As nothing is contracted (-ffp-contract=off) and no order of additions changes,
 * both give the same bits. Under sanitizers, which are not up yet when the loader picks, and under
 * clang 14, which has no clones, there is the plain one alone. */
#ifndef PLANISH_DSP_WIDE_H
#define PLANISH_DSP_WIDE_H

#if defined(__x86_64__) && defined(__GNUC__) && !defined(__clang__) &&                             \
    !defined(__SANITIZE_ADDRESS__) && !defined(__SANITIZE_THREAD__)
#define PLANISH_WIDE __attribute__((target_clones("avx2", "default")))
#else
#define PLANISH_WIDE
#endif

#endif
