/* The unmasking equaliser on signals of which the truth is known: noise that nothing hides in, and
 * a quiet noise beside a loud one. */
#include "tests/unit/audio_measures.h"
#include "tests/unit/unmask_fixture.h"

static double before[LOOK_BINS];
static double after[LOOK_BINS];

static const Setting wide[] = {{UNMASK_RANGE1_LOW, 80.0F}, {UNMASK_RANGE1_HIGH, 14000.0F}};
enum { WIDE = sizeof wide / sizeof *wide };

static void pink_noise_is_left_alone(void **state)
{
  (void)state;
  UnmaskSettings settings = whole_range();
  for (uint32_t seed = 1; seed <= 3; ++seed) {
    Audio noise = pink_noise(seed * 1234567U);
    const Watched watched = watch(&noise, &settings, 8.0);
    UnmaskSettings keen = settings;
    keen.dead_zone = 0.0;
    keen.averaging_time = 1.0;
    const Watched keenly = watch(&noise, &keen, 8.0);
    printf("pink noise: largest %.4f, steady %.4f dB; dead zone 0, 1 s: %.3f, %.3f dB\n",
           watched.largest, largest_mean(&watched), keenly.largest, largest_mean(&keenly));
    assert_true(watched.largest <= 0.2 && largest_mean(&watched) <= 0.15);
    audio_free(&noise);
  }
}

/* Loud, down by 15 dB a second, 30 dB down, 60 dB down, silence, loud again: the same spectrum all
 * along. */
static void a_fade_changes_nothing(void **state)
{
  (void)state;
  const UnmaskSettings settings = whole_range();
  Audio noise = pink_noise(99);
  for (size_t n = 0; n < noise.frames; ++n) {
    const double at = (double)n / noise.rate;
    const double level = at < 8.0    ? 0.0
                         : at < 10.0 ? -15.0 * (at - 8.0)
                         : at < 14.0 ? -30.0
                         : at < 16.0 ? -60.0
                         : at < 18.0 ? -400.0
                                     : 0.0;
    noise.channel[0][n] *= pow(10.0, level / 20.0);
    noise.channel[1][n] *= pow(10.0, level / 20.0);
  }
  const Watched watched = watch(&noise, &settings, 8.0);
  printf("pink noise that fades and pauses: largest %.4f dB\n", watched.largest);
  assert_true(watched.largest <= 0.2);
  audio_free(&noise);
}

/* What a level of -40 dB does is what one of 0 dB does: nothing depends on how loud it is. */
static void level_does_not_count(void **state)
{
  (void)state;
  const UnmaskSettings settings = whole_range();
  Audio noise = silence_of(48000.0, 1 << 20);
  add_noise(&noise, 5, 200.0, 400.0, -12.0);
  add_noise(&noise, 77, 560.0, 700.0, -36.0);
  const Watched loud = watch(&noise, &settings, 8.0);
  for (size_t n = 0; n < noise.frames; ++n) {
    noise.channel[0][n] *= 0.01;
    noise.channel[1][n] *= 0.01;
  }
  const Watched quiet = watch(&noise, &settings, 8.0);
  double worst = 0.0;
  for (uint32_t i = 0; i < loud.bands; ++i) {
    worst = fmax(worst, fabs(loud.mean[i] - quiet.mean[i]));
  }
  printf("40 dB quieter: %.1e dB apart\n", worst);
  assert_true(worst < 1e-4 && largest_mean(&loud) > 1.0);
  audio_free(&noise);
}

typedef struct {
  double masker[2]; /* Hz */
  double probe[2];
  double level; /* of the probe, dB re the masker */
} Pair;

static double change_of(const double *from, const double *to, const double range[2])
{
  double was = 0.0;
  double is = 0.0;
  for (uint32_t k = 0; k < LOOK_BINS; ++k) {
    const double hz = k * 48000.0 / LOOK;
    if (hz >= range[0] && hz <= range[1]) {
      was += from[k];
      is += to[k];
    }
  }
  return 10.0 * log10(is / was);
}

/* How far the probe comes up against the masker, dB. */
static double unmasked(const Pair *pair, const Setting *settings, size_t count)
{
  Audio in = silence_of(48000.0, 1 << 20);
  add_noise(&in, 5, pair->masker[0], pair->masker[1], -20.0);
  add_noise(&in, 77, pair->probe[0], pair->probe[1], -20.0 + pair->level);
  Audio out = treated(&in, settings, count);
  spectrum_of(&in, 8.0, before);
  spectrum_of(&out, 8.0, after);
  const double probe = change_of(before, after, pair->probe);
  const double masker = change_of(before, after, pair->masker);
  const double loudness = audio_loudness(&out) - audio_loudness(&in);
  printf("%.0f-%.0f over %.0f-%.0f Hz at %.0f dB: probe %+.2f, masker %+.2f: %.2f dB; %+.3f LU\n",
         pair->masker[0], pair->masker[1], pair->probe[0], pair->probe[1], pair->level, probe,
         masker, probe - masker, loudness);
  assert_true(fabs(loudness) <= 0.2);
  audio_free(&in);
  audio_free(&out);
  return probe - masker;
}

static void the_hidden_comes_up(void **state)
{
  (void)state;
  static const Pair low = {{200.0, 400.0}, {560.0, 700.0}, -24.0};
  static const Pair high = {{2000.0, 3500.0}, {4600.0, 5600.0}, -24.0};
  static const Pair plain = {{200.0, 400.0}, {560.0, 700.0}, -12.0};
  static const Pair over = {{900.0, 1300.0}, {640.0, 760.0}, -18.0};
  assert_true(unmasked(&low, NULL, 0) >= 2.5);
  assert_true(unmasked(&low, wide, WIDE) >= 2.5);
  assert_true(unmasked(&high, NULL, 0) >= 1.5);
  /* What is plainly heard, or lies below its masker, is hardly touched. */
  assert_true(unmasked(&plain, wide, WIDE) <= 1.3);
  assert_true(unmasked(&over, wide, WIDE) <= 1.0);
}

static void no_move_is_steep_or_large(void **state)
{
  (void)state;
  Audio in = silence_of(48000.0, 1 << 20);
  add_noise(&in, 5, 200.0, 400.0, -20.0);
  add_noise(&in, 77, 560.0, 700.0, -50.0);
  for (size_t n = 0; n < in.frames; ++n) { /* comes and goes */
    const double gate = fmod((double)n / in.rate, 6.0) < 3.0 ? 1.0 : 0.01;
    in.channel[0][n] *= gate;
    in.channel[1][n] *= gate;
  }
  add_noise(&in, 13, 2000.0, 3500.0, -30.0);
  UnmaskSettings settings = whole_range();
  settings.amount = 1.0;
  settings.most = 6.0;
  settings.averaging_time = 0.3;
  settings.dead_zone = 0.0;
  const Watched watched = watch(&in, &settings, 8.0);
  settings.most = 1.0;
  const Watched bound = watch(&in, &settings, 8.0);
  printf("everything at its most: largest %.2f dB, %.3f dB/s; bound to 1 dB: %.3f dB\n",
         watched.largest, watched.steepest, bound.largest);
  assert_true(watched.largest > 3.0 && watched.largest <= 6.0);
  assert_true(watched.steepest > 2.9 && watched.steepest <= 3.0 + 1e-9);
  assert_true(bound.largest > 0.8 && bound.largest <= 1.0);
  audio_free(&in);
}

/* Result and input, lined up, in every bit. */
static bool same(const Audio *a, const Audio *b)
{
  return memcmp(a->channel[0], b->channel[0], a->frames * sizeof(double)) == 0 &&
         memcmp(a->channel[1], b->channel[1], a->frames * sizeof(double)) == 0;
}

static void nothing_to_do_changes_no_bit(void **state)
{
  (void)state;
  Audio in = silence_of(48000.0, 1 << 19);
  Audio noise = silence_of(48000.0, 1 << 20);
  add_noise(&noise, 5, 200.0, 400.0, -20.0);
  add_noise(&noise, 77, 560.0, 700.0, -44.0);
  memcpy(in.channel[0], noise.channel[0], in.frames * sizeof(double));
  memcpy(in.channel[1], noise.channel[1], in.frames * sizeof(double));
  static const Setting none[] = {{UNMASK_AMOUNT, 0.0F}};
  static const Setting empty[] = {{UNMASK_RANGE1_LOW, 3000.0F},
                                  {UNMASK_RANGE1_HIGH, 200.0F},
                                  {UNMASK_RANGE2_LOW, 5000.0F},
                                  {UNMASK_RANGE2_HIGH, 5000.0F}};
  Audio idle = treated(&in, none, 1);
  Audio outside = treated(&in, empty, 4);
  Audio works = treated(&in, NULL, 0);
  assert_true(same(&in, &idle));
  assert_true(same(&in, &outside));
  assert_false(same(&in, &works));
  audio_free(&idle);
  audio_free(&outside);
  audio_free(&works);
  audio_free(&noise);
  audio_free(&in);
}

/* Outside the ranges nothing but the level of all moves; where two ranges meet there is no dip. */
static void ranges_say_where(void **state)
{
  (void)state;
  Audio in = silence_of(48000.0, 1 << 20);
  add_noise(&in, 5, 200.0, 400.0, -20.0);
  add_noise(&in, 77, 560.0, 700.0, -44.0);
  add_noise(&in, 15, 2000.0, 3500.0, -20.0);
  add_noise(&in, 177, 4600.0, 5600.0, -44.0);
  UnmaskSettings settings = whole_range();
  settings.range[0][1] = 1200.0;
  const Watched lows = watch(&in, &settings, 8.0);
  double least = 100.0;
  double most = -100.0;
  for (uint32_t i = 0; i < lows.bands; ++i) {
    if (lows.frequency[i] > 1.3 * 1200.0) {
      least = fmin(least, lows.mean[i]);
      most = fmax(most, lows.mean[i]);
    }
  }
  printf("above the range: all moved by %.4f to %.4f dB\n", least, most);
  assert_true(most - least < 1e-9 && largest_mean(&lows) > 2.0);

  settings = whole_range();
  const Watched whole = watch(&in, &settings, 8.0);
  settings.range[0][1] = 630.0;
  settings.range[1][0] = 630.0;
  settings.range[1][1] = 14000.0;
  const Watched halves = watch(&in, &settings, 8.0);
  double apart = 0.0;
  for (uint32_t i = 0; i < whole.bands; ++i) {
    apart = fmax(apart, fabs(whole.mean[i] - halves.mean[i]));
  }
  printf("one range, or two that meet within the probe: %.1e dB apart\n", apart);
  assert_true(apart < 1e-9);
  audio_free(&in);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(pink_noise_is_left_alone),  cmocka_unit_test(a_fade_changes_nothing),
      cmocka_unit_test(level_does_not_count),      cmocka_unit_test(the_hidden_comes_up),
      cmocka_unit_test(no_move_is_steep_or_large), cmocka_unit_test(nothing_to_do_changes_no_bit),
      cmocka_unit_test(ranges_say_where),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
