/* The arithmetic of a run(), whatever the host has set: rounding to nearest, no traps (so that NaN
 * in the input ends nobody's program), and flush-to-zero, since decaying tails would otherwise end
 * in denormals, which cost many times an ordinary addition. The host's setting is restored after.
 *
 * Thread: the register belongs to the calling thread. Real-time safe. */
#ifndef PLANISH_FRAME_FLOAT_ENVIRONMENT_H
#define PLANISH_FRAME_FLOAT_ENVIRONMENT_H

#if defined(__SSE2__)
#include <xmmintrin.h>

typedef unsigned int PlanishFloatEnvironment;

static inline PlanishFloatEnvironment planish_float_environment_enter(void)
{
  const PlanishFloatEnvironment host = _mm_getcsr();
  /* FTZ (bit 15), all exceptions masked (bits 7-12), DAZ (bit 6): Intel SDM vol. 1, 10.2.3. */
  _mm_setcsr(0x9fc0u);
  return host;
}

static inline void planish_float_environment_leave(PlanishFloatEnvironment host)
{
  /* Flags that our arithmetic raised do not stay in the host's register either. */
  _mm_setcsr(host);
}

#elif defined(__aarch64__)
#include <stdint.h>

typedef uint64_t PlanishFloatEnvironment;

static inline PlanishFloatEnvironment planish_float_environment_enter(void)
{
  PlanishFloatEnvironment host;
  __asm__ volatile("mrs %0, fpcr" : "=r"(host));
  __asm__ volatile("msr fpcr, %0" : : "r"(UINT64_C(1) << 24)); /* FZ alone, Arm ARM C5.2.8 */
  return host;
}

static inline void planish_float_environment_leave(PlanishFloatEnvironment host)
{
  __asm__ volatile("msr fpcr, %0" : : "r"(host));
}

#else

typedef int PlanishFloatEnvironment;

static inline PlanishFloatEnvironment planish_float_environment_enter(void)
{
  return 0;
}

static inline void planish_float_environment_leave(PlanishFloatEnvironment host)
{
  (void)host;
}

#endif
#endif
