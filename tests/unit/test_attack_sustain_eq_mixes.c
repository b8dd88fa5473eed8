/* The attack/sustain equaliser on mixes of known stems and on real music. */
#include "tests/unit/attack_sustain_fixture.h"

static double gain_of(double db)
{
  return pow(10.0, db / 20.0);
}

static Audio with_gains(const Audio *in, float attack, float sustain, float lookahead)
{
  const Setting settings[] = {{ATTACK_SUSTAIN_EQ_ATTACK_GAIN, attack},
                              {ATTACK_SUSTAIN_EQ_SUSTAIN_GAIN, sustain},
                              {ATTACK_SUSTAIN_EQ_LOOKAHEAD, lookahead}};
  return treated(in, settings, 3);
}

typedef struct {
  Audio drums;
  Audio rest;
  Audio mix;
} Parts;

/* The stems as they are, or the drums as loud as the rest. */
static bool parts_read(Parts *parts, int seed, bool equal)
{
  Audio with_drums;
  if (!stem_read(&parts->drums, "drums", seed) || !stems_read(&with_drums, seed)) {
    return false;
  }
  parts->rest = audio_mixed(&with_drums, &parts->drums, -1.0);
  if (equal) {
    const double by = sqrt(audio_power(&parts->rest) / audio_power(&parts->drums));
    Audio louder = audio_mixed(&parts->drums, &parts->drums, by - 1.0);
    audio_free(&parts->drums);
    parts->drums = louder;
  }
  parts->mix = audio_mixed(&parts->rest, &parts->drums, 1.0);
  audio_free(&with_drums);
  return true;
}

static void parts_free(Parts *parts)
{
  audio_free(&parts->drums);
  audio_free(&parts->rest);
  audio_free(&parts->mix);
}

/* Drums up or down in the mix, by stage and by remix: what is left between both, re the change. */
static void check_remix(const Parts *parts, float db, float lookahead, double most,
                        double most_high)
{
  Audio out = with_gains(&parts->mix, db, 0.0F, lookahead);
  Audio truth = audio_mixed(&parts->rest, &parts->drums, gain_of((double)db));
  const double all = error_of(&out, &truth, &parts->mix, 0.0);
  const double high = error_of(&out, &truth, &parts->mix, 250.0);
  printf("    attack %+.0f dB, look-ahead %.0f: error %.2f dB, above 250 Hz %.2f dB\n", (double)db,
         50.0 * (double)lookahead, all, high);
  assert_true(all <= most && high <= most_high);
  audio_free(&out);
  audio_free(&truth);
}

/* What the stage takes for attack: result = mix + (gain - 1) part. */
static Audio attack_of(const Audio *mix, const Audio *lifted)
{
  const double by = 1.0 / (gain_of(12.0) - 1.0);
  Audio added = audio_mixed(lifted, mix, -1.0);
  Audio part = audio_mixed(&added, &added, by - 1.0);
  audio_free(&added);
  return part;
}

static void check_apart(const Parts *parts)
{
  Audio lifted = with_gains(&parts->mix, 12.0F, 0.0F, 0.0F);
  Audio attack = attack_of(&parts->mix, &lifted);
  Audio sustain = audio_mixed(&parts->mix, &attack, -1.0);
  for (double hz = 0.0; hz <= 250.0; hz += 250.0) {
    const Apart a = apart(&attack, &parts->drums, &parts->rest, hz);
    const Apart s = apart(&sustain, &parts->rest, &parts->drums, hz);
    printf("    from %.0f Hz: attack SDR %.2f, SIR %.2f, sustain SDR %.2f, SIR %.2f dB\n", hz,
           a.distortion, a.interference, s.distortion, s.interference);
    if (hz > 0.0) {
      assert_true(a.distortion >= 6.5 && s.distortion >= 11.0);
      assert_true(a.interference >= 12.0 && s.interference >= 20.0);
    } else {
      assert_true(a.distortion >= 6.0 && s.distortion >= 6.0);
    }
  }
  audio_free(&lifted);
  audio_free(&attack);
  audio_free(&sustain);
}

static void stems_come_apart(void **state)
{
  (void)state;
  for (int seed = 1; seed <= 2; ++seed) {
    for (int equal = 0; equal <= 1; ++equal) {
      Parts parts;
      if (!parts_read(&parts, seed, equal == 1)) {
        print_message("skipped: stems_come_apart (no stems)\n");
        skip();
      }
      printf("stems %d, %s\n", seed, equal == 1 ? "drums as loud as the rest" : "as they are");
      const double most = equal == 1 ? -7.5 : -5.0;
      check_remix(&parts, 3.0F, 0.0F, most, -6.0);
      check_remix(&parts, -3.0F, 0.0F, most, -6.0);
      if (equal == 1) {
        check_apart(&parts);
        check_remix(&parts, 3.0F, 1.0F, -7.6, -8.4);
        check_remix(&parts, 3.0F, 2.0F, -7.7, -8.8);
      }
      parts_free(&parts);
    }
  }
}

/* Where levels of 10 ms rise by 6 dB and more over the mean of the 50 ms before, with 100 ms
 * between two: how far the change there (20 ms) lies over that 100 to 200 ms later. */
static double lift_of_onsets(const Audio *before, const Audio *after, int *count)
{
  const size_t step = (size_t)(before->rate / 100.0);
  const size_t steps = before->frames / step;
  double *const in = calloc(steps, sizeof *in);
  double *const out = calloc(steps, sizeof *out);
  for (size_t i = 0; i < steps * step; ++i) {
    for (int c = 0; c < 2; ++c) {
      in[i / step] += before->channel[c][i] * before->channel[c][i];
      out[i / step] += after->channel[c][i] * after->channel[c][i];
    }
  }
  double sum = 0.0;
  size_t last = 0;
  *count = 0;
  for (size_t i = 100; i + 20 < steps; ++i) {
    double was = 0.0;
    for (size_t j = 1; j <= 5; ++j) {
      was += in[i - j] / 5.0;
    }
    if (in[i] < 4.0 * was || i - last < 10 || in[i] < 1e-7 * (double)step) {
      continue;
    }
    double later[2] = {0.0, 0.0};
    for (size_t j = 10; j < 20; ++j) {
      later[0] += in[i + j];
      later[1] += out[i + j];
    }
    sum += decibels((out[i] + out[i + 1]) / (in[i] + in[i + 1])) - decibels(later[1] / later[0]);
    ++*count;
    last = i;
  }
  free(in);
  free(out);
  return *count > 0 ? sum / *count : 0.0;
}

static void music_has_its_onsets_lifted(void **state)
{
  (void)state;
  static const char *const pieces[] = {"guitars-dense", "guitars-dynamic", "lopsided", "quiet"};
  for (size_t i = 0; i < sizeof pieces / sizeof *pieces; ++i) {
    Audio music;
    if (!music_read(&music, pieces[i])) {
      print_message("skipped: music_has_its_onsets_lifted (no music)\n");
      skip();
    }
    Audio out = with_gains(&music, 2.0F, 0.0F, 0.0F);
    Audio same = with_gains(&music, 0.0F, 0.0F, 0.0F);
    int count = 0;
    const double lift = lift_of_onsets(&music, &out, &count);
    const double ratio = kurtosis(&out) / kurtosis(&music);
    const double louder = decibels(audio_power(&out) / audio_power(&music));
    printf("    %-16s attack +2 dB: %3d onsets lifted by %.3f dB, all by %.2f dB, kurtosis %.3f\n",
           pieces[i], count, lift, louder, ratio);
    for (int c = 0; c < 2; ++c) {
      assert_memory_equal(same.channel[c], music.channel[c], music.frames * sizeof(double));
    }
    assert_true(ratio >= 0.95 && ratio <= 1.15);
    assert_true(count == 0 || lift >= 0.3);
    audio_free(&music);
    audio_free(&out);
    audio_free(&same);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(stems_come_apart),
      cmocka_unit_test(music_has_its_onsets_lifted),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
