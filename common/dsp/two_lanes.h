/* Two channels in one register: the compiler's vector type, since gcc 12 leaves plain two-lane
 * loops scalar at -O3. Arithmetic acts on both lanes; a scalar factor is written planish_both(). */
#ifndef PLANISH_DSP_TWO_LANES_H
#define PLANISH_DSP_TWO_LANES_H

typedef double PlanishTwo __attribute__((vector_size(16)));

static inline PlanishTwo planish_both(double x)
{
  return (PlanishTwo){x, x};
}

#endif
