/* Punch kept by the demo's whole chain: the mixes of stems, whose drums are known alone, mastered
 * by presets-demo/demo.yaml and looked at around each drum hit, at matched loudness. The figures
 * are printed. Needs the stems beside the project (DEVELOPERS.md); skipped without. */
#include "tests/demo/judge.h"
#include "tests/demo/run_program.h"
#include "tests/harness/files_fixture.h"
#include "tests/unit/cmocka_headers.h"
#include "tests/unit/stems.h"

#include <fftw3.h>

static char text[65536];

enum { MOST_HITS = 512 };

typedef struct {
  size_t at[MOST_HITS];
  size_t count;
} Hits;

/* Mean power of both channels over a time, seconds, from a frame on. */
static double power_of(const Audio *audio, size_t at, double from, double to)
{
  const size_t first = at + (size_t)(from * audio->rate);
  const size_t end = at + (size_t)(to * audio->rate);
  double sum = 0.0;
  for (size_t n = first; n < end && n < audio->frames; ++n) {
    sum += audio->channel[0][n] * audio->channel[0][n];
    sum += audio->channel[1][n] * audio->channel[1][n];
  }
  return sum / (double)(end - first);
}

/* Hits of the drums alone: 10 ms that stand 12 dB over the 50 ms before and are no fainter than
 * 10 dB under the loudest (kicks and snares), with nothing new in the 200 ms that follow. */
static Hits find_hits(const Audio *drums)
{
  Hits hits = {.count = 0};
  const size_t step = (size_t)(0.001 * drums->rate);
  const size_t before = (size_t)(0.05 * drums->rate);
  double loudest = 0.0;
  for (size_t n = before; n + 10 * before < drums->frames; n += step) {
    loudest = fmax(loudest, power_of(drums, n, 0.0, 0.01));
  }
  size_t last = 0;
  for (size_t n = before; n + 10 * before < drums->frames && hits.count < MOST_HITS; n += step) {
    const double now = power_of(drums, n, 0.0, 0.01);
    const bool rises = now > 16.0 * power_of(drums, n - before, 0.0, 0.05);
    if (!rises || now < 0.1 * loudest) {
      continue;
    }
    if (hits.count > 0 && n < last + 4 * before) {
      hits.count -= n > last + before ? 1 : 0; /* the one before has no body of its own */
      last = n;
      continue;
    }
    hits.at[hits.count++] = n;
    last = n;
  }
  return hits;
}

/* First 10 ms against 50 to 150 ms after, dB, mean over hits. */
static double onset_over_body(const Audio *audio, const Hits *hits)
{
  double sum = 0.0;
  for (size_t i = 0; i < hits->count; ++i) {
    sum += 10.0 * log10(power_of(audio, hits->at[i], 0.0, 0.01) /
                        power_of(audio, hits->at[i], 0.05, 0.15));
  }
  return sum / (double)hits->count;
}

/* What lies between two frequencies, cut out of the whole by one transform. */
static Audio band_of(const Audio *audio, double low, double high)
{
  Audio band = audio_copy(audio, 0);
  const size_t bins = audio->frames / 2 + 1;
  double(*spectrum)[2] = fftw_malloc(bins * sizeof *spectrum);
  for (int c = 0; c < 2; ++c) {
    fftw_plan there =
        fftw_plan_dft_r2c_1d((int)audio->frames, band.channel[c], (fftw_complex *)spectrum,
                             FFTW_ESTIMATE | FFTW_PRESERVE_INPUT);
    fftw_execute(there);
    for (size_t k = 0; k < bins; ++k) {
      const double hz = (double)k * audio->rate / (double)audio->frames;
      const double gain = hz >= low && hz < high ? 1.0 / (double)audio->frames : 0.0;
      spectrum[k][0] *= gain;
      spectrum[k][1] *= gain;
    }
    fftw_plan back = fftw_plan_dft_c2r_1d((int)audio->frames, (fftw_complex *)spectrum,
                                          band.channel[c], FFTW_ESTIMATE);
    fftw_execute(back);
    fftw_destroy_plan(there);
    fftw_destroy_plan(back);
  }
  fftw_free(spectrum);
  return band;
}

/* Level around hits, to 150 ms, dB, mean over hits. */
static double level_at(const Audio *audio, const Hits *hits)
{
  double sum = 0.0;
  for (size_t i = 0; i < hits->count; ++i) {
    sum += 10.0 * log10(power_of(audio, hits->at[i], 0.0, 0.15) + 1e-20);
  }
  return sum / (double)hits->count;
}

static void write_mix(const Audio *mix)
{
  SF_INFO info = {
      .samplerate = (int)mix->rate, .channels = 2, .format = SF_FORMAT_WAV | SF_FORMAT_FLOAT};
  SNDFILE *file = sf_open(in_folder("mix.wav"), SFM_WRITE, &info);
  assert_non_null(file);
  for (size_t n = 0; n < mix->frames; ++n) {
    const double frame[2] = {mix->channel[0][n], mix->channel[1][n]};
    assert_int_equal(sf_writef_double(file, frame, 1), 1);
  }
  sf_close(file);
}

static Audio master_at(const char *loudness)
{
  const char *const arguments[] = {getenv("PLANISH_PROGRAM"),
                                   "render",
                                   "--json",
                                   "--loudness",
                                   loudness,
                                   "presets-demo/demo.yaml",
                                   in_folder("mix.wav"),
                                   in_folder("master.wav"),
                                   NULL};
  assert_int_equal(run_program(arguments, text, sizeof text), 0);
  Audio master = {0};
  assert_true(audio_add(&master, in_folder("master.wav")));
  return master;
}

static double judged(const Audio *audio)
{
  float *samples = malloc(2 * audio->frames * sizeof *samples);
  for (size_t n = 0; n < audio->frames; ++n) {
    samples[2 * n] = (float)audio->channel[0][n];
    samples[2 * n + 1] = (float)audio->channel[1][n];
  }
  const double loudness = judged_loudness(samples, audio->frames, (int)audio->rate);
  free(samples);
  return loudness;
}

static void punch_at(int seed, const char *loudness, double most)
{
  Audio mix;
  if (!stems_read(&mix, seed)) {
    print_message("stems are absent: skipped\n");
    skip();
  }
  char name[64];
  char path[1024];
  Audio drums = {0};
  snprintf(name, sizeof name, "stems/drums-%d.flac", seed);
  shared_path(path, sizeof path, name);
  assert_true(audio_add(&drums, path));
  const Hits hits = find_hits(&drums);
  assert_true(hits.count >= 10);
  write_mix(&mix);
  Audio master = master_at(loudness);
  const double gain = judged(&master) - judged(&mix);
  Audio low_mix = band_of(&mix, 40.0, 100.0);
  Audio low_master = band_of(&master, 40.0, 100.0);
  const double onset = onset_over_body(&master, &hits) - onset_over_body(&mix, &hits);
  const double low = level_at(&low_master, &hits) - level_at(&low_mix, &hits) - gain;
  print_message("stems %d at %s LUFS, %zu hits, matched loudness: onset over body %+.2f dB; "
                "40-100 Hz around hits %+.2f dB\n",
                seed, loudness, hits.count, onset, low);
  assert_true(fabs(onset) <= most && fabs(low) <= most);
  audio_free(&low_master);
  audio_free(&low_mix);
  audio_free(&master);
  audio_free(&drums);
  audio_free(&mix);
}

static void attacks_and_low_end_are_kept(void **state)
{
  (void)state;
  for (int seed = 1; seed <= 2; ++seed) {
    punch_at(seed, "-11", 1.0);
    punch_at(seed, "-8", 99.0); /* published */
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {cmocka_unit_test(attacks_and_low_end_are_kept)};
  return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
