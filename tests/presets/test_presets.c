/* Factory presets keep what they promise: run over music at the loudness that each is made for,
 * loudness and true peak change within what its comment says, it is heard where it says and the way
 * that it says, and nowhere near as much elsewhere; what works only where it is loud rests most of
 * the time; one that promises nothing of the kind changes no bit. Loudness by
 * libebur128. The demo mix is the music, and the pieces beside the project (DEVELOPERS.md) where
 * they are there.
 *
 * Usage: test_presets STAGE */
#include "harness/host/instance.h"
#include "harness/host/preset.h"
#include "harness/host/preset_list.h"
#include "harness/measure/true_peak_fft.h"
#include "tests/harness/files_fixture.h"
#include "tests/presets/preset_changes.h"
#include "tests/presets/preset_music.h"
#include "tests/presets/preset_way.h"
#include "tests/unit/cmocka_headers.h"

static const double HEARD = 0.25;   /* dB, root mean square over time */
static const double FAINTEST = 0.1; /* what is changed elsewhere is under this, or half as much */
static const double NEAR = 0.7; /* of the range: so far it must come in a twentieth of the time */
static const double WAY = 0.01; /* dB, the least that it goes the way that it says */

static PlanishHost *host;
static const PlanishPlugin *plugin;
static PlanishPresetList *presets;
static PresetMusic music;

static double true_peak_of(const Audio *audio)
{
  PlanishTruePeakFft *peak = planish_true_peak_fft_new(audio->rate, 2, NULL, NULL);
  planish_true_peak_fft_process(peak, (const double *const *)audio->channel, audio->frames);
  const double magnitude = planish_true_peak_fft_finish(peak).magnitude;
  planish_true_peak_fft_free(peak);
  return 20.0 * log10(magnitude);
}

/* The largest change where the preset is to be heard, and elsewhere: an octave and more outside,
 * or on the other of mid and side. */
static void look(const PlanishPresetEntry *entry, const PresetChanges *changes, PresetChange *heard,
                 double *elsewhere)
{
  *heard = (PresetChange){0};
  *elsewhere = 0.0;
  for (int s = PRESET_MID; s <= PRESET_SIDE; ++s) {
    for (int band = 0; band < PRESET_BANDS; ++band) {
      const PresetChange *change = &changes->of[s][band];
      const double hz = preset_band_centre(band);
      const bool on = preset_is_on(entry, (PresetSignal)s);
      const bool near = hz >= 0.5 * entry->heard_from && hz <= 2.0 * entry->heard_to;
      if (on && preset_is_inside(entry, band)) {
        *heard = change->rms > heard->rms ? *change : *heard;
      } else if (!on || !near) {
        *elsewhere = fmax(*elsewhere, change->rms);
      }
    }
  }
}

static bool unchanged(const Audio *in, const Audio *out)
{
  return memcmp(in->channel[0], out->channel[0], in->frames * sizeof(double)) == 0 &&
         memcmp(in->channel[1], out->channel[1], in->frames * sizeof(double)) == 0;
}

/* What is kept of a preset over all pieces. */
typedef struct {
  bool kept;
  double heard; /* dB, the most on a piece */
  double goes;  /* dB, the mean over the pieces */
  double nears; /* share of the range, the most on a piece */
  double range; /* dB; 0: none that it would near */
} Found;

static PlanishPreset *preset_of(const PlanishPresetEntry *entry)
{
  PlanishError error = {0};
  PlanishPreset *preset = planish_preset_new(host, plugin, entry->uri, &error);
  assert_non_null(preset);
  return preset;
}

static double range_of(const PlanishPresetEntry *entry)
{
  double range = 0.0;
  PlanishPreset *preset = preset_of(entry);
  for (uint32_t n = 0; n < preset->count; ++n) {
    if (strcmp(preset->values[n].symbol, entry->only_when_loud) == 0) {
      range = fabs(preset->values[n].value);
    }
  }
  planish_preset_free(preset);
  assert_true(range > 0.0 || entry->only_when_loud[0] == '\0');
  return range;
}

/* What is to be moved only where it is loud stands at less than half its range most of the time. */
static bool rests(const PresetChange *heard, Found *found)
{
  if (found->range == 0.0) {
    return true;
  }
  found->nears = fmax(found->nears, heard->busiest / found->range);
  const bool kept = heard->median < 0.5 * found->range;
  print_message("    of a range of %.1f dB: median %.2f, busiest twentieth over %.2f dB%s\n",
                found->range, heard->median, heard->busiest,
                kept ? "" : ": NOT ONLY WHERE IT IS LOUD");
  return kept;
}

/* False, and says so, where a promise is broken. */
static bool check_change(const PlanishPresetEntry *entry, const char *name, const Audio *in,
                         const Audio *out, Found *found)
{
  static PresetChanges changes;
  PresetChange heard;
  double elsewhere;
  preset_changes_find(in, out, &changes);
  look(entry, &changes, &heard, &elsewhere);
  found->heard = fmax(found->heard, heard.rms);
  const double goes_by = preset_goes(entry, &changes);
  found->goes += goes_by / (double)music.count;
  const double loudness = audio_loudness(out) - audio_loudness(in);
  const double peak = true_peak_of(out) - true_peak_of(in);
  const bool quiet = elsewhere <= fmax(FAINTEST, 0.5 * heard.rms);
  const bool kept = quiet && loudness >= entry->least_loudness &&
                    loudness <= entry->most_loudness && peak <= entry->most_peak;
  print_message("  %-16s loudness %+.2f LU, true peak %+.2f dB, heard %.2f, elsewhere %.2f, "
                "%s %.3f dB%s\n",
                name, loudness, peak, heard.rms, elsewhere, entry->heard_as, goes_by,
                kept ? "" : ": NOT AS PROMISED");
  return rests(&heard, found) && kept;
}

static void check_on(const PlanishPresetEntry *entry, const PresetPiece *piece, Found *found)
{
  const bool neutral = entry->heard_on[0] == '\0';
  PlanishPreset *preset = preset_of(entry);
  Audio in = preset_music_at(piece, neutral ? -18.0 : entry->working);
  Audio out = preset_treated(plugin, preset, &in);
  if (neutral) {
    const bool kept = unchanged(&in, &out);
    print_message("  %-16s %s\n", piece->name, kept ? "no bit changed" : "CHANGED");
    found->kept = found->kept && kept;
  } else {
    found->kept = check_change(entry, piece->name, &in, &out, found) && found->kept;
  }
  audio_free(&out);
  audio_free(&in);
  planish_preset_free(preset);
}

/* Of what must be so on one piece at least. The demo mix alone does not have everything that there
 * is to work on. */
static bool somewhere(bool so, const char *what)
{
  if (!so) {
    print_message("  %s%s\n", what, music.count > 1 ? "" : ", but there is no other music here");
  }
  return so || music.count == 1;
}

static bool keeps(const PlanishPresetEntry *entry)
{
  print_message("%s (%s)\n", entry->label, entry->uri);
  Found found = {.kept = true, .range = range_of(entry)};
  for (size_t p = 0; p < music.count; ++p) {
    check_on(entry, &music.piece[p], &found);
  }
  if (entry->heard_on[0] == '\0') {
    return found.kept;
  }
  const bool either = strcmp(entry->heard_as, "either") == 0;
  const bool heard = somewhere(found.heard >= HEARD, "NOT HEARD");
  const bool right = somewhere(either || found.goes >= WAY, "NOT THAT WAY");
  const bool nears = somewhere(found.range == 0.0 || found.nears >= NEAR, "NEVER NEAR ITS RANGE");
  return found.kept && heard && right && nears;
}

static void presets_keep_their_promises(void **state)
{
  (void)state;
  uint32_t broken = 0;
  for (uint32_t n = 0; n < presets->count; ++n) {
    broken += keeps(&presets->entries[n]) ? 0 : 1;
  }
  assert_int_equal(broken, 0);
}

static uint32_t latency_under(const PlanishPreset *preset)
{
  PlanishInstance *instance = preset_instance(plugin, preset, 48000.0);
  const uint32_t latency = planish_instance_latency(instance);
  planish_instance_free(instance);
  return latency;
}

/* A host that takes up another latency may stop for as long: who loads it should know. */
static void what_changes_the_latency_says_so(void **state)
{
  (void)state;
  const PlanishPreset defaults = {.count = 0};
  const uint32_t usual = latency_under(&defaults);
  uint32_t broken = 0;
  for (uint32_t n = 0; n < presets->count; ++n) {
    const PlanishPresetEntry *entry = &presets->entries[n];
    PlanishPreset *preset = preset_of(entry);
    const uint32_t latency = latency_under(preset);
    char said[80];
    (void)snprintf(said, sizeof said, "the host's delay changes, by %.0f ms at 48 kHz",
                   fabs((double)latency - (double)usual) / 48.0);
    const char *needed = latency == usual ? "delay changes" : said;
    if ((strstr(entry->comment, needed) != NULL) != (latency != usual)) {
      print_message("%s: latency %u, %u by default: %s\n", entry->label, latency, usual,
                    entry->comment);
      ++broken;
    }
    planish_preset_free(preset);
  }
  assert_int_equal(broken, 0);
}

static bool is_neutral(const PlanishPresetEntry *entry)
{
  return strcmp(entry->label, "Neutral") == 0;
}

/* One of them called neutral; all told apart by name, and with words. */
static void there_are_enough_and_each_says_what_it_does(void **state)
{
  (void)state;
  uint32_t neutral = 0;
  for (uint32_t n = 0; n < presets->count; ++n) {
    neutral += is_neutral(&presets->entries[n]) ? 1 : 0;
    assert_true(presets->entries[n].comment[0] != '\0');
    assert_true(!is_neutral(&presets->entries[n]) || presets->entries[n].heard_on[0] == '\0');
    assert_true(n == 0 || strcmp(presets->entries[n - 1].label, presets->entries[n].label) != 0);
  }
  assert_int_equal(neutral, 1);
  assert_true(presets->count - neutral >= 8);
}

static bool is_preset(const char *label)
{
  bool found = false;
  for (uint32_t n = 0; n < presets->count; ++n) {
    found = found || strcmp(presets->entries[n].label, label) == 0;
  }
  return found;
}

/* "- **LABEL**: when." in the section of the stage's guide. */
static void the_guide_names_presets_that_are_there(void **state)
{
  (void)state;
  char path[256];
  char line[1024];
  int named = 0;
  bool within = false;
  (void)snprintf(path, sizeof path, "plugins/%s/README.md", strrchr(plugin->uri, ':') + 1);
  FILE *guide = fopen(path, "r");
  assert_non_null(guide);
  while (fgets(line, sizeof line, guide) != NULL) {
    within = line[0] == '#' ? strcmp(line, "## Presets to begin with\n") == 0 : within;
    char *end = within && strncmp(line, "- **", 4) == 0 ? strstr(line + 4, "**") : NULL;
    if (end != NULL) {
      *end = '\0';
      print_message("%s\n", line + 4);
      assert_true(is_preset(line + 4));
      ++named;
    }
  }
  (void)fclose(guide);
  assert_true(named >= 3);
}

int main(int argc, char **argv)
{
  PlanishError error = {0};
  host = planish_host_open(&error);
  plugin = host == NULL || argc != 2 ? NULL : planish_host_plugin(host, argv[1], &error);
  presets = plugin == NULL ? NULL : planish_preset_list_new(host, plugin, &error);
  if (presets == NULL) {
    (void)fprintf(stderr, "usage: test_presets STAGE: %s\n", error.text);
    return 2;
  }
  make_folder(NULL);
  preset_music_read(&music, in_folder("mix.wav"));
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(there_are_enough_and_each_says_what_it_does),
      cmocka_unit_test(the_guide_names_presets_that_are_there),
      cmocka_unit_test(what_changes_the_latency_says_so),
      cmocka_unit_test(presets_keep_their_promises),
  };
  const int failed = cmocka_run_group_tests(tests, NULL, NULL);
  preset_music_free(&music);
  remove_folder(NULL);
  planish_preset_list_free(presets);
  planish_host_free(host);
  return failed;
}
