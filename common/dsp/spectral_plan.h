/* A short complex transform by FFTW, and the only file of common/ that knows FFTW.
 *
 * FFTW is linked statically into each module with its symbols hidden, so that planner and wisdom
 * are the module's own: plans made with FFTW_ESTIMATE then depend on the length alone, and give the
 * same bits whatever the host or another plug-in has planned. Planning is not thread-safe in FFTW;
 * one mutex in this file stands around planning and destroying. With a module's last plan its
 * planner is freed, so that a host may load and unload us as often as it likes; whoever links this
 * file must use FFTW in single precision through it alone. FFTW's own thread-safe planner is not
 * used: it leaves a callback behind in hosts that share the library.
 *
 * Threads: setup and release from any thread; process from one at a time per buffer. process() is
 * real-time safe. Bits depend on the processor's vector units, as all of FFTW's do. */
#ifndef PLANISH_DSP_SPECTRAL_PLAN_H
#define PLANISH_DSP_SPECTRAL_PLAN_H

#include "common/dsp/spectral_complex.h"
#include "common/dsp/status.h"

#include <stdint.h>

typedef struct {
  void *forward;
  void *backward;
} PlanishSpectralPlan;

/* Transforms of `length` points between buffers that are aligned as PLANISH_ALIGNMENT asks. `a` and
 * `b`, `length` long, are two such buffers; they are not written to. PLANISH_NO_MEMORY where FFTW
 * makes no plan. */
PlanishStatus planish_spectral_plan_setup(PlanishSpectralPlan *plan, uint32_t length,
                                          PlanishComplex *a, PlanishComplex *b);

/* out[k] = sum of in[n] e^(-2 pi i n k / length). Buffers must not overlap; `in` is kept. */
void planish_spectral_plan_forward(const PlanishSpectralPlan *plan, const PlanishComplex *in,
                                   PlanishComplex *out);

/* The same with e^(+2 pi i ...), without a factor: back and forth multiplies by the length. */
void planish_spectral_plan_backward(const PlanishSpectralPlan *plan, const PlanishComplex *in,
                                    PlanishComplex *out);

/* Fine on a plan of zeros, and twice. */
void planish_spectral_plan_release(PlanishSpectralPlan *plan);

#endif
