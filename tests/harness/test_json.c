#include "harness/measure/measure_json.h"
#include "tests/unit/cmocka_headers.h"

#include <locale.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

typedef struct {
  PlanishJson json;
  char *text;
  size_t size;
} Fixture;

static void open_on(Fixture *f)
{
  FILE *stream = open_memstream(&f->text, &f->size);
  assert_non_null(stream);
  f->json = planish_json_on(stream);
}

static void holds(Fixture *f, const char *expected)
{
  fclose(f->json.stream);
  assert_string_equal(f->text, expected);
  free(f->text);
}

static void objects_and_arrays(void **state)
{
  (void)state;
  Fixture f;
  open_on(&f);
  planish_json_array_begin(&f.json, NULL);
  planish_json_object_begin(&f.json, NULL);
  planish_json_bool(&f.json, "yes", true);
  planish_json_array_begin(&f.json, "none");
  planish_json_array_end(&f.json);
  planish_json_object_begin(&f.json, "inner");
  planish_json_object_end(&f.json);
  planish_json_null(&f.json, "nothing");
  planish_json_object_end(&f.json);
  planish_json_integer(&f.json, NULL, INT64_MIN);
  planish_json_array_end(&f.json);
  holds(&f, "[\n"
            "  {\n"
            "    \"format\": 1,\n"
            "    \"yes\": true,\n"
            "    \"none\": [],\n"
            "    \"inner\": {\n"
            "      \"format\": 1\n"
            "    },\n"
            "    \"nothing\": null\n"
            "  },\n"
            "  -9223372036854775808\n"
            "]\n");
}

static void number_becomes(double value, const char *expected)
{
  Fixture f;
  open_on(&f);
  planish_json_array_begin(&f.json, NULL);
  planish_json_number(&f.json, NULL, value);
  planish_json_array_end(&f.json);
  char whole[128];
  snprintf(whole, sizeof whole, "[\n  %s\n]\n", expected);
  holds(&f, whole);
}

static void numbers(void **state)
{
  (void)state;
  number_becomes(-8.25, "-8.25");
  number_becomes(0.0, "0");
  number_becomes(-0.0, "0");
  number_becomes(1e-30, "1e-30");
  number_becomes(48000.0, "48000");
  number_becomes((double)0.1F, "0.100000001");
  number_becomes((double)NAN, "null");
  number_becomes(HUGE_VAL, "null");
  number_becomes(-HUGE_VAL, "null");
}

static void numbers_in_another_locale(void **state)
{
  (void)state;
  static const char *const locales[] = {"de_DE.UTF-8", "fr_FR.UTF-8", "ps_AF.UTF-8", "de_DE"};
  for (size_t i = 0; i < sizeof locales / sizeof *locales; ++i) {
    if (setlocale(LC_NUMERIC, locales[i]) == NULL) {
      printf("    SKIPPED, not there: locale %s\n", locales[i]);
      continue;
    }
    number_becomes(-8.25, "-8.25");
    setlocale(LC_NUMERIC, "C");
  }
}

static void string_becomes(const char *text, const char *expected)
{
  Fixture f;
  open_on(&f);
  planish_json_string(&f.json, NULL, text);
  holds(&f, expected);
}

static void strings(void **state)
{
  (void)state;
  string_becomes(NULL, "null");
  string_becomes("", "\"\"");
  string_becomes("a \"b\" c:\\d/e", "\"a \\\"b\\\" c:\\\\d/e\"");
  string_becomes("\x01\n\t\x1f\x7f", "\"\\u0001\\u000a\\u0009\\u001f\\u007f\"");
  string_becomes("\xc3\xa4 \xe2\x82\xac \xf0\x9f\x8e\xb8",
                 "\"\xc3\xa4 \xe2\x82\xac \xf0\x9f\x8e\xb8\"");
  /* RFC 3629: lone and missing continuations, overlong forms, surrogates, over U+10FFFF. */
  string_becomes("\xa4x", "\"\xef\xbf\xbdx\"");
  string_becomes("\xc3", "\"\xef\xbf\xbd\"");
  string_becomes("\xe2\x82", "\"\xef\xbf\xbd\xef\xbf\xbd\"");
  string_becomes("\xc0\x80", "\"\xef\xbf\xbd\xef\xbf\xbd\"");
  string_becomes("\xed\xa0\x80", "\"\xef\xbf\xbd\xef\xbf\xbd\xef\xbf\xbd\"");
  string_becomes("\xf5", "\"\xef\xbf\xbd\"");
}

static void a_measurement(void **state)
{
  (void)state;
  const PlanishMeasurement m = {.frames = 96000,
                                .rate = 48000.0,
                                .channels = 2,
                                .duration = 2.0,
                                .integrated = -8.0,
                                .shortterm_max = -HUGE_VAL,
                                .range = (double)NAN,
                                .true_peak = -1.0,
                                .true_peak_at = 24000.0,
                                .true_peak_channel = 1,
                                .plr = 7.0,
                                .dc_offset = {0.5, -0.25}};
  Fixture f;
  open_on(&f);
  planish_measure_json(&f.json, NULL, "a.wav", &m);
  fclose(f.json.stream);
  static const char *const lines[] = {
      "{\n  \"format\": 1,\n  \"file\": \"a.wav\",\n",
      "\"frames\": 96000,",
      "\"rate_hz\": 48000,",
      "\"integrated_lufs\": -8,",
      "\"momentary_max_lufs\": 0,",
      "\"shortterm_max_lufs\": null,",
      "\"lra_lu\": null,",
      "\"true_peak_dbtp\": -1,",
      "\"true_peak_at_s\": 0.5,",
      "\"true_peak_channel\": \"right\",",
      "\"sample_peak_dbfs\": 0,",
      "\"plr_lu\": 7,",
      "\"psr_min_lu\": 0,",
      "\"correlation\": 0,",
      "\"mono_loss_lu\": 0,",
      "\"dc_offset\": [\n    0.5,\n    -0.25\n  ]",
      "\"clipped_runs\": 0,",
  };
  for (size_t i = 0; i < sizeof lines / sizeof *lines; ++i) {
    if (strstr(f.text, lines[i]) == NULL) {
      fail_msg("missing: %s in\n%s", lines[i], f.text);
    }
  }
  free(f.text);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(objects_and_arrays),
      cmocka_unit_test(numbers),
      cmocka_unit_test(numbers_in_another_locale),
      cmocka_unit_test(strings),
      cmocka_unit_test(a_measurement),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
