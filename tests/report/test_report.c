/* The page: well-formed, whole in itself, within its size, everything from outside escaped, and its
 * excerpts the very samples of the tracks. */
#include "tests/report/page_fixture.h"
#include "tests/unit/cmocka_headers.h"

#include <locale.h>
#include <stdbool.h>

enum { SHORT = 12 };

static PageFixture page;
static char *text; /* the page */
static size_t size;

static char *read_page(const char *name, size_t *length)
{
  FILE *file = fopen(in_folder(name), "rb");
  assert_non_null(file);
  fseek(file, 0, SEEK_END);
  *length = (size_t)ftell(file);
  rewind(file);
  char *all = malloc(*length + 1);
  assert_int_equal(fread(all, 1, *length, file), *length);
  all[*length] = '\0';
  fclose(file);
  return all;
}

static int make_one(void **state)
{
  PlanishError error = {0};
  if (make_folder(state) != 0) {
    return -1;
  }
  page_make(&page, SHORT, in_folder("page.html"));
  if (!planish_report_write(&page.report, in_folder("page.html"), &error)) {
    print_error("%s\n", error.text);
    return -1;
  }
  text = read_page("page.html", &size);
  return 0;
}

static int drop_one(void **state)
{
  free(text);
  page_free(&page);
  return remove_folder(state);
}

static bool is_void(const char *name)
{
  static const char *const names[] = {"meta", "input", "rect", "path"};
  for (size_t n = 0; n < sizeof names / sizeof *names; ++n) {
    if (strcmp(name, names[n]) == 0) {
      return true;
    }
  }
  return false;
}

/* Reads one tag from `at`, just behind its "<", and returns what follows its ">". Attributes are
 * names, with values in double quotes or none. */
static const char *read_tag(const char *at, char *name, bool *closing, bool *empty)
{
  size_t length = 0;
  *closing = *at == '/';
  at += *closing;
  while (strchr("abcdefghijklmnopqrstuvwxyz0123456789", *at) != NULL && length < 15) {
    name[length++] = *at++;
  }
  name[length] = '\0';
  assert_true(length > 0);
  while (*at == ' ') {
    at += 1;
    const char *start = at;
    while (strchr("abcdefghijklmnopqrstuvwxyzABR-0123456789", *at) != NULL && *at != '\0') {
      at += 1;
    }
    assert_true(at > start);
    if (*at == '=') {
      assert_int_equal(at[1], '"');
      at = strchr(at + 2, '"');
      assert_non_null(at);
      at += 1;
    }
  }
  *empty = *at == '/';
  at += *empty;
  assert_int_equal(*at, '>');
  return at + 1;
}

static void every_element_is_closed_in_its_order(void **state)
{
  (void)state;
  char open[64][16];
  size_t depth = 0;
  size_t elements = 0;
  assert_memory_equal(text, "<!DOCTYPE html>\n", 16);
  for (const char *at = strchr(text + 1, '<'); at != NULL; at = strchr(at, '<')) {
    char name[16];
    bool closing = false;
    bool empty = false;
    at = read_tag(at + 1, name, &closing, &empty);
    if (closing) {
      assert_true(depth > 0);
      assert_string_equal(name, open[--depth]);
      continue;
    }
    elements += 1;
    if (strcmp(name, "script") == 0 || strcmp(name, "style") == 0) {
      /* Raw text: ends at the first such end tag, wherever it stands. */
      at = strstr(at, name[1] == 'c' ? "</script>" : "</style>");
      assert_non_null(at);
      at = strchr(at, '>') + 1;
    } else if (!empty && !is_void(name)) {
      assert_true(depth < 64);
      memcpy(open[depth++], name, sizeof name);
    }
  }
  assert_int_equal(depth, 0);
  print_message("%zu elements\n", elements);
  assert_true(elements > 300);
}

static size_t count_of(const char *what)
{
  size_t count = 0;
  for (const char *at = strstr(text, what); at != NULL; at = strstr(at + 1, what)) {
    count += 1;
  }
  return count;
}

static void nothing_is_fetched(void **state)
{
  (void)state;
  static const char *const never[] = {"http:",   "https:",         " src=",    "url(",
                                      "@import", "<link",          "<img",     "<iframe",
                                      "fetch(",  "XMLHttpRequest", "WebSocket"};
  for (size_t n = 0; n < sizeof never / sizeof *never; ++n) {
    assert_int_equal(count_of(never[n]), 0);
  }
  assert_int_equal(count_of("href="), count_of("href=\"#"));
  assert_int_equal(count_of("default-src 'none'"), 1);
}

static void what_comes_from_outside_is_text(void **state)
{
  (void)state;
  static const char safe[] = "&lt;/script&gt;&lt;b&gt;&amp;amp; &quot;two&quot;  &#39;one&#39;";
  assert_int_equal(count_of("<b>"), 0);
  assert_true(count_of(safe) >= 8);
  assert_int_equal(count_of("mix <&>"), 0);
  assert_true(count_of("mix &lt;&amp;&gt;.wav") >= 5);
  /* In JSON as an escape, which no HTML reader takes for a tag. */
  assert_int_equal(count_of("\"\\u003c/script>\\u003cb>&amp; \\\"two\\\"  'one'\""), 1);
}

static void the_same_in_every_locale(void **state)
{
  (void)state;
  PlanishError error = {0};
  if (setlocale(LC_ALL, "de_DE.UTF-8") == NULL) {
    skip();
  }
  const bool done = planish_report_write(&page.report, in_folder("again.html"), &error);
  setlocale(LC_ALL, "C");
  assert_true(done);
  size_t length = 0;
  char *again = read_page("again.html", &length);
  assert_int_equal(length, size);
  assert_memory_equal(again, text, size);
  free(again);
  remove(in_folder("again.html"));
}

static unsigned value_of(char letter)
{
  static const char letters[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
  const char *at = strchr(letters, letter);
  assert_true(at != NULL && letter != '\0');
  return (unsigned)(at - letters);
}

/* Writes an excerpt of the page to a file. */
static void save_excerpt(size_t index, const char *name)
{
  char id[64];
  snprintf(id, sizeof id, "id=\"sound-%zu\">", index);
  const char *at = strstr(text, id);
  assert_non_null(at);
  FILE *file = fopen(in_folder(name), "wb");
  for (at += strlen(id); *at != '<'; at += 4) {
    const unsigned count = at[2] == '=' ? 1 : at[3] == '=' ? 2 : 3;
    unsigned word = value_of(at[0]) << 18 | value_of(at[1]) << 12;
    word |= count > 1 ? value_of(at[2]) << 6 : 0U;
    word |= count > 2 ? value_of(at[3]) : 0U;
    for (unsigned k = 0; k < count; ++k) {
      fputc((int)(word >> (16 - 8 * k) & 255U), file);
    }
  }
  fclose(file);
}

static double number_after(const char *from, const char *key)
{
  const char *at = strstr(from, key);
  assert_non_null(at);
  return strtod(at + strlen(key), NULL);
}

/* The place in the page where excerpt `index` is described. */
static const char *description_of(size_t index)
{
  char key[64];
  snprintf(key, sizeof key, "\"sound\": %zu,", index);
  const char *at = strstr(text, key);
  assert_non_null(at);
  return at;
}

static void excerpts_are_the_samples_of_the_tracks(void **state)
{
  (void)state;
  const size_t count = count_of("type=\"text/plain\"");
  assert_true(count >= PAGE_VERSIONS);
  assert_int_equal(count_of(" 24 bit"), 1);
  for (size_t n = 0; n < count; ++n) {
    PlanishError error = {0};
    size_t frames = 0;
    SF_INFO info;
    const size_t version = (size_t)number_after(description_of(n), "\"version\": ");
    const double from = number_after(description_of(n), "\"own_place_s\": ");
    const double length = number_after(description_of(n), "\"duration_s\": ");
    save_excerpt(n, "excerpt.flac");
    float *got = read_audio(in_folder("excerpt.flac"), &frames, &info);
    assert_non_null(got);
    assert_int_equal(info.format, SF_FORMAT_FLAC | SF_FORMAT_PCM_24);
    assert_int_equal(info.samplerate, PAGE_RATE);
    assert_int_equal(frames, (size_t)(length * PAGE_RATE + 0.5));
    float *wanted = malloc(2 * frames * sizeof *wanted);
    assert_true(planish_track_read(page.versions[version].track, (uint64_t)(from * PAGE_RATE + 0.5),
                                   wanted, frames, &error));
    assert_memory_equal(got, wanted, 2 * frames * sizeof *wanted);
    free(wanted);
    free(got);
  }
  remove(in_folder("excerpt.flac"));
}

static void a_long_piece_stays_within_the_size(void **state)
{
  (void)state;
  PlanishError error = {0};
  PageFixture large;
  page_make(&large, 70.0, in_folder("large.html"));
  assert_true(planish_report_write(&large.report, in_folder("large.html"), &error));
  page_free(&large);
  struct stat info;
  assert_int_equal(stat(in_folder("large.html"), &info), 0);
  print_message("page of 70 s of noise in %d versions: %.1f MB\n", PAGE_VERSIONS,
                (double)info.st_size * 1e-6);
  assert_true(info.st_size <= PLANISH_REPORT_LARGEST);
  assert_true(info.st_size > PLANISH_REPORT_LARGEST / 2);
  remove(in_folder("large.html"));
}

static void parts_that_are_missing_are_left_out(void **state)
{
  (void)state;
  PlanishError error = {0};
  const PlanishReportPage bare = {
      .title = "bare",
      .program = "planish 0",
      .verdict = PLANISH_VERDICT_RENDERED,
      .target_loudness = (double)NAN,
      .target_ceiling = (double)NAN,
      .versions = &page.versions[4],
      .version_count = 1,
      .rate = PAGE_RATE,
  };
  assert_true(planish_report_write(&bare, in_folder("bare.html"), &error));
  char *full = text;
  const size_t full_size = size;
  text = read_page("bare.html", &size);
  every_element_is_closed_in_its_order(state);
  static const char *const gone[] = {"id=\"gain\"",    "id=\"bands\"",    "id=\"punch\"",
                                     "id=\"account\"", "id=\"findings\"", "id=\"settings\""};
  for (size_t n = 0; n < sizeof gone / sizeof *gone; ++n) {
    assert_int_equal(count_of(gone[n]), 0);
  }
  free(text);
  text = full;
  size = full_size;
  remove(in_folder("bare.html"));
}

static void what_cannot_be_written_is_said(void **state)
{
  (void)state;
  PlanishError error = {0};
  assert_false(planish_report_write(&page.report, in_folder("nowhere/page.html"), &error));
  assert_int_equal(error.outcome, PLANISH_BAD_FILE);
  assert_non_null(strstr(error.text, "nowhere/page.html"));
  assert_int_equal(count_files(), 1);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(every_element_is_closed_in_its_order),
      cmocka_unit_test(nothing_is_fetched),
      cmocka_unit_test(what_comes_from_outside_is_text),
      cmocka_unit_test(the_same_in_every_locale),
      cmocka_unit_test(excerpts_are_the_samples_of_the_tracks),
      cmocka_unit_test(parts_that_are_missing_are_left_out),
      cmocka_unit_test(what_cannot_be_written_is_said),
      cmocka_unit_test(a_long_piece_stays_within_the_size),
  };
  return cmocka_run_group_tests(tests, make_one, drop_one);
}
