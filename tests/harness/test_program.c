/* The program as its user meets it: exit codes, one line of error, nothing half-written. */
#include "tests/harness/program_fixture.h"

#include <poll.h>
#include <sys/resource.h>
#include <time.h>

static void a_master_lands_and_is_the_same_each_time(void **state)
{
  (void)state;
  start_files(NULL);
  Outcome outcome = RUN("render", name("sheet.yaml"), name("mix.wav"), name("one.wav"));
  expect(&outcome, 0, "");
  assert_string_equal(outcome.error, "");
  assert_non_null(strstr(outcome.out, "landed"));
  outcome = RUN("render", name("sheet.yaml"), name("mix.wav"), name("two.wav"));
  assert_int_equal(outcome.code, 0);
  assert_int_equal(count_files(), 6);
  FILE *one = fopen(name("one.wav"), "rb");
  FILE *two = fopen(name("two.wav"), "rb");
  int byte = 0;
  long length = -1;
  while (byte != EOF) {
    byte = fgetc(one);
    assert_int_equal(byte, fgetc(two));
    length += 1;
  }
  fclose(one);
  fclose(two);
  assert_int_equal(length, 44 + 6 * LENGTH);
  outcome = RUN("measure", "--json", name("one.wav"));
  assert_int_equal(outcome.code, 0);
  const char *value = strstr(outcome.out, "\"integrated_lufs\": ");
  assert_non_null(value);
  const double loudness = atof(value + 19);
  print_message("lands on %.3f LUFS of -12\n", loudness);
  assert_true(fabs(loudness + 12.0) <= 0.05);
}

static void a_master_at_another_rate_has_its_silence_fades_and_tail(void **state)
{
  (void)state;
  start_files(NULL);
  static const char words[] =
      "planish: 1\n"
      "input: {loudness: -18, balance: 0.5, swap: true, dc: remove}\n"
      "rate: 44100\n"
      "target: {loudness: -12, ceiling: -0.5, by: drive.input_gain, ceiling_at: [drive.ceiling]}\n"
      "stages: [{stage: test-delay, name: late, taps: 777}, {stage: test-drive, name: drive}]\n"
      "automation: {late.gain: [{at: 2, value: 0}, {at: 4, value: -1}]}\n"
      "head_silence: 0.1\nfade_out: {length: 1, shape: s-shaped}\ntail: 0.5\n";
  write_text("sheet.yaml", words);
  Outcome outcome = RUN("render", name("sheet.yaml"), name("mix.wav"), name("out.wav"), "--matched",
                        name("matched.wav"));
  expect(&outcome, 0, "");
  assert_non_null(strstr(outcome.out, "landed"));
  assert_non_null(strstr(outcome.out, "converted from 48000 Hz to 44100 Hz"));
  assert_non_null(strstr(outcome.out, "left and right swapped, 0.50 dB to the right"));
  assert_int_equal(count_files(), 5);
  size_t frames = 0;
  SF_INFO info;
  float *master = read_audio(name("out.wav"), &frames, &info);
  assert_int_equal(info.samplerate, 44100);
  assert_int_equal(frames, 441000 + 4410 + 22050);
  for (size_t n = 0; n < 2 * 4410; ++n) {
    assert_true(master[n] == 0.0f);
  }
  assert_true(master[2 * 4420] != 0.0f);
  free(master);
  free(read_audio(name("matched.wav"), &frames, &info));
  assert_int_equal(frames, 441000 + 4410 + 22050);
  outcome = RUN("measure", "--json", name("out.wav"));
  const double loudness = atof(strstr(outcome.out, "\"integrated_lufs\": ") + 19);
  print_message("at 44100 Hz lands on %.3f LUFS of -12\n", loudness);
  assert_true(fabs(loudness + 12.0) <= 0.05);
  outcome = RUN("render", "--from=1", "--to=2", "--float", name("sheet.yaml"), name("mix.wav"),
                name("part.wav"));
  expect(&outcome, 0, "");
  free(read_audio(name("part.wav"), &frames, &info));
  assert_int_equal(frames, 44100);
}

static void exit_codes_are_those_of_the_help(void **state)
{
  (void)state;
  start_files(NULL);
  const char *const sheet = name("sheet.yaml");
  const char *const mix = name("mix.wav");
  const char *const out = name("out.wav");
  write_text("bad.yaml", "planish: 1\nstages: [{stage: test-dealy, name: a}]\n");
  write_text("bare.yaml", "planish: 1\nstages: [{stage: test-delay, name: a}]\n");
  write_text("fast.yaml", "planish: 1\nstages: [{stage: test-delay, name: a, wander_at: 9}]\n");
  write_text("words.wav", "words\n");
  mkfifo(in_folder("pipe.wav"), 0600);
  const int files = count_files();
  const struct {
    const char *arguments[8];
    int code;
    const char *says;
  } cases[] = {
      {{NULL}, 2, "no command"},
      {{"reder"}, 2, "did you mean render?"},
      {{"render", sheet, mix}, 2, "SHEET MIX OUT"},
      {{"render", sheet, mix, out, "extra"}, 2, "SHEET MIX OUT"},
      {{"render", "--lodness=-8", sheet, mix, out}, 2, "unknown option"},
      {{"render", "--loudness"}, 2, "a value is missing"},
      {{"render", "--loudness=loud", sheet, mix, out}, 2, "no number"},
      {{"render", "--loudness=-8,5", sheet, mix, out}, 2, "no number"},
      {{"render", "--loudness=8", sheet, mix, out}, 2, "out of range"},
      {{"render", "--loudness=-8", name("bare.yaml"), mix, out}, 2, "no control to land with"},
      {{"render", "--ceiling=-22", sheet, mix, out}, 2, "give -20 to 0 dBTP"},
      {{"render", "--set=drive.inputgain=1", sheet, mix, out}, 2, "did you mean input_gain?"},
      {{"render", "--from=1:70", sheet, mix, out}, 2, "no time"},
      {{"render", "--from=20", sheet, mix, out}, 2, "empty excerpt"},
      {{"render", "--from=999999999999999999999999", sheet, mix, out}, 2, "empty excerpt"},
      {{"render", "--set=late.listen=difference", sheet, mix, out}, 2, "--audition"},
      {{"measure", "-xy"}, 2, "unknown option: -x"},
      {{"measure", "--json=yes", mix}, 2, "one without a value: --json=yes"},
      {{"stages", "--rate=1e9"}, 2, "sample rate"},
      {{"stages", "--rate="}, 2, "empty value: --rate=: give one"},
      {{"stages", "--bundle="}, 2, "empty value: --bundle=: give one"},
      {{"render", "--targets=", "a", "b", "c"}, 2, "empty value: --targets=: give one"},
      {{"render", "--set=", "a", "b", "c"}, 2, "empty value: --set=: give one"},
      {{"render", "--bundle=/", sheet, mix, out}, 2, "no LV2 bundle: /"},
      {{"render", name("bad.yaml"), mix, out}, 2, "bad.yaml:2:18: unknown stage"},
      {{"render", name("fast.yaml"), mix, out}, 2, "latency changed"},
      {{"render", sheet, mix, mix}, 2, "written over"},
      {{"render", sheet, mix, sheet}, 2, "ends in .wav"},
      {{"render", "--matched", out, sheet, mix, out}, 2, "written over"},
      {{"render", sheet, name("words.wav"), out}, 3, "no audio"},
      {{"render", sheet, name("pipe.wav"), out}, 3, "pipe"},
      {{"render", sheet, files_folder, out}, 3, "a folder"},
      {{"render", sheet, name("absent.wav"), out}, 4, "no such file"},
      {{"render", name("absent.yaml"), mix, out}, 4, "no such file"},
      {{"render", sheet, mix, name("no/out.wav")}, 4, "its folder"},
      {{"measure"}, 2, "no file"},
      {{"measure", name("words.wav")}, 3, "no audio"},
      {{"measure", name("absent.wav")}, 4, "no such file"},
      {{"stages", "test-dealy"}, 2, "did you mean test-delay?"},
      {{"stages", "--rate=0"}, 2, "sample rate"},
  };
  for (size_t n = 0; n < sizeof cases / sizeof *cases; ++n) {
    const char *arguments[10] = {"planish"};
    for (int a = 0; a < 8 && cases[n].arguments[a] != NULL; ++a) {
      arguments[a + 1] = cases[n].arguments[a];
    }
    const Outcome outcome = finish(launch(arguments));
    expect(&outcome, cases[n].code, cases[n].says);
    assert_int_equal(count_files(), files);
  }
}

static void all_mistakes_of_a_sheet_are_printed(void **state)
{
  (void)state;
  start_files(NULL);
  write_text("bad.yaml", "planish: 1\nstages: [{stage: test-delay, name: a, gain: x, gian: 1}]\n");
  const Outcome outcome = RUN("render", name("bad.yaml"), name("mix.wav"), name("out.wav"));
  assert_int_equal(outcome.code, 2);
  assert_int_equal(lines_of(outcome.error), 2);
  assert_non_null(strstr(outcome.error, "bad.yaml:2:45: gain: no number"));
  assert_non_null(strstr(outcome.error, "bad.yaml:2:48: gian: no control"));
}

static void a_missed_target_keeps_the_nearest(void **state)
{
  (void)state;
  start_files(NULL);
  const Outcome outcome =
      RUN("render", "--loudness=-1", name("sheet.yaml"), name("mix.wav"), name("out.wav"));
  expect(&outcome, 1, "target missed");
  assert_non_null(strstr(outcome.out, "missed"));
  assert_non_null(strstr(outcome.error, "extra drive"));
  size_t frames = 0;
  SF_INFO info;
  free(read_audio(name("out.wav"), &frames, &info));
  assert_int_equal(frames, LENGTH);
}

static void options_shape_the_result(void **state)
{
  (void)state;
  start_files(NULL);
  Outcome outcome = RUN("render", "--from=2", "--to=0:03.5", "--matched", name("same.wav"),
                        name("sheet.yaml"), name("mix.wav"), name("part.float.wav"));
  expect(&outcome, 0, "");
  assert_non_null(strstr(outcome.out, "not landed"));
  size_t frames = 0;
  SF_INFO info;
  free(read_audio(name("part.float.wav"), &frames, &info));
  assert_int_equal(frames, 72000);
  assert_int_equal(info.format, SF_FORMAT_WAV | SF_FORMAT_FLOAT);
  free(read_audio(name("same.wav"), &frames, &info));
  assert_int_equal(frames, 72000);
  outcome = RUN("render", "--ceiling=-3", "--loudness", "-14", "--json", name("sheet.yaml"),
                name("mix.wav"), name("out.wav"));
  expect(&outcome, 0, "");
  assert_non_null(strstr(outcome.out, "\"landed\": true"));
  assert_non_null(strstr(outcome.out, "\"target_ceiling_dbtp\": -3"));
}

static void odd_mixes_are_taken_or_refused(void **state)
{
  (void)state;
  start_files(NULL);
  const char *const sheet = name("sheet.yaml");
  const char *const out = name("out.wav");
  write_audio("mono.wav", WAV24, RATE, 1, music, LENGTH);
  Outcome outcome = RUN("render", sheet, name("mono.wav"), out);
  expect(&outcome, 0, "");
  assert_non_null(strstr(outcome.out, "mono: taken as dual mono"));
  write_audio("odd.wav", WAV24, 37123, 2, music, LENGTH);
  outcome = RUN("render", sheet, name("odd.wav"), out);
  expect(&outcome, 0, "");
  float *silence = calloc(2 * RATE, sizeof *silence);
  write_audio("silent.wav", WAV24, RATE, 2, silence, RATE);
  remove(out);
  outcome = RUN("render", sheet, name("silent.wav"), out);
  expect(&outcome, 3, "silent");
  silence[2 * 24000] = NAN;
  write_audio("nan.wav", SF_FORMAT_WAV | SF_FORMAT_FLOAT, RATE, 2, silence, RATE);
  outcome = RUN("render", sheet, name("nan.wav"), out);
  expect(&outcome, 3, "at 0:00.500");
  assert_int_equal(access(out, F_OK), -1);
  free(silence);
  float *bad = malloc(2 * LENGTH * sizeof *bad);
  memcpy(bad, music, 2 * LENGTH * sizeof *bad);
  bad[99999] = INFINITY;
  write_audio("inf.wav", SF_FORMAT_WAV | SF_FORMAT_FLOAT, RATE, 2, bad, LENGTH);
  outcome = RUN("render", "--silence-bad", sheet, name("inf.wav"), out);
  expect(&outcome, 0, "taken as silence");
  free(bad);
}

/* What a gain that moves adds cannot be said in one number. */
static void no_drive_is_told_of_gains_that_move(void **state)
{
  (void)state;
  start_files(NULL);
  Outcome outcome = RUN("render", name("sheet.yaml"), name("mix.wav"), name("out.wav"));
  assert_non_null(strstr(outcome.out, "extra drive"));
  char text[1000];
  snprintf(text, sizeof text, "%s  - {stage: test-delay, name: ride}\n%s", sheet_text,
           "automation: {ride.gain: [{at: 0.1, value: -1}, {at: 0.6, value: 1}]}\n");
  write_text("moves.yaml", text);
  outcome = RUN("render", name("moves.yaml"), name("mix.wav"), name("out.wav"));
  assert_int_equal(outcome.code, 0);
  assert_non_null(strstr(outcome.out, "drive.input_gain at"));
  assert_null(strstr(outcome.out, "extra drive"));
}

static void an_interrupt_leaves_nothing_behind(void **state)
{
  (void)state;
  static const int signals[] = {SIGINT, SIGTERM, SIGHUP};
  start_files(NULL);
  /* The tests themselves may run where a hang-up is ignored. */
  signal(SIGHUP, SIG_DFL);
  float *noise = make_music(60 * RATE);
  write_audio("long.wav", WAV24, RATE, 2, noise, 60 * RATE);
  free(noise);
  const int files = count_files();
  for (size_t n = 0; n < 3; ++n) {
    const pid_t child = launch((const char *const[]){"planish", "render", name("sheet.yaml"),
                                                     name("long.wav"), name("out.wav"), NULL});
    /* Until the half-written file is there; stdout and stderr are two more. */
    for (int wait = 0; wait < 20000 && count_files() < files + 3; ++wait) {
      poll(NULL, 0, 1);
    }
    assert_int_equal(count_files(), files + 3);
    kill(child, signals[n]);
    const Outcome outcome = finish(child);
    expect(&outcome, 130, "interrupted");
    assert_int_equal(count_files(), files);
  }
}

static void a_full_disk_is_told(void **state)
{
  (void)state;
  start_files(NULL);
  const int files = count_files();
  struct rlimit before;
  getrlimit(RLIMIT_FSIZE, &before);
  const struct rlimit small = {100000, before.rlim_max};
  setrlimit(RLIMIT_FSIZE, &small);
  Outcome outcome = RUN("render", name("sheet.yaml"), name("mix.wav"), name("out.wav"));
  setrlimit(RLIMIT_FSIZE, &before);
  expect(&outcome, 4, "cannot write: ");
  assert_int_equal(count_files(), files);
}

static void what_cannot_be_printed_is_told(void **state)
{
  (void)state;
  start_files(NULL);
  /* A fault is exit 1 where it can be read of. */
  float *silence = calloc(2 * LENGTH, sizeof *silence);
  write_audio("silent.wav", WAV24, RATE, 2, silence, LENGTH);
  free(silence);
  Outcome outcome = RUN("check", name("silent.wav"));
  assert_int_equal(outcome.code, 1);
  const char *const commands[][2] = {{"stages", "test-delay"}, {"check", name("silent.wav")}};
  for (size_t n = 0; n < 2; ++n) {
    const pid_t child = fork();
    if (child == 0) {
      dup2(open("/dev/full", O_WRONLY), STDOUT_FILENO);
      dup2(open(in_folder("stderr"), O_WRONLY | O_CREAT | O_TRUNC, 0600), STDERR_FILENO);
      execl(getenv("PLANISH_PROGRAM"), "planish", commands[n][0], commands[n][1], (char *)NULL);
      _exit(99);
    }
    outcome = finish(child);
    expect(&outcome, 4, "standard output");
  }
}

static void help_and_version_go_to_standard_output(void **state)
{
  (void)state;
  static const char *const commands[] = {"render", "measure", "stages"};
  Outcome outcome = RUN("--version");
  assert_int_equal(outcome.code, 0);
  assert_int_equal(strncmp(outcome.out, "planish ", 8), 0);
  outcome = RUN("--help");
  assert_non_null(strstr(outcome.out, "Usage: planish"));
  for (size_t n = 0; n < 3; ++n) {
    outcome = RUN(commands[n], "--help");
    assert_int_equal(outcome.code, 0);
    assert_non_null(strstr(outcome.out, "Usage: planish"));
    assert_string_equal(outcome.error, "");
  }
}

static void stages_are_listed(void **state)
{
  (void)state;
  Outcome outcome = RUN("stages", "test-delay");
  assert_int_equal(outcome.code, 0);
  assert_non_null(strstr(outcome.out, "-24 to 24 dB"));
  assert_non_null(strstr(outcome.out, "off, low shelf, 4x"));
  outcome = RUN("stages", "--json", "test-delay");
  assert_int_equal(outcome.code, 0);
  assert_non_null(strstr(outcome.out, "\"latency_frames\": 32"));
  /* One of the test's stages lacks its library. */
  outcome = RUN("stages");
  expect(&outcome, 2, "lacks its library");
  assert_non_null(strstr(outcome.out, "urn:planish:test-delay"));
  assert_non_null(strstr(outcome.out, "urn:planish:test-mono"));
  assert_null(strstr(outcome.out, "urn:planish:test-absent"));
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_master_lands_and_is_the_same_each_time),
      cmocka_unit_test(a_master_at_another_rate_has_its_silence_fades_and_tail),
      cmocka_unit_test(exit_codes_are_those_of_the_help),
      cmocka_unit_test(all_mistakes_of_a_sheet_are_printed),
      cmocka_unit_test(a_missed_target_keeps_the_nearest),
      cmocka_unit_test(options_shape_the_result),
      cmocka_unit_test(odd_mixes_are_taken_or_refused),
      cmocka_unit_test(no_drive_is_told_of_gains_that_move),
      cmocka_unit_test(an_interrupt_leaves_nothing_behind),
      cmocka_unit_test(a_full_disk_is_told),
      cmocka_unit_test(what_cannot_be_printed_is_told),
      cmocka_unit_test(help_and_version_go_to_standard_output),
      cmocka_unit_test(stages_are_listed),
  };
  return cmocka_run_group_tests(tests, open_all, close_all);
}
