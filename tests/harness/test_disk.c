/* Disks that are full, and folders that go away under a render: one line, exit code 4, nothing
 * left. Small disks are mounted in a namespace of the test's own, which takes root; skipped
 * without. */
#define _GNU_SOURCE
#include "tests/harness/program_fixture.h"

#include <poll.h>
#include <sched.h>
#include <stdbool.h>
#include <sys/mount.h>

enum { OUT_BYTES = 6 * LENGTH };

static bool own_namespace;

static int open_disks(void **state)
{
  own_namespace =
      unshare(CLONE_NEWNS) == 0 && mount("none", "/", NULL, MS_REC | MS_PRIVATE, NULL) == 0;
  return open_all(state);
}

/* A disk of so many bytes in the test's folder. */
static const char *mount_disk(unsigned bytes)
{
  char options[40];
  start_files(NULL);
  snprintf(options, sizeof options, "size=%u,mode=0700", bytes);
  mkdir(in_folder("disk"), 0700);
  if (!own_namespace || mount("tmpfs", in_folder("disk"), "tmpfs", 0, options) != 0) {
    rmdir(in_folder("disk"));
    print_message("a small disk cannot be mounted, which takes root: skipped\n");
    skip();
  }
  return name("disk/out.wav");
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

static int unmount_disk(void **state)
{
  (void)state;
  umount(in_folder("disk"));
  rmdir(in_folder("disk"));
  return 0;
}

static void a_full_disk_leaves_nothing(void **state)
{
  (void)state;
  const char *out = mount_disk(OUT_BYTES / 2);
  Outcome outcome = RUN("render", name("sheet.yaml"), name("mix.wav"), out);
  expect(&outcome, 4, "the disk is full");
  assert_int_equal(count_on_disk(), 0);
}

/* The first master fits, the second does not: neither stands. */
static void several_masters_stand_together_or_not_at_all(void **state)
{
  (void)state;
  const char *out = mount_disk(OUT_BYTES * 5 / 2);
  Outcome outcome =
      RUN("render", "--targets=-12,-13,-14", name("sheet.yaml"), name("mix.wav"), out);
  expect(&outcome, 4, "the disk is full");
  assert_int_equal(count_on_disk(), 0);
}

/* Room for the masters alone: the same bytes without what would have been kept. */
static void without_room_to_keep_anything_the_master_is_the_same(void **state)
{
  (void)state;
  const char *out = mount_disk(OUT_BYTES * 5 / 2);
  Outcome outcome =
      RUN("render", "--no-recall", name("sheet.yaml"), name("mix.wav"), name("elsewhere.wav"));
  expect(&outcome, 0, "");
  assert_string_equal(outcome.error, "");
  outcome = RUN("render", "--no-recall", name("sheet.yaml"), name("mix.wav"), out);
  expect(&outcome, 0, "warning: no room beside the output");
  assert_int_equal(count_on_disk(), 1);
  size_t frames[2];
  SF_INFO info;
  float *one = read_audio(name("elsewhere.wav"), &frames[0], &info);
  float *two = read_audio(out, &frames[1], &info);
  assert_int_equal(frames[0], frames[1]);
  assert_memory_equal(one, two, 2 * frames[0] * sizeof *one);
  free(one);
  free(two);
}

/* Of an album what is whole stays, the rest is absent, and a second run finishes. */
static void an_album_goes_on_once_there_is_room(void **state)
{
  (void)state;
  mount_disk(OUT_BYTES * 10 / 3); /* a float master, and not two more that are on their way */
  write_text("album.yaml", "album: 1\nsheet: sheet.yaml\nname: \"{track}\"\n"
                           "tracks: [{mix: mix.wav}, {mix: mix.wav, gap: 1}]\n");
  Outcome outcome = RUN("album", "--jobs=1", name("album.yaml"), name("disk"));
  expect(&outcome, 4, "the disk is full");
  assert_non_null(strstr(outcome.out, "not made"));
  assert_int_equal(count_on_disk(), 2);
  assert_int_equal(access(in_folder("disk/01.wav"), F_OK), 0);
  assert_int_equal(mount("tmpfs", in_folder("disk"), "tmpfs", MS_REMOUNT, "size=64m,mode=0700"), 0);
  outcome = RUN("album", "--jobs=1", name("album.yaml"), name("disk"));
  expect(&outcome, 0, "");
  assert_non_null(strstr(outcome.out, "kept"));
  assert_int_equal(count_on_disk(), 4);
}

/* Found out ahead of the render. */
static void no_room_for_what_is_looked_at_is_told(void **state)
{
  (void)state;
  mount_disk(OUT_BYTES / 2);
  Outcome outcome = RUN("render", name("sheet.yaml"), name("mix.wav"), name("out.wav"));
  expect(&outcome, 0, "");
  write_audio("new.wav", WAV24, RATE, 2, music + 2, LENGTH - 1);
  setenv("TMPDIR", in_folder("disk"), 1);
  outcome = RUN("recall", name("out.wav.yaml"));
  expect(&outcome, 4, "no room: 3 MB are needed for a while in TMPDIR (");
  expect(&outcome, 4, "make room, or set TMPDIR to a folder of another disk");
  outcome = RUN("revise", name("out.wav.yaml"), name("new.wav"));
  expect(&outcome, 4, "no room: 3 MB are needed for a while in TMPDIR (");
  unsetenv("TMPDIR");
  outcome = RUN("recall", "--out", name("disk/out.wav"), name("out.wav.yaml"));
  expect(&outcome, 4, "make room, or write to another disk");
  assert_int_equal(count_on_disk(), 0);
}

static void a_folder_that_goes_away_is_told(void **state)
{
  (void)state;
  start_files(NULL);
  float *noise = make_music(60 * RATE);
  write_audio("long.wav", WAV24, RATE, 2, noise, 60 * RATE);
  free(noise);
  mkdir(in_folder("disk"), 0700);
  const pid_t child = launch((const char *const[]){"planish", "render", name("sheet.yaml"),
                                                   name("long.wav"), name("disk/out.wav"), NULL});
  /* Until the half-written file is there. */
  for (int wait = 0; wait < 20000 && count_on_disk() == 0; ++wait) {
    poll(NULL, 0, 1);
  }
  assert_int_equal(count_on_disk(), 1);
  char command[600];
  snprintf(command, sizeof command, "rm -r '%s'", in_folder("disk"));
  assert_int_equal(system(command), 0);
  const Outcome outcome = finish(child);
  expect(&outcome, 4, "disk/out.wav");
  assert_int_equal(access(in_folder("disk"), F_OK), -1);
  print_message("%s", outcome.error);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test_teardown(a_full_disk_leaves_nothing, unmount_disk),
      cmocka_unit_test_teardown(several_masters_stand_together_or_not_at_all, unmount_disk),
      cmocka_unit_test_teardown(without_room_to_keep_anything_the_master_is_the_same, unmount_disk),
      cmocka_unit_test_teardown(an_album_goes_on_once_there_is_room, unmount_disk),
      cmocka_unit_test_teardown(no_room_for_what_is_looked_at_is_told, unmount_disk),
      cmocka_unit_test(a_folder_that_goes_away_is_told),
  };
  return cmocka_run_group_tests(tests, open_disks, close_all);
}
