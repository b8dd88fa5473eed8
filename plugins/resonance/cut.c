#include "plugins/resonance/cut.h"

#include "common/dsp/maths.h"
#include "common/dsp/spectral_engine.h"
#include "common/dsp/trig.h"
#include "common/dsp/wide.h"

#include <stdbool.h>
#include <string.h>

/* Half the width of the knee, dB. */
static const float KNEE = 1.0F;
/* Nearer to nothing than anyone can hear or measure, dB. */
static const float LEAST = 1e-3F;
/* Of how far a bin is cut more than its neighbours: gives peaks back what minimum phase smooths. */
static const float DEEPER = 0.4F;
/* Neighbouring gains of minimum phase differ in phase, and what they do to a bare tone adds up to a
 * little more than any of them does: so much of a dB, times its fourth power, is measured. */
static const double TURNED = 2e-6;
/* An edge fades over a third of an octave. */
static const float EDGE = 3.0F;

void resonance_cut_setup(ResonanceCut *cut, PlanishArena *arena, double rate, uint32_t length)
{
  cut->bins = length / 2 + 1;
  cut->low = 0.0F;
  cut->high = 0.0F;
  cut->laid = 0;
  cut->hop_ms = 1000.0 * (double)length / PLANISH_SPECTRAL_OVERLAP / rate;
  cut->held = planish_arena_take(arena, cut->bins, sizeof(float));
  cut->octave = planish_arena_take(arena, cut->bins, sizeof(float));
  cut->inside = planish_arena_take(arena, cut->bins, sizeof(float));
  for (uint32_t k = 0; k < cut->bins && planish_arena_is_filling(arena); ++k) {
    const double bin = k == 0 ? 0.25 : (double)k;
    cut->octave[k] = (float)planish_log2(bin * rate / (double)length);
  }
}

void resonance_cut_reset(ResonanceCut *cut)
{
  memset(cut->held, 0, cut->bins * sizeof(float));
}

void resonance_cut_set(ResonanceCut *cut, const ResonanceCutSettings *settings)
{
  const bool empty = settings->range_low >= settings->range_high;
  cut->threshold = (float)settings->threshold;
  cut->per_db = (float)settings->per_db;
  cut->most = (float)settings->most;
  const double square = settings->most * settings->most;
  cut->deepest = (float)((TURNED * square * square - settings->most) * PLANISH_DB_TO_LOG2);
  cut->attack = (float)(1.0 - planish_exp(-cut->hop_ms / settings->attack));
  cut->release = (float)(1.0 - planish_exp(-cut->hop_ms / settings->release));
  const float low = empty ? 1000.0F : (float)planish_log2(settings->range_low);
  const float high = empty ? -1000.0F : (float)planish_log2(settings->range_high);
  if (low != cut->low || high != cut->high) {
    cut->low = low;
    cut->high = high;
    cut->laid = 0;
  }
}

static inline float clamped(float x, float most)
{
  return x < 0.0F ? 0.0F : (x > most ? most : x);
}

/* A straight line from 0 on, with a parabola over the knee. */
static inline float over_threshold(float over)
{
  const float bend = clamped(over + KNEE, 2.0F * KNEE);
  const float line = over > KNEE ? over - KNEE : 0.0F;
  return bend * bend / (4.0F * KNEE) + line;
}

/* The edges of the range, for bins from..to-1. */
PLANISH_WIDE static void lay_edges(ResonanceCut *cut, uint32_t from, uint32_t to)
{
  const float low = cut->low;
  const float high = cut->high;
  for (uint32_t k = from; k < to; ++k) {
    const float in_low = clamped(EDGE * (cut->octave[k] - low) + 0.5F, 1.0F);
    const float in_high = clamped(EDGE * (high - cut->octave[k]) + 0.5F, 1.0F);
    cut->inside[k] = in_low * in_high;
  }
}

PLANISH_WIDE static void hold_back(const ResonanceCut *cut, const float *restrict reach,
                                   float *restrict excess_to_gain, uint32_t from, uint32_t count)
{
  const ResonanceCut still = *cut;
  float *restrict const kept = cut->held + from;
  const float *restrict const inside = cut->inside + from;
  for (uint32_t i = 0; i < count; ++i) {
    const float over = over_threshold(excess_to_gain[i] - still.threshold);
    const float farthest = reach[i] < still.most ? reach[i] : still.most;
    const float wanted = clamped(still.per_db * over, farthest);
    const float now = kept[i];
    const float moved = now + (wanted > now ? still.attack : still.release) * (wanted - now);
    /* Where the largest cut has been turned down. */
    const float held = moved < still.most ? moved : still.most;
    const float db = held * inside[i];
    kept[i] = held < 1e-6F ? 0.0F : held;
    excess_to_gain[i] = db < LEAST ? 0.0F : db * (float)-PLANISH_DB_TO_LOG2;
  }
}

void resonance_cut_process(ResonanceCut *cut, const float *restrict reach,
                           float *restrict excess_to_gain, uint32_t from, uint32_t to)
{
  if (cut->laid < to) {
    lay_edges(cut, cut->laid, to);
    cut->laid = to;
  }
  hold_back(cut, reach, excess_to_gain, from, to - from);
}

/* around[1..count]: gains, between their neighbours. */
PLANISH_WIDE static void deepen(float *restrict log_gain, const float *restrict around,
                                float deepest, uint32_t count)
{
  for (uint32_t i = 0; i < count; ++i) {
    const float now = around[i + 1];
    const float deeper = now + DEEPER * (2.0F * now - around[i] - around[i + 2]);
    log_gain[i] = deeper > 0.0F ? 0.0F : (deeper < deepest ? deepest : deeper);
  }
}

void resonance_cut_deepen(ResonanceCut *cut, float *log_gain, uint32_t from, uint32_t to)
{
  enum { CHUNK = 64 };
  float around[CHUNK + 2];
  around[0] = from == 0 ? log_gain[1] : cut->before;
  for (uint32_t k = from; k < to; k += CHUNK) {
    const uint32_t count = to - k < CHUNK ? to - k : CHUNK;
    const uint32_t next = k + count;
    memcpy(around + 1, log_gain + k, count * sizeof *around);
    /* At both ends it goes on as it came. */
    around[count + 1] = log_gain[next < cut->bins ? next : next - 2];
    deepen(log_gain + k, around, cut->deepest, count);
    around[0] = around[count];
  }
  cut->before = around[0];
}
