/* Delivery with `over: rerender`: what is made is what two renders by hand would make, one of the
 * stages ahead of the first limiter and one, at the new rate, of the rest. */
#include "harness/measure/measure.h"
#include "tests/harness/program_fixture.h"

static const char chain[] =
    "planish: 1\n"
    "input: {gain: 3}\n"
    "target: {loudness: -11, ceiling: -1, by: drive.input_gain, ceiling_at: [drive.ceiling]}\n"
    "stages:\n"
    "  - {stage: test-delay, name: late, taps: 777, gain: 1.5}\n"
    "  - {stage: test-drive, name: drive}\n"
    "  - {stage: test-delay, name: later, taps: 50, gain: -0.1}\n"
    "automation: {later.gain: [{at: 96000 frames, value: -0.2}]}\n"
    "fade_in: 4800 frames\n"
    "fade_out: 0.5\n"
    "tail: 0.25\n"
    "tail_silence: 480 frames\n";

static const char again_text[] = "delivery: 1\nformat: wav\nbits: float\nrate: 44100\nceiling: -4\n"
                                 "over: rerender\n";

static void start_master(void)
{
  start_files(NULL);
  write_text("sheet.yaml", chain);
  write_text("again.yaml", again_text);
  const Outcome outcome =
      RUN("render", "--float", name("sheet.yaml"), name("mix.wav"), name("master.wav"));
  expect(&outcome, 0, "");
}

static double number_of(const char *file, const char *key)
{
  static char text[20000];
  char path[80];
  snprintf(path, sizeof path, "%s", file);
  FILE *stream = fopen(in_folder(path), "r");
  text[fread(text, 1, sizeof text - 1, stream)] = '\0';
  fclose(stream);
  const char *place = strstr(text, key);
  assert_non_null(place);
  return atof(place + strlen(key));
}

static PlanishMeasurement measured_file(const char *file)
{
  size_t frames = 0;
  SF_INFO info;
  float *samples = read_audio(name(file), &frames, &info);
  assert_non_null(samples);
  PlanishMeasure *measure = planish_measure_new(info.samplerate, 2);
  PlanishMeasurement result;
  planish_measure_process(measure, samples, frames);
  planish_measure_finish(measure, &result);
  planish_measure_free(measure);
  free(samples);
  return result;
}

static void it_is_what_two_renders_by_hand_make(void **state)
{
  (void)state;
  char text[1200];
  size_t frames[2];
  SF_INFO info;
  start_master();
  Outcome outcome = RUN("deliver", "--to", name("again.yaml"), name("master.wav"));
  expect(&outcome, 0, "");
  assert_non_null(strstr(outcome.out, "rendered again from drive on at 44100 Hz"));
  /* Without it the peak would be over. */
  write_text("keep.yaml", "delivery: 1\nformat: wav\nbits: float\nrate: 44100\nceiling: 0\n");
  outcome = RUN("deliver", "--to", name("keep.yaml"), name("master.wav"));
  expect(&outcome, 0, "");
  assert_true(measured_file("master-keep.wav").true_peak > -3.9);
  assert_true(measured_file("master-again.wav").true_peak <= -3.98);
  assert_true(measured_file("master-again.wav").true_peak > -4.1);
  assert_true(fabs(measured_file("master-again.wav").integrated -
                   measured_file("master-keep.wav").integrated) < 1.5);

  write_text("ahead.yaml", "planish: 1\ninput: {gain: 3}\ntail: 0.25\n"
                           "stages: [{stage: test-delay, name: late, taps: 777, gain: 1.5}]\n");
  outcome = RUN("render", "--float", name("ahead.yaml"), name("mix.wav"), name("ahead.wav"));
  expect(&outcome, 0, "");
  snprintf(text, sizeof text,
           "planish: 1\n"
           "rate: 44100\n"
           "target: {ceiling: -4, ceiling_at: [drive.ceiling]}\n"
           "stages:\n"
           "  - {stage: test-drive, name: drive, input_gain: %.9g, ceiling: %.9g}\n"
           "  - {stage: test-delay, name: later, taps: 50, gain: -0.1}\n"
           "automation: {later.gain: [{at: 2, value: -0.2}]}\n"
           "fade_in: 0.1\n"
           "fade_out: 0.5\n"
           "tail_silence: 0.01\n",
           number_of("master.wav.yaml", "    input_gain: "),
           number_of("master.wav.yaml", "    ceiling: "));
  write_text("rest.yaml", text);
  outcome = RUN("render", "--float", name("rest.yaml"), name("ahead.wav"), name("rest.wav"));
  expect(&outcome, 0, "");
  float *delivered = read_audio(name("master-again.wav"), &frames[0], &info);
  float *by_hand = read_audio(name("rest.wav"), &frames[1], &info);
  assert_int_equal(frames[0], frames[1]);
  assert_memory_equal(delivered, by_hand, 2 * frames[0] * sizeof *by_hand);
  free(by_hand);
  free(delivered);
}

static void what_is_not_over_is_not_rendered_again(void **state)
{
  (void)state;
  start_master();
  write_text("again.yaml", "delivery: 1\nformat: wav\nrate: 44100\nover: rerender\n");
  const Outcome outcome = RUN("deliver", "--to", name("again.yaml"), name("master.wav"));
  expect(&outcome, 0, "");
  assert_null(strstr(outcome.out, "rendered again"));
}

static void what_cannot_be_rendered_again_is_told(void **state)
{
  (void)state;
  start_master();
  rename(in_folder("master.wav.yaml"), in_folder("elsewhere.yaml"));
  Outcome outcome = RUN("deliver", "--to", name("again.yaml"), name("master.wav"));
  expect(&outcome, 2, "no recall file");
  rename(in_folder("elsewhere.yaml"), in_folder("master.wav.yaml"));
  write_audio("mix.wav", WAV24, RATE, 2, music, LENGTH - 100);
  outcome = RUN("deliver", "--to", name("again.yaml"), name("master.wav"));
  expect(&outcome, 3, "the mix has changed");
  remove(in_folder("mix.wav"));
  outcome = RUN("deliver", "--to", name("again.yaml"), name("master.wav"));
  expect(&outcome, 4, "the mix is not there");
  write_audio("mix.wav", WAV24, RATE, 2, music, LENGTH);
  write_audio("master.wav", SF_FORMAT_WAV | SF_FORMAT_FLOAT, RATE, 2, music, LENGTH);
  write_text("low.yaml", "delivery: 1\nformat: wav\nrate: 44100\nceiling: -20\nover: rerender\n");
  outcome = RUN("deliver", "--to", name("low.yaml"), name("master.wav"));
  expect(&outcome, 3, "not the master that");
  write_text("sheet.yaml", "planish: 1\nstages: [{stage: test-delay, name: late}]\n");
  outcome = RUN("render", "--float", name("sheet.yaml"), name("mix.wav"), name("master.wav"));
  expect(&outcome, 0, "");
  outcome = RUN("deliver", "--to", name("low.yaml"), name("master.wav"));
  expect(&outcome, 2, "no limiter in the chain");
  assert_int_equal(access(in_folder("master-low.wav"), F_OK), -1);
  assert_int_equal(access(in_folder("master-again.wav"), F_OK), -1);
}

/* Parts of a stream: each is cut out of the whole stream, which is rendered again. */
static void parts_of_a_stream_still_join(void **state)
{
  (void)state;
  size_t frames[3];
  SF_INFO info;
  start_master();
  write_audio("one.wav", WAV24, RATE, 2, music, LENGTH / 2 + 7);
  write_audio("two.wav", WAV24, RATE, 2, music + 2 * (LENGTH / 2 + 7), LENGTH / 2 - 7);
  write_text("album.yaml", "album: 1\nsheet: sheet.yaml\nname: \"{track}\"\n"
                           "tracks: [{mix: one.wav}, {mix: two.wav, gap: 0}]\n");
  mkdir(in_folder("out"), 0700);
  Outcome outcome = RUN("deliver", "--to", name("again.yaml"), name("master.wav"));
  expect(&outcome, 0, "");
  outcome = RUN("album", "--to", name("again.yaml"), name("album.yaml"), name("out"));
  expect(&outcome, 0, "");
  float *whole = read_audio(name("master-again.wav"), &frames[0], &info);
  float *one = read_audio(name("out/01-again.wav"), &frames[1], &info);
  float *two = read_audio(name("out/02-again.wav"), &frames[2], &info);
  assert_int_equal(frames[0], frames[1] + frames[2]);
  assert_memory_equal(whole, one, 2 * frames[1] * sizeof *one);
  assert_memory_equal(whole + 2 * frames[1], two, 2 * frames[2] * sizeof *two);
  free(two);
  free(one);
  free(whole);
  char command[400];
  snprintf(command, sizeof command, "rm -rf '%s'", in_folder("out"));
  assert_int_equal(system(command), 0);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(it_is_what_two_renders_by_hand_make),
      cmocka_unit_test(what_is_not_over_is_not_rendered_again),
      cmocka_unit_test(what_cannot_be_rendered_again_is_told),
      cmocka_unit_test(parts_of_a_stream_still_join),
  };
  return cmocka_run_group_tests(tests, open_all, close_all);
}
