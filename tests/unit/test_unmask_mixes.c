/* The unmasking equaliser on mixes of known parts and on real music: by its own model less is
 * hidden afterwards, never more, at the same loudness. */
#include "tests/unit/audio_measures.h"
#include "tests/unit/unmask_fixture.h"

static void check(const char *name, Audio *music)
{
  UnmaskSettings settings = whole_range();
  const Watched was = watch(music, &settings, 5.0);
  Audio out = treated(music, NULL, 0);
  const Watched is = watch(&out, &settings, 5.0);
  const double loudness = audio_loudness(&out) - audio_loudness(music);
  const double peak = audio_true_peak(&out) - audio_true_peak(music);
  static const Setting keen[] = {{UNMASK_DEAD_ZONE, 0.0F}};
  Audio more = treated(music, keen, 1);
  const Watched least = watch(&more, &settings, 5.0);
  printf("%s: hidden %.3f -> %.3f dB, without a dead zone %.3f; largest move %.2f, steady %.2f dB; "
         "%+.3f LU, %+.2f dBTP\n",
         name, was.hidden, is.hidden, least.hidden, was.largest, largest_mean(&was), loudness,
         peak);
  assert_true(is.hidden < was.hidden);
  assert_true(least.hidden < 0.98 * was.hidden);
  assert_true(fabs(loudness) <= 0.2);
  assert_true(was.largest <= 3.0);
  audio_free(&more);
  audio_free(&out);
  audio_free(music);
}

static void mixes(void **state)
{
  (void)state;
  for (int seed = 1; seed <= 2; ++seed) {
    Audio mix;
    if (!stems_read(&mix, seed)) {
      print_message("skipped: mixes (no stems)\n");
      skip();
    }
    check(seed == 1 ? "stems 1" : "stems 2", &mix);
  }
}

static void music(void **state)
{
  (void)state;
  static const char *const names[] = {"guitars-dense", "guitars-dynamic", "lopsided", "quiet"};
  for (size_t i = 0; i < sizeof names / sizeof *names; ++i) {
    Audio piece;
    if (!music_read(&piece, names[i])) {
      print_message("skipped: music (no music)\n");
      skip();
    }
    check(names[i], &piece);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {cmocka_unit_test(mixes), cmocka_unit_test(music)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
