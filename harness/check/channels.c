#include "harness/check/channels.h"

#include "common/dsp/maths.h"

#define LOW_HZ    150.0
#define LOW_ORDER 4

void planish_channels_reset(PlanishChannels *channels, double rate)
{
  *channels = (PlanishChannels){0};
  channels->coefs = planish_k_weighting_design(rate);
  const PlanishEqSetting setting = {PLANISH_EQ_LOW_PASS, LOW_ORDER, LOW_HZ, 0.0, sqrt(0.5)};
  PlanishEqPrototype prototype;
  planish_eq_prototype(&setting, rate, &prototype);
  planish_eq_sections(&prototype, &channels->low_pass);
}

static void add(PlanishChannelSums *sums, double left, double right)
{
  sums->left += left * left;
  sums->right += right * right;
  sums->both += left * right;
}

void planish_channels_process(PlanishChannels *channels, const float *interleaved, size_t frames)
{
  for (size_t n = 0; n < frames; ++n) {
    const double x[2] = {(double)interleaved[2 * n], (double)interleaved[2 * n + 1]};
    add(&channels->whole, x[0], x[1]);
    channels->differ = channels->differ || x[0] != x[1];
    for (int c = 0; c < 2; ++c) {
      const double weighted = planish_k_weighting_process(&channels->k[c], &channels->coefs, x[c]);
      channels->weighted[c] += weighted * weighted;
      channels->sum[c] += x[c];
    }
    PlanishTwo low = {x[0], x[1]};
    for (unsigned s = 0; s < channels->low_pass.count; ++s) {
      planish_svf_process(&channels->low_filter[s], &channels->low_pass.section[s], &low, 1);
    }
    add(&channels->low, low[0], low[1]);
  }
  channels->frames += frames;
}

double planish_channels_correlation(const PlanishChannelSums *sums)
{
  const double both = sqrt(sums->left) * sqrt(sums->right);
  return both > 0.0 ? planish_clamp(sums->both / both, -1.0, 1.0) : (double)NAN;
}

double planish_channels_balance(const PlanishChannels *channels)
{
  return 10.0 * log10(channels->weighted[0] / channels->weighted[1]);
}

double planish_channels_level(const PlanishChannels *channels, int channel)
{
  const double sum = channel == 0 ? channels->whole.left : channels->whole.right;
  return planish_level_of_power(sum / planish_max(1.0, (double)channels->frames));
}

double planish_channels_offset(const PlanishChannels *channels, int channel)
{
  return channels->sum[channel] / planish_max(1.0, (double)channels->frames);
}
