/* planish deliver: files as they stand on the disk, judged by libraries that are not ours: ffmpeg
 * for metadata and for decoding, libebur128 for loudness. */
#define _GNU_SOURCE
#include "harness/deliver/bext.h"
#include "harness/measure/measure.h"
#include "tests/harness/audio_fixture.h"
#include "tests/harness/program_fixture.h"
#include "tests/unit/range_reference.h"

#include <ebur128.h>
#include <sched.h>
#include <stdbool.h>
#include <sys/mount.h>

enum {
  SECONDS = 8,
  FRAMES = SECONDS * RATE,
  EDGE = RATE / 2,
  FLOATS = SF_FORMAT_WAV | SF_FORMAT_FLOAT
};

static bool own_namespace;
static bool has_ffmpeg;

static PlanishMeasurement measured_of(const float *samples, size_t frames, int rate, int channels)
{
  PlanishMeasure *measure = planish_measure_new(rate, (uint32_t)channels);
  PlanishMeasurement result;
  planish_measure_process(measure, samples, frames);
  planish_measure_finish(measure, &result);
  planish_measure_free(measure);
  return result;
}

/* Loud, and cut off as a loud master is: conversion and coding lift its peaks, of -1 dBTP. Black at
 * both ends. */
static float *make_master(void)
{
  float *samples = calloc(2 * FRAMES, sizeof *samples);
  unsigned seed = 3;
  double low = 0.0; /* noise, softened */
  for (size_t n = EDGE; n < FRAMES - EDGE; ++n) {
    seed = seed * 1664525U + 1013904223U;
    low += 0.3 * ((double)(seed >> 8) / 8388608.0 - 1.0 - low);
    const double beat = exp(-(double)(n % 12000) / 3000.0);
    const double tone = sin(0.0131 * (double)n) + 0.6 * sin(0.2557 * (double)n);
    for (int c = 0; c < 2; ++c) {
      const double x = 1.2 * tone + (c == 0 ? 3.0 : -2.5) * beat * low;
      samples[2 * n + (size_t)c] = (float)(x > 0.89 ? 0.89 : x < -0.89 ? -0.89 : x);
    }
  }
  const double peak = measured_of(samples, FRAMES, RATE, 2).true_peak;
  for (size_t n = 0; n < 2 * FRAMES; ++n) {
    samples[n] = (float)((double)samples[n] * pow(10.0, 0.05 * (-1.0 - peak)));
  }
  return samples;
}

static int start(void **state)
{
  empty_folder(state);
  write_audio("song.wav", FLOATS, RATE, 2, music, FRAMES);
  return 0;
}

static int open_deliveries(void **state)
{
  own_namespace =
      unshare(CLONE_NEWNS) == 0 && mount("none", "/", NULL, MS_REC | MS_PRIVATE, NULL) == 0;
  has_ffmpeg = system("ffprobe -version >/dev/null 2>&1") == 0; /* NOLINT: a fixed command */
  music = make_master();
  return make_folder(state);
}

static const char *spec(const char *file, const char *text)
{
  char whole[1024];
  snprintf(whole, sizeof whole, "delivery: 1\n%s", text);
  return write_text(file, whole);
}

static char *to(const char *file)
{
  static char options[8][640];
  static int next;
  char *option = options[next++ % 8];
  snprintf(option, sizeof options[0], "--to=%s", strchr(file, '.') == NULL ? file : name(file));
  return option;
}

/* What a command prints, on one line or more. */
static void ask(char *answer, size_t size, const char *format, const char *path)
{
  char command[1024];
  snprintf(command, sizeof command, format, path);
  FILE *pipe = popen(command, "r"); /* NOLINT: paths of the test's own */
  const size_t got = pipe == NULL ? 0 : fread(answer, 1, size - 1, pipe);
  answer[got] = '\0';
  if (pipe != NULL) {
    pclose(pipe);
  }
}

static void need_ffmpeg(void)
{
  if (!has_ffmpeg) {
    print_message("no ffmpeg: skipped\n");
    skip();
  }
}

/* The number behind a key, after `part`. */
static double number_in(const char *json, const char *part, const char *key)
{
  const char *at = strstr(json, part);
  char quoted[64];
  snprintf(quoted, sizeof quoted, "\"%s\": ", key);
  at = at == NULL ? NULL : strstr(at, quoted);
  return at == NULL ? (double)NAN : strtod(at + strlen(quoted), NULL);
}

static void delivered(const Outcome *outcome, int code)
{
  if (outcome->code != code) {
    print_error("expected %d, got %d: %s%s\n", code, outcome->code, outcome->out, outcome->error);
    fail();
  }
}

/* -- sound -- */

static void float_is_the_master_bit_for_bit(void **state)
{
  (void)state;
  spec("plain.yaml", "format: wav\nbits: float\n");
  Outcome outcome = RUN("deliver", name("song.wav"), to("plain.yaml"));
  delivered(&outcome, 0);
  SF_INFO info;
  size_t frames = 0;
  float *got = read_audio(in_folder("song-plain.wav"), &frames, &info);
  assert_int_equal(frames, FRAMES);
  assert_int_equal(info.format & SF_FORMAT_SUBMASK, SF_FORMAT_FLOAT);
  assert_memory_equal(got, music, 2 * FRAMES * sizeof *got);
  free(got);
}

/* The error of each word: dither of 1 LSB and half a step, no more; on average 1/4 LSB^2. Dithered
 * twice it would be 1/2. */
static void words_are_dithered_once(void **state)
{
  (void)state;
  static const struct {
    const char *text;
    const char *ending;
    double scale;
  } words[] = {{"format: wav\nbits: 24\n", "wav", 8388608.0},
               {"format: flac\nbits: 24\n", "flac", 8388608.0},
               {"format: aiff\nbits: 16\n", "aiff", 32768.0},
               {"format: flac\nbits: 16\n", "flac", 32768.0}};
  for (size_t w = 0; w < sizeof words / sizeof *words; ++w) {
    char file[64];
    spec("w.yaml", words[w].text);
    Outcome outcome = RUN("deliver", "--force", name("song.wav"), to("w.yaml"));
    delivered(&outcome, 0);
    SF_INFO info;
    size_t frames = 0;
    snprintf(file, sizeof file, "song-w.%s", words[w].ending);
    float *got = read_audio(in_folder(file), &frames, &info);
    assert_int_equal(frames, FRAMES);
    double squares = 0.0;
    double largest = 0.0;
    for (size_t n = 0; n < 2 * FRAMES; ++n) {
      const double e = ((double)got[n] - (double)music[n]) * words[w].scale;
      const bool black = n < 2 * EDGE || n >= 2 * (FRAMES - EDGE);
      squares += e * e;
      largest = fmax(largest, fabs(e));
      assert_true(!black || got[n] == 0.0f);
    }
    const double variance = squares / (2.0 * (FRAMES - 2 * EDGE));
    printf("%-5s %.0f: variance %.4f LSB^2, largest %.3f LSB, black at both ends\n",
           words[w].ending, words[w].scale, variance, largest);
    assert_true(largest <= 1.501);
    assert_true(fabs(variance - 0.25) < 0.0025);
    free(got);
  }
}

/* Shaped dither at another rate: black but for the converter's ringing, and never a partial sector.
 */
static void a_cd_ends_on_a_sector_and_keeps_its_black(void **state)
{
  (void)state;
  write_audio("odd.wav", FLOATS, RATE, 2, music, FRAMES - 1234);
  Outcome outcome = RUN("deliver", name("odd.wav"), to("cd"));
  delivered(&outcome, 0);
  SF_INFO info;
  size_t frames = 0;
  float *got = read_audio(in_folder("odd-cd.wav"), &frames, &info);
  const size_t sound = (size_t)((FRAMES - 1234) * 441.0 / 480.0 + 0.5);
  size_t head = 0;
  size_t tail = 0;
  while (got[head] == 0.0f) {
    head += 1;
  }
  while (got[2 * frames - 1 - tail] == 0.0f) {
    tail += 1;
  }
  printf("%zu frames, %zu sectors, %zu added; black %zu and %zu frames\n", frames, frames / 588,
         frames - sound, head / 2, tail / 2);
  assert_int_equal(info.samplerate, 44100);
  assert_int_equal(info.format & SF_FORMAT_SUBMASK, SF_FORMAT_PCM_16);
  assert_int_equal(frames % 588, 0);
  assert_true(frames >= sound && frames - sound < 588);
  assert_true(head / 2 > EDGE * 441 / 480 - 441);
  assert_true(tail / 2 > (EDGE - 1234) * 441 / 480 - 441);
  assert_non_null(strstr(outcome.out, "were added, to end on a whole sector"));
  free(got);
}

static PlanishMeasurement measured(const char *path)
{
  SF_INFO info;
  size_t frames = 0;
  float *samples = read_audio(path, &frames, &info);
  assert_non_null(samples);
  const PlanishMeasurement result = measured_of(samples, frames, info.samplerate, info.channels);
  free(samples);
  return result;
}

/* A tone of 7.7 kHz with a ninth of its third harmonic against it: its peaks are 8/9. At 44.1 kHz
 * the harmonic is gone, and they rise by 20 log10(9/8) = 1.023 dB. The rise is taken off again, and
 * no more, also where the words are so coarse that their dither shows. */
static void over_is_lowered(void **state)
{
  (void)state;
  float *tone = malloc(2 * FRAMES * sizeof *tone);
  for (size_t n = 0; n < FRAMES; ++n) {
    const double x = 2.0 * 3.14159265358979323846 * fmod(7700.0 / RATE * (double)n, 1.0);
    const double edge = fmin((double)n, (double)(FRAMES - 1 - n)) / EDGE;
    const double fade = edge < 1.0 ? edge * edge * (3.0 - 2.0 * edge) : 1.0;
    tone[2 * n] = (float)(9.0 / 8.0 * 0.891251 * fade * (cos(x) - cos(3.0 * x) / 9.0));
    tone[2 * n + 1] = tone[2 * n];
  }
  write_audio("tone.wav", FLOATS, RATE, 2, tone, FRAMES);
  free(tone);
  spec("low.yaml", "format: wav\nrate: 44100\nbits: 16\ndither: shaped\nceiling: -1\n");
  spec("quiet.yaml", "format: wav\nrate: 44100\nbits: 16\ndither: shaped\nceiling: -30\n");
  Outcome outcome = RUN("deliver", "--json", name("tone.wav"), to("low.yaml"));
  delivered(&outcome, 0);
  const double master = number_in(outcome.out, "\"master_measured\"", "true_peak_dbtp");
  const double before = number_in(outcome.out, "\"before\"", "true_peak_dbtp");
  const double lowered = number_in(outcome.out, "{", "lowered_db");
  const double low = measured(in_folder("tone-low.wav")).true_peak;
  outcome = RUN("deliver", name("tone.wav"), to("quiet.yaml"));
  delivered(&outcome, 0);
  const double quiet = measured(in_folder("tone-quiet.wav")).true_peak;
  printf("%.3f dBTP, at 44.1 kHz %.3f: lifted by %.4f dB (theory 1.0231), lowered by %.4f to %.3f; "
         "under -30, in coarse words: %.3f\n",
         master, before, before - master, lowered, low, quiet);
  assert_true(fabs(before - master - 1.0231) < 0.002);
  assert_true(fabs(lowered - (before + 1.0)) < 0.002);
  assert_true(fabs(low + 1.0) <= 0.005);
  assert_true(quiet <= -30.0 + 0.02 && quiet > -30.1);
  assert_non_null(strstr(outcome.out, "by which the true peak went from -1.00 to 0.02 dBTP"));
  assert_non_null(strstr(outcome.out, "to hold the ceiling of -30.00 dBTP"));
}

static void over_is_refused(void **state)
{
  (void)state;
  spec("no.yaml", "format: wav\nceiling: -6\nover: refuse\n");
  const int before = count_files();
  Outcome outcome = RUN("deliver", name("song.wav"), to("no.yaml"));
  expect(&outcome, 1, "over the ceiling");
  assert_int_equal(count_files(), before);
  /* So near that the dither alone passes it: a master up to 0.02 dB over still holds it. */
  const double down = -29.981 - measured(in_folder("song.wav")).true_peak;
  float *quiet = malloc(2 * FRAMES * sizeof *quiet);
  for (size_t n = 0; n < 2 * FRAMES; ++n) {
    quiet[n] = (float)((double)music[n] * pow(10.0, 0.05 * down));
  }
  write_audio("song.wav", FLOATS, RATE, 2, quiet, FRAMES);
  free(quiet);
  spec("no.yaml", "format: wav\nbits: 16\ndither: shaped\nceiling: -30\nover: refuse\n");
  outcome = RUN("deliver", name("song.wav"), to("no.yaml"));
  expect(&outcome, 1, "nothing was made");
  assert_int_equal(count_files(), before);
}

static double integrated_by_library(const char *path)
{
  SF_INFO info;
  size_t frames = 0;
  double loudness = 0.0;
  float *samples = read_audio(path, &frames, &info);
  ebur128_state *meter = ebur128_init(2, (unsigned long)info.samplerate, EBUR128_MODE_I);
  ebur128_add_frames_float(meter, samples, frames);
  ebur128_loudness_global(meter, &loudness);
  ebur128_destroy(&meter);
  free(samples);
  return loudness;
}

static void loudness_is_matched_or_missed(void **state)
{
  (void)state;
  spec("keep.yaml", "format: wav\nloudness: -14\ntolerance: 0.5\n");
  spec("coded.yaml", "format: mp3\nbit_rate: 192\nloudness: -16\nlevel: match\n");
  spec("up.yaml", "format: wav\nloudness: -1\nlevel: match\nceiling: -1\n");
  Outcome outcome = RUN("deliver", name("song.wav"), to("r128"));
  delivered(&outcome, 0);
  const double r128 = integrated_by_library(in_folder("song-r128.wav"));
  printf("r128: %.3f LUFS by libebur128\n", r128);
  assert_true(fabs(r128 + 23.0) < 0.01);
  outcome = RUN("deliver", name("song.wav"), to("coded.yaml"));
  delivered(&outcome, 0);
  const double coded = integrated_by_library(in_folder("song-coded.mp3"));
  printf("mp3: %.3f LUFS, decoded\n", coded);
  assert_true(fabs(coded + 16.0) < 0.1);
  outcome = RUN("deliver", name("song.wav"), to("keep.yaml"));
  expect(&outcome, 1, "LU too loud");
  assert_int_equal(access(in_folder("song-keep.wav"), F_OK), 0);
  outcome = RUN("deliver", name("song.wav"), to("up.yaml"));
  expect(&outcome, 1, "LU too quiet");
  assert_true(measured(in_folder("song-up.wav")).true_peak <= -0.98);
}

/* -- metadata -- */

typedef struct {
  const char *text; /* of the spec */
  const char *file;
  bool all; /* else title, artist and comment */
} Container;

static const Container containers[] = {
    {"format: wav\nbext: true\n", "song-m.wav", true},
    {"format: wav\n", "song-m.wav", true},
    {"format: aiff\n", "song-m.aiff", false},
    {"format: flac\n", "song-m.flac", true},
    {"format: vorbis\nquality: 5\n", "song-m.ogg", true},
    {"format: opus\nbit_rate: 96\n", "song-m.opus", true},
    {"format: mp3\nbit_rate: 128\n", "song-m.mp3", true},
};

/* By ffprobe, which knows AIFF's author, and of a bext chunk its description. */
static void metadata_reads_back(void **state)
{
  (void)state;
  static const char tags[] =
      "metadata: {title: \"N\xc3\xb6rdlich \xe6\x97\xa5\", artist: The Demo Band, "
      "album: Ten Songs, track: 7, year: 2026, comment: second cut, "
      "isrc: AA-6Q7-20-00047}\n";
  static const char *const all[] = {"title=N\xc3\xb6rdlich \xe6\x97\xa5",
                                    "artist=The Demo Band",
                                    "comment=second cut",
                                    "album=Ten Songs",
                                    "track=7",
                                    "date=2026"};
  need_ffmpeg();
  for (size_t c = 0; c < sizeof containers / sizeof *containers; ++c) {
    char text[512];
    char answer[4096];
    int found = 0;
    const int count = containers[c].all ? 6 : 3;
    snprintf(text, sizeof text, "%s%s", containers[c].text, tags);
    spec("m.yaml", text);
    Outcome outcome = RUN("deliver", "--force", name("song.wav"), to("m.yaml"));
    delivered(&outcome, 0);
    ask(answer, sizeof answer,
        "ffprobe -v error -show_entries format_tags:stream_tags -of default=nw=1 '%s'",
        in_folder(containers[c].file));
    for (int n = 0; n < count; ++n) {
      char line[128];
      snprintf(line, sizeof line, ":%s\n",
               n == 1 && !containers[c].all ? "author=The Demo Band" : all[n]);
      found += strcasestr(answer, line) != NULL;
    }
    const bool isrc = strcasestr(answer, ":ISRC=AA6Q72000047\n") != NULL;
    const bool flac = strstr(containers[c].file, ".flac") != NULL;
    const bool told = strstr(outcome.out, "isrc: is not in the file") != NULL;
    printf("%-11s %d of %d fields%s\n", containers[c].file, found, count,
           isrc   ? ", ISRC"
           : told ? "; that it has no ISRC is told"
                  : "");
    if (found != count) {
      print_error("%s\n%s", text, answer);
      fail();
    }
    assert_true(isrc == flac);
    assert_true(told == (c != 0 && !flac));
    assert_true(containers[c].all || strstr(outcome.out, "album: is not in the file") != NULL);
  }
}

/* The axml chunk by Python's reader of chunks and of XML. */
static void an_isrc_stands_in_axml(void **state)
{
  (void)state;
  static const char script[] =
      "python3 -c \"\n"
      "import struct, sys, xml.etree.ElementTree as tree\n"
      "data = open('%s', 'rb').read()\n"
      "at, chunks = 12, {}\n"
      "while at + 8 <= len(data):\n"
      "    name, size = struct.unpack('<4sI', data[at:at + 8])\n"
      "    chunks[name] = data[at + 8:at + 8 + size]\n"
      "    at += 8 + size + size %% 2\n"
      "root = tree.fromstring(chunks[b'axml'].decode())\n"
      "print([e.text for e in root.iter('{http://purl.org/dc/elements/1.1/}identifier')])\n"
      "print(struct.unpack('<H', chunks[b'bext'][346:348])[0])\n"
      "\" 2>&1";
  char answer[512];
  if (system("python3 -c pass >/dev/null 2>&1") != 0) { /* NOLINT: a fixed command */
    print_message("no python3: skipped\n");
    skip();
  }
  Outcome outcome = RUN("deliver", "--tag=isrc=aa6q72000047", name("song.wav"), to("archive"));
  delivered(&outcome, 0);
  ask(answer, sizeof answer, script, in_folder("song-archive.wav"));
  printf("%s", answer);
  assert_string_equal(answer, "['ISRC:AA6Q72000047']\n2\n");
}

/* Readings of libebur128, the maxima every 10 ms. */
typedef struct {
  double values[5]; /* in the order of the chunk */
} Library;

static Library library_of(const char *path)
{
  SF_INFO info;
  size_t frames = 0;
  float *samples = read_audio(path, &frames, &info);
  Library read = {{0.0, 0.0, -HUGE_VAL, -HUGE_VAL, -HUGE_VAL}};
  ebur128_state *meter = ebur128_init(2, (unsigned long)info.samplerate,
                                      EBUR128_MODE_I | EBUR128_MODE_S | EBUR128_MODE_TRUE_PEAK);
  RangeReference windows = {0};
  const size_t step = (size_t)info.samplerate / 100;
  for (size_t at = 0; at + step <= frames; at += step) {
    double value = 0.0;
    ebur128_add_frames_float(meter, samples + 2 * at, step);
    if (at / step >= 39 && ebur128_loudness_momentary(meter, &value) == 0) {
      read.values[3] = fmax(read.values[3], value);
    }
    if (at / step >= 299 && ebur128_loudness_shortterm(meter, &value) == 0) {
      read.values[4] = fmax(read.values[4], value);
    }
    if (at / step >= 299 && at / step % 10 == 9 && ebur128_loudness_shortterm(meter, &value) == 0) {
      range_reference_add(&windows, value);
    }
  }
  for (unsigned c = 0; c < 2; ++c) {
    double value = 0.0;
    ebur128_true_peak(meter, c, &value);
    read.values[2] = fmax(read.values[2], 20.0 * log10(value));
  }
  ebur128_loudness_global(meter, &read.values[0]);
  read.values[1] = range_reference_finish(&windows);
  ebur128_destroy(&meter);
  free(samples);
  return read;
}

/* EBU Tech 3285 v2: at byte 412 of the chunk, hundredths, rounded, low byte first. The chunk is
 * read here by hand. At 48 kHz, where the standard gives the filters' coefficients, the fields are
 * the library's; at other rates it does not scale its second filter, which makes up to 0.03 dB. The
 * true peak is ours, which reconstructs; the library's reads less. */
static void bext_has_the_loudness_of_the_file(void **state)
{
  (void)state;
  static const char *const names[] = {"loudness", "range", "true peak", "momentary", "short-term"};
  static const char *const rates[] = {"48000", "44100", "96000"};
  for (size_t r = 0; r < sizeof rates / sizeof *rates; ++r) {
    char text[128];
    snprintf(text, sizeof text, "format: wav\nrate: %s\nbits: 24\nbext: true\n", rates[r]);
    spec("b.yaml", text);
    Outcome outcome = RUN("deliver", "--force", name("song.wav"), to("b.yaml"));
    delivered(&outcome, 0);
    unsigned char head[4096];
    FILE *file = fopen(in_folder("song-b.wav"), "rb");
    const size_t got = fread(head, 1, sizeof head, file);
    fclose(file);
    const unsigned char *chunk = memmem(head, got, "bext", 4);
    assert_non_null(chunk);
    const Library library = library_of(in_folder("song-b.wav"));
    for (int n = 0; n < 5; ++n) {
      const unsigned char *at = chunk + 8 + 412 + 2 * n;
      const int field = (int16_t)(at[0] | at[1] << 8);
      const int read = (int)lround(100.0 * library.values[n]);
      printf("%s Hz, %-10s %6d, libebur128 %6d (%.4f)\n", rates[r], names[n], field, read,
             library.values[n]);
      assert_true(n == 2 ? field >= read - 1 && field < read + 200 : abs(field - read) <= 3);
      assert_true(r > 0 || n == 2 || field == read);
    }
  }
}

/* EBU R 98: A=, F=, W=, M=; and none of the chunks that hold a time. */
static void the_coding_history_tells_the_word(void **state)
{
  (void)state;
  static const char *const bits[] = {"16", "24", "float"};
  static const char *const says[] = {"A=PCM,F=48000,W=16,M=stereo", "A=PCM,F=48000,W=24,M=stereo",
                                     "A=PCM,F=48000,W=32,M=stereo"};
  for (size_t n = 0; n < 3; ++n) {
    char text[80];
    char head[4096];
    snprintf(text, sizeof text, "format: wav\nbext: true\nbits: %s\n", bits[n]);
    spec("h.yaml", text);
    Outcome outcome = RUN("deliver", "--force", name("song.wav"), to("h.yaml"));
    delivered(&outcome, 0);
    FILE *file = fopen(in_folder("song-h.wav"), "rb");
    const size_t got = fread(head, 1, sizeof head, file);
    fclose(file);
    assert_non_null(memmem(head, got, says[n], strlen(says[n])));
    assert_null(memmem(head, got, "PEAK", 4));
  }
}

static void what_is_not_measured_is_unknown(void **state)
{
  (void)state;
  float *silence = calloc(2 * 4800, sizeof *silence);
  write_audio("nothing.wav", FLOATS, RATE, 2, silence, 4800);
  Outcome outcome = RUN("deliver", name("nothing.wav"), to("archive"));
  delivered(&outcome, 0);
  const int file = open(in_folder("nothing-archive.wav"), O_RDONLY);
  PlanishBextLoudness loudness = {0};
  assert_true(planish_bext_get_loudness(file, &loudness));
  close(file);
  assert_int_equal(loudness.loudness, PLANISH_BEXT_UNKNOWN);
  assert_int_equal(loudness.range, PLANISH_BEXT_UNKNOWN);
  assert_int_equal(loudness.true_peak, PLANISH_BEXT_UNKNOWN);
  assert_int_equal(loudness.shortterm, PLANISH_BEXT_UNKNOWN);
  free(silence);
}

/* -- coded files -- */

static uint64_t count_over(const char *path)
{
  SF_INFO info;
  size_t frames = 0;
  uint64_t count = 0;
  float *samples = read_audio(path, &frames, &info);
  for (size_t n = 0; n < frames * (size_t)info.channels; ++n) {
    count += samples[n] > 1.0f || samples[n] < -1.0f;
  }
  free(samples);
  return count;
}

static const struct {
  const char *text;
  const char *file;
  double kbits; /* 0: not set */
} coded[] = {
    {"format: mp3\nbit_rate: 320\n", "song-c.mp3", 320},
    {"format: mp3\nbit_rate: 128\n", "song-c.mp3", 128},
    {"format: mp3\nbit_rate: 192\nrate: 44100\n", "song-c.mp3", 192},
    {"format: opus\nbit_rate: 256\n", "song-c.opus", 256},
    {"format: opus\nbit_rate: 96\n", "song-c.opus", 96},
    {"format: vorbis\nquality: 3\n", "song-c.ogg", 0},
    {"format: vorbis\nquality: 9\nrate: 44100\n", "song-c.ogg", 0},
};

/* Delivers and decodes again by ffmpeg's own decoders, which share no code with those that the
 * program uses. */
static void hold_against_another_decoder(const char *master, const char *text, const char *file,
                                         double kbits)
{
  char answer[256];
  char command[1024];
  spec("c.yaml", text);
  Outcome outcome = RUN("deliver", "--force", "--json", name(master), to("c.yaml"));
  delivered(&outcome, 0);
  snprintf(command, sizeof command, "ffmpeg -v error -y -i '%%s' -c:a pcm_f32le '%s'",
           in_folder("other.wav"));
  ask(answer, sizeof answer, command, in_folder(file));
  const PlanishMeasurement other = measured(in_folder("other.wav"));
  const double peak = number_in(outcome.out, "\"written\"", "true_peak_dbtp");
  const double sample = number_in(outcome.out, "\"written\"", "sample_peak_dbfs");
  const double frames = number_in(outcome.out, "\"written\"", "frames");
  const double over = number_in(outcome.out, "\"decoded\"", "samples_over");
  const double places = number_in(outcome.out, "\"decoded\"", "places");
  const uint64_t others = count_over(in_folder("other.wav"));
  ask(answer, sizeof answer, "ffprobe -v error -show_entries format=bit_rate -of csv=p=0 '%s'",
      in_folder(file));
  const double found = strtod(answer, NULL) / 1000.0;
  printf("%s: %.*s, %5.1f kbit/s: %.3f dBTP (other decoder %.3f), %.3f dBFS (%.3f), %.0f over "
         "(%llu) in %.0f places\n",
         master, (int)strcspn(text + 8, "\n"), text + 8, found, peak, other.true_peak, sample,
         other.sample_peak, over, (unsigned long long)others, places);
  assert_true(fabs(peak - other.true_peak) < 0.1);
  assert_true(fabs(sample - other.sample_peak) < 0.1);
  assert_true(fabs(over - (double)others) <= 2.0 + 0.02 * (double)others);
  assert_true(frames == number_in(outcome.out, "[", "frames"));
  assert_true(kbits == 0.0 || fabs(found / kbits - 1.0) < 0.15);
  assert_true((peak > 0.02) == (places > 0.0));
}

static void overs_are_those_of_another_decoder(void **state)
{
  (void)state;
  need_ffmpeg();
  for (size_t c = 0; c < sizeof coded / sizeof *coded; ++c) {
    hold_against_another_decoder("song.wav", coded[c].text, coded[c].file, coded[c].kbits);
  }
}

/* Real music, brought to a peak of -0.1 dBFS. */
static void overs_of_music_are_those_of_another_decoder(void **state)
{
  (void)state;
  need_ffmpeg();
  for (size_t m = 0; m < sizeof shared_music_names / sizeof *shared_music_names; ++m) {
    Audio audio = shared_music(shared_music_names[m]);
    if (audio.samples == NULL) {
      print_message("%s is not there: skipped\n", shared_music_names[m]);
      skip();
    }
    float peak = 0.0f;
    for (size_t n = 0; n < audio.frames * audio.channels; ++n) {
      peak = fmaxf(peak, fabsf(audio.samples[n]));
    }
    for (size_t n = 0; n < audio.frames * audio.channels; ++n) {
      audio.samples[n] *= 0.98855f / peak;
    }
    char file[64];
    snprintf(file, sizeof file, "%.*s.wav", (int)strcspn(shared_music_names[m], "."),
             shared_music_names[m]);
    write_audio(file, FLOATS, (int)audio.rate, (int)audio.channels, audio.samples, audio.frames);
    free(audio.samples);
    static const char *const specs[][2] = {{"format: mp3\nbit_rate: 192\n", "mp3"},
                                           {"format: opus\nbit_rate: 128\nrate: 48000\n", "opus"},
                                           {"format: vorbis\nquality: 6\n", "ogg"}};
    for (size_t n = 0; n < 3; ++n) {
      char result[80];
      snprintf(result, sizeof result, "%.*s-c.%s", (int)strcspn(file, "."), file, specs[n][1]);
      hold_against_another_decoder(file, specs[n][0], result, 0.0);
    }
  }
}

/* The ceiling that is told does what it says. */
static void the_avoiding_ceiling_avoids(void **state)
{
  (void)state;
  static const char *const formats[] = {"format: mp3\nbit_rate: 128\n",
                                        "format: opus\nbit_rate: 96\n",
                                        "format: vorbis\nquality: 3\n"};
  for (size_t n = 0; n < 3; ++n) {
    char text[160];
    snprintf(text, sizeof text, "%sdecoded_ceiling: -0.5\n", formats[n]);
    spec("a.yaml", text);
    Outcome outcome = RUN("deliver", "--force", "--json", name("song.wav"), to("a.yaml"));
    expect(&outcome, 1, "decoded, ");
    const double before = number_in(outcome.out, "\"written\"", "true_peak_dbtp");
    const double ceiling = number_in(outcome.out, "\"decoded\"", "avoiding_ceiling_dbtp");
    assert_true(isfinite(ceiling));
    snprintf(text, sizeof text, "%sdecoded_ceiling: -0.5\nceiling: %.2f\n", formats[n], ceiling);
    spec("a.yaml", text);
    outcome = RUN("deliver", "--force", "--json", name("song.wav"), to("a.yaml"));
    delivered(&outcome, 0);
    printf("%.*s: %.2f dBTP decoded; under %.2f: %.2f\n", (int)strcspn(formats[n] + 8, "\n"),
           formats[n] + 8, before, ceiling,
           number_in(outcome.out, "\"written\"", "true_peak_dbtp"));
    assert_true(number_in(outcome.out, "\"decoded\"", "places") == 0.0);
  }
}

/* -- what goes wrong -- */

static void nothing_is_written_over(void **state)
{
  (void)state;
  write_text("song-archive.wav", "mine");
  Outcome outcome = RUN("deliver", name("song.wav"), to("cd"), to("archive"));
  expect(&outcome, 2, "is there already");
  char text[16];
  read_text("song-archive.wav", text, sizeof text);
  assert_string_equal(text, "mine");
  assert_int_equal(access(in_folder("song-cd.wav"), F_OK), -1);
  write_text("song-archive.wav", "mine");
  outcome = RUN("deliver", "--force", name("song.wav"), to("archive"));
  delivered(&outcome, 0);
  assert_int_equal(measured(in_folder("song-archive.wav")).frames, FRAMES);
}

static void bad_use_writes_nothing(void **state)
{
  (void)state;
  float *two = calloc(2 * 4800, sizeof *two);
  write_audio("words.wav", WAV24, RATE, 2, music + 2 * RATE, RATE);
  write_audio("high.wav", FLOATS, 96000, 2, two, 4800);
  write_audio("other.wav", FLOATS, RATE, 2, two, 4800);
  write_text("text.wav", "no sound");
  spec("mp3.yaml", "format: mp3\nbit_rate: 320\n");
  spec("same.yaml", "format: wav\nname: \"{master}\"\n");
  spec("one.yaml", "format: wav\nname: one\n");
  spec("two.yaml", "format: wav\nname: one\n");
  spec("out.yaml", "format: wav\nname: \"{title}\"\n");
  spec("wrong.yaml", "format: wav\nbits: 17\n");
  mkdir(in_folder("sub"), 0700);
  const int before = count_files();
  const struct {
    Outcome outcome;
    int code;
    const char *says;
  } runs[] = {
      {RUN("deliver", name("song.wav")), 2, "no spec"},
      {RUN("deliver", to("cd")), 2, "no master"},
      {RUN("deliver", name("song.wav"), "--to=cdd"), 2, "did you mean cd?"},
      {RUN("deliver", name("song.wav"), "--to=no-such-thing"), 2, "planish deliver --list"},
      {RUN("deliver", name("song.wav"), to("gone.yaml")), 4, "cannot read"},
      {RUN("deliver", name("song.wav"), to("wrong.yaml")), 2, "wrong.yaml:3:7: bits"},
      {RUN("deliver", name("gone.wav"), to("cd")), 4, "cannot read"},
      {RUN("deliver", name("text.wav"), to("cd")), 3, "no audio"},
      {RUN("deliver", name("words.wav"), to("cd")), 3, "no 32-bit float master"},
      {RUN("deliver", name("high.wav"), to("mp3.yaml")), 2, "MP3 has no 96000 Hz"},
      {RUN("deliver", name("song.wav"), to("same.yaml")), 2, "over the master"},
      {RUN("deliver", "--force", name("song.wav"), to("same.yaml")), 2, "over the master"},
      {RUN("deliver", name("song.wav"), to("one.yaml"), to("two.yaml")), 2, "of one name"},
      {RUN("deliver", name("song.wav"), name("other.wav"), to("one.yaml")), 2, "of one name"},
      {RUN("deliver", name("song.wav"), name("other.wav"), to("cd"), "--tag=title=x"), 2,
       "is of one recording"},
      {RUN("deliver", name("song.wav"), to("out.yaml"), "--tag=title=../x"), 2,
       "would leave the output folder"},
      {RUN("deliver", name("song.wav"), to("out.yaml")), 2, "{title}: there is none"},
      {RUN("deliver", name("song.wav"), to("cd"), "--tag=isrc=AA6Q7200004O"), 2, "letter O"},
      {RUN("deliver", name("song.wav"), to("cd"), "--into=/no/such/folder"), 4,
       "its folder is not there"},
  };
  for (size_t n = 0; n < sizeof runs / sizeof *runs; ++n) {
    expect(&runs[n].outcome, runs[n].code, runs[n].says);
    assert_string_equal(runs[n].outcome.out, "");
  }
  assert_int_equal(count_files(), before);
  rmdir(in_folder("sub"));
  free(two);
}

/* 700 s at 8 kHz are 2.15 GB at 384 kHz, and AIFF holds 2^31 bytes. */
static void what_a_container_cannot_hold_is_told(void **state)
{
  (void)state;
  enum { LONG = 700 * 8000 };
  float *silence = calloc(LONG, sizeof *silence);
  write_audio("long.wav", FLOATS, 8000, 1, silence, LONG);
  free(silence);
  spec("long.yaml", "format: aiff\nrate: 384000\nbits: float\n");
  const int before = count_files();
  Outcome outcome = RUN("deliver", name("long.wav"), to("long.yaml"));
  expect(&outcome, 2, "is too long for AIFF");
  assert_int_equal(count_files(), before);
}

static void the_same_again_is_the_same_bytes(void **state)
{
  (void)state;
  static const Container files[] = {
      {"format: wav\nbext: true\nrate: 44100\ndither: shaped\n", "song-s.wav", true},
      {"format: flac\n", "song-s.flac", true},
      {"format: aiff\nbits: float\n", "song-s.aiff", true},
      {"format: mp3\nbit_rate: 160\n", "song-s.mp3", true}};
  static char bytes[2][8 << 20];
  for (size_t f = 0; f < sizeof files / sizeof *files; ++f) {
    size_t got[2];
    spec("s.yaml", files[f].text);
    for (int n = 0; n < 2; ++n) {
      Outcome outcome =
          RUN("deliver", "--force", "--tag=isrc=AA6Q72000047", name("song.wav"), to("s.yaml"));
      delivered(&outcome, 0);
      FILE *file = fopen(in_folder(files[f].file), "rb");
      got[n] = fread(bytes[n], 1, sizeof bytes[n], file);
      fclose(file);
    }
    assert_true(got[0] > 1000 && got[0] == got[1]);
    assert_memory_equal(bytes[0], bytes[1], got[0]);
  }
}

static void a_mono_master_is_told(void **state)
{
  (void)state;
  write_audio("mono.wav", FLOATS, RATE, 1, music, RATE);
  Outcome outcome = RUN("deliver", name("mono.wav"), to("archive"));
  delivered(&outcome, 0);
  assert_non_null(strstr(outcome.out, "two equal channels"));
  SF_INFO info;
  size_t frames = 0;
  float *got = read_audio(in_folder("mono-archive.wav"), &frames, &info);
  assert_int_equal(info.channels, 2);
  assert_int_equal(frames, RATE);
  free(got);
}

static const char *mount_disk(unsigned bytes)
{
  char options[40];
  snprintf(options, sizeof options, "size=%u,mode=0700", bytes);
  mkdir(in_folder("disk"), 0700);
  if (!own_namespace || mount("tmpfs", in_folder("disk"), "tmpfs", 0, options) != 0) {
    rmdir(in_folder("disk"));
    print_message("a small disk cannot be mounted, which takes root: skipped\n");
    skip();
  }
  return in_folder("disk");
}

static int unmount_disk(void **state)
{
  (void)state;
  umount(in_folder("disk"));
  rmdir(in_folder("disk"));
  return 0;
}

static int count_on_disk(void)
{
  char whole[sizeof files_folder];
  memcpy(whole, files_folder, sizeof whole);
  strncat(files_folder, "/disk", sizeof files_folder - strlen(files_folder) - 1);
  const int count = count_files();
  memcpy(files_folder, whole, sizeof whole);
  return count;
}

static void a_full_disk_leaves_nothing(void **state)
{
  (void)state;
  static const char *const formats[] = {"format: wav\nbext: true\n",
                                        "format: aiff\nbits: float\n",
                                        "format: flac\n",
                                        "format: vorbis\nquality: 9\n",
                                        "format: opus\nbit_rate: 256\n",
                                        "format: mp3\nbit_rate: 320\n"};
  mount_disk(100000);
  char into[600];
  snprintf(into, sizeof into, "--into=%s", in_folder("disk"));
  for (size_t n = 0; n < sizeof formats / sizeof *formats; ++n) {
    spec("d.yaml", formats[n]);
    Outcome outcome = RUN("deliver", into, name("song.wav"), to("d.yaml"));
    expect(&outcome, 4, "full");
    assert_int_equal(count_on_disk(), 0);
  }
}

/* The FLAC file is there once without its comments and once with them. */
static void a_disk_that_fills_late_leaves_what_is_whole(void **state)
{
  (void)state;
  mount_disk(3500000);
  char into[600];
  snprintf(into, sizeof into, "--into=%s", in_folder("disk"));
  spec("first.yaml", "format: wav\nbits: 24\n");
  spec("second.yaml", "format: flac\nbits: 24\nmetadata: {title: a}\n");
  Outcome outcome = RUN("deliver", into, name("song.wav"), to("first.yaml"), to("second.yaml"));
  expect(&outcome, 4, "the disk is full");
  assert_int_equal(count_on_disk(), 1);
  assert_int_equal(measured(in_folder("disk/song-first.wav")).frames, FRAMES);
}

/* The program at work on a minute of sound: a file stands there under its other name, and the two
 * of the program's output. */
static pid_t start_long(void)
{
  enum { LONG = 60 * RATE };
  float *sound = calloc(2 * LONG, sizeof *sound);
  for (size_t n = 0; n < LONG; ++n) {
    sound[2 * n] = music[2 * (n % FRAMES)];
    sound[2 * n + 1] = music[2 * (n % FRAMES) + 1];
  }
  write_audio("long.wav", FLOATS, RATE, 2, sound, LONG);
  free(sound);
  const int before = count_files();
  const pid_t child =
      launch((const char *const[]){"planish", "deliver", name("long.wav"), to("cd"), NULL});
  int status = 0;
  while (count_files() < before + 3 && waitpid(child, &status, WNOHANG) == 0) {
    usleep(2000);
  }
  return child;
}

static void an_interruption_leaves_nothing(void **state)
{
  (void)state;
  const int before = count_files();
  const pid_t child = start_long();
  kill(child, SIGTERM);
  Outcome outcome = finish(child);
  expect(&outcome, 130, "nterrupted");
  assert_int_equal(count_files(), before + 1);
}

static void a_file_that_came_meanwhile_stays(void **state)
{
  (void)state;
  const int before = count_files();
  const pid_t child = start_long();
  write_text("long-cd.wav", "mine");
  Outcome outcome = finish(child);
  expect(&outcome, 2, "is there already");
  char text[16];
  read_text("long-cd.wav", text, sizeof text);
  assert_string_equal(text, "mine");
  assert_int_equal(count_files(), before + 1);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test_setup(float_is_the_master_bit_for_bit, start),
      cmocka_unit_test_setup(words_are_dithered_once, start),
      cmocka_unit_test_setup(a_cd_ends_on_a_sector_and_keeps_its_black, start),
      cmocka_unit_test_setup(over_is_lowered, start),
      cmocka_unit_test_setup(over_is_refused, start),
      cmocka_unit_test_setup(loudness_is_matched_or_missed, start),
      cmocka_unit_test_setup(metadata_reads_back, start),
      cmocka_unit_test_setup(an_isrc_stands_in_axml, start),
      cmocka_unit_test_setup(bext_has_the_loudness_of_the_file, start),
      cmocka_unit_test_setup(the_coding_history_tells_the_word, start),
      cmocka_unit_test_setup(what_is_not_measured_is_unknown, start),
      cmocka_unit_test_setup(overs_are_those_of_another_decoder, start),
      cmocka_unit_test_setup(overs_of_music_are_those_of_another_decoder, start),
      cmocka_unit_test_setup(the_avoiding_ceiling_avoids, start),
      cmocka_unit_test_setup(nothing_is_written_over, start),
      cmocka_unit_test_setup(bad_use_writes_nothing, start),
      cmocka_unit_test_setup(what_a_container_cannot_hold_is_told, start),
      cmocka_unit_test_setup(the_same_again_is_the_same_bytes, start),
      cmocka_unit_test_setup(a_mono_master_is_told, start),
      cmocka_unit_test_setup_teardown(a_full_disk_leaves_nothing, start, unmount_disk),
      cmocka_unit_test_setup_teardown(a_disk_that_fills_late_leaves_what_is_whole, start,
                                      unmount_disk),
      cmocka_unit_test_setup(an_interruption_leaves_nothing, start),
      cmocka_unit_test_setup(a_file_that_came_meanwhile_stays, start),
  };
  return cmocka_run_group_tests(tests, open_deliveries, close_all);
}
