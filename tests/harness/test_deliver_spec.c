/* Delivery specs, ISRC, metadata and file names: what is taken, and how what is not is told. */
#include "harness/deliver/file_name.h"
#include "harness/deliver/isrc.h"
#include "harness/deliver/spec.h"
#include "tests/harness/files_fixture.h"
#include "tests/unit/cmocka_headers.h"

#define HEAD "delivery: 1\n"
#define WAV  HEAD "format: wav\n"
#define A50  "AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA"
#define A250 A50 A50 A50 A50 A50

/* A mistake in a spec, and where and how it must be told. */
typedef struct {
  const char *text;
  int line;
  int column;
  const char *says;
} Case;

static const Case cases[] = {
    {"", 1, 1, "an empty delivery spec: begin with \"delivery: 1\""},
    {"just words\n", 1, 1, "must begin with \"delivery: 1\""},
    {"planish: 1\nstages: []\n", 1, 1, "this is a sheet, which render takes"},
    {"format: wav\n", 1, 1, "must begin with \"delivery: 1\""},
    {"delivery: 2\nformat: wav\n", 1, 11, "this program reads 1"},
    {WAV "metadata: &x {title: a}\n", 3, 11, "anchor &x: a delivery spec has none"},
    {WAV "format: flac\n", 3, 1, "twice, first on line 2"},
    {WAV "bitz: 16\n", 3, 1, "did you mean bits?"},
    {HEAD "rate: same\n", 1, 1, "format: is missing"},
    {HEAD "format: aac\n", 2, 9, "aac is not written here: deliver wav or flac"},
    {HEAD "format: M4A\n", 2, 9, "is not written here"},
    {HEAD "format: flak\n", 2, 9, "did you mean flac?"},
    {WAV "rate: 44100.5\n", 3, 7, "no whole number"},
    {WAV "rate: 4000\n", 3, 7, "give 8000 to 384000 Hz"},
    {WAV "rate: best\n", 3, 7, "no number"},
    {WAV "bits: 8\n", 3, 7, "give one of 16, 24, float"},
    {HEAD "format: flac\nbits: float\n", 3, 1, "FLAC has no float"},
    {HEAD "format: vorbis\nquality: 5\nbits: 16\n", 4, 1, "keeps no words"},
    {WAV "dither: none\n", 3, 9, "give one of plain, shaped"},
    {WAV "bits: float\ndither: shaped\n", 4, 1, "is for words of 16 or 24 bit"},
    {HEAD "format: mp3\n", 1, 1, "bit_rate: is missing"},
    {HEAD "format: mp3\nbit_rate: 300\n", 3, 1, "mp3 has none such"},
    {HEAD "format: mp3\nbit_rate: 320\nrate: 96000\n", 4, 1,
     "MP3 has no 96000 Hz: give 32000, 44100 or 48000"},
    {HEAD "format: opus\nbit_rate: 128\nrate: 44100\n", 4, 1, "or 48000"},
    {HEAD "format: opus\nbit_rate: 600\n", 3, 11, "give 12 to 512 kbit/s"},
    {WAV "bit_rate: 320\n", 3, 1, "is for mp3 and opus"},
    {HEAD "format: vorbis\n", 1, 1, "quality: is missing"},
    {HEAD "format: vorbis\nquality: 5\nrate: 384000\n", 4, 1, "give at most 192000"},
    {HEAD "format: vorbis\nquality: 11\n", 3, 10, "give -1 to 10"},
    {WAV "quality: 5\n", 3, 1, "is for vorbis"},
    {WAV "loudness: 14\n", 3, 11, "give -60 to 0 LUFS"},
    {WAV "tolerance: 1\n", 3, 1, "add loudness: or remove it"},
    {WAV "level: match\n", 3, 1, "match needs a loudness"},
    {WAV "ceiling: 1\n", 3, 10, "give -30 to 0 dBTP"},
    {WAV "over: clip\n", 3, 7, "give one of lower, rerender, refuse"},
    {WAV "decoded_ceiling: -1\n", 3, 1, "is for coded formats"},
    {WAV "whole_sectors: true\n", 3, 1, "add rate: 44100"},
    {HEAD "format: flac\nbext: true\n", 3, 1, "is a chunk of WAV files"},
    {WAV "bext: {description: \"" A250 A50 "\"}\n", 3, 21, "has 300 characters, and 256 fit"},
    {WAV "bext: {originator: \"" A50 "\"}\n", 3, 20, "has 50 characters, and 32 fit"},
    {WAV "bext: {reference: \"B\xc3\xa9la\"}\n", 3, 19, "give it in ASCII"},
    {WAV "bext: {date: 26.11.2026}\n", 3, 14, "as 2026-11-26"},
    {WAV "bext: {time: noon}\n", 3, 14, "no time of a day"},
    {WAV "name: ../out\n", 3, 7, "would leave the output folder"},
    {WAV "name: \"{titel}\"\n", 3, 7, "{titel}: unknown"},
    {WAV "name: \"{title\"\n", 3, 7, "a brace that is not closed"},
    {WAV "name: \"{comment}\"\n", 3, 7, "{comment}: unknown"},
    {WAV "metadata: {titel: a}\n", 3, 12, "did you mean title?"},
    {WAV "metadata: {title: \" \"}\n", 3, 19, "title: is empty"},
    {WAV "metadata: {title: \"a\\nb\"}\n", 3, 19, "control character"},
    {WAV "metadata: {title: \"" A250 A250 A250 A250 A50 "\"}\n", 3, 19, "has 1050 bytes"},
    {WAV "metadata: {year: 26}\n", 3, 18, "give four digits"},
    {WAV "metadata: {track: 0}\n", 3, 19, "give 1 to 999"},
    {WAV "metadata: {isrc: AA6Q7200004}\n", 3, 18, "has 11 characters, not 12"},
    {WAV "metadata: [a]\n", 3, 11, "no map"},
};

static void mistakes_are_told_at_their_place(void **state)
{
  (void)state;
  for (size_t n = 0; n < sizeof cases / sizeof *cases; ++n) {
    const Case *c = &cases[n];
    PlanishMistakes mistakes = {0};
    PlanishSpec *spec = planish_spec_parse(c->text, strlen(c->text), "x", &mistakes);
    const PlanishError *first = mistakes.list;
    const bool right = spec == NULL && mistakes.count == 1 && first->line == c->line &&
                       first->column == c->column && strstr(first->text, c->says) != NULL;
    if (!right) {
      print_error("%sexpected %d:%d %s\n", c->text, c->line, c->column, c->says);
      for (size_t m = 0; m < mistakes.count; ++m) {
        print_error("got %d:%d %s\n", mistakes.list[m].line, mistakes.list[m].column,
                    mistakes.list[m].text);
      }
      fail();
    }
    planish_mistakes_free(&mistakes);
  }
  printf("%zu mistakes, each at its line and column\n", sizeof cases / sizeof *cases);
}

static void all_mistakes_are_told_at_once(void **state)
{
  (void)state;
  static const char text[] = HEAD "format: wavv\nbits: 17\nover: x\nmetadata: {isrc: x, year: y}\n";
  PlanishMistakes mistakes = {0};
  assert_null(planish_spec_parse(text, strlen(text), "x", &mistakes));
  assert_int_equal(mistakes.count, 5);
  for (size_t n = 1; n < mistakes.count; ++n) {
    assert_true(mistakes.list[n].line >= mistakes.list[n - 1].line);
  }
  planish_mistakes_free(&mistakes);
}

static void what_is_left_out_has_its_default(void **state)
{
  (void)state;
  PlanishMistakes mistakes = {0};
  PlanishSpec *spec = planish_spec_parse(WAV, strlen(WAV), "x", &mistakes);
  assert_non_null(spec);
  assert_int_equal(spec->bits, 24);
  assert_true(spec->rate == 0.0 && spec->ceiling == 0.0 && spec->tolerance == 0.1);
  assert_false(spec->shaped || spec->match || spec->has_bext || spec->has_loudness);
  assert_int_equal(spec->over, PLANISH_OVER_LOWER);
  planish_spec_free(spec);
}

/* Each tells what it is for and where its figures stand. */
static void ready_made_specs_are_specs(void **state)
{
  (void)state;
  static const char *const names[] = {
      "archive", "cd", "r128", "r128-streaming", "streaming-album", "streaming-track"};
  for (size_t n = 0; n < sizeof names / sizeof *names; ++n) {
    char path[128];
    PlanishMistakes mistakes = {0};
    snprintf(path, sizeof path, "harness/deliver/specs/%s.yaml", names[n]);
    PlanishSpec *spec = planish_spec_read(path, &mistakes);
    for (size_t m = 0; m < mistakes.count; ++m) {
      print_error("%s:%d: %s\n", path, mistakes.list[m].line, mistakes.list[m].text);
    }
    assert_non_null(spec);
    assert_string_equal(spec->name, names[n]);
    assert_true(spec->about != NULL && spec->source != NULL);
    planish_spec_free(spec);
  }
}

/* ISO 3901 and the agency's bulletin of 2015: hyphens, blanks and the word are for people, small
 * letters are read as capital ones; AA6Q72000047 is the agency's own example. */
static void isrcs_are_checked(void **state)
{
  (void)state;
  static const char *const good[] = {"AA6Q72000047",         "aa6q72000047",
                                     "AA-6Q7-20-00047",      "ISRC AA6Q72000047",
                                     "ISRC AA-6Q7-20-00047", "AA 6Q7 20 00047"};
  static const char *const bad[][2] = {
      {"AA6Q7200004", "has 11"},
      {"AA6Q720000477", "has 13"},
      {"", "has 0"},
      {"4A6Q72000047", "character 1"},
      {"A46Q72000047", "character 2"},
      {"AA6!72000047", "character 4"},
      {"AA6Q7200004O", "a zero for the letter O?"},
      {"AA6Q7X000047", "character 6"},
      {"\xc3\x81"
       "6Q72000047",
       "character 1"},
      {"ISRCAA6Q72000047", "has 16"},
  };
  char code[PLANISH_ISRC];
  for (size_t n = 0; n < sizeof good / sizeof *good; ++n) {
    PlanishError error = {0};
    assert_true(planish_isrc_read(good[n], code, &error));
    assert_string_equal(code, "AA6Q72000047");
  }
  for (size_t n = 0; n < sizeof bad / sizeof *bad; ++n) {
    PlanishError error = {0};
    if (planish_isrc_read(bad[n][0], code, &error) || strstr(error.text, bad[n][1]) == NULL) {
      print_error("%s: %s, not %s\n", bad[n][0], error.text, bad[n][1]);
      fail();
    }
    assert_int_equal(error.outcome, PLANISH_BAD_USE);
  }
}

/* NULL where it is refused. */
static char *name_of(const char *pattern, const PlanishMetadata *metadata, PlanishError *error)
{
  *error = (PlanishError){0};
  return planish_file_name_new(pattern, "song", "cd", metadata, ".wav", error);
}

static void names_stay_in_their_folder(void **state)
{
  (void)state;
  PlanishError error = {0};
  PlanishMetadata metadata = {{NULL}};
  assert_true(planish_metadata_set_pair(&metadata, "title=Over/Under", &error));
  assert_true(planish_metadata_set_pair(&metadata, "artist=..", &error));
  assert_true(planish_metadata_set_pair(&metadata, "track=3", &error));
  assert_true(planish_metadata_set_pair(&metadata, "year=2026", &error));
  static const char *const good[][2] = {{"{master}-{spec}", "song-cd.wav"},
                                        {"{track} {year} x", "03 2026 x.wav"},
                                        {"a}b", "a}b.wav"}};
  for (size_t n = 0; n < sizeof good / sizeof *good; ++n) {
    char *name = name_of(good[n][0], &metadata, &error);
    assert_non_null(name);
    assert_string_equal(name, good[n][1]);
    free(name);
  }
  static const char *const bad[][2] = {
      {"{title}", "would leave the output folder"}, {"/tmp/x", "would leave the output folder"},
      {"{artist}", "begins with a point"},          {".x", "begins with a point"},
      {"{isrc}", "there is none: add it"},          {A250 "123456", "longer than 255 bytes"}};
  for (size_t n = 0; n < sizeof bad / sizeof *bad; ++n) {
    if (name_of(bad[n][0], &metadata, &error) != NULL || strstr(error.text, bad[n][1]) == NULL) {
      print_error("%s: %s, not %s\n", bad[n][0], error.text, bad[n][1]);
      fail();
    }
  }
  planish_metadata_release(&metadata);
}

static void metadata_is_refused_in_one_line(void **state)
{
  (void)state;
  static const char *const bad[][2] = {
      {"titel=x", "did you mean title?"}, {"mood=x", "give title, artist"},
      {"title", "give FIELD=VALUE"},      {"title=", "is empty"},
      {"title=\xff", "no UTF-8"},         {"title=a\tb", "control character"},
      {"track=1000", "give 1 to 999"},    {"year=20260", "four digits"}};
  PlanishMetadata metadata = {{NULL}};
  for (size_t n = 0; n < sizeof bad / sizeof *bad; ++n) {
    PlanishError error = {0};
    if (planish_metadata_set_pair(&metadata, bad[n][0], &error) ||
        strstr(error.text, bad[n][1]) == NULL) {
      print_error("%s: %s, not %s\n", bad[n][0], error.text, bad[n][1]);
      fail();
    }
  }
  planish_metadata_release(&metadata);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(mistakes_are_told_at_their_place),
      cmocka_unit_test(all_mistakes_are_told_at_once),
      cmocka_unit_test(what_is_left_out_has_its_default),
      cmocka_unit_test(ready_made_specs_are_specs),
      cmocka_unit_test(isrcs_are_checked),
      cmocka_unit_test(names_stay_in_their_folder),
      cmocka_unit_test(metadata_is_refused_in_one_line),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
