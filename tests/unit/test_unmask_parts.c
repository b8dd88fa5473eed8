/* Bands and moves of the unmasking equaliser, each against what is known by hand. */
#include "tests/unit/arena_fixture.h"
#include "tests/unit/unmask_fixture.h"

/* cmocka's compares floats alone. */
#define ASSERT_NEAR(value, expected, within) assert_true(fabs((value) - (expected)) <= (within))

static UnmaskBands bands;
static PlanishArena memory;

static void bands_at(double rate, uint32_t length)
{
  PlanishArena counting = planish_arena_counting();
  unmask_bands_setup(&bands, &counting, rate, length);
  memory = arena_for(counting);
  unmask_bands_setup(&bands, &memory, rate, length);
}

static uint32_t nearest(double hz)
{
  uint32_t best = 0;
  for (uint32_t i = 1; i < bands.count; ++i) {
    best = fabs(bands.frequency[i] - hz) < fabs(bands.frequency[best] - hz) ? i : best;
  }
  return best;
}

/* Glasberg & Moore (1990): at 1 kHz an ERB is 132.6 Hz wide, and its number is 15.6. */
static void bands_are_an_ear_apart(void **state)
{
  (void)state;
  bands_at(48000.0, 4096);
  assert_int_equal(bands.count, UNMASK_BANDS);
  for (uint32_t i = 0; i + 1 < bands.count; ++i) {
    const double middle = 0.5 * (bands.frequency[i] + bands.frequency[i + 1]);
    const double erb = 132.6 * (1.0 + 0.00437 * middle) / (1.0 + 0.00437 * 1000.0);
    ASSERT_NEAR((bands.frequency[i + 1] - bands.frequency[i]) / erb, 1.0, 0.06);
  }
  printf("bands from %.1f Hz to %.1f Hz\n", bands.frequency[0], bands.frequency[38]);
  ASSERT_NEAR(bands.frequency[0], 40.0, 1e-6);
  ASSERT_NEAR(bands.frequency[38], 16000.0, 1e-3);
  free(memory.block);
}

/* A bin on a band's middle is all that band's; half way between two, half of each. */
static void bins_go_to_the_bands_about_them(void **state)
{
  (void)state;
  bands_at(48000.0, 4096);
  for (uint32_t k = 8; k < 1300; ++k) {
    const double hz = k * 48000.0 / 4096.0;
    uint32_t i = 0;
    while (bands.first[i + 1] <= k) {
      ++i;
    }
    assert_true(i + 1 < bands.count);
    assert_true(bands.frequency[i] <= hz + 1e-3 && hz <= bands.frequency[i + 1] + 1e-3);
    const double way = (hz - bands.frequency[i]) / (bands.frequency[i + 1] - bands.frequency[i]);
    ASSERT_NEAR((double)bands.share[k], way, 0.06);
  }
  free(memory.block);
}

/* 10 dB a Bark upwards, 27 downwards; Bark by the scale of ITU-R BS.1387. */
static void masking_spreads_upwards(void **state)
{
  (void)state;
  bands_at(48000.0, 4096);
  const uint32_t by = nearest(1000.0);
  const uint32_t up = nearest(1450.0);
  const uint32_t down = nearest(650.0);
  const double bark = 7.0 * asinh(bands.frequency[by] / 650.0);
  const double up_bark = 7.0 * asinh(bands.frequency[up] / 650.0) - bark;
  const double down_bark = bark - 7.0 * asinh(bands.frequency[down] / 650.0);
  assert_true(up_bark > 1.5 && down_bark > 1.5);
  ASSERT_NEAR(-10.0 * log10(bands.masks[up][by]) / up_bark, 10.0, 1e-9);
  ASSERT_NEAR(-10.0 * log10(bands.masks[down][by]) / down_bark, 27.0, 1e-9);
  assert_true(bands.masks[by][by] == 0.0);
  free(memory.block);
}

/* The same bands at every rate, as far as the rate reaches. */
static void rates_have_the_bands_that_they_reach(void **state)
{
  (void)state;
  static const double rates[] = {8000.0, 22050.0, 44100.0, 96000.0, 192000.0};
  for (size_t i = 0; i < sizeof rates / sizeof *rates; ++i) {
    bands_at(rates[i], planish_spectral_frame_length(rates[i], 4096));
    const double highest = bands.frequency[bands.count - 1];
    printf("%.0f Hz: %u bands, to %.0f Hz\n", rates[i], bands.count, highest);
    assert_true(highest < 0.45 * rates[i] + 1.0);
    assert_true(bands.count == UNMASK_BANDS || highest > 0.36 * rates[i]);
    free(memory.block);
  }
}

/* Moves by hand: shares of the bands set, one hop's tasks run. */
static UnmaskMoves moves;

static void settle(void)
{
  for (uint32_t step = 0; step < UNMASK_SETTLE_STEPS; ++step) {
    unmask_moves_settle(&moves, step);
  }
}

static void moves_of(const double *power, const UnmaskSettings *settings, uint32_t hops)
{
  unmask_moves_setup(&moves, &bands, 0.02);
  unmask_moves_reset(&moves);
  for (uint32_t n = 0; n < hops; ++n) {
    unmask_moves_begin(&moves, settings);
    unmask_moves_take(&moves, power, 1e-9);
    for (uint32_t i = 0; i < bands.count; ++i) {
      unmask_moves_look(&moves, i);
    }
    for (uint32_t i = 0; i < bands.count; ++i) {
      unmask_moves_lift(&moves, i);
    }
    for (uint32_t i = 0; i < bands.count; ++i) {
      unmask_moves_hold_back(&moves, i);
    }
    settle();
  }
}

/* Pink noise, with a hole of `depth` dB in three bands, over which the neighbours then lie. */
static void pink_with_a_hole(double *power, uint32_t at, double depth)
{
  for (uint32_t i = 0; i < bands.count; ++i) {
    const bool hole = i + 1 >= at && i <= at + 1;
    power[i] = bands.even[i] * (hole ? pow(10.0, -0.1 * depth) : 1.0);
  }
}

static void a_hole_is_lifted_and_its_neighbour_below_held_back(void **state)
{
  (void)state;
  bands_at(48000.0, 4096);
  const UnmaskSettings settings = whole_range();
  const uint32_t at = nearest(1500.0);
  double power[UNMASK_BANDS];
  pink_with_a_hole(power, at, 9.0);
  moves_of(power, &settings, 500);
  printf("in a hole of 9 dB: hidden %.2f dB; moved %.2f, below it %.2f, above it %.2f dB\n",
         moves.hidden[at], moves.move[at], moves.move[at - 2], moves.move[at + 2]);
  assert_true(moves.move[at] > 1.0 && moves.move[at] <= 3.0);
  assert_true(moves.move[at - 2] < moves.move[at + 2]); /* masking spreads upwards */
  double before = 0.0;
  double after = 0.0;
  for (uint32_t i = 0; i < bands.count; ++i) {
    before += bands.weight[i] * power[i];
    after += bands.weight[i] * power[i] * pow(10.0, 0.1 * moves.move[i]);
  }
  printf("K-weighted power %.2e dB from where it was\n", 10.0 * log10(after / before));
  ASSERT_NEAR(10.0 * log10(after / before), 0.0, 1e-3);
  free(memory.block);
}

/* A deeper hole is lifted more, until it is hopeless. */
static void what_is_hopeless_is_left(void **state)
{
  (void)state;
  bands_at(48000.0, 4096);
  const UnmaskSettings settings = whole_range();
  const uint32_t at = nearest(1500.0);
  double power[UNMASK_BANDS];
  double moved[3];
  static const double depths[] = {6.0, 12.0, 40.0};
  for (int i = 0; i < 3; ++i) {
    pink_with_a_hole(power, at, depths[i]);
    moves_of(power, &settings, 500);
    moved[i] = moves.move[at];
    printf("a hole of %.0f dB: hidden %.2f, moved %.2f dB\n", depths[i], moves.hidden[at],
           moved[i]);
  }
  assert_true(moved[0] < moved[1] && moved[2] < 0.5 * moved[0]);
  free(memory.block);
}

/* The tilted reference is neutral as pink is: never a move. */
static void a_tilted_reference_is_neutral(void **state)
{
  (void)state;
  bands_at(48000.0, 4096);
  UnmaskSettings settings = whole_range();
  settings.dead_zone = 0.0;
  for (double tilt = -3.0; tilt <= 3.0; tilt += 1.5) {
    double power[UNMASK_BANDS];
    for (uint32_t i = 0; i < bands.count; ++i) {
      power[i] = bands.even[i] * pow(bands.frequency[i] / 1000.0, 0.1 * tilt / log10(2.0));
    }
    settings.tilt = tilt;
    moves_of(power, &settings, 200);
    double own = 0.0;
    for (uint32_t i = 0; i < bands.count; ++i) {
      own = fmax(own, fabs(moves.move[i]));
    }
    settings.tilt = tilt > 0.0 ? -3.0 : 3.0;
    moves_of(power, &settings, 200);
    double other = 0.0;
    for (uint32_t i = 0; i < bands.count; ++i) {
      other = fmax(other, fabs(moves.move[i]));
    }
    printf("tilt %+.1f: moved %.1e dB by its own reference, %.2f by another\n", tilt, own, other);
    assert_true(own < 1e-9);
    assert_true(tilt > 0.0 || other > 0.2); /* what is too bright hides nothing */
  }
  free(memory.block);
}

/* From one spectrum to another within the averaging time; the narrow bands of the bass later. */
static void means_take_their_time(void **state)
{
  (void)state;
  bands_at(48000.0, 4096);
  UnmaskSettings settings = whole_range();
  settings.averaging_time = 1.0;
  double power[UNMASK_BANDS];
  pink_with_a_hole(power, 20, 0.0);
  moves_of(power, &settings, 1000);
  const double was = moves.share[20];
  const double low_was = moves.share[0];
  power[20] *= 1.1;
  power[0] *= 1.1;
  for (int n = 0; n < 50; ++n) { /* 1 s */
    unmask_moves_take(&moves, power, 1e-9);
  }
  double sum = 0.0;
  for (uint32_t i = 0; i < bands.count; ++i) {
    sum += power[i];
  }
  const double went = (moves.share[20] - was) / (power[20] / sum - was);
  const double low_went = (moves.share[0] - low_was) / (power[0] / sum - low_was);
  printf("after one averaging time: %.3f of the way; at 40 Hz %.3f\n", went, low_went);
  ASSERT_NEAR(went, 1.0 - exp(-1.0), 0.02);
  ASSERT_NEAR(low_went, 1.0 - exp(-bands.width[0] / 100.0), 0.02);
  free(memory.block);
}

/* What follows from the averaging time is made anew when it moves. */
static void an_averaging_time_that_moves_is_followed(void **state)
{
  (void)state;
  static const double ways[2][2] = {{9.0, 2.0}, {2.0, 2.0}};
  double power[UNMASK_BANDS];
  double share[2][UNMASK_BANDS];
  bands_at(48000.0, 4096);
  for (int way = 0; way < 2; ++way) {
    UnmaskSettings settings = whole_range();
    settings.averaging_time = ways[way][0];
    pink_with_a_hole(power, 20, 6.0);
    /* Long enough for the mean not to be a plain one any more. */
    moves_of(power, &settings, 2000);
    settings.averaging_time = ways[way][1];
    unmask_moves_begin(&moves, &settings);
    power[20] *= 2.0;
    unmask_moves_take(&moves, power, 1e-9);
    memcpy(share[way], moves.share, sizeof moves.share);
  }
  for (uint32_t i = 0; i < bands.count; ++i) {
    assert_true(fabs(share[0][i] - share[1][i]) <= 1e-9);
  }
  free(memory.block);
}

/* A moment counts by its level, but no more than four times the mean: one hop 20 dB up moves a
 * share four times as far as a hop of the usual level does. */
static void no_moment_counts_too_much(void **state)
{
  (void)state;
  bands_at(48000.0, 4096);
  const UnmaskSettings settings = whole_range();
  double power[UNMASK_BANDS];
  double went[2];
  for (int loud = 0; loud < 2; ++loud) {
    pink_with_a_hole(power, 20, 0.0);
    moves_of(power, &settings, 1000);
    const double was = moves.share[20];
    power[20] *= 1.1;
    for (uint32_t i = 0; i < bands.count; ++i) {
      power[i] *= loud == 1 ? 100.0 : 1.0;
    }
    unmask_moves_take(&moves, power, 1e-9);
    went[loud] = moves.share[20] - was;
  }
  printf("a hop 20 dB up counts %.3f times\n", went[1] / went[0]);
  ASSERT_NEAR(went[1] / went[0], 4.0, 0.02);
  free(memory.block);
}

/* From 50 to 56 dB under the whole a band fades from audible to not. */
static void hiss_is_left(void **state)
{
  (void)state;
  bands_at(48000.0, 4096);
  const UnmaskSettings settings = whole_range();
  static const double under[] = {49.0, 53.0, 57.0};
  static const double audible[] = {1.0, 0.5, 0.0};
  for (int i = 0; i < 3; ++i) {
    double power[UNMASK_BANDS] = {0.0};
    power[10] = 1.0;
    power[30] = pow(10.0, -0.1 * under[i]);
    moves_of(power, &settings, 500);
    printf("%.0f dB under the whole: audible %.4f\n", under[i], moves.audible[30]);
    ASSERT_NEAR(moves.audible[30], audible[i], 1e-3);
  }
  free(memory.block);
}

/* A band meets its neighbours half way; one that holds next to nothing has no say, but listens. */
static void neighbours_meet_half_way(void **state)
{
  (void)state;
  bands_at(48000.0, 4096);
  const UnmaskSettings settings = whole_range();
  for (int silent = 0; silent < 2; ++silent) {
    double power[UNMASK_BANDS];
    pink_with_a_hole(power, 20, 0.0);
    moves_of(power, &settings, 10);
    memset(moves.wanted, 0, sizeof moves.wanted);
    moves.wanted[20] = 1.0;
    moves.audible[21] = silent == 1 ? 0.0 : 1.0;
    moves.hop = 10.0; /* so that the slew does not matter */
    settle();
    const double level = moves.move[10]; /* what keeps the loudness, everywhere alike */
    printf("about a band that wants 1 dB: %.3f, %.3f, %.3f dB\n", moves.move[19] - level,
           moves.move[20] - level, moves.move[21] - level);
    ASSERT_NEAR(moves.move[19] - level, 0.25, 1e-9);
    ASSERT_NEAR(moves.move[20] - level, silent == 1 ? 0.75 : 0.5, 1e-9);
    ASSERT_NEAR(moves.move[21] - level, 0.25, 1e-9);
  }
  free(memory.block);
}

/* Hops of 20 ms: nothing for one averaging time, all after two. */
static void nothing_moves_before_it_is_known(void **state)
{
  (void)state;
  bands_at(48000.0, 4096);
  const UnmaskSettings settings = whole_range(); /* 1.5 s */
  double power[UNMASK_BANDS];
  pink_with_a_hole(power, 20, 12.0);
  moves_of(power, &settings, 74);
  const double early = fabs(moves.move[20]);
  moves_of(power, &settings, 300);
  printf("a hole after 1.48 s: moved %.3f dB; after 6 s: %.3f dB\n", early, moves.move[20]);
  assert_true(early == 0.0 && moves.move[20] > 1.0);
  free(memory.block);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(bands_are_an_ear_apart),
      cmocka_unit_test(bins_go_to_the_bands_about_them),
      cmocka_unit_test(masking_spreads_upwards),
      cmocka_unit_test(rates_have_the_bands_that_they_reach),
      cmocka_unit_test(a_hole_is_lifted_and_its_neighbour_below_held_back),
      cmocka_unit_test(what_is_hopeless_is_left),
      cmocka_unit_test(a_tilted_reference_is_neutral),
      cmocka_unit_test(means_take_their_time),
      cmocka_unit_test(an_averaging_time_that_moves_is_followed),
      cmocka_unit_test(no_moment_counts_too_much),
      cmocka_unit_test(hiss_is_left),
      cmocka_unit_test(neighbours_meet_half_way),
      cmocka_unit_test(nothing_moves_before_it_is_known),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
