#include "common/dsp/spectral_plan.h"

#include <fftw3.h>
#include <pthread.h>
#include <setjmp.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdlib.h>

static pthread_mutex_t planner = PTHREAD_MUTEX_INITIALIZER;
/* How many of FFTW's plans there are in this module. */
static unsigned plans;

/* FFTW takes want of memory for a fault of the program, and aborts, which would take the host
 * along. What it calls then is this, in the place of its own: back to where planning began. What
 * the planner had begun is lost, and no more is planned in this module: its state is no longer
 * sound. */
static jmp_buf out_of_planning;
static bool planning;
static bool unsound;

void fftwf_assertion_failed(const char *what, int line, const char *file);

void fftwf_assertion_failed(const char *what, int line, const char *file)
{
  (void)what;
  (void)line;
  (void)file;
  if (!planning) {
    abort();
  }
  planning = false;
  unsound = true;
  longjmp(out_of_planning, 1);
}

static void *plan_of(uint32_t length, PlanishComplex *a, PlanishComplex *b, int sign)
{
  if (unsound || setjmp(out_of_planning) != 0) {
    return NULL;
  }
  planning = true;
  void *const plan = fftwf_plan_dft_1d((int)length, (fftwf_complex *)a, (fftwf_complex *)b, sign,
                                       FFTW_ESTIMATE | FFTW_PRESERVE_INPUT);
  planning = false;
  plans += plan != NULL;
  return plan;
}

static void destroy(void *plan)
{
  if (plan != NULL) {
    fftwf_destroy_plan(plan);
    --plans;
  }
}

/* With its last plan gone the planner goes too: a host that loads and unloads us again and again
 * would else lose it each time. */
static void clean_up(void)
{
  if (plans == 0 && !unsound) {
    fftwf_cleanup();
  }
}

PlanishStatus planish_spectral_plan_setup(PlanishSpectralPlan *plan, uint32_t length,
                                          PlanishComplex *a, PlanishComplex *b)
{
  pthread_mutex_lock(&planner);
  plan->forward = plan_of(length, a, b, FFTW_FORWARD);
  plan->backward = plan_of(length, a, b, FFTW_BACKWARD);
  pthread_mutex_unlock(&planner);
  return plan->forward != NULL && plan->backward != NULL ? PLANISH_OK : PLANISH_NO_MEMORY;
}

/* FFTW's interface has no const; out of place it keeps its input. */
static void execute(void *plan, const PlanishComplex *in, PlanishComplex *out)
{
  /* NOLINTNEXTLINE(performance-no-int-to-ptr) */
  fftwf_execute_dft(plan, (fftwf_complex *)(uintptr_t)in, (fftwf_complex *)out);
}

void planish_spectral_plan_forward(const PlanishSpectralPlan *plan, const PlanishComplex *in,
                                   PlanishComplex *out)
{
  execute(plan->forward, in, out);
}

void planish_spectral_plan_backward(const PlanishSpectralPlan *plan, const PlanishComplex *in,
                                    PlanishComplex *out)
{
  execute(plan->backward, in, out);
}

void planish_spectral_plan_release(PlanishSpectralPlan *plan)
{
  pthread_mutex_lock(&planner);
  destroy(plan->forward);
  destroy(plan->backward);
  clean_up();
  pthread_mutex_unlock(&planner);
  plan->forward = NULL;
  plan->backward = NULL;
}
