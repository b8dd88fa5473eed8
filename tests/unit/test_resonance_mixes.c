/* The resonance stage on mixes of known parts and on real music: resonances planted in them, and
 * nothing planted at all. */
#include "tests/unit/audio_measures.h"
#include "tests/unit/resonance_fixture.h"

static double clean[LOOK_BINS];
static double ringing[LOOK_BINS];
static double result[LOOK_BINS];

static const Setting deep[] = {{RESONANCE_MAX_CUT, 12.0F}};

/* As a render does: ten seconds of the signal ahead, so that the first bar sounds like the second.
 */
static Audio rolled(const Audio *audio)
{
  const size_t ahead = (size_t)(10.0 * audio->rate);
  Audio longer = audio_copy(audio, ahead);
  for (int c = 0; c < 2; ++c) {
    memcpy(longer.channel[c] + ahead, audio->channel[c], audio->frames * sizeof(double));
  }
  return longer;
}

static void check_planted(const Audio *mix, double hz, double least, double most)
{
  Audio with = audio_copy(mix, 0);
  ring(&with, hz, 12.0, 30.0);
  Audio out = treated(&with, deep, 1);
  spectrum_of(mix, 6.0, clean);
  spectrum_of(&with, 6.0, ringing);
  spectrum_of(&out, 6.0, result);
  const double left = over(result, clean, mix->rate, hz, 1.0 / 24.0);
  const Change change = change_between(result, clean, mix->rate, 0.0);
  const Change was = change_between(ringing, clean, mix->rate, 0.0);
  printf("planted at %.0f Hz: stood %.2f, left %.2f dB; distance to the clean mix %.2f -> %.2f\n",
         hz, over(ringing, clean, mix->rate, hz, 1.0 / 24.0), left, was.rms, change.rms);
  assert_true(left >= least && left <= most);
  audio_free(&out);
  audio_free(&with);
}

static void check_clean(const Audio *mix)
{
  Audio longer = rolled(mix);
  Audio out = treated(&longer, NULL, 0);
  spectrum_of(&longer, 10.0, clean);
  spectrum_of(&out, 10.0, result);
  const Change change = change_between(result, clean, mix->rate, 0.0);
  printf("nothing to find: rms %.3f, worst %.2f dB\n", change.rms, change.lowest);
  assert_true(change.rms <= 0.1 && change.lowest >= -1.0);
  audio_free(&out);
  audio_free(&longer);
}

/* `with` and `mix` on the side: distance of long-term spectra to the clean twin's. */
static void check_guitars(const Audio *with, const Audio *mix)
{
  Audio longer = rolled(with);
  Audio truth = rolled(mix);
  const Setting nothing[] = {{RESONANCE_MAX_CUT, 0.0F}};
  Audio side = treated_side(&longer, nothing, 1);
  Audio clean_side = treated_side(&truth, nothing, 1);
  Audio out = treated_side(&longer, deep, 1);
  spectrum_of(&clean_side, 10.0, clean);
  spectrum_of(&side, 10.0, ringing);
  spectrum_of(&out, 10.0, result);
  const double was = change_between(ringing, clean, mix->rate, 0.0).rms;
  const double is = change_between(result, clean, mix->rate, 0.0).rms;
  printf("guitars that ring, on the side: distance %.3f -> %.3f dB (%.2f of it)\n", was, is,
         is / was);
  assert_true(is <= was / 3.0);
  audio_free(&out);
  audio_free(&clean_side);
  audio_free(&side);
  audio_free(&truth);
  audio_free(&longer);
}

/* A note 18 dB over its narrow band of the mix while it sounds; returns what it loses, dB. */
static double note(const Audio *mix, double period, double share)
{
  static const double hz = 2000.0;
  Audio with = audio_copy(mix, 0);
  spectrum_of(mix, 0.0, clean);
  const double width = hz * (exp2(1.0 / 48.0) - exp2(-1.0 / 48.0)) * LOOK / mix->rate;
  const double looks = floor((double)(mix->frames - LOOK) / (LOOK / 2)) + 1.0;
  /* Mean square of a channel: both are in the sum, half the bins, and a Hann window takes 3/8. */
  const double power = 2.0 * band_power(clean, mix->rate, hz, 1.0 / 24.0) * width /
                       (2.0 * looks * 0.375 * LOOK * (double)LOOK);
  const double height = sqrt(2.0 * power * pow(10.0, 1.8));
  for (size_t n = 0; n < mix->frames; ++n) {
    const double in = fmod((double)n / mix->rate, period);
    const double end = period * share - in;
    const double fade = end <= 0.0 ? 0.0 : fmin(1.0, fmin(in / 0.005, end / 0.02));
    const double x = height * fade * sin(2.0 * PI * hz / mix->rate * (double)n);
    with.channel[0][n] += x;
    with.channel[1][n] += x;
  }
  Audio out = treated(&with, deep, 1);
  spectrum_of(&with, 6.0, ringing);
  spectrum_of(&out, 6.0, result);
  const double change = over(result, ringing, mix->rate, hz, 1.0 / 24.0);
  printf("a note 18 dB out of the mix, %.1f of %.0f s: %.2f dB\n", period * share, period, change);
  audio_free(&out);
  audio_free(&with);
  return change;
}

static void mixes_lose_their_resonances_alone(void **state)
{
  (void)state;
  for (int seed = 1; seed <= 2; ++seed) {
    Audio mix;
    Audio with;
    if (!stems_read(&mix, seed) || !ringing_read(&with, seed)) {
      print_message("skipped: mixes_lose_their_resonances_alone (no stems)\n");
      skip();
    }
    printf("stems %d\n", seed);
    check_clean(&mix);
    check_planted(&mix, 1700.0, -2.0, 4.0);
    check_planted(&mix, 2900.0, -2.0, 2.0);
    check_planted(&mix, 5000.0, -2.0, 2.0);
    check_guitars(&with, &mix);
    assert_true(note(&mix, 2.0, 0.25) >= -0.5);
    assert_true(note(&mix, 4.0, 0.25) >= -0.5);
    note(&mix, 4.0, 0.5); /* published, no goal */
    audio_free(&mix);
    audio_free(&with);
  }
}

static void music_is_hardly_touched(void **state)
{
  (void)state;
  static const char *const names[] = {"guitars-dense", "guitars-dynamic", "lopsided", "quiet"};
  for (size_t i = 0; i < sizeof names / sizeof *names; ++i) {
    Audio music;
    if (!music_read(&music, names[i])) {
      print_message("skipped: music_is_hardly_touched (no music)\n");
      skip();
    }
    Audio longer = rolled(&music);
    Audio out = treated(&longer, NULL, 0);
    const size_t ahead = (size_t)(10.0 * music.rate);
    for (int c = 0; c < 2; ++c) {
      memmove(out.channel[c], out.channel[c] + ahead, music.frames * sizeof(double));
    }
    out.frames = music.frames;
    spectrum_of(&music, 0.0, clean);
    spectrum_of(&out, 0.0, result);
    const Change change = change_between(result, clean, music.rate, 0.0);
    const double louder = audio_loudness(&out) - audio_loudness(&music);
    printf("%-16s rms %.2f dB, worst third octave %.2f dB, loudness %+.2f LU\n", names[i],
           change.rms, change.lowest_third, louder);
    assert_true(change.rms <= 1.0 && change.lowest_third >= -3.0 && fabs(louder) <= 0.6);
    audio_free(&out);
    audio_free(&longer);
    audio_free(&music);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(mixes_lose_their_resonances_alone),
      cmocka_unit_test(music_is_hardly_touched),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
