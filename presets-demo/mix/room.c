#include "presets-demo/mix/room.h"

#include "presets-demo/mix/arithmetic.h"

#include <stdlib.h>

enum { LINES = 8, LONGEST = 8192 };

/* Milliseconds; no two share a small ratio, so that echoes do not pile up. */
static const double line_ms[LINES] = {22.3, 26.9, 31.7, 37.1, 41.9, 47.3, 53.9, 61.7};

typedef struct {
  double line[LINES][LONGEST];
  size_t length[LINES];
  size_t at[LINES];
  double gain[LINES];
  double dull[LINES];
  double damping;
  double before[2][LONGEST];
  size_t before_length;
  size_t before_at;
  PlanishDemoFilter low_cut[2];
} Network;

static void set_up(Network *network, const PlanishDemoRoom *room)
{
  for (size_t i = 0; i < LINES; ++i) {
    network->length[i] = planish_frames_of(line_ms[i] * room->size, PLANISH_DEMO_RATE);
    const double seconds = (double)network->length[i] / PLANISH_DEMO_RATE;
    network->gain[i] = planish_exp2(-3.0 * PLANISH_LOG2_10 * seconds / room->seconds);
  }
  network->damping = room->damping;
  network->before_length = 1 + planish_frames_of(1000.0 * room->predelay, PLANISH_DEMO_RATE);
  network->low_cut[0] = planish_demo_filter(PLANISH_DEMO_HIGH_PASS, room->low, 0.7, 0.0);
  network->low_cut[1] = network->low_cut[0];
}

/* Eight values through the matrix of +-1 / sqrt(8), by butterflies. */
static void mix(double *v)
{
  for (size_t span = 1; span < LINES; span *= 2) {
    for (size_t i = 0; i < LINES; ++i) {
      if ((i & span) == 0) {
        const double a = v[i];
        const double b = v[i + span];
        v[i] = a + b;
        v[i + span] = a - b;
      }
    }
  }
  for (size_t i = 0; i < LINES; ++i) {
    v[i] *= 0.35355339059327376;
  }
}

static double delayed_input(Network *network, size_t lane, double x)
{
  double *line = network->before[lane];
  line[network->before_at] = planish_demo_filter_process(&network->low_cut[lane], x);
  const size_t oldest = (network->before_at + 1) % network->before_length;
  return line[oldest];
}

static void step(Network *network, double *left, double *right)
{
  const double in[2] = {delayed_input(network, 0, *left), delayed_input(network, 1, *right)};
  network->before_at = (network->before_at + 1) % network->before_length;
  double v[LINES];
  for (size_t i = 0; i < LINES; ++i) {
    const double out = network->line[i][network->at[i]];
    network->dull[i] = out + network->damping * (network->dull[i] - out);
    v[i] = fabs(network->dull[i]) < 1e-20 ? 0.0 : network->gain[i] * network->dull[i];
  }
  *left = v[0] - v[2] + v[4] - v[6];
  *right = v[1] - v[3] + v[5] - v[7];
  mix(v);
  for (size_t i = 0; i < LINES; ++i) {
    network->line[i][network->at[i]] = v[i] + in[i & 1u];
    network->at[i] = network->at[i] + 1 == network->length[i] ? 0 : network->at[i] + 1;
  }
}

bool planish_demo_room_add(const PlanishDemoRoom *room, const PlanishDemoTrack *source, double gain,
                           PlanishDemoTrack *target)
{
  Network *network = calloc(1, sizeof *network);
  if (network == NULL) {
    return false;
  }
  set_up(network, room);
  for (size_t n = 0; n < source->frames; ++n) {
    double left = source->left[n];
    double right = source->right[n];
    step(network, &left, &right);
    target->left[n] += gain * left;
    target->right[n] += gain * right;
  }
  free(network);
  return true;
}
