/* planish revise, with the stages themselves: what changed in settings and mix is found where it
 * was planted. */
#include "tests/harness/program_fixture.h"

enum { FRAMES = 10 * RATE, FLOAT_WAV = SF_FORMAT_WAV | SF_FORMAT_FLOAT };

static const double pi = 3.14159265358979323846;

static const char old_sheet[] =
    "planish: 1\n"
    "input: {loudness: -18}\n"
    "target: {loudness: -13, ceiling: -1, by: level.input_gain, ceiling_at: [level.ceiling]}\n"
    "stages:\n"
    "  - {stage: ms-eq, name: tidy, b1_type: peaking, b1_gain: 2, b1_freq: 900}\n"
    "  - {stage: dynamics, name: steer, threshold: -16}\n"
    "  - {stage: clipper, name: clip}\n"
    "  - {stage: limiter, name: level}\n";

/* A bell between two times; the biquad is that of the cookbook (Bristow-Johnson, Audio EQ Cookbook,
 * peaking EQ; from memory). It runs throughout and is heard between the times. */
static float *with_bell(const float *from, double gain, double hertz, double begin, double end)
{
  float *to = malloc(2 * FRAMES * sizeof *to);
  const double a = pow(10.0, gain / 40.0);
  const double w = 2.0 * pi * hertz / RATE;
  const double alpha = sin(w) / (2.0 * 2.0);
  const double b[3] = {1.0 + alpha * a, -2.0 * cos(w), 1.0 - alpha * a};
  const double d[3] = {1.0 + alpha / a, -2.0 * cos(w), 1.0 - alpha / a};
  for (size_t c = 0; c < 2; ++c) {
    double x[2] = {0.0, 0.0};
    double y[2] = {0.0, 0.0};
    for (size_t n = 0; n < FRAMES; ++n) {
      const double in = (double)from[2 * n + c];
      const double out = (b[0] * in + b[1] * x[0] + b[2] * x[1] - d[1] * y[0] - d[2] * y[1]) / d[0];
      const double at = (double)n / RATE;
      x[1] = x[0];
      x[0] = in;
      y[1] = y[0];
      y[0] = out;
      to[2 * n + c] = (float)(at >= begin && at < end ? out : in);
    }
  }
  return to;
}

/* The mix, its sheet, its master. */
static void make_old(void)
{
  start_files(NULL);
  write_text("old.yaml", old_sheet);
  const Outcome outcome = RUN("render", name("old.yaml"), name("mix.wav"), name("master.wav"));
  expect(&outcome, 0, "");
}

static void says(const Outcome *outcome, const char *what)
{
  if (outcome->code != 0 || strstr(outcome->out, what) == NULL) {
    print_error("expected \"%s\", got %d:\n%s%s", what, outcome->code, outcome->out,
                outcome->error);
    fail();
  }
}

static double number_after(const char *text, const char *key)
{
  const char *place = strstr(text, key);
  if (place == NULL) {
    print_error("no %s in\n%s", key, text);
    fail();
    return (double)NAN;
  }
  return atof(place + strlen(key));
}

static void settings_are_told_old_and_new(void **state)
{
  (void)state;
  start_files(NULL);
  write_text("old.yaml", old_sheet);
  write_text("new.yaml",
             "planish: 1\n"
             "input: {loudness: -17, swap: true}\n"
             "target: {loudness: -12, ceiling: -1, by: level.input_gain, ceiling_at: "
             "[level.ceiling]}\n"
             "stages:\n"
             "  - {stage: clipper, name: clip}\n"
             "  - {stage: ms-eq, name: tidy, b1_type: low shelf, b1_gain: 1.5, b1_freq: 900}\n"
             "  - {stage: limiter, name: level}\n"
             "  - {stage: limiter, name: last}\n"
             "automation: {tidy.b1_gain: [{at: 1, value: 0}]}\n"
             "fade_out: {length: 2, shape: linear}\n");
  Outcome outcome = RUN("revise", name("old.yaml"), name("new.yaml"));
  says(&outcome, "  input.loudness               -18 -> -17 LUFS  (+1)\n");
  says(&outcome, "  input.swap                   none -> true\n");
  says(&outcome, "  target.loudness              -13 -> -12 LUFS  (+1)\n");
  says(&outcome, "  tidy.b1_gain                 2 -> 1.5 dB  (-0.5)\n");
  says(&outcome, "  tidy.b1_type                 peaking -> low shelf\n");
  says(&outcome, "  - stage steer (dynamics)\n");
  says(&outcome, "  + stage last (limiter)\n");
  says(&outcome, "automation.tidy.b1_gain");
  says(&outcome, "fade_out                     none -> {length: 2, shape: linear}\n");
  says(&outcome, "stage clip moved from place 3 to 1\n");
  assert_null(strstr(outcome.out, "tidy moved"));
  assert_null(strstr(outcome.out, "level moved"));
  assert_null(strstr(outcome.out, "b1_freq"));
  says(&outcome, "mix       not compared");
  outcome = RUN("revise", name("old.yaml"), name("old.yaml"));
  says(&outcome, "settings  nothing changed\n");
  /* Of two sheets also where the landing begins. */
  write_text("first.yaml", "planish: 1\ntarget: {loudness: -9, by: a.input_gain}\n"
                           "stages: [{stage: limiter, name: a, input_gain: 1}]\n");
  write_text("second.yaml", "planish: 1\ntarget: {loudness: -9, by: a.input_gain}\n"
                            "stages: [{stage: limiter, name: a, input_gain: 3}]\n");
  outcome = RUN("revise", name("first.yaml"), name("second.yaml"));
  says(&outcome, "  a.input_gain                 1 -> 3 dB  (+2)\n");
  /* And a control whose symbol is a key of the stage itself. */
  write_text("first.yaml", "planish: 1\nstages: [{stage: https://example.org/lv2/drive, name: f, "
                           "controls: {name: -3.5}}]\n");
  write_text("second.yaml", "planish: 1\nstages: [{stage: https://example.org/lv2/drive, name: f, "
                            "controls: {name: -2}}]\n");
  outcome = RUN("revise", name("first.yaml"), name("second.yaml"));
  says(&outcome, "  f.name                       -3.5 -> -2");
  outcome = RUN("revise", "--json", name("old.yaml"), name("new.yaml"));
  says(&outcome, "\"where\": \"tidy.b1_gain\"");
  says(&outcome, "\"kind\": \"moved\"");
  says(&outcome, "\"mix_same\": null");
}

static void branches_are_told_too(void **state)
{
  (void)state;
  start_files(NULL);
  write_text("old.yaml",
             "planish: 1\n"
             "stages:\n"
             "  - {stage: ms-eq, name: tidy}\n"
             "  - {stage: dynamics, name: steer}\n"
             "  - branch: air\n"
             "    take: side\n"
             "    stages: [{stage: clipper, name: clip}, {stage: limiter, name: own}]\n");
  write_text("new.yaml", "planish: 1\n"
                         "stages:\n"
                         "  - {stage: ms-eq, name: tidy}\n"
                         "  - branch: air\n"
                         "    take: mid\n"
                         "    level: -17\n"
                         "    stages: [{stage: dynamics, name: steer}, "
                         "{stage: clipper, name: clip, knee: 1}]\n");
  const Outcome outcome = RUN("revise", name("old.yaml"), name("new.yaml"));
  says(&outcome, "  air.take                     side -> mid\n");
  says(&outcome, "  air.level                    -20 -> -17 dB  (+3)\n");
  says(&outcome, "  clip.knee                    0 -> 1 dB  (+1)\n");
  says(&outcome, "  - stage own (limiter)\n");
  says(&outcome, "stage steer moved from place 2 to 2, in air\n");
  assert_null(strstr(outcome.out, "clip moved"));
  assert_null(strstr(outcome.out, "air moved"));
}

/* +1 dB at 3 kHz from 4 to 6 s, and 1000 frames later, and 2 dB down. */
static void a_bell_in_the_mix_is_found_in_time_and_band(void **state)
{
  (void)state;
  make_old();
  float *bell = with_bell(music, 1.0, 3000.0, 4.0, 6.0);
  float *later = calloc(2 * FRAMES, sizeof *later);
  const size_t delay = 1000;
  for (size_t n = 2 * delay; n < 2 * (size_t)FRAMES; ++n) {
    later[n] = 0.79432823f * bell[n - 2 * delay];
  }
  write_audio("new.wav", FLOAT_WAV, RATE, 2, later, FRAMES);
  const Outcome outcome =
      RUN("revise", "--json", "--level=-40", name("master.wav.yaml"), name("new.wav"));
  says(&outcome, "\"mix_same\": false");
  const char *mix = strstr(outcome.out, "\"mix\": {");
  assert_non_null(mix);
  const char *stretches = strstr(mix, "\"stretches\"");
  assert_non_null(stretches);
  const double from = number_after(stretches, "\"from_s\": ");
  const double to = number_after(stretches, "\"to_s\": ");
  const char *bands = strstr(stretches, "\"bands\"");
  assert_non_null(bands);
  const double change = number_after(strstr(bands, "3150"), "\"change_db\": ");
  print_message("a bell of +1 dB at 3 kHz, 4 to 6 s: found from %.1f to %.1f s, %+.2f dB at 3150 "
                "Hz; matched by %+.4f dB, %g frames later\n",
                from, to, change, number_after(mix, "\"gain_db\": "),
                number_after(mix, "\"delay_frames\": "));
  assert_true(fabs(from - 4.0) <= 0.1 && fabs(to - 6.0) <= 0.1);
  assert_null(strstr(strstr(stretches, "\"to_s\"") + 5, "\"to_s\""));
  assert_true(fabs(change - 0.85) < 0.15);
  assert_null(strstr(bands, "\"nominal_hz\": 800,\n          \"change_db\""));
  assert_true(number_after(mix, "\"delay_frames\": ") == 1000.0);
  assert_true(fabs(number_after(mix, "\"gain_db\": ") - 2.0) < 0.001);
  /* 2 dB down, and nothing lost: as set that much quieter, landed again by some more drive. */
  const char *kept = strstr(outcome.out, "\"master_kept\": {");
  const char *landed = strstr(outcome.out, "\"master_landed\": {");
  const double old = number_after(strstr(outcome.out, "\"master_old\": {"), "\"moved_to\": ");
  assert_true(number_after(kept, "\"moved_to\": ") == old);
  assert_true(number_after(kept, "\"integrated_lufs\": ") < -14.0);
  assert_true(fabs(number_after(landed, "\"integrated_lufs\": ") + 13.0) <= 0.05);
  free(bell);
  free(later);
}

/* Times are those of the old mix also where the new one begins in the middle of it, and a turned
 * polarity is no change of the sound. */
static void an_earlier_and_turned_mix_is_lined_up(void **state)
{
  (void)state;
  enum { CUT = 3 * RATE / 2 };
  make_old();
  float *bell = with_bell(music, 1.0, 3000.0, 4.0, 6.0);
  for (size_t n = 0; n < 2 * (size_t)FRAMES; ++n) {
    bell[n] = -bell[n];
  }
  write_audio("new.wav", FLOAT_WAV, RATE, 2, bell + 2 * (size_t)CUT, FRAMES - CUT);
  free(bell);
  const Outcome outcome =
      RUN("revise", "--json", "--quick", "--level=-40", name("master.wav.yaml"), name("new.wav"));
  const char *mix = strstr(outcome.out, "\"mix\": {");
  assert_non_null(mix);
  const double delay = number_after(mix, "\"delay_frames\": ");
  const char *stretches = strstr(mix, "\"stretches\"");
  const double from = number_after(stretches, "\"from_s\": ");
  const double to = number_after(stretches, "\"to_s\": ");
  print_message("cut by 1.5 s and turned: delay %g frames, found from %.1f to %.1f s\n", delay,
                from, to);
  assert_true(delay == -(double)CUT);
  assert_true(fabs(from - 4.0) <= 0.1 && fabs(to - 6.0) <= 0.1);
  assert_null(strstr(strstr(stretches, "\"to_s\"") + 5, "\"to_s\""));
}

static void the_same_mix_and_a_quick_look_render_nothing(void **state)
{
  (void)state;
  make_old();
  float *bell = with_bell(music, 6.0, 3000.0, 1.0, 2.0);
  write_audio("new.wav", FLOAT_WAV, RATE, 2, bell, FRAMES);
  Outcome outcome = RUN("revise", "--quick", name("master.wav.yaml"), name("new.wav"));
  says(&outcome, "1 stretch over -60 dB");
  says(&outcome, "0:01.0 to 0:02.0");
  says(&outcome, "3150 Hz +5.");
  assert_null(strstr(outcome.out, "as set"));
  assert_null(strstr(outcome.out, "landed"));
  outcome = RUN("revise", name("master.wav.yaml"), name("mix.wav"));
  says(&outcome, "mix       the same samples\n");
  assert_null(strstr(outcome.out, "as set"));
  free(bell);
}

static void an_old_recall_file_lends_its_mix_to_a_new_sheet(void **state)
{
  (void)state;
  make_old();
  Outcome outcome = RUN("revise", "--quick", name("master.wav.yaml"), name("old.yaml"));
  says(&outcome, "settings  nothing changed\n");
  write_text("new.yaml", old_sheet);
  FILE *file = fopen(in_folder("new.yaml"), "a");
  fputs("  - {stage: ms-eq, name: after, output_gain: -1}\n", file);
  fclose(file);
  outcome = RUN("revise", name("master.wav.yaml"), name("new.yaml"));
  says(&outcome, "  + stage after (ms-eq)\n");
  says(&outcome, "landed    -1");
  says(&outcome, "level.input_gain at ");
  /* With nothing to land on, the control stands where the new sheet has it. */
  write_text("fixed.yaml", "planish: 1\ntarget: {by: level.input_gain}\n"
                           "stages: [{stage: limiter, name: level, input_gain: 1.25}]\n");
  outcome = RUN("revise", name("master.wav.yaml"), name("fixed.yaml"));
  says(&outcome, "  input.loudness               -18 -> none\n");
  says(&outcome, "level.input_gain at 1.25 dB");
}

static void two_recall_files_are_held_against_each_other(void **state)
{
  (void)state;
  make_old();
  Outcome outcome = RUN("render", "--loudness=-14", "--set=tidy.b1_gain=-4", name("old.yaml"),
                        name("mix.wav"), name("second.wav"));
  expect(&outcome, 0, "");
  outcome = RUN("revise", name("master.wav.yaml"), name("second.wav.yaml"));
  says(&outcome, "target.loudness              -13 -> -14 LUFS  (-1)");
  says(&outcome, "tidy.b1_gain                 2 -> -4 dB  (-6)");
  says(&outcome, "mix       the same samples");
  says(&outcome, "new       -14.0");
  says(&outcome, "spectrum against the old master");
}

static void copy_edited(const char *from, const char *to, const char *what, const char *with)
{
  static char text[16384];
  static char edited[16500];
  FILE *file = fopen(name(from), "r");
  text[fread(text, 1, sizeof text - 1, file)] = '\0';
  fclose(file);
  const char *place = strstr(text, what);
  assert_non_null(place);
  snprintf(edited, sizeof edited, "%.*s%s%s", (int)(place - text), text, with,
           place + strlen(what));
  write_text(to, edited);
}

/* A note names controls: they are looked at here, and the file is named. */
static void what_a_note_names_is_looked_at(void **state)
{
  (void)state;
  make_old();
  copy_edited("master.wav.yaml", "edited.wav.yaml", "    by: ", "    by: x");
  Outcome outcome = RUN("revise", name("edited.wav.yaml"), name("master.wav.yaml"));
  expect(&outcome, 2, "edited.wav.yaml: recall: target: x");
  /* The same samples at another rate are another mix. */
  copy_edited("master.wav.yaml", "edited.wav.yaml", "    rate: 48000", "    rate: 44100");
  outcome = RUN("revise", "--quick", "--json", name("edited.wav.yaml"), name("master.wav.yaml"));
  says(&outcome, "\"mix_same\": false");
}

static void silence_is_told_in_words(void **state)
{
  (void)state;
  empty_folder(state);
  float *nothing = calloc(2 * FRAMES, sizeof *nothing);
  write_audio("mix.wav", WAV24, RATE, 2, music, FRAMES);
  write_audio("silence.wav", WAV24, RATE, 2, nothing, FRAMES);
  free(nothing);
  write_text("plain.yaml", "planish: 1\nstages: [{stage: limiter, name: a}]\n");
  Outcome outcome = RUN("render", name("plain.yaml"), name("silence.wav"), name("master.wav"));
  expect(&outcome, 0, "");
  outcome = RUN("revise", name("master.wav.yaml"), name("mix.wav"));
  says(&outcome, "  loudness silent -> -");
  says(&outcome, ": the old mix is silent");
  says(&outcome, "\nold       silent, silent\n");
  says(&outcome, "\nas set    -");
  assert_null(strstr(outcome.out, "nan"));
  assert_null(strstr(outcome.out, "inf "));
  assert_null(strstr(outcome.out, "inf)"));
}

static void what_cannot_be_revised_is_refused(void **state)
{
  (void)state;
  make_old();
  Outcome outcome = RUN("revise", name("old.yaml"));
  expect(&outcome, 2, "give OLD NEW");
  outcome = RUN("revise", name("mix.wav"), name("old.yaml"));
  expect(&outcome, 2, "no sheet and no recall file");
  outcome = RUN("revise", name("old.yaml"), name("mix.wav"));
  expect(&outcome, 2, "no recall file");
  outcome = RUN("revise", name("master.wav.yaml"), name("none.wav"));
  expect(&outcome, 4, "cannot read");
  outcome = RUN("revise", name("none.yaml"), name("old.yaml"));
  expect(&outcome, 4, "cannot read");
  outcome = RUN("revise", "--level=3", name("old.yaml"), name("old.yaml"));
  expect(&outcome, 2, "out of range");
  outcome = RUN("revise", name("master.wav.yaml"), name("old.yaml"), name("old.yaml"));
  expect(&outcome, 2, "give OLD NEW");
  /* An old mix that is gone: said, and what can be known is told. */
  remove(in_folder("mix.wav"));
  write_audio("new.wav", WAV24, RATE, 2, music, FRAMES / 2);
  outcome = RUN("revise", "--quick", name("master.wav.yaml"), name("new.wav"));
  says(&outcome, "no longer there");
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(settings_are_told_old_and_new),
      cmocka_unit_test(branches_are_told_too),
      cmocka_unit_test(a_bell_in_the_mix_is_found_in_time_and_band),
      cmocka_unit_test(an_earlier_and_turned_mix_is_lined_up),
      cmocka_unit_test(the_same_mix_and_a_quick_look_render_nothing),
      cmocka_unit_test(an_old_recall_file_lends_its_mix_to_a_new_sheet),
      cmocka_unit_test(two_recall_files_are_held_against_each_other),
      cmocka_unit_test(what_a_note_names_is_looked_at),
      cmocka_unit_test(silence_is_told_in_words),
      cmocka_unit_test(what_cannot_be_revised_is_refused),
  };
  return cmocka_run_group_tests(tests, open_all, close_all);
}
