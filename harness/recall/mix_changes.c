#include "harness/recall/mix_changes.h"

#include "harness/base/interrupt.h"
#include "harness/compare/shifted.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { BLOCK = 4096 };

typedef struct {
  double square[2]; /* of old and new */
  double product;
} Window;

typedef struct {
  const PlanishCompareSetup *setup;
  PlanishMixChanges *changes;
  PlanishReader *reader[2];
  PlanishShifted *shifted;
  double sign[2];
  double factor; /* of the new mix */
  size_t window; /* frames */
  size_t count;
  Window *windows;
  float old[2 * BLOCK];
  float new[2 * BLOCK];
  PlanishThirdOctaves *octaves[2];
} Finder;

static bool open_reader(Finder *finder, int n, PlanishError *error)
{
  const PlanishReaderOptions options = {.silence_bad = finder->setup->silence_bad,
                                        .rate = finder->changes->comparison->rate};
  finder->reader[n] = planish_reader_open(finder->setup->path[n], &options, error);
  return finder->reader[n] != NULL;
}

/* From this frame of the old mix on, lined up. */
static bool start_at(Finder *finder, uint64_t frame, PlanishError *error)
{
  planish_shifted_free(finder->shifted);
  finder->shifted =
      planish_shifted_new(finder->reader[1], finder->changes->delay + (double)frame, error);
  return finder->shifted != NULL && planish_reader_seek(finder->reader[0], frame, error);
}

/* Exactly `frames` of both, which are known to be there; the new with its sign and factor. */
static bool read_both(Finder *finder, size_t frames, PlanishError *error)
{
  size_t have = 0;
  size_t got = 1;
  while (have < frames && got > 0) {
    if (!planish_reader_read(finder->reader[0], finder->old + 2 * have, frames - have, &got,
                             error)) {
      return false;
    }
    have += got;
  }
  memset(finder->old + 2 * have, 0, 2 * (frames - have) * sizeof *finder->old);
  if (!planish_interrupt_check(error) ||
      !planish_shifted_read(finder->shifted, finder->new, frames, error)) {
    return false;
  }
  for (size_t n = 0; n < 2 * frames; ++n) {
    finder->new[n] = (float)(finder->factor * finder->sign[n % 2] * (double)finder->new[n]);
  }
  return true;
}

static void take_window(const Finder *finder, Window *window, size_t frames)
{
  for (size_t n = 0; n < 2 * frames; ++n) {
    const double a = (double)finder->old[n];
    const double b = (double)finder->new[n];
    window->square[0] += a * a;
    window->square[1] += b * b;
    window->product += a * b;
  }
}

static bool read_windows(Finder *finder, PlanishError *error)
{
  const PlanishComparison *comparison = finder->changes->comparison;
  memset(finder->windows, 0, finder->count * sizeof *finder->windows);
  finder->factor = 1.0;
  bool done = start_at(finder, comparison->from, error);
  for (size_t n = 0; done && n < finder->count; ++n) {
    uint64_t left = comparison->overlap - (uint64_t)n * finder->window;
    left = left < finder->window ? left : finder->window;
    while (done && left > 0) {
      const size_t frames = left < BLOCK ? (size_t)left : BLOCK;
      done = read_both(finder, frames, error);
      take_window(finder, &finder->windows[n], done ? frames : 0);
      left -= frames;
    }
  }
  return done;
}

typedef struct {
  double gain;
  double weight;
} Weighted;

static int by_gain(const void *a, const void *b)
{
  const double x = ((const Weighted *)a)->gain;
  const double y = ((const Weighted *)b)->gain;
  return (x > y) - (x < y);
}

/* NAN where no window says anything; -1 without memory. */
static double median_gain(const Finder *finder)
{
  Weighted *list = calloc(finder->count + 1, sizeof *list);
  size_t count = 0;
  double all = 0.0;
  if (list == NULL) {
    return -1.0;
  }
  for (size_t n = 0; n < finder->count; ++n) {
    const Window *window = &finder->windows[n];
    if (window->product > 0.0 && window->square[1] > 0.0) {
      list[count++] = (Weighted){window->product / window->square[1], window->square[1]};
      all += window->square[1];
    }
  }
  qsort(list, count, sizeof *list, by_gain);
  double passed = 0.0;
  size_t middle = 0;
  while (middle + 1 < count && passed + list[middle].weight < 0.5 * all) {
    passed += list[middle].weight;
    middle += 1;
  }
  const double gain = count > 0 ? list[middle].gain : (double)NAN;
  free(list);
  return gain;
}

static double power_of(double db)
{
  return pow(10.0, db / 10.0);
}

static double decibels(double ratio)
{
  return ratio > 0.0 ? 10.0 * log10(ratio) : -HUGE_VAL;
}

/* The mean power of the old mix in one window of full length. */
static double mean_of(const Finder *finder)
{
  double sum = 0.0;
  for (size_t n = 0; n < finder->count; ++n) {
    sum += finder->windows[n].square[0];
  }
  return sum * (double)finder->window / (double)finder->changes->comparison->overlap;
}

/* The power of the difference in a window, from its sums. */
static double rest_of(const Finder *finder, size_t n)
{
  const Window *window = &finder->windows[n];
  return window->square[0] - 2.0 * finder->factor * window->product +
         finder->factor * finder->factor * window->square[1];
}

static bool add_stretch(Finder *finder, size_t first, size_t last, double mean, PlanishError *error)
{
  PlanishMixChanges *changes = finder->changes;
  const PlanishComparison *comparison = changes->comparison;
  PlanishMixStretch *longer =
      realloc(changes->stretches, (changes->count + 1) * sizeof *changes->stretches);
  if (longer == NULL) {
    return planish_fail_memory(error);
  }
  changes->stretches = longer;
  double rest = 0.0;
  for (size_t n = first; n <= last; ++n) {
    rest += rest_of(finder, n);
  }
  const double from = (double)comparison->from + (double)first * (double)finder->window;
  const double to = fmin((double)(comparison->from + comparison->overlap),
                         from + (double)(last + 1 - first) * (double)finder->window);
  longer[changes->count++] = (PlanishMixStretch){
      .from = from / comparison->rate,
      .to = to / comparison->rate,
      .difference = decibels(rest / ((double)(last + 1 - first) * mean)),
  };
  changes->changed += (to - from) / comparison->rate;
  return true;
}

static bool find_stretches(Finder *finder, PlanishError *error)
{
  const size_t join = (size_t)(PLANISH_MIX_JOIN / PLANISH_MIX_WINDOW + 0.5);
  const double mean = mean_of(finder);
  const double threshold = mean * power_of(finder->changes->level);
  bool done = true;
  for (size_t n = 0; done && n < finder->count; ++n) {
    if (!(rest_of(finder, n) > threshold)) {
      continue;
    }
    size_t last = n;
    for (size_t next = n + 1; next < finder->count && next <= last + join; ++next) {
      last = rest_of(finder, next) > threshold ? next : last;
    }
    done = add_stretch(finder, n, last, mean, error);
    n = last;
  }
  return done;
}

static bool read_stretch(Finder *finder, const PlanishMixStretch *stretch, PlanishError *error)
{
  const double rate = finder->changes->comparison->rate;
  const uint64_t from = (uint64_t)(stretch->from * rate + 0.5);
  uint64_t left = (uint64_t)(stretch->to * rate + 0.5) - from;
  bool done = start_at(finder, from, error);
  while (done && left > 0) {
    const size_t frames = left < BLOCK ? (size_t)left : BLOCK;
    done = read_both(finder, frames, error);
    if (done) {
      planish_third_octaves_process(finder->octaves[0], finder->old, frames);
      planish_third_octaves_process(finder->octaves[1], finder->new, frames);
      left -= frames;
    }
  }
  return done;
}

static void compare_bands(PlanishMixStretch *stretch, const PlanishThirdOctaveLevels levels[2])
{
  for (size_t n = 0; n < levels[0].count; ++n) {
    double power[2];
    for (int k = 0; k < 2; ++k) {
      const double *level = levels[k].band[n].level;
      power[k] = 0.5 * (power_of(level[PLANISH_BAND_LEFT]) + power_of(level[PLANISH_BAND_RIGHT]));
    }
    const double floor = power_of(PLANISH_MIX_FLOOR);
    const double change = decibels(fmax(power[1], floor) / fmax(power[0], floor));
    if (fabs(change) >= PLANISH_MIX_BAND) {
      stretch->nominal[stretch->band_count] = levels[0].band[n].nominal;
      stretch->change[stretch->band_count++] = change;
    }
  }
  stretch->listed = true;
}

static bool find_bands(Finder *finder, PlanishMixStretch *stretch, PlanishError *error)
{
  PlanishThirdOctaveLevels levels[2];
  bool done = true;
  for (int n = 0; n < 2; ++n) {
    finder->octaves[n] = planish_third_octaves_new(finder->changes->comparison->rate);
    done = done && finder->octaves[n] != NULL;
  }
  done = done ? read_stretch(finder, stretch, error) : planish_fail_memory(error);
  for (int n = 0; n < 2; ++n) {
    if (done) {
      planish_third_octaves_finish(finder->octaves[n], &levels[n]);
    }
    planish_third_octaves_free(finder->octaves[n]);
    finder->octaves[n] = NULL;
  }
  if (done) {
    compare_bands(stretch, levels);
  }
  return done;
}

/* The stretches that changed most, by the power of what is left times its length. */
static bool find_all_bands(Finder *finder, PlanishError *error)
{
  PlanishMixChanges *changes = finder->changes;
  bool done = true;
  for (size_t round = 0; done && round < PLANISH_MIX_LISTED; ++round) {
    PlanishMixStretch *most = NULL;
    double largest = -1.0;
    for (size_t n = 0; n < changes->count; ++n) {
      PlanishMixStretch *stretch = &changes->stretches[n];
      const double weight = power_of(stretch->difference) * (stretch->to - stretch->from);
      if (!stretch->listed && weight > largest) {
        most = stretch;
        largest = weight;
      }
    }
    if (most == NULL) {
      break;
    }
    done = find_bands(finder, most, error);
  }
  return done;
}

/* Reads both at a delay, finds the level match, and counts the windows that have changed. */
static bool try_delay(Finder *finder, double delay, size_t *changed, PlanishError *error)
{
  PlanishMixChanges *changes = finder->changes;
  changes->delay = delay;
  if (!read_windows(finder, error)) {
    return false;
  }
  const double gain = median_gain(finder);
  if (gain < 0.0) {
    return planish_fail_memory(error);
  }
  changes->gain = isfinite(gain) ? 20.0 * log10(gain) : (double)NAN;
  finder->factor = isfinite(gain) ? gain : 1.0;
  const double threshold = mean_of(finder) * power_of(changes->level);
  *changed = 0;
  for (size_t n = 0; n < finder->count; ++n) {
    *changed += rest_of(finder, n) > threshold ? 1 : 0;
  }
  return true;
}

/* The whole frames first: between them only where that leaves less. */
static bool line_up(Finder *finder, PlanishError *error)
{
  const double between = finder->changes->comparison->alignment.delay;
  const double whole = round(between) + 0.0; /* 0, never -0 */
  size_t changed_whole = 0;
  size_t changed_between = 0;
  if (!try_delay(finder, whole, &changed_whole, error)) {
    return false;
  }
  if (fabs(between - whole) < 1e-5 || changed_whole == 0) {
    return true;
  }
  return try_delay(finder, between, &changed_between, error) &&
         (changed_between < changed_whole || try_delay(finder, whole, &changed_whole, error));
}

static bool find(Finder *finder, PlanishError *error)
{
  const PlanishComparison *comparison = finder->changes->comparison;
  finder->window = (size_t)(PLANISH_MIX_WINDOW * comparison->rate + 0.5);
  finder->count = (size_t)((comparison->overlap + finder->window - 1) / finder->window);
  finder->windows = calloc(finder->count + 1, sizeof *finder->windows);
  for (int c = 0; c < 2; ++c) {
    finder->sign[c] = comparison->alignment.turned[c] ? -1.0 : 1.0;
  }
  if (finder->windows == NULL) {
    return planish_fail_memory(error);
  }
  return open_reader(finder, 0, error) && open_reader(finder, 1, error) && line_up(finder, error) &&
         find_stretches(finder, error) && find_all_bands(finder, error);
}

bool planish_mix_changes_find(PlanishMixChanges *changes, const PlanishCompareSetup *setup,
                              double level, PlanishError *error)
{
  *changes = (PlanishMixChanges){.gain = (double)NAN, .level = level};
  changes->comparison = calloc(1, sizeof *changes->comparison);
  Finder *finder = calloc(1, sizeof *finder);
  if (changes->comparison == NULL || finder == NULL) {
    free(finder);
    return planish_fail_memory(error);
  }
  bool done = planish_compare(setup, changes->comparison, error);
  if (done && !changes->comparison->same_samples && changes->comparison->overlap > 0) {
    finder->setup = setup;
    finder->changes = changes;
    done = find(finder, error);
    planish_reader_free(finder->reader[0]);
    planish_reader_free(finder->reader[1]);
    planish_shifted_free(finder->shifted);
    free(finder->windows);
  }
  free(finder);
  return done;
}

void planish_mix_changes_release(PlanishMixChanges *changes)
{
  free(changes->comparison);
  free(changes->stretches);
  *changes = (PlanishMixChanges){0};
}
