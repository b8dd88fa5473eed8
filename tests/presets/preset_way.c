#include "tests/presets/preset_way.h"

#include <math.h>
#include <string.h>

bool preset_is_on(const PlanishPresetEntry *entry, PresetSignal signal)
{
  return signal <= PRESET_SIDE &&
         strcmp(entry->heard_on, signal == PRESET_MID ? "side" : "mid") != 0;
}

bool preset_is_inside(const PlanishPresetEntry *entry, int band)
{
  const double hz = preset_band_centre(band);
  return hz >= entry->heard_from / 1.13 && hz <= entry->heard_to * 1.13;
}

typedef double Measure(const PlanishPresetEntry *entry, const PresetChanges *changes, int s, int b);

static double level(const PlanishPresetEntry *entry, const PresetChanges *changes, int s, int b)
{
  (void)entry;
  return changes->of[s][b].mean;
}

static double attacks(const PlanishPresetEntry *entry, const PresetChanges *changes, int s, int b)
{
  (void)entry;
  return changes->of[s][b].rising - changes->of[s][b].falling;
}

static double body(const PlanishPresetEntry *entry, const PresetChanges *changes, int s, int b)
{
  (void)entry;
  return changes->of[s][b].falling;
}

/* A tilt about the middle of what it is heard in. */
static double tilt(const PlanishPresetEntry *entry, const PresetChanges *changes, int s, int b)
{
  const bool top = preset_band_centre(b) > sqrt(entry->heard_from * entry->heard_to);
  return top ? changes->of[s][b].mean : -changes->of[s][b].mean;
}

static double to_the_right(const PlanishPresetEntry *entry, const PresetChanges *changes, int s,
                           int b)
{
  (void)entry;
  (void)s;
  return changes->of[PRESET_RIGHT][b].mean - changes->of[PRESET_LEFT][b].mean;
}

typedef struct {
  const char *name;
  Measure *measure;
  double sign;
} Way;

static const Way ways[] = {
    {"up", level, 1.0},           {"down", level, -1.0},     {"attacks up", attacks, 1.0},
    {"body up", body, 1.0},       {"body down", body, -1.0}, {"attacks down", attacks, -1.0},
    {"brighter", tilt, 1.0},      {"darker", tilt, -1.0},    {"right", to_the_right, 1.0},
    {"left", to_the_right, -1.0},
};

static const Way *way_of(const PlanishPresetEntry *entry)
{
  const Way *found = NULL;
  for (size_t n = 0; n < sizeof ways / sizeof *ways; ++n) {
    found = strcmp(entry->heard_as, ways[n].name) == 0 ? &ways[n] : found;
  }
  return found;
}

double preset_goes(const PlanishPresetEntry *entry, const PresetChanges *changes)
{
  const Way *way = way_of(entry);
  double sum = 0.0;
  double count = 0.0;
  for (int s = PRESET_MID; s <= PRESET_SIDE; ++s) {
    for (int band = 0; band < PRESET_BANDS; ++band) {
      if (way != NULL && preset_is_on(entry, (PresetSignal)s) && preset_is_inside(entry, band) &&
          changes->of[s][band].rms > 0.0) {
        sum += fmax(-1.0, fmin(1.0, way->sign * way->measure(entry, changes, s, band)));
        count += 1.0;
      }
    }
  }
  return count == 0.0 ? 0.0 : sum / count;
}
