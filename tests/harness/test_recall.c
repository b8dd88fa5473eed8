/* planish recall, with the stages themselves: the same samples from the file that a render left,
 * and every kind of difference told. */
#include "tests/harness/program_fixture.h"

#include <stdbool.h>
#include <stdint.h>

enum { SHORT = 96000, SHEETS = 20, TEXT = 16384, FLOAT_WAV = SF_FORMAT_WAV | SF_FORMAT_FLOAT };

static const char one_sheet[] =
    "planish: 1\n"
    "input: {loudness: -18}\n"
    "target: {loudness: -12, ceiling: -1, by: level.input_gain, ceiling_at: [level.ceiling]}\n"
    "stages:\n"
    "  - {stage: ms-eq, name: tidy, b1_type: peaking, b1_gain: 2, b1_freq: 900}\n"
    "  - {stage: limiter, name: level}\n";

static int start_short(void **state)
{
  empty_folder(state);
  write_text("sheet.yaml", one_sheet);
  write_audio("mix.wav", WAV24, RATE, 2, music, SHORT);
  return 0;
}

/* mix.wav through sheet.yaml. */
static void make_master(void)
{
  start_short(NULL);
  const Outcome outcome = RUN("render", name("sheet.yaml"), name("mix.wav"), name("master.wav"));
  expect(&outcome, 0, "");
}

static char *slurp(const char *file)
{
  char *text = calloc(1, TEXT);
  FILE *stream = fopen(in_folder(file), "r");
  if (stream == NULL || fread(text, 1, TEXT - 1, stream) == 0) {
    abort();
  }
  fclose(stream);
  return text;
}

/* Every place where the file has `from` gets `to`; it must have one. */
static void edit(const char *file, const char *from, const char *to)
{
  char *text = slurp(file);
  char *edited = calloc(1, 2 * TEXT);
  const char *at = text;
  for (const char *place = strstr(at, from); place != NULL; place = strstr(at, from)) {
    strncat(edited, at, (size_t)(place - at));
    strcat(edited, to);
    at = place + strlen(from);
  }
  if (at == text) {
    print_error("%s lacks %s\n", file, from);
    fail();
  }
  strcat(edited, at);
  write_text(file, edited);
  free(text);
  free(edited);
}

static void says(const Outcome *outcome, int code, const char *what)
{
  if (outcome->code != code || strstr(outcome->out, what) == NULL) {
    print_error("expected %d \"%s\", got %d:\n%s%s", code, what, outcome->code, outcome->out,
                outcome->error);
    fail();
  }
}

static double drawn(uint32_t *seed, double low, double high)
{
  *seed = *seed * 1664525U + 1013904223U;
  return low + (high - low) * (double)(*seed >> 8) / 16777216.0;
}

static void draw_sheet(uint32_t *seed, unsigned round)
{
  char text[2048];
  int used = snprintf(text, sizeof text, "planish: 1\ninput: {");
  used += snprintf(text + used, sizeof text - (size_t)used,
                   round % 3 == 0 ? "gain: %.3f" : "loudness: %.3f",
                   round % 3 == 0 ? drawn(seed, -3, 3) : drawn(seed, -22, -16));
  used += snprintf(text + used, sizeof text - (size_t)used, "%s%s}\n%s%s",
                   round % 4 == 1 ? ", dc: remove" : "", round % 5 == 2 ? ", swap: true" : "",
                   round % 7 == 3 ? "rate: 44100\n" : "", round % 6 == 4 ? "preroll: 0.5\n" : "");
  used += snprintf(text + used, sizeof text - (size_t)used,
                   "target: {loudness: %.2f, ceiling: -1, by: top.input_gain, ceiling_at: "
                   "[top.ceiling]}\nstages:\n",
                   drawn(seed, -16, -11));
  const unsigned count = round % 3;
  for (unsigned n = 0; n < count; ++n) {
    const unsigned kind = (unsigned)drawn(seed, 0, 3);
    const double a = drawn(seed, -3, 3);
    const double b = drawn(seed, 0.5, 2.5);
    const char *const stages[] = {
        "  - {stage: ms-eq, name: s%u, b2_type: peaking, b2_gain: %.4f, b2_q: %.4f, b2_freq: "
        "2000}\n",
        "  - {stage: dynamics, name: s%u, mix: 70, output_gain: %.4f, max_above: %.4f}\n",
        "  - {stage: clipper, name: s%u, input_gain: %.4f, knee: %.4f}\n"};
    used += snprintf(text + used, sizeof text - (size_t)used, stages[kind], n,
                     kind == 2 ? fabs(a) : a, b);
  }
  used += snprintf(text + used, sizeof text - (size_t)used,
                   "  - {stage: limiter, name: top, output_gain: %.3f}\n", drawn(seed, -1, 0));
  if (round % 4 == 2) {
    used += snprintf(text + used, sizeof text - (size_t)used,
                     "automation: {top.output_gain: [{at: 0.5, value: -1}, {at: 1.1, value: 0}]}\n"
                     "fade_out: {length: 0.2, shape: s-shaped}\ntail: 0.1\nhead_silence: 0.05\n");
  }
  assert_true(used < (int)sizeof text);
  write_text("sheet.yaml", text);
}

static void the_same_samples_come_back_from_random_sheets(void **state)
{
  (void)state;
  uint32_t seed = 7;
  int same = 0;
  for (unsigned round = 0; round < SHEETS; ++round) {
    start_short(NULL);
    write_audio("mix.wav", round % 5 == 1 ? FLOAT_WAV : WAV24, RATE, round % 5 == 3 ? 1 : 2, music,
                SHORT);
    draw_sheet(&seed, round);
    const char *const out = round % 4 == 3 ? "master.float.wav" : "master.wav";
    char file[64];
    snprintf(file, sizeof file, "%s.yaml", out);
    Outcome outcome = RUN("render", name("sheet.yaml"), name("mix.wav"), name(out));
    if (outcome.code > 1) {
      print_error("%s\n", outcome.error);
    }
    assert_true(outcome.code <= 1);
    outcome = RUN("recall", name(file));
    says(&outcome, 0, "the same samples, ");
    says(&outcome, 0, "mix.wav: the same file");
    says(&outcome, 0, "settings  as they were rendered");
    assert_null(strstr(outcome.out, "changed"));
    same += outcome.code == 0;
    outcome = RUN("sheet", "check", name(file));
    expect(&outcome, 0, "");
  }
  print_message("the same samples: %d of %d\n", same, SHEETS);
  assert_int_equal(same, SHEETS);
}

static void what_was_kept_has_the_same_bytes(void **state)
{
  (void)state;
  make_master();
  Outcome outcome = RUN("recall", "--out", name("again.wav"), name("master.wav.yaml"));
  says(&outcome, 0, "written");
  outcome = RUN("recall", "--json", name("master.wav.yaml"));
  says(&outcome, 0, "\"same_samples\": true");
  says(&outcome, 0, "\"mix_state\": \"same\"");
  FILE *one = fopen(name("master.wav"), "rb");
  FILE *two = fopen(name("again.wav"), "rb");
  for (int byte = 0; byte != EOF;) {
    byte = fgetc(one);
    assert_int_equal(byte, fgetc(two));
  }
  fclose(one);
  fclose(two);
  assert_int_equal(count_files(), 5);
  /* What a later version would choose by itself is written out. */
  char *text = slurp("master.wav.yaml");
  assert_non_null(strstr(text, "\npreroll: "));
  free(text);
}

/* Against digests of a program of its own, where there is one (coreutils' sha256sum). */
static void the_digest_of_a_file_is_what_others_say(void **state)
{
  (void)state;
  make_master();
  char command[700];
  char digest[65] = "";
  snprintf(command, sizeof command, "sha256sum '%s' 2>/dev/null", name("master.wav"));
  FILE *stream = popen(command, "r");
  const size_t got = stream == NULL ? 0 : fread(digest, 1, 64, stream);
  if (stream != NULL) {
    pclose(stream);
  }
  if (got < 64) {
    print_message("left out: no sha256sum\n");
    return;
  }
  char *text = slurp("master.wav.yaml");
  assert_non_null(strstr(strstr(text, "  master:"), digest));
  free(text);
}

static void a_mix_with_another_header_is_told_from_another_sound(void **state)
{
  (void)state;
  make_master();
  size_t frames = 0;
  SF_INFO info;
  float *samples = read_audio(in_folder("mix.wav"), &frames, &info);
  write_audio("mix.wav", FLOAT_WAV, RATE, 2, samples, frames);
  Outcome outcome = RUN("recall", name("master.wav.yaml"));
  says(&outcome, 0, "the same samples, its header rewritten");
  samples[1001] += 1.0f / 8388608.0f;
  write_audio("mix.wav", WAV24, RATE, 2, samples, frames);
  outcome = RUN("recall", name("master.wav.yaml"));
  says(&outcome, 1, "mix.wav: its sound has changed");
  says(&outcome, 1, "not rendered");
  expect(&outcome, 1, "the mix has changed");
  outcome = RUN("recall", "--json", "--out", name("other.wav"), name("master.wav.yaml"));
  says(&outcome, 1, "\"mix_state\": \"changed\"");
  says(&outcome, 1, "\"rendered\": true");
  free(samples);
  /* A nought is a nought, whatever its sign. */
  samples = calloc(2 * SHORT, sizeof *samples);
  memcpy(samples, music, 2 * SHORT * sizeof *samples);
  samples[1001] = 0.0f;
  write_audio("mix.wav", FLOAT_WAV, RATE, 2, samples, SHORT);
  outcome = RUN("render", name("sheet.yaml"), name("mix.wav"), name("master.wav"));
  expect(&outcome, 0, "");
  samples[1001] = -0.0f;
  write_audio("mix.wav", FLOAT_WAV, RATE, 2, samples, SHORT);
  free(samples);
  outcome = RUN("recall", name("master.wav.yaml"));
  says(&outcome, 0, "the same samples, its header rewritten");
  /* The same samples at another rate are another sound. */
  write_audio("mix.wav", WAV24, 44100, 2, music, SHORT);
  outcome = RUN("recall", name("master.wav.yaml"));
  says(&outcome, 1, "mix.wav: its sound has changed");
}

/* The version that a recall file notes of a stage: whatever it is today. */
static int minor_noted(const char *file, const char *stage)
{
  char before[80];
  (void)snprintf(before, sizeof before, "%s\n      minor: ", stage);
  char *text = slurp(file);
  const char *found = strstr(text, before);
  assert_non_null(found);
  const int minor = atoi(found + strlen(before));
  free(text);
  return minor;
}

static void versions_and_machine_are_told(void **state)
{
  (void)state;
  make_master();
  const int minor = minor_noted("master.wav.yaml", "urn:planish:ms-eq");
  char line[80];
  char told[120];
  edit("master.wav.yaml", "  program: \"", "  program: \"0.");
  edit("master.wav.yaml", "      minor: ", "      minor: 9");
  edit("master.wav.yaml", "  machine: ", "  machine: old ");
  edit("master.wav.yaml", "  libraries: \"", "  libraries: \"older ");
  Outcome outcome = RUN("recall", name("master.wav.yaml"));
  says(&outcome, 0, "changed   program: 0.");
  (void)snprintf(told, sizeof told,
                 "changed   stage tidy (ms-eq): version 9%d.0 then, version %d.0 now", minor,
                 minor);
  says(&outcome, 0, told);
  says(&outcome, 0, "changed   stage level (limiter): version 9");
  says(&outcome, 0, "changed   machine: old ");
  says(&outcome, 0, "changed   libraries: older ");
  says(&outcome, 0, "result    the same samples");
  /* Of one stage alone, and the least of versions. */
  make_master();
  char micro[120];
  (void)snprintf(line, sizeof line, "urn:planish:ms-eq\n      minor: %d\n      micro: 0", minor);
  (void)snprintf(micro, sizeof micro, "urn:planish:ms-eq\n      minor: %d\n      micro: 7", minor);
  edit("master.wav.yaml", line, micro);
  outcome = RUN("recall", name("master.wav.yaml"));
  (void)snprintf(told, sizeof told,
                 "changed   stage tidy (ms-eq): version %d.7 then, version %d.0 now", minor, minor);
  says(&outcome, 0, told);
  assert_null(strstr(outcome.out, "(limiter)"));
}

static void settings_edited_by_hand_are_told(void **state)
{
  (void)state;
  make_master();
  edit("master.wav.yaml", "recall:\n", "# a word\nrecall: \n");
  edit("master.wav.yaml", "planish: 1\n", "planish: 1   # a word\n\n");
  Outcome outcome = RUN("recall", name("master.wav.yaml"));
  says(&outcome, 0, "settings  as they were rendered");
  edit("master.wav.yaml", "b1_gain: 2\n", "b1_gain: 2.5\n");
  outcome = RUN("recall", name("master.wav.yaml"));
  says(&outcome, 1, "settings  edited since the render");
  says(&outcome, 1, "result    other samples");
  says(&outcome, 1, "they differ by -");
  expect(&outcome, 1, "the settings were edited by hand");
}

static void the_master_that_is_there_is_looked_at_too(void **state)
{
  (void)state;
  make_master();
  size_t frames = 0;
  SF_INFO info;
  float *samples = read_audio(in_folder("master.wav"), &frames, &info);
  write_audio("master.wav", FLOAT_WAV, RATE, 2, samples, frames);
  Outcome outcome = RUN("recall", name("master.wav.yaml"));
  says(&outcome, 0, "master.wav: the same samples, its header rewritten");
  write_audio("master.wav", FLOAT_WAV, RATE, 2, samples, frames - 1);
  outcome = RUN("recall", name("master.wav.yaml"));
  says(&outcome, 0, "master.wav: its sound has changed");
  write_text("master.wav", "no sound at all\n");
  outcome = RUN("recall", name("master.wav.yaml"));
  says(&outcome, 0, "master.wav: there, but not to be read as sound");
  outcome = RUN("recall", "--json", name("master.wav.yaml"));
  says(&outcome, 0, "\"master_state\": \"unreadable\"");
  remove(in_folder("master.wav"));
  outcome = RUN("recall", name("master.wav.yaml"));
  says(&outcome, 0, "master.wav: not there");
  free(samples);
}

static void a_mix_that_has_moved_is_found_or_asked_for(void **state)
{
  (void)state;
  make_master();
  edit("master.wav.yaml", files_folder, "/nowhere");
  Outcome outcome = RUN("recall", name("master.wav.yaml"));
  says(&outcome, 0, "mix.wav: the same file");
  rename(in_folder("mix.wav"), in_folder("moved.wav"));
  outcome = RUN("recall", name("master.wav.yaml"));
  expect(&outcome, 4, "--mix=FILE");
  outcome = RUN("recall", "--mix", name("moved.wav"), name("master.wav.yaml"));
  says(&outcome, 0, "moved.wav: the same file");
}

/* Whatever differs: the master stays, and so does a mix wherever it is found. */
static void no_master_and_no_mix_is_written_over(void **state)
{
  (void)state;
  make_master();
  write_audio("other.wav", WAV24, RATE, 2, music + 2, SHORT);
  Outcome outcome = RUN("recall", "--mix", name("other.wav"), "--out", name("master.wav"),
                        name("master.wav.yaml"));
  expect(&outcome, 2, "would be written over");
  edit("master.wav.yaml", files_folder, "/nowhere");
  outcome = RUN("recall", "--out", name("mix.wav"), name("master.wav.yaml"));
  expect(&outcome, 2, "would be written over");
  /* It does not wait for a pipe that nobody opened. */
  outcome = RUN("recall", "--out=-", name("master.wav.yaml"));
  expect(&outcome, 2, "name a file");
  outcome = RUN("recall", name("master.wav.yaml"));
  says(&outcome, 0, "mix.wav: the same file");
  says(&outcome, 0, "master.wav: the same file");
  /* One that is lost comes back. */
  remove(in_folder("master.wav"));
  outcome = RUN("recall", "--out", name("master.wav"), name("master.wav.yaml"));
  says(&outcome, 0, "written");
  outcome = RUN("recall", name("master.wav.yaml"));
  says(&outcome, 0, "master.wav: the same file");
}

static void what_is_told_is_what_was_found(void **state)
{
  (void)state;
  make_master();
  edit("master.wav.yaml", "frames: 96000", "frames: 95999");
  edit("master.wav.yaml", "rate: 48000", "rate: 44100");
  edit("master.wav.yaml", "  machine: ", "  machine: \"a\\n\\e[2Jb\" #");
  rename(in_folder("master.wav.yaml"), in_folder("archive.yaml"));
  Outcome outcome = RUN("recall", name("archive.yaml"));
  says(&outcome, 0, "result    the same samples, 96000 frames at 48000 Hz");
  says(&outcome, 0, "master.wav: the same file");
  says(&outcome, 0, "changed   machine: a??[2Jb then");
  assert_int_equal(lines_of(outcome.out), 5);
  assert_null(strchr(outcome.out, '\x1b'));
  /* Its own name goes before the noted one. */
  rename(in_folder("archive.yaml"), in_folder("other.wav.yaml"));
  write_text("other.wav", "no sound\n");
  outcome = RUN("recall", name("other.wav.yaml"));
  says(&outcome, 0, "other.wav: there, but not to be read");
}

/* The folder's name has what YAML takes for the end of a line, for no text, and for the beginning
 * of one. */
static void any_name_of_a_mix_comes_back(void **state)
{
  (void)state;
  static const char *const names[] = {"a \xc2\x85 b.wav", "\xc2\x81.wav", "\xef\xbb\xbf x.wav",
                                      "\xef\xbf\xbe: #.wav", "'\"\\ \t\n.wav"};
  make_master();
  for (size_t n = 0; n < sizeof names / sizeof *names; ++n) {
    assert_int_equal(rename(in_folder(n == 0 ? "mix.wav" : names[n - 1]), name(names[n])), 0);
    Outcome outcome = RUN("render", name("sheet.yaml"), name(names[n]), name("named.wav"));
    expect(&outcome, 0, "");
    outcome = RUN("recall", name("named.wav.yaml"));
    says(&outcome, 0, ".wav: the same file");
    says(&outcome, 0, "the same samples");
  }
}

static void a_folder_that_is_not_there_is_told(void **state)
{
  (void)state;
  make_master();
  char kept[256];
  const char *own = getenv("TMPDIR");
  snprintf(kept, sizeof kept, "%s", own == NULL ? "" : own);
  setenv("TMPDIR", "/nowhere", 1);
  const Outcome outcome = RUN("recall", name("master.wav.yaml"));
  expect(&outcome, 4, "in TMPDIR (/nowhere)");
  setenv("TMPDIR", kept, 1);
}

static void what_is_no_recall_file_is_refused(void **state)
{
  (void)state;
  make_master();
  Outcome outcome = RUN("recall");
  expect(&outcome, 2, "give one recall file");
  outcome = RUN("recall", name("none.yaml"));
  expect(&outcome, 4, "cannot read");
  outcome = RUN("recall", files_folder);
  expect(&outcome, 2, "a folder, pipe or device");
  outcome = RUN("recall", name("sheet.yaml"));
  expect(&outcome, 2, "a sheet, but no recall file");
  outcome = RUN("recall", name("mix.wav"));
  assert_int_equal(outcome.code, 2);
  outcome = RUN("recall", "--out", name("mix.wav"), name("master.wav.yaml"));
  expect(&outcome, 2, "would be written over");
  edit("master.wav.yaml", "  settings: ", "  settings: x");
  outcome = RUN("recall", name("master.wav.yaml"));
  assert_int_equal(outcome.code, 2);
  assert_non_null(strstr(outcome.error, "settings: no digest"));
  edit("master.wav.yaml", "  machine: ", "  engine: ");
  outcome = RUN("recall", name("master.wav.yaml"));
  assert_int_equal(outcome.code, 2);
  assert_non_null(strstr(outcome.error, "unknown key in recall"));
  assert_non_null(strstr(outcome.error, "recall: no machine in it"));
}

static bool is_there(const char *file)
{
  return access(in_folder(file), F_OK) == 0;
}

static void a_recall_file_is_left_where_it_belongs(void **state)
{
  (void)state;
  start_short(NULL);
  const char *const sheet = name("sheet.yaml");
  const char *const mix = name("mix.wav");
  Outcome outcome = RUN("render", "--no-recall", sheet, mix, name("a.wav"));
  expect(&outcome, 0, "");
  assert_false(is_there("a.wav.yaml"));
  outcome = RUN("render", "--to=1", sheet, mix, name("a.wav"));
  expect(&outcome, 0, "");
  assert_false(is_there("a.wav.yaml"));
  /* Nothing else is written over. */
  write_text("a.wav.yaml", "mine\n");
  outcome = RUN("render", sheet, mix, name("a.wav"));
  expect(&outcome, 2, "something else stands where the recall file goes");
  char *text = slurp("a.wav.yaml");
  assert_string_equal(text, "mine\n");
  free(text);
  outcome = RUN("render", name("a.wav.yaml"), mix, name("a.wav"));
  assert_int_equal(outcome.code, 2);
  outcome = RUN("render", sheet, mix, name("b.wav"));
  expect(&outcome, 0, "");
  outcome = RUN("render", name("b.wav.yaml"), mix, name("b.wav"));
  expect(&outcome, 2, "the recall file would be written over");
  write_text("c.wav.yaml", "planish: 1\nrate: 44100\nstages: [{stage: limiter, name: a}]\n");
  outcome = RUN("render", sheet, mix, name("c.wav"));
  expect(&outcome, 2, "something else stands where the recall file goes");
  /* Its own kind is. */
  outcome = RUN("render", "--loudness=-13", sheet, mix, name("b.wav"));
  expect(&outcome, 0, "");
  outcome = RUN("recall", name("b.wav.yaml"));
  says(&outcome, 0, "the same samples");
}

static void several_masters_have_theirs(void **state)
{
  (void)state;
  start_short(NULL);
  Outcome outcome =
      RUN("render", "--targets=-13,-15", name("sheet.yaml"), name("mix.wav"), name("out.wav"));
  expect(&outcome, 0, "");
  outcome = RUN("recall", name("out-13.wav.yaml"));
  says(&outcome, 0, "the same samples");
  outcome = RUN("recall", name("out-15.wav.yaml"));
  says(&outcome, 0, "the same samples");
  outcome = RUN("render", "--without=tidy", name("sheet.yaml"), name("mix.wav"), name("out.wav"));
  expect(&outcome, 0, "");
  outcome = RUN("recall", name("out-without-tidy.wav.yaml"));
  says(&outcome, 0, "the same samples");
  char *text = slurp("out-without-tidy.wav.yaml");
  assert_null(strstr(text, "tidy\n"));
  free(text);
  /* Of a control that is not there nothing is noted: it could not be landed again. */
  outcome = RUN("render", "--without=level", name("sheet.yaml"), name("mix.wav"), name("out.wav"));
  expect(&outcome, 0, "");
  text = slurp("out-without-level.wav.yaml");
  assert_null(strstr(text, "    by:"));
  assert_null(strstr(text, "    ceiling_at:"));
  free(text);
  outcome = RUN("revise", "--quick", name("out-without-level.wav.yaml"), name("out.wav.yaml"));
  says(&outcome, 0, "  + stage level (limiter)");
}

/* Both stand at ceilings that the same landing has lowered: of a clipper that lets true peaks pass.
 */
static void what_landing_lowered_is_noted_for_all(void **state)
{
  (void)state;
  start_short(NULL);
  write_text("sheet.yaml",
             "planish: 1\n"
             "target: {loudness: -10, ceiling: -1, by: top.input_gain, ceiling_at: [top.ceiling]}\n"
             "stages:\n  - {stage: ms-eq, name: tidy, b1_type: peaking, b1_gain: 2}\n"
             "  - {stage: clipper, name: top, hold_true_peak: false}\n");
  Outcome outcome =
      RUN("render", "--without=tidy", name("sheet.yaml"), name("mix.wav"), name("out.wav"));
  expect(&outcome, 0, "");
  char *texts[] = {slurp("out.wav.yaml"), slurp("out-without-tidy.wav.yaml")};
  double lowered[2];
  for (int n = 0; n < 2; ++n) {
    const char *place = strstr(texts[n], "    lowered: ");
    assert_non_null(place);
    lowered[n] = atof(place + strlen("    lowered: "));
    free(texts[n]);
  }
  print_message("lowered by %.4f dB\n", lowered[0]);
  assert_true(lowered[0] > 0.0 && lowered[0] == lowered[1]);
  outcome = RUN("recall", name("out-without-tidy.wav.yaml"));
  says(&outcome, 0, "the same samples");
  /* A master made by a recall file stands at them too. */
  outcome = RUN("render", name("out.wav.yaml"), name("mix.wav"), name("again.wav"));
  expect(&outcome, 0, "");
  char *text = slurp("again.wav.yaml");
  const char *place = strstr(text, "    lowered: ");
  assert_non_null(place);
  assert_true(atof(place + strlen("    lowered: ")) == lowered[0]);
  free(text);
}

/* A gain that no sheet can say stays the working level that it came from. */
static void a_gain_beyond_what_a_sheet_can_say_comes_back(void **state)
{
  (void)state;
  start_short(NULL);
  size_t frames = 0;
  SF_INFO info;
  float *samples = read_audio(in_folder("mix.wav"), &frames, &info);
  for (size_t n = 0; n < 2 * frames; ++n) {
    samples[n] *= 0.006f;
  }
  write_audio("mix.wav", FLOAT_WAV, RATE, 2, samples, frames);
  free(samples);
  write_text("sheet.yaml", "planish: 1\ninput: {loudness: -0.5}\n"
                           "stages: [{stage: limiter, name: level}]\n");
  Outcome outcome = RUN("render", name("sheet.yaml"), name("mix.wav"), name("master.wav"));
  expect(&outcome, 0, "");
  const char *gain = strstr(outcome.out, "input     gain +");
  assert_non_null(gain);
  assert_true(atof(gain + strlen("input     gain +")) > 60.0);
  outcome = RUN("recall", name("master.wav.yaml"));
  says(&outcome, 0, "settings  as they were rendered");
  says(&outcome, 0, "result    the same samples");
}

/* It cannot stand in a sheet: the recall file is good, and the mix is asked for. */
static void a_name_that_is_no_text_is_asked_for(void **state)
{
  (void)state;
  make_master();
  rename(in_folder("mix.wav"), name("\xff\xc3.wav"));
  Outcome outcome = RUN("render", name("sheet.yaml"), name("\xff\xc3.wav"), name("other.wav"));
  expect(&outcome, 0, "");
  outcome = RUN("recall", name("other.wav.yaml"));
  expect(&outcome, 4, "/??.wav, nor under its name beside the recall file");
  outcome = RUN("recall", "--mix", name("\xff\xc3.wav"), name("other.wav.yaml"));
  says(&outcome, 0, "the same file");
}

/* With a control that lands inside a branch, and with any part of it left out. */
static void branches_come_back(void **state)
{
  (void)state;
  start_short(NULL);
  write_text("sheet.yaml",
             "planish: 1\n"
             "input: {loudness: -18}\n"
             "target: {loudness: -14, ceiling: -1, by: loud.input_gain, ceiling_at: "
             "[last.ceiling]}\n"
             "stages:\n"
             "  - {stage: dynamics, name: first}\n"
             "  - branch: air\n"
             "    take: side\n"
             "    level: -12\n"
             "    stages:\n"
             "      - {stage: clipper, name: edge, input_gain: 6}\n"
             "      - branch: deep\n"
             "        stages: [{stage: limiter, name: loud}, {stage: ms-eq, name: tone}]\n"
             "  - {stage: limiter, name: last}\n"
             "automation:\n"
             "  air.level: [{at: 0.5, value: -6}]\n"
             "  tone.b1_gain: [{at: 0.2, value: 0}, {at: 1, value: 3}]\n");
  static const char *const without[] = {"first", "air", "edge", "tone"};
  Outcome outcome = RUN("render", "--without=first", "--without=air", "--without=edge",
                        "--without=tone", name("sheet.yaml"), name("mix.wav"), name("out.wav"));
  assert_true(outcome.code == 0 || outcome.code == 1);
  outcome = RUN("recall", name("out.wav.yaml"));
  says(&outcome, 0, "the same samples");
  for (size_t n = 0; n < sizeof without / sizeof *without; ++n) {
    char file[64];
    snprintf(file, sizeof file, "out-without-%s.wav.yaml", without[n]);
    outcome = RUN("recall", name(file));
    says(&outcome, 0, "the same samples");
  }
  outcome = RUN("render", "--without=deep", name("sheet.yaml"), name("mix.wav"), name("out.wav"));
  assert_true(outcome.code == 0 || outcome.code == 1);
  write_text("sheet.yaml", "planish: 1\n"
                           "stages: [{branch: a, stages: [{stage: limiter, name: b}]}]\n");
  outcome = RUN("render", "--without=b", name("sheet.yaml"), name("mix.wav"), name("out.wav"));
  expect(&outcome, 2, "the only stage of its branch: --without b");
}

/* Another mix, 6 dB down: the same gain goes in, nothing is landed. */
static void another_mix_takes_the_landed_settings(void **state)
{
  (void)state;
  make_master();
  float *half = malloc(2 * SHORT * sizeof *half);
  for (size_t n = 0; n < 2 * (size_t)SHORT; ++n) {
    half[n] = 0.5f * music[n];
  }
  write_audio("half.wav", FLOAT_WAV, RATE, 2, half, SHORT);
  free(half);
  Outcome outcome =
      RUN("render", name("master.wav.yaml"), name("half.wav"), name("half-master.wav"));
  says(&outcome, 0, "not landed again");
  says(&outcome, 0, "1 render\n");
  const char *result = strstr(outcome.out, "result    ");
  assert_non_null(result);
  print_message("a mix 6.02 dB down, by settings that landed at -12: %.2f LUFS\n",
                atof(result + 10));
  assert_true(atof(result + 10) < -17.0 && atof(result + 10) > -18.3);
  outcome = RUN("recall", name("half-master.wav.yaml"));
  says(&outcome, 0, "the same samples");
  char *text = slurp("half-master.wav.yaml");
  assert_non_null(strstr(strstr(text, "recall:"), "    by: level.input_gain\n"));
  free(text);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_same_samples_come_back_from_random_sheets),
      cmocka_unit_test(what_was_kept_has_the_same_bytes),
      cmocka_unit_test(the_digest_of_a_file_is_what_others_say),
      cmocka_unit_test(a_mix_with_another_header_is_told_from_another_sound),
      cmocka_unit_test(versions_and_machine_are_told),
      cmocka_unit_test(settings_edited_by_hand_are_told),
      cmocka_unit_test(the_master_that_is_there_is_looked_at_too),
      cmocka_unit_test(a_mix_that_has_moved_is_found_or_asked_for),
      cmocka_unit_test(no_master_and_no_mix_is_written_over),
      cmocka_unit_test(what_is_told_is_what_was_found),
      cmocka_unit_test(any_name_of_a_mix_comes_back),
      cmocka_unit_test(a_folder_that_is_not_there_is_told),
      cmocka_unit_test(what_is_no_recall_file_is_refused),
      cmocka_unit_test(a_recall_file_is_left_where_it_belongs),
      cmocka_unit_test(several_masters_have_theirs),
      cmocka_unit_test(what_landing_lowered_is_noted_for_all),
      cmocka_unit_test(a_gain_beyond_what_a_sheet_can_say_comes_back),
      cmocka_unit_test(a_name_that_is_no_text_is_asked_for),
      cmocka_unit_test(branches_come_back),
      cmocka_unit_test(another_mix_takes_the_landed_settings),
  };
  return cmocka_run_group_tests(tests, open_all, close_all);
}
