/* A sheet that was written reads back as the same sheet. */
#include "harness/base/text.h"
#include "harness/host/host.h"
#include "tests/harness/sheet_fixture.h"

#include <locale.h>
#include <math.h>

static PlanishHost *host;

static int open_host(void **state)
{
  (void)state;
  PlanishError error = {0};
  host = planish_host_open(&error);
  return host == NULL ? -1 : 0;
}

static int close_host(void **state)
{
  (void)state;
  planish_host_free(host);
  return 0;
}

#define HEAD   "planish: 1\n"
#define STAGES "stages: [{stage: test-delay, name: a}, {stage: test-drive, name: b}]\n"

static const char *const sheets[] = {
    HEAD STAGES,
    HEAD "input: {gain: 0}\n" STAGES,
    HEAD "input: {loudness: -18.3, balance: -0.1, swap: true, dc: remove}\n" STAGES,
    HEAD "input: {polarity: {right: inverted}}\nrate: 44100\npreroll: 0\n" STAGES,
    HEAD "input: {polarity: {left: inverted}, balance: 1e-7}\npreroll: 0.1\n" STAGES,
    HEAD "target: {loudness: -8, ceiling: -1, by: b.input_gain, ceiling_at: [b.ceiling]}\n" STAGES,
    HEAD "target: {ceiling: -1.1}\n" STAGES,
    HEAD "target: {by: a.gain, ceiling_at: [b.ceiling, b.input_gain]}\n" STAGES,
    HEAD "stages: [{stage: test-delay, name: 'no', preset: Loud, gain: 0.1, shape: 'off'}]\n",
    HEAD "stages: [{stage: test-delay, name: '1', preset: Late and quiet, enabled: false}]\n",
    HEAD "stages: [{stage: test-delay, name: -, preset: urn:planish:test-delay:preset:loud}]\n",
    HEAD "target: {ceiling: -3, ceiling_at: [b.ceiling]}\n"
         "stages: [{stage: test-drive, name: b, preset: Loud}]\n",
    HEAD "stages: [{stage: https://example.org/lv2/drive, name: f, off: 4, ceiling: 1e-30,\n"
         "          controls: {name: -3.3}}, {stage: https://example.org/lv2/mono, name: g}]\n",
    HEAD "stages: [{stage: https://example.org/lv2/drive, name: f, off: 'off', odd: 1.25}]\n",
    HEAD "stages: [{stage: https://example.org/lv2/drive, name: f, off: 1}]\n",
    HEAD STAGES "automation:\n"
                "  a.gain: [{at: 0, value: -3}, {at: 0, value: 2, move: step}, {at: 1:23.456, "
                "value: 0.7}]\n"
                "  b.ceiling: [{at: 59.9999999, value: -0.1}, {at: 61:00, value: -2}]\n"
                "  a.shape: [{at: 480001 frames, value: 4x}, {at: 480033 frames, value: 'off'}]\n"
                "  a.enabled: [{at: 3.25, value: false}]\n",
    HEAD STAGES "head_silence: 0.5\nfade_in: 441 frames\ntail: 1:01.3\n"
                "fade_out: {length: 3.7, shape: s-shaped}\n",
    HEAD STAGES "fade_in: {length: 0, shape: equal power}\nfade_out: {length: 10:00, shape: "
                "equal power}\n",
};

/* Written and read again; both must be the same, and so must what is written of either. */
static void comes_back(const char *text, bool resolved)
{
  const PlanishSheetWriting writing = {.resolved = resolved};
  PlanishSheet *sheet = sheet_of(host, text);
  assert_non_null(sheet);
  char *written = text_of_sheet(sheet, &writing);
  PlanishSheet *again = sheet_of(host, written);
  assert_non_null(again);
  if (!same_sheet(sheet, again, resolved)) {
    print_error("not the same:\n%s\n%s\n", text, written);
    fail();
  }
  char *rewritten = text_of_sheet(again, &writing);
  assert_string_equal(written, rewritten);
  free(rewritten);
  free(written);
  planish_sheet_free(again);
  planish_sheet_free(sheet);
}

static void every_sheet_comes_back(void **state)
{
  (void)state;
  const size_t count = sizeof sheets / sizeof *sheets;
  for (size_t n = 0; n < count; ++n) {
    comes_back(sheets[n], false);
    comes_back(sheets[n], true);
  }
  print_message("%zu sheets, as they are and resolved\n", count);
}

static void numbers_do_not_depend_on_the_locale(void **state)
{
  (void)state;
  if (setlocale(LC_ALL, "de_DE.UTF-8") == NULL) {
    print_message("skipped: no locale with a decimal comma\n");
    skip();
  }
  every_sheet_comes_back(state);
  setlocale(LC_ALL, "C");
}

static double at_random(unsigned *seed)
{
  *seed = *seed * 1664525U + 1013904223U;
  return (double)(*seed >> 8) / 16777216.0;
}

/* Values that landing or anyone has moved, none of which the sheet names. */
static void moved_values_come_back_exactly(void **state)
{
  (void)state;
  static const char text[] =
      HEAD "target: {ceiling: -1, by: b.input_gain, ceiling_at: [b.ceiling]}\n"
           "stages: [{stage: test-delay, name: a, preset: Loud}, {stage: test-drive, name: b}]\n"
           "automation: {a.width: [{at: 0, value: 1}, {at: 9, value: 2}]}\n";
  unsigned seed = 5;
  for (int round = 0; round < 300; ++round) {
    PlanishSheet *sheet = sheet_of(host, text);
    sheet->stages[0].values[7] = (float)(48.0 * at_random(&seed) - 24.0);
    sheet->stages[1].values[4] = (float)(48.0 * at_random(&seed) - 24.0);
    sheet->stages[1].values[5] = (float)(-20.0 * at_random(&seed));
    sheet->input = PLANISH_INPUT_GAIN;
    sheet->input_value = 120.0 * at_random(&seed) - 60.0;
    sheet->tail.value = 600.0 * at_random(&seed);
    sheet->automation[0].points[1].at.value = 1.0 + 80000.0 * at_random(&seed);
    sheet->automation[0].points[1].value = (float)(100.0 * at_random(&seed));
    for (int resolved = 0; resolved <= 1; ++resolved) {
      const PlanishSheetWriting writing = {.resolved = resolved == 1};
      char *written = text_of_sheet(sheet, &writing);
      PlanishSheet *again = sheet_of(host, written);
      assert_non_null(again);
      assert_true(same_sheet(sheet, again, true));
      planish_sheet_free(again);
      free(written);
    }
    planish_sheet_free(sheet);
  }
}

static void a_resolved_sheet_names_every_control_and_no_preset(void **state)
{
  (void)state;
  PlanishSheet *sheet =
      sheet_of(host, HEAD "stages: [{stage: test-delay, name: a, preset: Loud}]\n");
  char *written = text_of_sheet(sheet, &(PlanishSheetWriting){.resolved = true});
  PlanishSheet *again = sheet_of(host, written);
  assert_non_null(again);
  assert_null(strstr(written, "preset"));
  const PlanishPlugin *plugin = again->stages[0].plugin;
  for (uint32_t n = 0; n < plugin->port_count; ++n) {
    assert_true(again->stages[0].given[n] ==
                (plugin->ports[n].kind == PLANISH_PLUGIN_CONTROL_INPUT));
  }
  assert_true(again->stages[0].values[7] == 6.0f);
  planish_sheet_free(again);
  free(written);
  planish_sheet_free(sheet);
}

static void write_more(void *user, FILE *stream)
{
  planish_text_print(stream, "more:\n  mix: ");
  planish_sheet_write_text(stream, user);
  planish_text_print(stream, "\n  gain: ");
  planish_sheet_write_number(stream, -0.1);
  (void)fputc('\n', stream);
}

/* Any text comes back through the tree, as a scalar. */
static void words_and_more_are_written_too(void **state)
{
  (void)state;
  static const char *const texts[] = {"mix.wav", "a: b", "a #b",    "#",       "'",
                                      "\"",      "\\",   "a\nb\tc", "",        " a",
                                      "a ",      "- a",  "*a",      "&a",      "!a",
                                      "%a",      "@a",   "`a",      "[a]",     "{a}",
                                      "a, b",    "true", "no",      "~",       "1:23",
                                      "0x1f",    "1e5",  "?",       "a:",      "\xc3\xa9t\xc3\xa9",
                                      "null",    "|",    ">",       "\x01\x7f"};
  PlanishSheet *sheet = sheet_of(host, HEAD STAGES);
  char text[64];
  for (size_t n = 0; n < sizeof texts / sizeof *texts; ++n) {
    snprintf(text, sizeof text, "%s", texts[n]);
    const PlanishSheetWriting writing = {
        .words = "one line\n\nand another", .more = write_more, .more_user = text};
    char *written = text_of_sheet(sheet, &writing);
    assert_ptr_equal(strstr(written, "# one line\n#\n# and another\nplanish: 1\n"), written);
    PlanishMistakes mistakes = {0};
    PlanishNode *root = planish_sheet_tree_new(written, strlen(written), &mistakes);
    assert_int_equal(mistakes.count, 0);
    const PlanishNode *node = root->first;
    while (strcmp(node->key->text, "more") != 0) {
      node = node->next;
    }
    assert_string_equal(node->first->text, text);
    assert_string_equal(node->first->next->text, "-0.1");
    planish_sheet_tree_free(root);
    assert_non_null(strstr(written, "more:\n"));
    written[strstr(written, "more:\n") - written] = '\0';
    PlanishSheet *again = sheet_of(host, written);
    assert_true(again != NULL && same_sheet(sheet, again, false));
    planish_sheet_free(again);
    free(written);
  }
  planish_sheet_free(sheet);
}

/* In UTF-8 (RFC 3629); returns the length. */
static size_t put_character(char *text, unsigned code)
{
  const unsigned char first[] = {0, 0, 0xc0, 0xe0, 0xf0};
  const size_t length = code < 0x80 ? 1 : (code < 0x800 ? 2 : (code < 0x10000 ? 3 : 4));
  for (size_t n = length - 1; n > 0; --n, code >>= 6) {
    text[n] = (char)(0x80 | (code & 0x3f));
  }
  text[0] = (char)(first[length] | code);
  return length;
}

/* Names of files hold what they like: every character there is, between blanks. */
static void every_character_comes_back(void **state)
{
  (void)state;
  enum { A_TEXT = 61, CHARACTERS = 0x110000 };
  unsigned checked = 0;
  char text[6 * A_TEXT + 1];
  char *written = NULL;
  size_t size = 0;
  for (unsigned code = 1; code < CHARACTERS;) {
    size_t length = 0;
    for (int n = 0; n < A_TEXT && code < CHARACTERS; ++n, ++code) {
      code += code == 0xd800 ? 0x800 : 0; /* surrogates are no characters */
      text[length++] = ' ';
      length += put_character(text + length, code);
      checked += 1;
    }
    text[length] = '\0';
    FILE *stream = open_memstream(&written, &size);
    planish_sheet_write_text(stream, text);
    fclose(stream);
    PlanishMistakes mistakes = {0};
    PlanishNode *node = planish_sheet_tree_new(written, size, &mistakes);
    if (node == NULL || strcmp(node->text, text) != 0) {
      print_error("before U+%04X: %s\n", code, written);
      fail();
    }
    planish_sheet_tree_free(node);
    free(written);
    /* All planes but the first two alike: a few of each. */
    code += code >= 0x20000 ? 997 : 0;
  }
  print_message("%u characters\n", checked);
  assert_true(checked > 0x20000 - 0x800 - A_TEXT);
}

static void the_shortest_number_is_written(void **state)
{
  (void)state;
  static const struct {
    double value;
    const char *text;
  } cases[] = {
      {0.0, "0"},
      {-18.0, "-18"},
      {100.0, "100"},
      {0.1, "0.1"},
      {1e-5, "0.00001"},
      {48000.0, "48000"},
      {123456789.0, "123456789"},
      {1.5e300, "1.5e+300"},
      {1e300, "1.0e+300"},
      {1e-9, "1.0e-09"},
      {-1.25e-8, "-1.25e-08"},
      {0.3 + 1e-17, "0.3"},
      {1.0 / 3.0, "0.3333333333333333"},
      {12345.678, "12345.678"},
  };
  char text[PLANISH_TEXT_NUMBER];
  for (size_t n = 0; n < sizeof cases / sizeof *cases; ++n) {
    planish_text_of_double(text, cases[n].value);
    assert_string_equal(text, cases[n].text);
  }
  planish_text_of_float(text, 0.1f);
  assert_string_equal(text, "0.1");
  planish_text_of_float(text, 0.041666701f);
  assert_string_equal(text, "0.0416667");
  /* Every bit of any number comes back. */
  unsigned seed = 3;
  for (int round = 0; round < 20000; ++round) {
    double back = 0.0;
    const double value = ldexp(at_random(&seed) + at_random(&seed) * 1e-8, round % 400 - 200);
    assert_true(planish_text_of_double(text, value) < PLANISH_TEXT_NUMBER);
    assert_true(planish_text_number(text, &back) && back == value);
    const float single = (float)ldexp(at_random(&seed) - 0.5, round % 80 - 40);
    planish_text_of_float(text, single);
    assert_true(planish_text_number(text, &back) && (float)back == single);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(every_sheet_comes_back),
      cmocka_unit_test(numbers_do_not_depend_on_the_locale),
      cmocka_unit_test(moved_values_come_back_exactly),
      cmocka_unit_test(a_resolved_sheet_names_every_control_and_no_preset),
      cmocka_unit_test(words_and_more_are_written_too),
      cmocka_unit_test(every_character_comes_back),
      cmocka_unit_test(the_shortest_number_is_written),
  };
  return cmocka_run_group_tests(tests, open_host, close_host);
}
