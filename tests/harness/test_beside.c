/* A text beside a file takes its place with it, both or neither. */
#include "harness/audio/audio_writer.h"
#include "harness/base/beside.h"
#include "tests/harness/files_fixture.h"
#include "tests/unit/cmocka_headers.h"

static void expect_text(const char *file, const char *text)
{
  char found[64] = "";
  FILE *stream = fopen(in_folder(file), "r");
  assert_non_null(stream);
  found[fread(found, 1, sizeof found - 1, stream)] = '\0';
  fclose(stream);
  assert_string_equal(found, text);
}

/* Who may read what stood there may read what takes its place, and nobody else. */
static void expect_mode(const char *file, mode_t mode)
{
  struct stat facts;
  assert_int_equal(stat(in_folder(file), &facts), 0);
  assert_int_equal(facts.st_mode & 0777, mode);
}

static void what_is_not_committed_is_gone(void **state)
{
  empty_folder(state);
  PlanishBeside beside = {0};
  PlanishError error = {0};
  assert_true(planish_beside_commit(&beside, &error));
  planish_beside_undo(&beside);
  planish_beside_release(&beside);
  assert_true(planish_beside_new(&beside, in_folder("note"), "text", 4, &error));
  assert_int_equal(count_files(), 1);
  assert_int_not_equal(access(in_folder("note"), F_OK), 0);
  planish_beside_undo(&beside);
  planish_beside_release(&beside);
  assert_int_equal(count_files(), 0);
  assert_false(planish_beside_new(&beside, in_folder("none/note"), "text", 4, &error));
  assert_int_equal(error.outcome, PLANISH_BAD_FILE);
}

static void what_stood_there_comes_back(void **state)
{
  empty_folder(state);
  PlanishBeside beside = {0};
  PlanishError error = {0};
  assert_true(planish_beside_new(&beside, in_folder("note"), "first", 5, &error));
  assert_true(planish_beside_commit(&beside, &error));
  expect_text("note", "first");
  planish_beside_undo(&beside);
  planish_beside_release(&beside);
  assert_int_equal(count_files(), 0);
  write_text("note", "mine");
  assert_int_equal(chmod(in_folder("note"), 0640), 0);
  assert_true(planish_beside_new(&beside, in_folder("note"), "second", 6, &error));
  assert_true(planish_beside_commit(&beside, &error));
  expect_text("note", "second");
  expect_mode("note", 0640);
  planish_beside_undo(&beside);
  planish_beside_release(&beside);
  expect_text("note", "mine");
  expect_mode("note", 0640);
  assert_int_equal(count_files(), 1);
}

/* A folder has taken the place of the master meanwhile. */
static void a_file_that_cannot_follow_takes_its_text_back(void **state)
{
  empty_folder(state);
  static const float silence[200] = {0.0f};
  for (int former = 0; former < 2; ++former) {
    PlanishError error = {0};
    if (former == 1) {
      write_text("out.wav.yaml", "mine");
    }
    PlanishWriter *writer =
        planish_writer_new(in_folder("out.wav"), 48000.0, 100, PLANISH_WORD_24, NULL, NULL, &error);
    assert_true(planish_writer_write(writer, silence, 100, &error));
    assert_true(planish_writer_finish(writer, &error));
    assert_true(planish_writer_beside(writer, in_folder("out.wav.yaml"), "new", 3, &error));
    assert_int_equal(mkdir(in_folder("out.wav"), 0700), 0);
    assert_false(planish_writer_commit(writer, &error));
    assert_int_equal(error.outcome, PLANISH_BAD_FILE);
    planish_writer_free(writer);
    assert_int_equal(rmdir(in_folder("out.wav")), 0);
    assert_int_equal(count_files(), former);
  }
  expect_text("out.wav.yaml", "mine");
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(what_is_not_committed_is_gone),
      cmocka_unit_test(what_stood_there_comes_back),
      cmocka_unit_test(a_file_that_cannot_follow_takes_its_text_back),
  };
  return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
