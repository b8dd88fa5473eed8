/* Factory presets keep what they promise: run over music at the loudness that each is made for,
 * loudness and true peak change within what its comment says, it is heard where it says, and
 * nowhere near as much elsewhere; one that promises nothing of the kind changes no bit. Loudness by
 * libebur128. The demo mix is the music, and the pieces beside the project (DEVELOPERS.md) where
 * they are there.
 *
 * Usage: test_presets STAGE */
#include "harness/host/instance.h"
#include "harness/host/preset.h"
#include "harness/host/preset_list.h"
#include "harness/measure/true_peak_fft.h"
#include "tests/demo/run_program.h"
#include "tests/harness/files_fixture.h"
#include "tests/unit/audio_measures.h"
#include "tests/unit/cmocka_headers.h"

enum { FRAME = 4096, STEP = 2048, BINS = FRAME / 2 + 1, FEWEST = 8, MOST_PIECES = 6, BANDS = 31 };

static const double HEARD = 0.25;   /* dB, root mean square over time */
static const double FAINTEST = 0.1; /* what is changed elsewhere is under this, or half as much */
static const double ROLL = 10.0;    /* s of a piece ahead of it, for stages that listen first */

typedef struct {
  const char *name;
  Audio audio;
  double loudness;
} Piece;

static PlanishHost *host;
static const PlanishPlugin *plugin;
static PlanishPresetList *presets;
static Piece pieces[MOST_PIECES];
static size_t piece_count;

/* So many seconds of it, from a second on. */
static void keep_part(Audio *audio, double from, double seconds)
{
  const size_t first = (size_t)(from * audio->rate);
  const size_t frames = (size_t)(seconds * audio->rate);
  assert_true(first + frames <= audio->frames);
  for (int c = 0; c < 2; ++c) {
    memmove(audio->channel[c], audio->channel[c] + first, frames * sizeof(double));
  }
  audio->frames = frames;
}

static void add_piece(const char *name, const char *path, double from, double seconds)
{
  Piece *piece = &pieces[piece_count];
  if (audio_add(&piece->audio, path)) {
    keep_part(&piece->audio, from, seconds);
    piece->name = name;
    piece->loudness = audio_loudness(&piece->audio);
    ++piece_count;
  }
}

static void read_pieces(void)
{
  static char text[4096];
  char path[1024];
  const char *const mix[] = {getenv("PLANISH_DEMO_MIX"), in_folder("mix.wav"), NULL};
  assert_int_equal(run_program(mix, text, sizeof text), 0);
  add_piece("demo mix", in_folder("mix.wav"), 20.0, 16.0);
  shared_path(path, sizeof path, "music/guitars-dense.flac");
  add_piece("guitars-dense", path, 4.0, 12.0);
  shared_path(path, sizeof path, "music/guitars-dynamic.flac");
  add_piece("guitars-dynamic", path, 4.0, 12.0);
  assert_true(piece_count >= 1);
}

static double true_peak_of(const Audio *audio)
{
  PlanishTruePeakFft *peak = planish_true_peak_fft_new(audio->rate, 2, NULL, NULL);
  planish_true_peak_fft_process(peak, (const double *const *)audio->channel, audio->frames);
  const double magnitude = planish_true_peak_fft_finish(peak).magnitude;
  planish_true_peak_fft_free(peak);
  return 20.0 * log10(magnitude);
}

/* The piece at a loudness, as a stage's ports carry it. */
static Audio at_loudness(const Piece *piece, double loudness)
{
  Audio in = audio_copy(&piece->audio, 0);
  const double gain = pow(10.0, (loudness - piece->loudness) / 20.0);
  for (int c = 0; c < 2; ++c) {
    for (size_t n = 0; n < in.frames; ++n) {
      in.channel[c][n] = (double)(float)(gain * in.channel[c][n]);
    }
  }
  return in;
}

static void run_part(PlanishInstance *instance, const Audio *in, Audio *out, size_t at,
                     size_t frames)
{
  float block[2][1024];
  for (size_t done = 0; done < frames; done += 1024) {
    const uint32_t count = (uint32_t)(frames - done < 1024 ? frames - done : 1024);
    for (int c = 0; c < 2; ++c) {
      for (uint32_t n = 0; n < count; ++n) {
        const size_t frame = done + n;
        block[c][n] = frame < in->frames ? (float)in->channel[c][frame] : 0.0F;
      }
    }
    planish_instance_run(instance, (const float *[]){block[0], block[1]},
                         (float *[]){block[0], block[1]}, count);
    for (int c = 0; out != NULL && c < 2; ++c) {
      for (uint32_t n = 0; n < count; ++n) {
        const size_t frame = done + n;
        if (frame >= at && frame - at < out->frames) {
          out->channel[c][frame - at] = (double)block[c][n];
        }
      }
    }
  }
}

/* What the preset makes of it, lined up. */
static Audio treated(const PlanishPresetEntry *entry, const Audio *in)
{
  PlanishError error = {0};
  PlanishPreset *preset = planish_preset_new(host, plugin, entry->uri, &error);
  assert_non_null(preset);
  PlanishInstance *instance = planish_instance_new(plugin, in->rate, &error);
  assert_non_null(instance);
  for (uint32_t n = 0; n < preset->count; ++n) {
    assert_true(
        planish_instance_set(instance, preset->values[n].symbol, (float)preset->values[n].value));
  }
  planish_instance_activate(instance);
  planish_instance_run(instance, NULL, NULL, 0);
  Audio out = audio_copy(in, 0);
  if (plugin->settles > 0.0) {
    run_part(instance, in, NULL, 0, (size_t)(ROLL * in->rate));
  }
  const size_t late = planish_instance_latency(instance);
  run_part(instance, in, &out, late, in->frames + late);
  planish_instance_free(instance);
  planish_preset_free(preset);
  return out;
}

/* Powers of mid and side in thirds of octaves, of a frame's spectrum. */
typedef struct {
  double band[2][BANDS];
} Levels;

static double centre_of(int band)
{
  return 20.0 * pow(2.0, band / 3.0);
}

static void levels_at(const Audio *audio, size_t at, Levels *levels)
{
  static double x[FRAME];
  static double spectrum[BINS][2];
  static fftw_plan plan;
  if (plan == NULL) {
    plan = fftw_plan_dft_r2c_1d(FRAME, x, (fftw_complex *)spectrum, FFTW_ESTIMATE);
  }
  for (int side = 0; side < 2; ++side) {
    for (size_t n = 0; n < FRAME; ++n) {
      const double left = audio->channel[0][at + n];
      const double right = audio->channel[1][at + n];
      const double window = 0.5 - 0.5 * cos(6.283185307179586 * (double)n / FRAME);
      x[n] = window * 0.5 * (side == 1 ? left - right : left + right);
    }
    fftw_execute(plan);
    memset(levels->band[side], 0, sizeof levels->band[side]);
    for (size_t k = 1; k < BINS; ++k) {
      const double hz = (double)k * audio->rate / FRAME;
      const int band = (int)floor(3.0 * log2(hz / 20.0) + 0.5);
      if (band >= 0 && band < BANDS) {
        levels->band[side][band] +=
            spectrum[k][0] * spectrum[k][0] + spectrum[k][1] * spectrum[k][1];
      }
    }
  }
}

/* Root mean square over time of what changed in each third, dB; a plain change of level of the
 * whole is left in. */
static void changes(const Audio *in, const Audio *out, double change[2][BANDS])
{
  double weight[2][BANDS] = {{0.0}};
  double loudest[2] = {0.0, 0.0};
  memset(change, 0, 2 * sizeof *change);
  for (int pass = 0; pass < 2; ++pass) {
    for (size_t at = 0; at + FRAME <= in->frames; at += STEP) {
      Levels before;
      Levels after;
      levels_at(in, at, &before);
      if (pass == 1) {
        levels_at(out, at, &after);
      }
      for (int side = 0; side < 2; ++side) {
        for (int band = 0; band < BANDS; ++band) {
          const double power = before.band[side][band];
          if (pass == 0) {
            loudest[side] = fmax(loudest[side], power);
          } else if (power > 1e-5 * loudest[side]) {
            const double db = 10.0 * log10((after.band[side][band] + 1e-30) / power);
            change[side][band] += db * db;
            weight[side][band] += 1.0;
          }
        }
      }
    }
  }
  for (int side = 0; side < 2; ++side) {
    for (int band = 0; band < BANDS; ++band) {
      change[side][band] =
          weight[side][band] < FEWEST ? 0.0 : sqrt(change[side][band] / weight[side][band]);
    }
  }
}

/* The largest change where the preset is to be heard, and elsewhere: an octave and more outside,
 * or on the other of mid and side. */
static void look(const PlanishPresetEntry *entry, double change[2][BANDS], double found[2])
{
  found[0] = 0.0;
  found[1] = 0.0;
  const bool mid = strcmp(entry->heard_on, "side") != 0;
  const bool side = strcmp(entry->heard_on, "mid") != 0;
  for (int s = 0; s < 2; ++s) {
    for (int band = 0; band < BANDS; ++band) {
      const double hz = centre_of(band);
      const bool on = s == 0 ? mid : side;
      const bool inside = hz >= entry->heard_from / 1.13 && hz <= entry->heard_to * 1.13;
      const bool near = hz >= 0.5 * entry->heard_from && hz <= 2.0 * entry->heard_to;
      if (on && inside) {
        found[0] = fmax(found[0], change[s][band]);
      } else if (!on || !near) {
        found[1] = fmax(found[1], change[s][band]);
      }
    }
  }
}

static bool unchanged(const Audio *in, const Audio *out)
{
  return memcmp(in->channel[0], out->channel[0], in->frames * sizeof(double)) == 0 &&
         memcmp(in->channel[1], out->channel[1], in->frames * sizeof(double)) == 0;
}

/* False, and says so, where a promise is broken. */
static bool check_on(const PlanishPresetEntry *entry, const Piece *piece, double *heard)
{
  const bool neutral = entry->heard_on[0] == '\0';
  Audio in = at_loudness(piece, neutral ? -18.0 : entry->working);
  Audio out = treated(entry, &in);
  bool kept = true;
  if (neutral) {
    kept = unchanged(&in, &out);
    print_message("  %-16s %s\n", piece->name, kept ? "no bit changed" : "CHANGED");
    *heard = 100.0;
  } else {
    double change[2][BANDS];
    double found[2];
    changes(&in, &out, change);
    look(entry, change, found);
    *heard = fmax(*heard, found[0]);
    const double loudness = audio_loudness(&out) - audio_loudness(&in);
    const double peak = true_peak_of(&out) - true_peak_of(&in);
    const bool quiet = found[1] <= fmax(FAINTEST, 0.5 * found[0]);
    kept = quiet && loudness >= entry->least_loudness && loudness <= entry->most_loudness &&
           peak <= entry->most_peak;
    print_message("  %-16s loudness %+.2f LU, true peak %+.2f dB, heard %.2f, elsewhere %.2f "
                  "dB%s\n",
                  piece->name, loudness, peak, found[0], found[1], kept ? "" : ": NOT AS PROMISED");
  }
  audio_free(&out);
  audio_free(&in);
  return kept;
}

static void presets_keep_their_promises(void **state)
{
  (void)state;
  uint32_t broken = 0;
  for (uint32_t n = 0; n < presets->count; ++n) {
    const PlanishPresetEntry *entry = &presets->entries[n];
    print_message("%s (%s)\n", entry->label, entry->uri);
    double heard = 0.0;
    bool kept = true;
    for (size_t p = 0; p < piece_count; ++p) {
      kept = check_on(entry, &pieces[p], &heard) && kept;
    }
    if (heard < HEARD) {
      /* The demo mix alone does not have everything that there is to work on. */
      print_message("  NOT HEARD%s\n", piece_count > 1 ? "" : ", but there is no other music here");
      kept = kept && piece_count == 1;
    }
    broken += kept ? 0 : 1;
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
  read_pieces();
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(there_are_enough_and_each_says_what_it_does),
      cmocka_unit_test(the_guide_names_presets_that_are_there),
      cmocka_unit_test(presets_keep_their_promises),
  };
  const int failed = cmocka_run_group_tests(tests, NULL, NULL);
  for (size_t p = 0; p < piece_count; ++p) {
    audio_free(&pieces[p].audio);
  }
  remove_folder(NULL);
  planish_preset_list_free(presets);
  planish_host_free(host);
  return failed;
}
