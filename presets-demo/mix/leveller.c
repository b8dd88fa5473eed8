#include "presets-demo/mix/leveller.h"

#include "presets-demo/mix/arithmetic.h"

void planish_demo_level_out(double *line, size_t frames, double threshold, double fall)
{
  const double up = planish_demo_approach(0.004);
  const double down = planish_demo_approach(fall);
  double level = 0.0;
  for (size_t n = 0; n < frames; ++n) {
    const double magnitude = fabs(line[n]);
    level += (magnitude > level ? up : down) * (magnitude - level);
    level = level < 1e-12 ? 0.0 : level;
    line[n] *= 2.0 / (1.0 + level / threshold);
  }
}
