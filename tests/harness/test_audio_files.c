#include "harness/audio/audio_reader.h"
#include "harness/audio/audio_writer.h"
#include "harness/audio/peak_chunk.h"
#include "tests/harness/files_fixture.h"
#include "tests/unit/cmocka_headers.h"

#include <fcntl.h>
#include <signal.h>
#include <sys/resource.h>

enum { WAV24 = SF_FORMAT_WAV | SF_FORMAT_PCM_24, WAVF = SF_FORMAT_WAV | SF_FORMAT_FLOAT };

static void refused(const char *path, PlanishOutcome outcome, const char *says)
{
  PlanishError error = {0};
  PlanishReader *reader = planish_reader_open(path, NULL, &error);
  float block[2 * 512];
  size_t got = 1;
  while (reader != NULL && got > 0 && planish_reader_read(reader, block, 512, &got, &error)) {
  }
  planish_reader_free(reader);
  if (error.outcome != outcome || strstr(error.text, says) == NULL ||
      strstr(error.text, path) == NULL || strchr(error.text, '\n') != NULL) {
    print_error("%s: expected \"%s\", told \"%s\"\n", path, says, error.text);
    fail();
  }
}

/* The first half of a file. */
static const char *cut(const char *from, const char *name)
{
  FILE *in = fopen(from, "rb");
  const char *path = in_folder(name);
  FILE *out = fopen(path, "wb");
  fseek(in, 0, SEEK_END);
  const long half = ftell(in) / 2 + 1;
  rewind(in);
  for (long n = 0; n < half; ++n) {
    fputc(fgetc(in), out);
  }
  fclose(in);
  fclose(out);
  return path;
}

static void odd_files_are_refused_in_one_line(void **state)
{
  (void)state;
  float *music = make_music(48000);
  refused(in_folder("absent.wav"), PLANISH_BAD_FILE, "no such file");
  refused(write_text("empty.wav", ""), PLANISH_BAD_AUDIO, "empty file");
  refused(write_text("words.wav", "This is a text, and no audio.\n"), PLANISH_BAD_AUDIO,
          "no audio");
  /* By these endings libsndfile would take any bytes for samples. */
  refused(write_text("words.vox", "This is a text, and no audio.\n"), PLANISH_BAD_AUDIO,
          "no audio");
  refused(write_text("words.gsm", "This is a text, and no audio.\n"), PLANISH_BAD_AUDIO,
          "no audio");
  refused(write_text("riff.wav", "RIFF"), PLANISH_BAD_AUDIO, "no audio");
  refused(files_folder, PLANISH_BAD_AUDIO, "a folder");
  refused("/dev/null", PLANISH_BAD_AUDIO, "pipe or device");
  assert_int_equal(mkfifo(in_folder("pipe.wav"), 0600), 0);
  refused(in_folder("pipe.wav"), PLANISH_BAD_AUDIO, "pipe or device");
  refused(write_audio("none.wav", WAV24, 48000, 2, music, 0), PLANISH_BAD_AUDIO, "no audio in it");
  refused(write_audio("six.wav", WAV24, 48000, 6, music, 1000), PLANISH_BAD_AUDIO, "6 channels");
  refused(write_audio("slow.wav", WAV24, 4000, 2, music, 1000), PLANISH_BAD_AUDIO, "4000 Hz");
  refused(write_audio("fast.wav", WAV24, 768000, 2, music, 1000), PLANISH_BAD_AUDIO, "768000 Hz");
  free(music);
}

/* All of it; the frames that there were. */
static uint64_t read_through(PlanishReader *reader, PlanishError *error)
{
  float block[2 * 1000];
  size_t got = 1;
  uint64_t sum = 0;
  while (got > 0 && planish_reader_read(reader, block, 1000, &got, error)) {
    sum += got;
  }
  return sum;
}

/* Half of a file is told of where its header tells, and else refused once its end is met. */
static void files_cut_short_are_told_of(void **state)
{
  (void)state;
  static const struct {
    const char *name;
    int format;
    const char *refused;
  } formats[] = {
      {"wav", WAV24, NULL},
      {"aiff", SF_FORMAT_AIFF | SF_FORMAT_PCM_24, NULL},
      {"w64", SF_FORMAT_W64 | SF_FORMAT_PCM_24, NULL},
      {"rf64", SF_FORMAT_RF64 | SF_FORMAT_PCM_24, NULL},
      {"au", SF_FORMAT_AU | SF_FORMAT_PCM_24, NULL},
      {"caf", SF_FORMAT_CAF | SF_FORMAT_PCM_24, "no audio that can be read"},
      {"flac", SF_FORMAT_FLAC | SF_FORMAT_PCM_24, "cut short"},
      {"ogg", SF_FORMAT_OGG | SF_FORMAT_VORBIS, "cut short"},
  };
  float *music = make_music(48000);
  for (size_t n = 0; n < sizeof formats / sizeof *formats; ++n) {
    char whole[32];
    char half[32];
    snprintf(whole, sizeof whole, "whole.%s", formats[n].name);
    snprintf(half, sizeof half, "half.%s", formats[n].name);
    const char *path = write_audio(whole, formats[n].format, 48000, 2, music, 48000);
    PlanishError error = {0};
    PlanishReader *reader = planish_reader_open(path, NULL, &error);
    assert_string_equal(error.text, "");
    assert_int_equal(read_through(reader, &error), planish_reader_frames(reader));
    assert_false(planish_reader_is_cut(reader));
    planish_reader_free(reader);
    if (formats[n].refused != NULL) {
      refused(cut(path, half), PLANISH_BAD_AUDIO, formats[n].refused);
      continue;
    }
    reader = planish_reader_open(cut(path, half), NULL, &error);
    assert_string_equal(error.text, "");
    assert_true(planish_reader_is_cut(reader));
    const uint64_t frames = planish_reader_frames(reader);
    assert_true(frames > 10000 && frames < 25000);
    assert_int_equal(read_through(reader, &error), frames);
    assert_string_equal(error.text, "");
    planish_reader_free(reader);
  }
  free(music);
}

/* A copy with so many bytes of text in a chunk ahead of the sound. */
static const char *with_text(const char *path, const char *copy, uint32_t bytes)
{
  static unsigned char file[1 << 20];
  FILE *from = fopen(path, "rb");
  const size_t size = fread(file, 1, sizeof file, from);
  (void)fclose(from);
  assert_true(size < sizeof file);
  FILE *to = fopen(in_folder(copy), "wb");
  fwrite(file, 1, 12, to);
  for (uint32_t done = 0; done < bytes; done += 500) {
    static const char comment[] = "ICMT\xf4\x01\0\0";
    const uint32_t list = 4 + 8 + 500;
    fwrite("LIST", 1, 4, to);
    fwrite(&list, 4, 1, to); /* low byte first, as this machine has it */
    fwrite("INFO", 1, 4, to);
    fwrite(comment, 1, 8, to);
    for (int n = 0; n < 500; ++n) {
      (void)fputc(n < 499 ? 'x' : 0, to);
    }
  }
  fwrite(file + 12, 1, size - 12, to);
  (void)fclose(to);
  return in_folder(copy);
}

/* What a library says of a header must not be crowded out by the words in it. */
static void a_cut_is_told_behind_any_text(void **state)
{
  (void)state;
  static const uint32_t texts[] = {0, 500, 2000, 20000};
  float *music = make_music(48000);
  for (size_t n = 0; n < sizeof texts / sizeof *texts; ++n) {
    const char *path = write_audio("whole.wav", WAV24, 48000, 2, music, 48000);
    PlanishError error = {0};
    PlanishReader *reader =
        planish_reader_open(with_text(path, "text.wav", texts[n]), NULL, &error);
    assert_string_equal(error.text, "");
    assert_false(planish_reader_is_cut(reader));
    assert_int_equal(planish_reader_frames(reader), 48000);
    planish_reader_free(reader);
    reader = planish_reader_open(cut(in_folder("text.wav"), "half.wav"), NULL, &error);
    assert_string_equal(error.text, "");
    assert_true(planish_reader_is_cut(reader));
    planish_reader_free(reader);
  }
  free(music);
}

/* Where a page ends nothing is broken; but the last page of a stream says that it is. */
static void an_ogg_file_that_ends_with_a_page_is_refused(void **state)
{
  (void)state;
  static const int formats[] = {SF_FORMAT_VORBIS, SF_FORMAT_OPUS};
  static unsigned char file[1 << 20];
  float *music = make_music(480000);
  for (size_t n = 0; n < 2; ++n) {
    const char *path =
        write_audio("pages.ogg", SF_FORMAT_OGG | formats[n], 48000, 2, music, 480000);
    FILE *stream = fopen(path, "rb");
    const size_t size = fread(file, 1, sizeof file, stream);
    (void)fclose(stream);
    size_t page = size - 4;
    int pages = 0;
    while (pages < 2) {
      --page;
      pages += memcmp(file + page, "OggS", 4) == 0 ? 1 : 0;
    }
    assert_int_equal(truncate(path, (off_t)page), 0);
    refused(path, PLANISH_BAD_AUDIO, "cut short");
  }
  free(music);
}

/* Written into a pipe, a WAV file holds 2^32-1 for its length. */
static void a_file_of_unknown_length_is_read(void **state)
{
  (void)state;
  float *music = make_music(5000);
  const char *path = write_audio("pipe-made.wav", WAV24, 48000, 2, music, 5000);
  FILE *file = fopen(path, "r+b");
  static const long places[] = {4, 40};
  for (size_t n = 0; n < 2; ++n) {
    fseek(file, places[n], SEEK_SET);
    fwrite("\xff\xff\xff\xff", 1, 4, file);
  }
  fclose(file);
  PlanishError error = {0};
  PlanishReader *reader = planish_reader_open(path, NULL, &error);
  assert_string_equal(error.text, "");
  assert_int_equal(planish_reader_frames(reader), 5000);
  planish_reader_free(reader);
  free(music);
}

static void samples_that_are_no_number_are_refused_or_silenced(void **state)
{
  (void)state;
  static const float bad[] = {NAN, INFINITY, -INFINITY};
  float *music = make_music(96000);
  for (size_t n = 0; n < 3; ++n) {
    music[2 * 60000 + 1] = bad[n];
    music[2 * 70000] = bad[n];
    const char *path = write_audio("bad.wav", WAVF, 48000, 2, music, 96000);
    refused(path, PLANISH_BAD_AUDIO, "at 0:01.250");
    PlanishError error = {0};
    const PlanishReaderOptions options = {.silence_bad = true};
    PlanishReader *reader = planish_reader_open(path, &options, &error);
    float *block = malloc(2 * 96000 * sizeof *block);
    size_t got = 0;
    assert_true(planish_reader_read(reader, block, 96000, &got, &error));
    assert_int_equal(planish_reader_silenced(reader), 2);
    assert_true(block[2 * 60000 + 1] == 0.0f && block[2 * 60000] == music[2 * 60000]);
    free(block);
    planish_reader_free(reader);
  }
  free(music);
}

static void mono_is_dual_mono_and_odd_rates_pass(void **state)
{
  (void)state;
  const float samples[3] = {0.25f, -0.5f, 0.75f};
  const char *path = write_audio("mono.wav", WAVF, 12345, 1, samples, 3);
  PlanishError error = {0};
  PlanishReader *reader = planish_reader_open(path, NULL, &error);
  assert_non_null(reader);
  assert_int_equal(planish_reader_channels(reader), 1);
  assert_true(planish_reader_rate(reader) == 12345.0);
  float block[2 * 8];
  size_t got = 0;
  assert_true(planish_reader_seek(reader, 1, &error));
  assert_true(planish_reader_read(reader, block, 8, &got, &error));
  assert_int_equal(got, 2);
  assert_true(block[0] == -0.5f && block[1] == -0.5f && block[2] == 0.75f && block[3] == 0.75f);
  planish_reader_free(reader);
}

static void write_over(const char *path, long at, const unsigned char *bytes, size_t count)
{
  FILE *file = fopen(path, "r+b");
  assert_non_null(file);
  assert_int_equal(fseek(file, at, SEEK_SET), 0);
  assert_int_equal(fwrite(bytes, 1, count, file), count);
  assert_int_equal(fclose(file), 0);
}

/* Where four letters stand in a file. */
static long find_chunk(const char *path, const char *letters)
{
  char bytes[4096];
  FILE *file = fopen(path, "rb");
  const size_t got = fread(bytes, 1, sizeof bytes, file);
  fclose(file);
  for (size_t n = 0; n + 4 <= got; ++n) {
    if (memcmp(bytes + n, letters, 4) == 0) {
      return (long)n;
    }
  }
  return -1;
}

/* Reads it all, and the first half again. */
static void is_whole(const char *path, const float *music, size_t frames)
{
  PlanishError error = {0};
  PlanishReader *reader = planish_reader_open(path, NULL, &error);
  assert_string_equal(error.text, "");
  assert_int_equal(planish_reader_frames(reader), frames);
  float *block = malloc(2 * frames * sizeof *block);
  size_t got = 0;
  for (int n = 0; n < 2; ++n) {
    const size_t wanted = n == 0 ? frames : frames / 2;
    assert_true(planish_reader_seek(reader, 0, &error));
    assert_true(planish_reader_read(reader, block, wanted, &got, &error));
    assert_int_equal(got, wanted);
    for (size_t i = 0; i < 2 * wanted; ++i) {
      assert_true(fabsf(block[i] - music[i]) <= 1.0f / 8388608.0f);
    }
  }
  assert_false(planish_reader_is_cut(reader));
  free(block);
  planish_reader_free(reader);
}

/* Their writers wrote into a pipe, and could not fill the lengths in. By RFC 9639, section 8.2, the
 * total number of a FLAC file's samples is then 0: 36 bits, 18 bytes into the first block of
 * metadata, which begins at byte 4 with a head of 4 bytes. */
static void headers_without_a_length_are_no_hindrance(void **state)
{
  (void)state;
  static const unsigned char nothing[8] = {0};
  enum { FRAMES = 50000 };
  float *music = make_music(FRAMES);
  const char *flac =
      write_audio("piped.flac", SF_FORMAT_FLAC | SF_FORMAT_PCM_24, 48000, 2, music, FRAMES);
  unsigned char upper = 0;
  FILE *file = fopen(flac, "rb");
  fseek(file, 21, SEEK_SET);
  assert_int_equal(fread(&upper, 1, 1, file), 1);
  fclose(file);
  upper &= 0xf0;
  write_over(flac, 21, &upper, 1);
  write_over(flac, 22, nothing, 4);
  is_whole(flac, music, FRAMES);
  const char *aiff =
      write_audio("piped.aiff", SF_FORMAT_AIFF | SF_FORMAT_PCM_24, 48000, 2, music, FRAMES);
  write_over(aiff, find_chunk(aiff, "SSND") + 4, nothing, 4);
  write_over(aiff, find_chunk(aiff, "COMM") + 10, nothing, 4);
  write_over(aiff, 4, nothing, 4);
  is_whole(aiff, music, FRAMES);
  free(music);
}

/* The frames are named once each, in order. */
static void places_of_what_is_no_number(void **state)
{
  (void)state;
  float samples[2 * 100] = {0.0f};
  samples[2 * 7] = samples[2 * 7 + 1] = NAN;
  samples[2 * 90 + 1] = INFINITY;
  const char *path = write_audio("bad.wav", WAVF, 48000, 2, samples, 100);
  const PlanishReaderOptions options = {.silence_bad = true};
  PlanishError error = {0};
  PlanishReader *reader = planish_reader_open(path, &options, &error);
  float block[2 * 30];
  size_t got = 1;
  while (got > 0) {
    assert_true(planish_reader_read(reader, block, 30, &got, &error));
  }
  assert_int_equal(planish_reader_silenced(reader), 3);
  const PlanishPlaces *places = planish_reader_silenced_at(reader);
  assert_int_equal(places->count, 2);
  assert_int_equal(places->frame[0], 7);
  assert_int_equal(places->frame[1], 90);
  planish_reader_free(reader);
}

/* A library that has something to say of a broken file does not say it. */
static void libraries_are_not_heard(void **state)
{
  (void)state;
  float *music = make_music(48000);
  SF_INFO info = {
      .samplerate = 48000, .channels = 2, .format = SF_FORMAT_MPEG | SF_FORMAT_MPEG_LAYER_III};
  const char *path = in_folder("coded.mp3");
  SNDFILE *file = sf_open(path, SFM_WRITE, &info);
  if (file == NULL) {
    free(music);
    print_message("    libsndfile writes no MP3 here\n");
    skip();
  }
  sf_writef_float(file, music, 48000);
  sf_close(file);
  free(music);
  unsigned char noise[300];
  for (size_t n = 0; n < sizeof noise; ++n) {
    noise[n] = (unsigned char)(n * 37 + 11);
  }
  write_over(path, 5000, noise, sizeof noise);
  assert_int_equal(truncate(path, 12000), 0);
  (void)fflush(stderr);
  const int before = dup(STDERR_FILENO);
  const char *heard = in_folder("heard");
  const int to = open(heard, O_WRONLY | O_CREAT | O_TRUNC, 0600);
  dup2(to, STDERR_FILENO);
  PlanishError error = {0};
  const PlanishReaderOptions options = {.take_cut = true};
  PlanishReader *reader = planish_reader_open(path, &options, &error);
  float block[2 * 4096];
  size_t got = 1;
  while (reader != NULL && got > 0 && planish_reader_read(reader, block, 4096, &got, &error)) {
  }
  planish_reader_free(reader);
  (void)fputs("still here\n", stderr);
  dup2(before, STDERR_FILENO);
  close(before);
  close(to);
  char text[200] = "";
  FILE *read = fopen(heard, "r");
  text[fread(text, 1, sizeof text - 1, read)] = '\0';
  fclose(read);
  assert_string_equal(text, "still here\n");
}

static PlanishWriter *begin(const char *path, PlanishWord word, const float *music, size_t frames)
{
  PlanishError error = {0};
  PlanishWriter *writer = planish_writer_new(path, 44100, frames, word, NULL, NULL, &error);
  assert_non_null(writer);
  assert_true(planish_writer_write(writer, music, frames, &error));
  return writer;
}

static void a_file_appears_whole_or_not_at_all(void **state)
{
  (void)state;
  empty_folder(NULL);
  PlanishError error = {0};
  float *music = make_music(10000);
  const char *path = write_text("out.wav", "what was there before");
  PlanishWriter *writer = begin(path, PLANISH_WORD_24, music, 10000);
  assert_int_equal(count_files(), 2);
  planish_writer_free(writer);
  assert_int_equal(count_files(), 1);
  writer = begin(path, PLANISH_WORD_24, music, 10000);
  assert_true(planish_writer_finish(writer, &error));
  struct stat facts;
  assert_int_equal(stat(path, &facts), 0);
  assert_int_equal(facts.st_size, 21);
  assert_true(planish_writer_commit(writer, &error));
  planish_writer_free(writer);
  assert_int_equal(count_files(), 1);
  size_t frames = 0;
  SF_INFO info;
  float *read = read_audio(path, &frames, &info);
  assert_int_equal(frames, 10000);
  assert_int_equal(info.format, WAV24);
  assert_int_equal(info.samplerate, 44100);
  for (size_t n = 0; n < 2 * frames; ++n) {
    assert_true(fabsf(read[n] - music[n]) <= 1.6f / 8388608.0f);
  }
  free(read);
  free(music);
}

static void float_is_written_as_it_comes(void **state)
{
  (void)state;
  float *music = make_music(5000);
  music[77] = 1.75f;
  PlanishError error = {0};
  const char *path = in_folder("float.wav");
  PlanishWriter *writer = begin(path, PLANISH_WORD_FLOAT, music, 5000);
  assert_true(planish_writer_finish(writer, &error) && planish_writer_commit(writer, &error));
  planish_writer_free(writer);
  size_t frames = 0;
  SF_INFO info;
  float *read = read_audio(path, &frames, &info);
  assert_int_equal(info.format, WAVF);
  assert_memory_equal(read, music, 2 * 5000 * sizeof *music);
  free(read);
  free(music);
}

static void outputs_that_cannot_be_are_refused(void **state)
{
  (void)state;
  empty_folder(NULL);
  PlanishError error = {0};
  const char *mix = write_text("mix.wav", "x");
  assert_int_equal(link(mix, in_folder("same.wav")), 0);
  assert_int_equal(symlink("mix.wav", in_folder("link.wav")), 0);
  const char *const inputs[] = {mix, in_folder("later.wav"), NULL};
  static const struct {
    const char *name;
    PlanishOutcome outcome;
  } cases[] = {
      {"mix.wav", PLANISH_BAD_USE},     {"same.wav", PLANISH_BAD_USE},
      {"link.wav", PLANISH_BAD_USE},    {"./later.wav", PLANISH_BAD_USE},
      {"out.flac", PLANISH_BAD_USE},    {"out", PLANISH_BAD_USE},
      {"no/out.wav", PLANISH_BAD_FILE},
  };
  for (size_t n = 0; n < sizeof cases / sizeof *cases; ++n) {
    planish_error_clear(&error);
    assert_false(planish_writer_check(in_folder(cases[n].name), inputs, &error));
    assert_int_equal(error.outcome, cases[n].outcome);
  }
  assert_int_equal(mkfifo(in_folder("pipe.wav"), 0600), 0);
  planish_error_clear(&error);
  assert_false(planish_writer_check(in_folder("pipe.wav"), inputs, &error));
  assert_int_equal(error.outcome, PLANISH_BAD_FILE);
  planish_error_clear(&error);
  assert_true(planish_writer_check(in_folder("out.wav"), inputs, &error));
}

/* A limit on the size of files stands for a full disk. */
static void a_full_disk_leaves_nothing_behind(void **state)
{
  (void)state;
  empty_folder(NULL);
  signal(SIGXFSZ, SIG_IGN);
  struct rlimit before;
  getrlimit(RLIMIT_FSIZE, &before);
  const struct rlimit small = {20000, before.rlim_max};
  float *music = make_music(48000);
  PlanishError error = {0};
  PlanishWriter *writer =
      planish_writer_new(in_folder("out.wav"), 48000, 48000, PLANISH_WORD_24, NULL, NULL, &error);
  setrlimit(RLIMIT_FSIZE, &small);
  const bool done =
      planish_writer_write(writer, music, 48000, &error) && planish_writer_finish(writer, &error);
  setrlimit(RLIMIT_FSIZE, &before);
  assert_false(done);
  assert_int_equal(error.outcome, PLANISH_BAD_FILE);
  assert_non_null(strstr(error.text, "cannot write: "));
  planish_writer_free(writer);
  assert_int_equal(count_files(), 0);
  free(music);
}

/* With the chunk that tells of peaks goes the time of writing. */
static void no_float_file_tells_when_it_was_written(void **state)
{
  (void)state;
  static const int formats[] = {SF_FORMAT_WAV, SF_FORMAT_RF64, SF_FORMAT_AIFF};
  const float frames[8] = {0.5f};
  for (size_t n = 0; n < sizeof formats / sizeof *formats; ++n) {
    char head[512];
    SF_INFO info = {.samplerate = 48000, .channels = 2, .format = formats[n] | SF_FORMAT_FLOAT};
    SNDFILE *file = sf_open(in_folder("peak"), SFM_WRITE, &info);
    planish_peak_chunk_off(file, info.format);
    sf_writef_float(file, frames, 4);
    sf_close(file);
    FILE *written = fopen(in_folder("peak"), "rb");
    const size_t got = fread(head, 1, sizeof head, written);
    fclose(written);
    for (size_t at = 0; at + 4 <= got; ++at) {
      assert_memory_not_equal(head + at, "PEAK", 4);
    }
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(odd_files_are_refused_in_one_line),
      cmocka_unit_test(no_float_file_tells_when_it_was_written),
      cmocka_unit_test(files_cut_short_are_told_of),
      cmocka_unit_test(a_cut_is_told_behind_any_text),
      cmocka_unit_test(an_ogg_file_that_ends_with_a_page_is_refused),
      cmocka_unit_test(a_file_of_unknown_length_is_read),
      cmocka_unit_test(samples_that_are_no_number_are_refused_or_silenced),
      cmocka_unit_test(places_of_what_is_no_number),
      cmocka_unit_test(headers_without_a_length_are_no_hindrance),
      cmocka_unit_test(libraries_are_not_heard),
      cmocka_unit_test(mono_is_dual_mono_and_odd_rates_pass),
      cmocka_unit_test(a_file_appears_whole_or_not_at_all),
      cmocka_unit_test(float_is_written_as_it_comes),
      cmocka_unit_test(outputs_that_cannot_be_are_refused),
      cmocka_unit_test(a_full_disk_leaves_nothing_behind),
  };
  return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
