/* Functions whose loops are worth compiling twice, for processors with AVX2 and for all. As nothing
 * is contracted (-ffp-contract=off) and no order of additions changes, both give the same bits.
 *
 * PLANISH_WIDE marks a function that the compiler clones and the loader picks. Under sanitizers,
 * which are not up yet when the loader picks, and under clang 14, which has no clones, there is the
 * plain one alone.
 *
 * PLANISH_WIDE_ALONE marks one for AVX2 alone, beside another for all, where the two are written
 * differently; the caller picks by planish_is_wide(). */
#ifndef PLANISH_DSP_WIDE_H
#define PLANISH_DSP_WIDE_H

#include <stdbool.h>

#if defined(__x86_64__) && defined(__GNUC__) && !defined(__clang__) &&                             \
    !defined(__SANITIZE_ADDRESS__) && !defined(__SANITIZE_THREAD__)
#define PLANISH_WIDE __attribute__((target_clones("avx2", "default")))
#else
#define PLANISH_WIDE
#endif

#if defined(__x86_64__) && defined(__GNUC__)
#define PLANISH_WIDE_ALONE __attribute__((target("avx2")))
static inline bool planish_is_wide(void)
{
  return __builtin_cpu_supports("avx2") != 0;
}
#else
#define PLANISH_WIDE_ALONE
static inline bool planish_is_wide(void)
{
  return false;
}
#endif

#endif
