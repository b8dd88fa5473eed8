/* Plugins for tests of the harness alone: a delay with a gain, a saturating drive, a mono gain. */
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
} Stage;

static LV2_Handle instantiate(const LV2_Descriptor *descriptor, double rate, const char *path,
                              const LV2_Feature *const *features)
{
  (void)descriptor;
  (void)path;
  (void)features;
  Stage *stage = rate > 1000000.0 ? NULL : calloc(1, sizeof *stage);
  if (stage != NULL) {
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

#define DESCRIPTOR(uri, run)                                                                       \
  {                                                                                                \
    uri, instantiate, connect_port, activate, run, NULL, cleanup, NULL                             \
  }

static const LV2_Descriptor descriptors[] = {
    DESCRIPTOR("urn:planish:test-delay", run_delay),
    DESCRIPTOR("urn:planish:test-drive", run_drive),
    DESCRIPTOR("urn:planish:test-mono", run_mono),
    DESCRIPTOR("urn:planish:test-needy", run_mono),
    DESCRIPTOR("https://example.org/lv2/drive", run_drive),
    DESCRIPTOR("https://example.org/lv2/echo", run_delay),
    DESCRIPTOR("https://example.org/lv2/mono", run_mono),
};

LV2_SYMBOL_EXPORT const LV2_Descriptor *lv2_descriptor(uint32_t index)
{
  return index < sizeof descriptors / sizeof *descriptors ? &descriptors[index] : NULL;
}
