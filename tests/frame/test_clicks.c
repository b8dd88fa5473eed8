/* Every control that may be automated, stepped from its minimum to its maximum and back, under a
 * tone and under music; and bypass. What counts as a click:
 *
 * - under the tone, of 100 Hz at -12 dBFS: what stands above 2 kHz for as long as the change lasts,
 *   over what stands there before and after it. A tone of the lowest octaves masks next to nothing
 * up there, so the floor is that of hearing: at a monitor level of 92 dB SPL for full scale (as the
 *   distortion account takes it) -60 dBFS is 32 dB SPL, and a click of a millisecond or two needs
 * some 20 dB more than a tone to be heard (common practice: hearing sums power over some 200 ms).
 * - under music: the largest second difference, which a step turns into its own height, over the
 *   largest of the rest, by more than a fifth.
 *
 * The other controls stand at random, so that what is stepped has something to do; the figures are
 * the worst of all. */
#include "tests/frame/takes.h"
#include "tests/unit/cmocka_headers.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { RATE = 48000, UP = 48000, DOWN = 96000, FRAMES = 144000, SETTLE = 14400, SCATTERS = 2 };

static const double FLOOR = -60.0; /* dBFS */
static const double MOST = 1.2;    /* over the rest */

/* The largest magnitude above 2 kHz from a frame on up to another: two second-order high passes
 * with the poles of a Butterworth of the fourth order. */
static double high_peak(const float *x, uint32_t from, uint32_t to)
{
  static const double damping[2] = {0.5411961, 1.3065630};
  double y[2][2] = {{0.0}};
  double u[2][2] = {{0.0}};
  double peak = 0.0;
  const double w = 2.0 * acos(-1.0) * 2000.0 / RATE;
  const uint32_t start = from > 4800 ? from - 4800 : 0;
  for (uint32_t n = start; n < to; ++n) {
    double in = (double)x[n];
    for (int k = 0; k < 2; ++k) {
      const double alpha = sin(w) / (2.0 * damping[k]);
      const double out = ((1.0 + cos(w)) / 2.0 * (in - 2.0 * u[k][0] + u[k][1]) +
                          2.0 * cos(w) * y[k][0] - (1.0 - alpha) * y[k][1]) /
                         (1.0 + alpha);
      u[k][1] = u[k][0];
      u[k][0] = in;
      y[k][1] = y[k][0];
      y[k][0] = out;
      in = out;
    }
    peak = n >= from ? fmax(peak, fabs(in)) : peak;
  }
  return peak;
}

static double rough_peak(const float *x, uint32_t from, uint32_t to)
{
  double peak = 0.0;
  for (uint32_t n = from; n < to; ++n) {
    peak = fmax(peak, fabs((double)x[n] - 2.0 * (double)x[n - 1] + (double)x[n - 2]));
  }
  return peak;
}

/* The largest of a measure while something changes, and of the rest. */
static void around(double (*measure)(const float *, uint32_t, uint32_t), const Audio *out,
                   uint32_t latency, double *changing, double *rest)
{
  *changing = *rest = 0.0;
  for (int c = 0; c < 2; ++c) {
    const float *x = out->channel[c];
    const uint32_t settled[2] = {UP + latency + SETTLE, DOWN + latency + SETTLE};
    *changing = fmax(*changing, fmax(measure(x, UP, settled[0]), measure(x, DOWN, settled[1])));
    *rest = fmax(*rest, fmax(measure(x, UP / 2, UP), measure(x, settled[0], DOWN)));
    *rest = fmax(*rest, measure(x, settled[1], FRAMES));
  }
}

typedef struct {
  double click; /* dBFS */
  double rough; /* over the rest */
} Figures;

static Figures worst_of(Figures a, Figures b)
{
  return (Figures){fmax(a.click, b.click), fmax(a.rough, b.rough)};
}

static Figures step(const PlanishPlugin *plugin, const PlanishPluginPort *port, const Audio *tone,
                    const Audio *music, uint64_t seed)
{
  static Take take;
  double changing = 0.0;
  double rest = 0.0;
  uint32_t latency = 0;
  take = take_of(plugin, RATE);
  take_scatter(&take, 0, &seed);
  take_move(&take, 0, port->symbol, port->minimum);
  take_move(&take, UP, port->symbol, port->maximum);
  take_move(&take, DOWN, port->symbol, port->minimum);
  Audio out = take_run(&take, tone, &latency);
  around(high_peak, &out, latency, &changing, &rest);
  audio_free(&out);
  Figures figures = {.click = 20.0 * log10(fmax(changing - rest, 1e-9))};
  out = take_run(&take, music, &latency);
  around(rough_peak, &out, latency, &changing, &rest);
  audio_free(&out);
  figures.rough = changing / fmax(rest, 1e-4);
  return figures;
}

static void check_stage(const PlanishPlugin *plugin)
{
  Audio tone = audio_sine(FRAMES, RATE, 100.3, 0.25f);
  Audio music = audio_music(FRAMES, 5, 0.5f);
  Figures worst = {-HUGE_VAL, 0.0};
  const char *loudest = "none";
  for (uint32_t n = 0; n < plugin->port_count; ++n) {
    const PlanishPluginPort *port = &plugin->ports[n];
    Figures own = {-HUGE_VAL, 0.0};
    if (port->kind != PLANISH_PLUGIN_CONTROL_INPUT || port->not_automatic) {
      continue;
    }
    for (uint64_t seed = 1; seed <= SCATTERS; ++seed) {
      own = worst_of(own, step(plugin, port, &tone, &music, seed));
    }
    if (own.click > FLOOR - 15.0 || own.rough > 1.1) {
      printf("  %-22s %6.1f dBFS %5.2f\n", port->symbol, own.click, own.rough);
    }
    loudest = own.click > worst.click ? port->symbol : loudest;
    worst = worst_of(worst, own);
  }
  printf("  steps: loudest %.1f dBFS above 2 kHz (%s); under music %.2f of the rest\n", worst.click,
         loudest, worst.rough);
  audio_free(&tone);
  audio_free(&music);
  assert_true(worst.click <= FLOOR);
  assert_true(worst.rough <= MOST);
}

static void no_step_is_heard(void **state)
{
  (void)state;
  for_each_stage(check_stage);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(no_step_is_heard),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
