/* planish album: where tracks land, streams that run on, a CD's sectors (IEC 60908), the same on
 * any number of processors, second runs, and what cannot be. */
#include "harness/measure/measure.h"
#include "tests/harness/program_fixture.h"

#include <poll.h>

enum { SECTOR = 588, TRACK = 5 * RATE, FLOATS = SF_FORMAT_WAV | SF_FORMAT_FLOAT };

static const char chain_text[] =
    "planish: 1\n"
    "input: {loudness: -20}\n"
    "target: {loudness: -12, ceiling: -0.5, by: drive.input_gain, ceiling_at: [drive.ceiling]}\n"
    "stages:\n"
    "  - {stage: test-delay, name: late, taps: 777}\n"
    "  - {stage: test-drive, name: drive}\n";

static float *part_of_music(size_t from, size_t frames, double gain)
{
  float *samples = malloc(2 * frames * sizeof *samples);
  for (size_t n = 0; n < 2 * frames; ++n) {
    samples[n] = (float)(gain * (double)music[2 * from + n]);
  }
  return samples;
}

static void write_part(const char *file, size_t from, size_t frames, double gain)
{
  float *part = part_of_music(from, frames, gain);
  write_audio(file, WAV24, RATE, 2, part, frames);
  free(part);
}

/* Three mixes, each 4 dB under the one before it, and a folder for masters. */
static void start_album(const char *album)
{
  empty_folder(NULL);
  write_text("chain.yaml", chain_text);
  write_text("album.yaml", album);
  write_part("one.wav", 0, TRACK, 0.8);
  write_part("two.wav", 1000, TRACK - 11, 0.8 * pow(10.0, -0.2));
  write_part("three.wav", 77777, TRACK + 100, 0.8 * pow(10.0, -0.4));
  mkdir(in_folder("out"), 0700);
}

/* in_folder() of a file of the folder of masters. */
static const char *out_name(const char *file)
{
  char both[80];
  snprintf(both, sizeof both, "out/%.60s", file);
  return name(both);
}

static int end_album(void **state)
{
  char command[600];
  snprintf(command, sizeof command, "rm -rf '%s' '%s' '%s'", in_folder("out"), in_folder("again"),
           in_folder("delivered"));
  assert_int_equal(system(command), 0);
  return empty_folder(state);
}

static PlanishMeasurement measured(const float *samples, size_t frames, double rate)
{
  PlanishMeasure *measure = planish_measure_new(rate, 2);
  PlanishMeasurement result;
  planish_measure_process(measure, samples, frames);
  planish_measure_finish(measure, &result);
  planish_measure_free(measure);
  return result;
}

static PlanishMeasurement measured_file(const char *path)
{
  size_t frames = 0;
  SF_INFO info;
  float *samples = read_audio(path, &frames, &info);
  assert_non_null(samples);
  const PlanishMeasurement result = measured(samples, frames, info.samplerate);
  free(samples);
  return result;
}

static Outcome run_album(const char *option, const char *folder)
{
  return option == NULL ? RUN("album", name("album.yaml"), name(folder))
                        : RUN("album", option, name("album.yaml"), name(folder));
}

static const char three_tracks[] = "album: 1\n"
                                   "sheet: chain.yaml\n"
                                   "title: Some Album\n"
                                   "artist: The Demo Band\n"
                                   "ean: \"4006381333931\"\n"
                                   "target: {loudness: -14}\n"
                                   "tracks:\n"
                                   "  - {mix: one.wav, title: First, isrc: AA6Q72000001}\n"
                                   "  - {mix: two.wav, title: Second, gap: 0.5}\n"
                                   "  - {mix: three.wav, title: Third, offset: -1.5}\n";

/* Where they are left out, offsets are the differences of the mixes. */
static void tracks_land_at_their_offsets(void **state)
{
  (void)state;
  start_album(three_tracks);
  const Outcome outcome = run_album(NULL, "out");
  expect(&outcome, 0, "");
  const PlanishMeasurement mixes[] = {measured_file(name("one.wav")),
                                      measured_file(name("two.wav"))};
  const PlanishMeasurement masters[] = {measured_file(out_name("01 First.wav")),
                                        measured_file(out_name("02 Second.wav")),
                                        measured_file(out_name("03 Third.wav"))};
  assert_true(fabs(masters[0].integrated + 14.0) < 0.05);
  assert_true(fabs(masters[1].integrated - masters[0].integrated -
                   (mixes[1].integrated - mixes[0].integrated)) < 0.1);
  assert_true(mixes[1].integrated - mixes[0].integrated < -3.0);
  assert_true(fabs(masters[2].integrated + 15.5) < 0.05);
  /* The gaps stand at the end of the files ahead of them. */
  assert_int_equal(masters[0].frames, TRACK + RATE / 2);
  assert_int_equal(masters[1].frames, TRACK - 11 + 2 * RATE);
  assert_int_equal(masters[2].frames, TRACK + 100);
  assert_non_null(strstr(outcome.out, "Some Album: 3 tracks"));
  static const char *const files[] = {"01 First.wav.yaml", "02 Second.wav.yaml",
                                      "03 Third.wav.yaml"};
  for (size_t n = 0; n < 3; ++n) {
    const Outcome recalled = RUN("recall", out_name(files[n]));
    expect(&recalled, 0, "");
  }
  end_album(NULL);
}

static const char run_of_three[] = "album: 1\n"
                                   "sheet: chain.yaml\n"
                                   "name: \"{track}\"\n"
                                   "tracks:\n"
                                   "  - {mix: one.wav, fade_in: 0.1}\n"
                                   "  - {mix: two.wav, gap: 0}\n"
                                   "  - {mix: three.wav, gap: 0, fade_out: 1, tail: 0.25}\n";

/* The samples of several files one after the other. */
static float *join(const char *const *files, size_t count, size_t *frames)
{
  float *all = NULL;
  *frames = 0;
  for (size_t n = 0; n < count; ++n) {
    size_t got = 0;
    SF_INFO info;
    float *part = read_audio(name(files[n]), &got, &info);
    assert_non_null(part);
    all = realloc(all, 2 * (*frames + got) * sizeof *all);
    memcpy(all + 2 * *frames, part, 2 * got * sizeof *all);
    *frames += got;
    free(part);
  }
  return all;
}

/* The stream is what a render of the mixes as one file makes. */
static void tracks_that_run_on_are_one_stream(void **state)
{
  (void)state;
  static const char *const mixes[] = {"one.wav", "two.wav", "three.wav"};
  static const char *const masters[] = {"out/01.wav", "out/02.wav", "out/03.wav"};
  char sheet[800];
  size_t frames = 0;
  size_t whole_frames = 0;
  SF_INFO info;
  start_album(run_of_three);
  Outcome outcome = run_album(NULL, "out");
  expect(&outcome, 0, "");
  float *joined = join(mixes, 3, &frames);
  write_audio("all.wav", FLOATS, RATE, 2, joined, frames);
  free(joined);
  snprintf(sheet, sizeof sheet, "%sfade_in: 0.1\nfade_out: 1\ntail: 0.25\n", chain_text);
  write_text("whole.yaml", sheet);
  outcome = RUN("render", "--float", name("whole.yaml"), name("all.wav"), name("whole.wav"));
  expect(&outcome, 0, "");
  joined = join(masters, 3, &frames);
  float *whole = read_audio(name("whole.wav"), &whole_frames, &info);
  assert_int_equal(frames, whole_frames);
  assert_memory_equal(joined, whole, 2 * frames * sizeof *whole);
  free(whole);
  free(joined);
  for (size_t n = 0; n < 3; ++n) {
    char file[80];
    snprintf(file, sizeof file, "%s.yaml", masters[n]);
    outcome = RUN("recall", name(file));
    expect(&outcome, 0, "");
    assert_non_null(strstr(outcome.out, "the same samples"));
  }
  outcome = RUN("recall", "--mix", name("one.wav"), name("out/02.wav.yaml"));
  expect(&outcome, 2, "a part of a stream");
  /* Another mix of the stream has changed. */
  write_part("three.wav", 77777, TRACK + 100, 0.5);
  outcome = RUN("recall", name("out/01.wav.yaml"));
  expect(&outcome, 1, "the mix has changed");
  end_album(NULL);
}

/* At another rate, too, the files joined are what becomes of the stream. */
static void a_stream_is_delivered_as_one(void **state)
{
  (void)state;
  static const char *const parts[] = {"out/01-float.wav", "out/02-float.wav", "out/03-float.wav"};
  static const char *const masters[] = {"out/01.wav", "out/02.wav", "out/03.wav"};
  size_t frames = 0;
  size_t whole_frames = 0;
  SF_INFO info;
  start_album(run_of_three);
  write_text("float.yaml", "delivery: 1\nformat: wav\nbits: float\nrate: 44100\nceiling: 0\n");
  Outcome outcome = RUN("album", "--to", name("float.yaml"), name("album.yaml"), name("out"));
  expect(&outcome, 0, "");
  float *joined = join(masters, 3, &frames);
  write_audio("whole.wav", FLOATS, RATE, 2, joined, frames);
  free(joined);
  outcome = RUN("deliver", "--to", name("float.yaml"), name("whole.wav"));
  expect(&outcome, 0, "");
  joined = join(parts, 3, &frames);
  float *whole = read_audio(name("whole-float.wav"), &whole_frames, &info);
  assert_int_equal(info.samplerate, 44100);
  assert_int_equal(frames, whole_frames);
  assert_memory_equal(joined, whole, 2 * frames * sizeof *whole);
  free(whole);
  free(joined);
  /* What is there and newer is kept. */
  outcome = RUN("album", "--to", name("float.yaml"), name("album.yaml"), name("out"));
  expect(&outcome, 0, "");
  assert_non_null(strstr(outcome.out, "3 delivered files that are there already"));
  end_album(NULL);
}

/* What tracks have of each other in level, they have where they are delivered (AES TD1008: the
 * loudest track of an album comes to the loudness, all are turned by the same gain). */
static void tracks_are_delivered_at_their_distances(void **state)
{
  (void)state;
  static const char *const specs[] = {
      "delivery: 1\nformat: wav\nbits: float\nrate: 44100\nloudness: -20\nlevel: match\n",
      "delivery: 1\nformat: wav\nbits: float\nrate: 44100\nceiling: -9\n"};
  static const char *const parts[] = {"out/01-even.wav", "out/02-even.wav", "out/03-even.wav"};
  static const char *const kept[] = {"out/01-float.wav", "out/02-float.wav", "out/03-float.wav"};
  for (size_t n = 0; n < 2; ++n) {
    size_t frames = 0;
    size_t same = 0;
    double gain = 0.0;
    double loudest = -HUGE_VAL;
    double highest = -HUGE_VAL;
    double worst = 0.0;
    start_album(run_of_three);
    write_text("even.yaml", specs[n]);
    write_text("float.yaml", "delivery: 1\nformat: wav\nbits: float\nrate: 44100\nceiling: 0\n");
    const Outcome outcome = RUN("album", "--to", name("even.yaml"), "--to", name("float.yaml"),
                                name("album.yaml"), name("out"));
    expect(&outcome, 0, "");
    for (size_t k = 0; k < 3; ++k) {
      const PlanishMeasurement found = measured_file(name(parts[k]));
      loudest = fmax(loudest, found.integrated);
      highest = fmax(highest, found.true_peak);
    }
    float *turned = join(parts, 3, &frames);
    float *plain = join(kept, 3, &same);
    assert_int_equal(frames, same);
    for (size_t k = 0; k < 2 * frames; ++k) {
      gain += (double)turned[k] * (double)plain[k];
      worst += (double)plain[k] * (double)plain[k];
    }
    gain /= worst;
    worst = 0.0;
    for (size_t k = 0; k < 2 * frames; ++k) {
      worst = fmax(worst, fabs((double)turned[k] - gain * (double)plain[k]));
    }
    printf("spec %zu: loudest %.3f LUFS, highest %.3f dBTP, from one gain at most %g\n", n, loudest,
           highest, worst);
    assert_true(worst < 1e-6);
    assert_true(n == 0 ? fabs(loudest + 20.0) < 0.1 : fabs(highest + 9.0) < 0.02);
    free(turned);
    free(plain);
    end_album(NULL);
  }
}

static void the_same_on_any_number_of_processors(void **state)
{
  (void)state;
  static const char *const files[] = {"01 First.wav", "02 Second.wav", "03 Third.wav"};
  start_album(three_tracks);
  mkdir(in_folder("again"), 0700);
  Outcome outcome = run_album("--jobs=1", "out");
  expect(&outcome, 0, "");
  outcome = run_album("--jobs=3", "again");
  expect(&outcome, 0, "");
  for (size_t n = 0; n < 3; ++n) {
    char one[80];
    char other[80];
    snprintf(one, sizeof one, "out/%s", files[n]);
    snprintf(other, sizeof other, "again/%s", files[n]);
    expect_same_bytes(one, other);
  }
  end_album(NULL);
}

static time_t second_of(const char *file)
{
  struct stat facts;
  assert_int_equal(stat(out_name(file), &facts), 0);
  return facts.st_mtim.tv_sec;
}

/* Long ago, so that what is written anew is seen. */
static void age(const char *file)
{
  const struct timespec times[2] = {{.tv_sec = 1000}, {.tv_sec = 1000}};
  assert_int_equal(utimensat(AT_FDCWD, out_name(file), times, 0), 0);
}

static void a_second_run_finishes_what_is_not_there(void **state)
{
  (void)state;
  start_album(three_tracks);
  Outcome outcome = run_album(NULL, "out");
  expect(&outcome, 0, "");
  age("01 First.wav");
  age("03 Third.wav");
  remove(out_name("02 Second.wav"));
  outcome = run_album(NULL, "out");
  expect(&outcome, 0, "");
  assert_int_equal(second_of("01 First.wav"), 1000);
  assert_int_equal(second_of("03 Third.wav"), 1000);
  assert_true(second_of("02 Second.wav") > 1000);
  assert_non_null(strstr(outcome.out, "kept"));
  /* Another mix, and a file that is not as it was written. */
  write_part("three.wav", 70000, TRACK + 100, 0.5);
  outcome = run_album(NULL, "out");
  expect(&outcome, 2, "was made from something else");
  outcome = run_album("--force", "out");
  expect(&outcome, 0, "");
  assert_true(second_of("03 Third.wav") > 1000);
  FILE *file = fopen(out_name("01 First.wav"), "r+b");
  fseek(file, 1000, SEEK_SET);
  fputc('x', file);
  fclose(file);
  outcome = run_album(NULL, "out");
  expect(&outcome, 2, "was made from something else");
  end_album(NULL);
}

static const char cd_album[] = "album: 1\n"
                               "sheet: chain.yaml\n"
                               "title: Some \"Album\"\n"
                               "artist: The Demo Band\n"
                               "ean: \"4006381333931\"\n"
                               "cd: true\n"
                               "tracks:\n"
                               "  - {mix: one.wav, title: First, isrc: AA6Q72000001}\n"
                               "  - {mix: two.wav, title: Second, gap: 1}\n"
                               "  - {mix: three.wav, title: Third, gap: 0, isrc: AA6Q72000003}\n";

static void a_cd_has_its_sectors_and_lists(void **state)
{
  (void)state;
  static const char *const masters[] = {"out/01 First.wav", "out/02 Second.wav",
                                        "out/03 Third.wav"};
  static const char cue[] = "REM Cue sheet of a planish album\r\n"
                            "CATALOG 4006381333931\r\n"
                            "PERFORMER \"The Demo Band\"\r\n"
                            "TITLE \"Some 'Album'\"\r\n"
                            "FILE \"album-cd.wav\" WAVE\r\n"
                            "  TRACK 01 AUDIO\r\n"
                            "    TITLE \"First\"\r\n"
                            "    PERFORMER \"The Demo Band\"\r\n"
                            "    ISRC AA6Q72000001\r\n"
                            "    INDEX 01 00:00:00\r\n"
                            "  TRACK 02 AUDIO\r\n"
                            "    TITLE \"Second\"\r\n"
                            "    PERFORMER \"The Demo Band\"\r\n"
                            "    INDEX 00 00:05:00\r\n"
                            "    INDEX 01 00:06:00\r\n"
                            "  TRACK 03 AUDIO\r\n"
                            "    TITLE \"Third\"\r\n"
                            "    PERFORMER \"The Demo Band\"\r\n"
                            "    ISRC AA6Q72000003\r\n"
                            "    INDEX 01 00:11:00\r\n";
  size_t frames = 0;
  size_t image_frames = 0;
  SF_INFO info;
  start_album(cd_album);
  const Outcome outcome = run_album(NULL, "out/");
  expect(&outcome, 0, "cue sheet: 1 texts hold double quotation marks");
  assert_null(strstr(outcome.error, "shorter than 4 s"));
  assert_null(strstr(outcome.out, "//"));
  for (size_t n = 0; n < 3; ++n) {
    float *samples = read_audio(name(masters[n]), &frames, &info);
    assert_int_equal(info.samplerate, 44100);
    assert_int_equal(frames % SECTOR, 0);
    free(samples);
  }
  float *joined = join(masters, 3, &frames);
  float *image = read_audio(out_name("album-cd.wav"), &image_frames, &info);
  assert_int_equal(info.format & SF_FORMAT_SUBMASK, SF_FORMAT_PCM_16);
  assert_int_equal(image_frames, frames);
  /* 16 bit of the same: nothing is off by more than the shaped dither goes. */
  for (size_t n = 0; n < 2 * frames; ++n) {
    assert_true(fabs((double)image[n] - (double)joined[n]) < 40.0 / 32768.0);
  }
  free(image);
  free(joined);
  char text[2000];
  read_text("out/album-cd.cue", text, sizeof text);
  assert_string_equal(text, cue);
  read_text("out/album-cd.pq.txt", text, sizeof text);
  assert_non_null(strstr(text, "    2      0  00:05:00   00:01:00"));
  assert_non_null(strstr(text, "    2      1  00:06:00   00:05:00   -             Second"));
  assert_non_null(strstr(text, "    3      1  00:11:00   "));
  assert_non_null(strstr(text, "EAN     4006381333931"));
  end_album(NULL);
}

/* A CD has no tracks under 4 s (IEC 60908), and counts them from 1. */
static void what_no_cd_may_have_is_told(void **state)
{
  (void)state;
  start_album("album: 1\nsheet: chain.yaml\ncd: true\ntracks:\n"
              "  - {mix: one.wav, title: First, track: 2}\n"
              "  - {mix: four.wav, title: Second, gap: 5}\n");
  write_part("four.wav", 0, 39 * RATE / 10, 0.8);
  const Outcome outcome = run_album(NULL, "out");
  expect(&outcome, 0, "1 tracks shorter than 4 s");
  assert_non_null(strstr(outcome.error, "the first of them track 3"));
  assert_non_null(strstr(outcome.error, "numbered otherwise"));
  end_album(NULL);
}

/* What somebody else put where the page or a list goes stays, and is told of ahead of the renders;
 * its own the program writes again. */
static void nothing_else_is_written_over(void **state)
{
  (void)state;
  static const char *const beside[] = {"out/album.html", "out/album-cd.cue", "out/album-cd.pq.txt"};
  char text[400];
  start_album(cd_album);
  for (size_t n = 0; n < 3; ++n) {
    write_text(beside[n], "mine\n");
    const Outcome outcome = run_album("--report", "out");
    expect(&outcome, 2, beside[n]);
    read_text(beside[n], text, sizeof text);
    assert_string_equal(text, "mine\n");
    assert_int_equal(access(out_name("01 First.wav"), F_OK), -1);
  }
  write_text(beside[1], "mine\n");
  Outcome outcome = run_album("--force", "out");
  expect(&outcome, 0, "");
  outcome = run_album("--report", "out");
  expect(&outcome, 0, "");
  outcome = run_album("--report", "out");
  expect(&outcome, 0, "");
  read_text(beside[1], text, sizeof text);
  assert_non_null(strstr(text, "CATALOG"));
  end_album(NULL);
}

static void mixes_of_other_rates_are_converted_or_refused(void **state)
{
  (void)state;
  char album[1200];
  start_album(three_tracks);
  float *part = part_of_music(0, TRACK, 0.5);
  write_audio("two.wav", WAV24, 44100, 2, part, TRACK);
  free(part);
  Outcome outcome = run_album(NULL, "out");
  expect(&outcome, 0, "");
  assert_non_null(strstr(outcome.out, "at 48000 Hz"));
  assert_non_null(strstr(outcome.out, "two.wav: from 44100 Hz"));
  assert_true(measured_file(out_name("02 Second.wav")).rate == 48000.0);
  snprintf(album, sizeof album, "%sother_rates: refuse\n", three_tracks);
  write_text("album.yaml", album);
  outcome = run_album("--force", "out");
  expect(&outcome, 3, "two.wav: export it at that rate");
  end_album(NULL);
}

static void the_page_has_every_track(void **state)
{
  (void)state;
  static char page[65536];
  start_album(three_tracks);
  const Outcome outcome = run_album("--report", "out");
  expect(&outcome, 0, "");
  read_text("out/album.html", page, sizeof page);
  assert_non_null(strstr(page, "All tracks landed"));
  assert_non_null(strstr(page, "1. First"));
  assert_non_null(strstr(page, "3. Third"));
  assert_non_null(strstr(page, "AA6Q72000001"));
  assert_null(strstr(page, "http://"));
  assert_null(strstr(page, "https://"));
  end_album(NULL);
}

/* What fails within a track names it, and nothing of it stands; what can be known ahead is told
 * ahead. */
static void a_failure_names_its_track(void **state)
{
  (void)state;
  start_album("album: 1\nsheet: chain.yaml\nname: \"{track}\"\n"
              "tracks: [{mix: one.wav}, {mix: two.wav, set: {late.wander_at: 9}}]\n");
  Outcome outcome = run_album("--jobs=1", "out");
  expect(&outcome, 2, "track 2: ");
  assert_non_null(strstr(outcome.error, "latency changed"));
  assert_non_null(strstr(outcome.out, "not made"));
  assert_int_equal(access(out_name("01.wav"), F_OK), 0);
  assert_int_equal(access(out_name("02.wav"), F_OK), -1);
  write_text("album.yaml", "album: 1\nsheet: chain.yaml\nname: \"{track}-x\"\n"
                           "tracks: [{mix: one.wav}, {mix: two.wav, fade_out: 30}]\n");
  outcome = run_album(NULL, "out");
  expect(&outcome, 2, "track 2: longer than the master");
  assert_string_equal(outcome.out, "");
  assert_int_equal(access(out_name("01-x.wav"), F_OK), -1);
  end_album(NULL);
}

/* Asked to end, it does, with all that it has started; what is whole stays. */
static void an_interruption_leaves_whole_tracks(void **state)
{
  (void)state;
  start_album("album: 1\nsheet: chain.yaml\nname: \"{track}\"\n"
              "tracks: [{mix: one.wav}, {mix: long.wav}]\n");
  float *noise = make_music((size_t)60 * RATE);
  write_audio("long.wav", WAV24, RATE, 2, noise, (size_t)60 * RATE);
  free(noise);
  const pid_t child = launch(
      (const char *const[]){"planish", "album", "--jobs=2", name("album.yaml"), name("out"), NULL});
  /* The long one is not there before the short one. */
  for (int wait = 0; wait < 3000 && access(out_name("01.wav.yaml"), F_OK) != 0; ++wait) {
    poll(NULL, 0, 10);
  }
  kill(child, SIGTERM);
  const Outcome outcome = finish(child);
  expect(&outcome, 130, "what is whole stands in");
  assert_int_equal(access(out_name("01.wav"), F_OK), 0);
  assert_int_equal(access(out_name("02.wav"), F_OK), -1);
  end_album(NULL);
}

static void mistakes_are_told_at_their_places(void **state)
{
  (void)state;
  static const struct {
    const char *text; /* after "album: 1\n" */
    const char *says;
  } cases[] = {
      {"tracks: [{mix: one.wav}]\n", ":1:1: no chain"},
      {"sheet: chain.yaml\n", ":1:1: no tracks"},
      {"sheet: chain.yaml\ntracks: []\n", ":3:9: no tracks"},
      {"sheet: chain.yaml\ntracks: [{title: x}]\n", ":3:10: a track without a mix"},
      {"sheet: chain.yaml\ntracks: [one.wav]\n", ":3:10: a track: no map"},
      {"sheet: chain.yaml\ntrack: []\ntracks: [{mix: one.wav}]\n", ":3:1: track: unknown key"},
      {"sheet: chain.yaml\nean: 12\ntracks: [{mix: one.wav}]\n", ":3:6: ean: no EAN"},
      {"sheet: chain.yaml\nean: \"4006381333932\"\ntracks: [{mix: one.wav}]\n",
       ":3:6: ean: no EAN"},
      {"sheet: chain.yaml\ncd: true\nrate: 48000\ntracks: [{mix: one.wav}]\n", ":4:7: rate: 48000"},
      {"sheet: chain.yaml\nrate: 44100.5\ntracks: [{mix: one.wav}]\n", ":3:7: rate: 44100.5"},
      {"sheet: chain.yaml\nname: a/b\ntracks: [{mix: one.wav}]\n", "would leave the output folder"},
      {"sheet: chain.yaml\nname: \"{trak}\"\ntracks: [{mix: one.wav}]\n", "{trak}: unknown"},
      {"sheet: chain.yaml\nyear: soon\ntracks: [{mix: one.wav}]\n", ":3:7: year"},
      {"sheet: chain.yaml\ntracks: [{mix: one.wav, isrc: AA6}]\n", ":3:31: isrc"},
      {"sheet: chain.yaml\ntracks: [{mix: one.wav, track: 2}, {mix: two.wav, track: 2}]\n",
       ":3:58: track: 2: stands twice"},
      {"sheet: chain.yaml\ntracks: [{mix: one.wav, track: 2}, {mix: two.wav, track: 1}]\n",
       ":3:58: track: 1: comes too late"},
      {"sheet: chain.yaml\ntracks: [{mix: one.wav, isrc: AA6Q72000001}, {mix: two.wav, isrc: "
       "AA6Q72000001}]\n",
       "stands at track 1, too"},
      {"sheet: chain.yaml\ntracks: [{mix: one.wav, gap: 1}]\n", ":3:25: gap: of the first track"},
      {"sheet: chain.yaml\ntracks: [{mix: one.wav}, {mix: two.wav, gap: 0, offset: 1}]\n",
       "offset: of a track that runs on"},
      {"sheet: chain.yaml\ntracks: [{mix: one.wav}, {mix: two.wav, gap: 0, set: {a.b: 1}}]\n",
       "set: of a track that runs on"},
      {"sheet: chain.yaml\ntracks: [{mix: one.wav, fade_out: 1}, {mix: two.wav, gap: 0}]\n",
       ":3:25: fade_out: the next track runs on"},
      {"sheet: chain.yaml\ntracks: [{mix: one.wav, offset: 50}]\n", ":3:33: offset: 50"},
      {"sheet: chain.yaml\ntracks: [{mix: one.wav, set: {drive.gain: 1}}]\n", ":3:31: gain"},
      {"sheet: chain.yaml\ntracks: [{mix: one.wav, set: {driv.input_gain: 1}}]\n",
       "did you mean drive?"},
      {"sheet: chain.yaml\ntarget: {loudness: 3}\ntracks: [{mix: one.wav}]\n",
       ":3:20: loudness: 3"},
      {"sheet: nowhere.yaml\ntracks: [{mix: one.wav}]\n",
       "nowhere.yaml: cannot read: no such file"},
      {"sheet: bad.yaml\ntracks: [{mix: one.wav}]\n", "bad.yaml:2:"},
  };
  start_album(three_tracks);
  write_text("bad.yaml", "planish: 1\nstages: [{stage: test-drve, name: a}]\n");
  for (size_t n = 0; n < sizeof cases / sizeof *cases; ++n) {
    char text[1000];
    snprintf(text, sizeof text, "album: 1\n%s", cases[n].text);
    write_text("album.yaml", text);
    const Outcome outcome = RUN("album", "--check", name("album.yaml"));
    if (outcome.code < 2 || strstr(outcome.error, cases[n].says) == NULL) {
      print_error("%s\nsays \"%s\", %d, wanted \"%s\"\n", text, outcome.error, outcome.code,
                  cases[n].says);
      fail();
    }
  }
  write_text("album.yaml", "planish: 1\n");
  Outcome outcome = RUN("album", "--check", name("album.yaml"));
  expect(&outcome, 2, "no album sheet");
  write_text("album.yaml", three_tracks);
  outcome = RUN("album", "--check", name("album.yaml"));
  expect(&outcome, 0, "");
  assert_non_null(strstr(outcome.out, "no mistakes; 3 tracks"));
  end_album(NULL);
}

static void what_cannot_be_is_refused_ahead(void **state)
{
  (void)state;
  start_album(three_tracks);
  Outcome outcome = run_album("--jobs=0.5", "out");
  expect(&outcome, 2, "0.5: --jobs");
  outcome = run_album("--jobs=0", "out");
  expect(&outcome, 2, "from 1 to 256");
  outcome = run_album(NULL, "nowhere");
  expect(&outcome, 4, "no folder to write into");
  outcome = RUN("album", name("album.yaml"));
  expect(&outcome, 2, "ALBUM FOLDER");
  outcome = RUN("album", "--to=nothing", name("album.yaml"), name("out"));
  expect(&outcome, 2, "nothing");
  /* A master that is there and is none of this album's. */
  write_text("out/02 Second.wav", "mine");
  outcome = run_album(NULL, "out");
  expect(&outcome, 2, "is there already");
  remove(out_name("02 Second.wav"));
  remove(name("two.wav"));
  outcome = run_album(NULL, "out");
  expect(&outcome, 4, "two.wav: no such file");
  assert_int_equal(access(out_name("01 First.wav"), F_OK), -1);
  /* Silence has no loudness to land. */
  float *silence = calloc(2 * TRACK, sizeof *silence);
  write_audio("two.wav", WAV24, RATE, 2, silence, TRACK);
  free(silence);
  outcome = run_album(NULL, "out");
  expect(&outcome, 3, "two.wav");
  end_album(NULL);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(tracks_land_at_their_offsets),
      cmocka_unit_test(tracks_that_run_on_are_one_stream),
      cmocka_unit_test(a_stream_is_delivered_as_one),
      cmocka_unit_test(tracks_are_delivered_at_their_distances),
      cmocka_unit_test(the_same_on_any_number_of_processors),
      cmocka_unit_test(a_second_run_finishes_what_is_not_there),
      cmocka_unit_test(a_cd_has_its_sectors_and_lists),
      cmocka_unit_test(what_no_cd_may_have_is_told),
      cmocka_unit_test(nothing_else_is_written_over),
      cmocka_unit_test(mixes_of_other_rates_are_converted_or_refused),
      cmocka_unit_test(the_page_has_every_track),
      cmocka_unit_test(a_failure_names_its_track),
      cmocka_unit_test(an_interruption_leaves_whole_tracks),
      cmocka_unit_test(mistakes_are_told_at_their_places),
      cmocka_unit_test(what_cannot_be_is_refused_ahead),
  };
  return cmocka_run_group_tests(tests, open_all, close_all);
}
