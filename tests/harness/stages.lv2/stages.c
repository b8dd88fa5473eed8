/* Plugins for tests of the harness alone: a delay with a gain, a saturating drive, a mono gain, and
 * laws whose responses are known in closed form. */
#include <lv2/core/lv2.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MAX_PORTS = 12, MAX_TAPS = 100000 };

typedef struct {
  float *ports[MAX_PORTS];
  float *ring[2];
  uint32_t at;
  uint64_t frames;
  float peak;
  double rate;
  double past[2][2]; /* input and output of the frame before, by channel */
  double gain;
  uint32_t quiet; /* frames since it was loud */
} Stage;

static LV2_Handle instantiate(const LV2_Descriptor *descriptor, double rate, const char *path,
                              const LV2_Feature *const *features)
{
  (void)descriptor;
  (void)path;
  (void)features;
  Stage *stage = rate > 1000000.0 ? NULL : calloc(1, sizeof *stage);
  if (stage != NULL) {
    stage->rate = rate;
    stage->ring[0] = calloc(MAX_TAPS + 1, sizeof(float));
    stage->ring[1] = calloc(MAX_TAPS + 1, sizeof(float));
  }
  return stage;
}

static void cleanup(LV2_Handle handle)
{
  Stage *stage = handle;
  free(stage->ring[0]);
  free(stage->ring[1]);
  free(stage);
}

static void connect_port(LV2_Handle handle, uint32_t port, void *place)
{
  if (port < MAX_PORTS) {
    ((Stage *)handle)->ports[port] = place;
  }
}

static void activate(LV2_Handle handle)
{
  Stage *stage = handle;
  memset(stage->ring[0], 0, (MAX_TAPS + 1) * sizeof(float));
  memset(stage->ring[1], 0, (MAX_TAPS + 1) * sizeof(float));
  stage->at = 0;
  stage->frames = 0;
  stage->peak = 0.0f;
  memset(stage->past, 0, sizeof stage->past);
  stage->gain = 1.0;
  stage->quiet = UINT32_MAX / 2;
}

static float factor(float db)
{
  return powf(10.0f, db / 20.0f);
}

static void run_delay(LV2_Handle handle, uint32_t frames)
{
  Stage *stage = handle;
  const uint32_t taps = (uint32_t)*stage->ports[6];
  const float gain = *stage->ports[7] == 0.0f ? 1.0f : factor(*stage->ports[7]);
  for (uint32_t n = 0; n < frames; ++n) {
    const uint32_t from = (stage->at + MAX_TAPS + 1 - taps) % (MAX_TAPS + 1);
    for (int c = 0; c < 2; ++c) {
      stage->ring[c][stage->at] = stage->ports[c][n];
      const float x = stage->ring[c][from] * gain;
      stage->ports[2 + c][n] = x;
      stage->peak = fmaxf(stage->peak, fabsf(x));
    }
    stage->at = (stage->at + 1) % (MAX_TAPS + 1);
  }
  stage->frames += frames;
  const float wander_at = *stage->ports[8];
  const int wandered = wander_at > 0.0f && (float)stage->frames >= wander_at;
  *stage->ports[5] = (float)taps + (wandered ? 1.0f : 0.0f);
  *stage->ports[10] = 20.0f * log10f(fmaxf(stage->peak, 1e-5f));
}

static void run_drive(LV2_Handle handle, uint32_t frames)
{
  Stage *stage = handle;
  const float gain = factor(*stage->ports[4]);
  const float ceiling = factor(*stage->ports[5]);
  float least = 1.0f;
  for (uint32_t n = 0; n < frames; ++n) {
    for (int c = 0; c < 2; ++c) {
      const float x = gain * stage->ports[c][n];
      const float y = ceiling * tanhf(x / ceiling);
      least = fabsf(x) > 1e-6f ? fminf(least, y / x) : least;
      stage->ports[2 + c][n] = y;
    }
  }
  *stage->ports[6] = 20.0f * log10f(fmaxf(least, 1e-3f));
}

static void run_mono(LV2_Handle handle, uint32_t frames)
{
  Stage *stage = handle;
  const float gain = factor(*stage->ports[2]);
  for (uint32_t n = 0; n < frames; ++n) {
    stage->ports[1][n] = gain * stage->ports[0][n];
  }
}

/* y = b0 x + b1 x' - a y'. */
static double first_order(double past[2], double x, double b0, double b1, double a)
{
  const double y = b0 * x + b1 * past[0] - a * past[1];
  past[0] = x;
  past[1] = y;
  return y;
}

/* By the control `law`: 0 low pass, first order, by the bilinear transform, corner at `amount` Hz;
 * 1 all-pass (c + 1/z) / (1 + c/z), c = `amount`; 2 x + 0.3 x^2 + 0.2 x^3; 3 hard clip at
 * `amount`. */
static double follow_law(Stage *stage, int c, double x)
{
  const double amount = (double)*stage->ports[5];
  const double k = tan(3.14159265358979323846 * amount / stage->rate);
  switch ((int)*stage->ports[4]) {
  case 0:
    return first_order(stage->past[c], x, k / (1.0 + k), k / (1.0 + k), (k - 1.0) / (k + 1.0));
  case 1:
    return first_order(stage->past[c], x, amount, 1.0, amount);
  case 2:
    return x + 0.3 * x * x + 0.2 * x * x * x;
  default:
    return fmin(fmax(x, -amount), amount);
  }
}

/* 4: from the first frame over 0.1 on the gain falls towards a half, once the last lies 100 frames
 * back it rises to 1, both by a factor of e in `amount` seconds. */
static void follow_level(Stage *stage, float x)
{
  stage->quiet = fabsf(x) > 0.1f ? 0 : stage->quiet + (stage->quiet < 1000000);
  const double target = stage->quiet < 100 ? 0.5 : 1.0;
  const double keep = exp(-1.0 / ((double)*stage->ports[5] * stage->rate));
  stage->gain = target + keep * (stage->gain - target);
}

/* 5: a delay of `amount` frames that is not reported. */
static double delay(Stage *stage, int c, double x)
{
  const uint32_t taps = (uint32_t)*stage->ports[5];
  stage->ring[c][stage->at] = (float)x;
  return (double)stage->ring[c][(stage->at + MAX_TAPS + 1 - taps) % (MAX_TAPS + 1)];
}

static void run_law(LV2_Handle handle, uint32_t frames)
{
  Stage *stage = handle;
  const int law = (int)*stage->ports[4];
  for (uint32_t n = 0; n < frames; ++n) {
    if (law == 4) {
      follow_level(stage, stage->ports[0][n]);
    }
    for (int c = 0; c < 2; ++c) {
      const double x = (double)stage->ports[c][n];
      stage->ports[2 + c][n] = (float)(law == 4   ? stage->gain * x
                                       : law == 5 ? delay(stage, c, x)
                                                  : follow_law(stage, c, x));
    }
    stage->at = (stage->at + 1) % (MAX_TAPS + 1);
  }
}

#define DESCRIPTOR(uri, run)                                                                       \
  {                                                                                                \
    uri, instantiate, connect_port, activate, run, NULL, cleanup, NULL                             \
  }

static const LV2_Descriptor descriptors[] = {
    DESCRIPTOR("urn:planish:test-delay", run_delay),
    DESCRIPTOR("urn:planish:test-drive", run_drive),
    DESCRIPTOR("urn:planish:test-mono", run_mono),
    DESCRIPTOR("urn:planish:test-law", run_law),
    DESCRIPTOR("urn:planish:test-needy", run_mono),
    DESCRIPTOR("https://example.org/lv2/drive", run_drive),
    DESCRIPTOR("https://example.org/lv2/echo", run_delay),
    DESCRIPTOR("https://example.org/lv2/mono", run_mono),
};

LV2_SYMBOL_EXPORT const LV2_Descriptor *lv2_descriptor(uint32_t index)
{
  return index < sizeof descriptors / sizeof *descriptors ? &descriptors[index] : NULL;
}
