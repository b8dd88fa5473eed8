#include "presets-demo/mix/strings.h"

#include "presets-demo/mix/arithmetic.h"

enum { LONGEST = 4096, WATCHED = 2048 };

typedef struct {
  double line[LONGEST];
  size_t length;
  size_t at;
  double damping;
  double previous; /* of the low pass */
  double bend;     /* of the all-pass: coefficient, then its memory */
  double bend_in;
  double bend_out;
} String;

static void tune(String *string, const PlanishDemoPluck *pluck)
{
  const double period = PLANISH_DEMO_RATE / planish_demo_hertz(pluck->pitch);
  /* The low pass delays by about its damping; the all-pass is best behaved for 0.3 .. 1.3. */
  const double rest = period - pluck->damping - 0.3;
  string->length = (size_t)rest;
  if (string->length > LONGEST) {
    string->length = LONGEST;
  }
  const double fraction = rest - (double)string->length + 0.3;
  string->bend = (1.0 - fraction) / (1.0 + fraction);
  string->damping = pluck->damping;
}

/* Noise as the pick leaves it: softened, without the partials that have a node under it, no DC. */
static void excite(String *string, const PlanishDemoPluck *pluck, PlanishDemoRandom *random)
{
  double soft = 0.0;
  double sum = 0.0;
  for (size_t n = 0; n < string->length; ++n) {
    soft += (0.05 + pluck->colour) * (planish_demo_random_even(random) - soft);
    string->line[n] = soft;
  }
  const size_t node = 1 + (size_t)(pluck->pick * (double)(string->length - 1));
  for (size_t n = string->length; n-- > node;) {
    string->line[n] -= 0.9 * string->line[n - node];
  }
  for (size_t n = 0; n < string->length; ++n) {
    sum += string->line[n];
  }
  const double mean = sum / (double)string->length;
  for (size_t n = 0; n < string->length; ++n) {
    string->line[n] = pluck->force * (string->line[n] - mean);
  }
}

static double step(String *string, double loss)
{
  const double x = string->line[string->at];
  const double low = x + string->damping * (string->previous - x);
  string->previous = x;
  const double bent = string->bend * (low - string->bend_out) + string->bend_in;
  string->bend_in = low;
  string->bend_out = bent;
  string->line[string->at] = loss * bent;
  string->at = string->at + 1 == string->length ? 0 : string->at + 1;
  return x;
}

void planish_demo_pluck(const PlanishDemoPluck *pluck, size_t held, PlanishDemoRandom *random,
                        double *sound, size_t frames)
{
  String string = {.length = 0};
  tune(&string, pluck);
  excite(&string, pluck, random);
  const double period = (double)string.length / PLANISH_DEMO_RATE;
  const double ring = planish_exp2(-3.0 * PLANISH_LOG2_10 * period / pluck->seconds);
  const double stop = planish_exp2(-3.0 * PLANISH_LOG2_10 * period / pluck->release);
  double loudest = 0.0;
  for (size_t n = 0; n < frames; ++n) {
    const double x = step(&string, n < held ? ring : stop);
    sound[n] += x;
    loudest = planish_max(loudest, fabs(x));
    if (n % WATCHED == WATCHED - 1) {
      if (loudest < 1e-7) {
        break;
      }
      loudest = 0.0;
    }
  }
}
