#include "harness/base/interrupt.h"
#include "harness/base/text.h"
#include "harness/program/commands.h"

#include <fcntl.h>
#include <poll.h>
#include <string.h>
#include <unistd.h>

typedef struct {
  const char *name;
  const char *arguments;
  const char *words;
  bool (*run)(int argc, char **argv, PlanishError *error);
} Command;

/* In the order in which a master comes about. */
static const Command commands[] = {
    {"stages", "[STAGE]", "what is installed; with a name, its controls", planish_command_stages},
    {"check", "MIX...", "a mix on arrival: what is wrong, where, how bad", planish_command_check},
    {"sheet", "...", "new, check, from presets, to presets", planish_command_sheet},
    {"render", "SHEET MIX OUT", "make the master that a sheet describes", planish_command_render},
    {"measure", "FILE...", "loudness, peaks, dynamics, stereo", planish_command_measure},
    {"compare", "A B", "what differs, lined up and equally loud", planish_command_compare},
    {"recall", "FILE", "the same samples again, or what differs", planish_command_recall},
    {"revise", "OLD NEW", "what changed from one master to the next", planish_command_revise},
    {"deliver", "MASTER...", "the files that destinations ask for", planish_command_deliver},
    {"album", "ALBUM FOLDER", "the masters of an album, its CD and files", planish_command_album},
    {"response", "STAGE", "a stage's measured response", planish_command_response},
};

static const char help_begin[] = "Usage: planish COMMAND [OPTION]... [ARGUMENT]...\n"
                                 "Masters a stereo mix through a chain of LV2 stages.\n"
                                 "\n";

static const char help_end[] =
    "\n"
    "  planish COMMAND --help         the command's options\n"
    "  planish --version\n"
    "\n"
    "Exit: 0 done; 1 a target missed, a fault found, a tolerance passed; 2 bad usage or\n"
    "sheet; 3 unusable audio; 4 could not read or write; 130 interrupted.\n";

static void print_help(void)
{
  (void)fputs(help_begin, stdout);
  for (size_t n = 0; n < sizeof commands / sizeof *commands; ++n) {
    const Command *command = &commands[n];
    (void)printf("  planish %-8s %-13s  %s\n", command->name, command->arguments, command->words);
  }
  (void)fputs(help_end, stdout);
}

static int exit_code(PlanishOutcome outcome)
{
  switch (outcome) {
  case PLANISH_DONE:
    return 0;
  case PLANISH_MISSED:
    return 1;
  case PLANISH_BAD_USE:
    return 2;
  case PLANISH_BAD_AUDIO:
    return 3;
  case PLANISH_BAD_FILE:
    return 4;
  case PLANISH_INTERRUPTED:
    return 130;
  }
  return 4;
}

static void fail_unknown(const char *name, PlanishError *error)
{
  PlanishNearest nearest = planish_nearest_to(name);
  for (size_t n = 0; n < sizeof commands / sizeof *commands; ++n) {
    planish_nearest_consider(&nearest, commands[n].name);
  }
  if (nearest.best != NULL) {
    planish_fail(error, PLANISH_BAD_USE, "unknown command: %s: did you mean %s?", name,
                 nearest.best);
  } else {
    planish_fail(error, PLANISH_BAD_USE, "unknown command: %s: see planish --help", name);
  }
}

static void run(int argc, char **argv, PlanishError *error)
{
  const char *name = argc > 1 ? argv[1] : NULL;
  if (name == NULL) {
    planish_fail(error, PLANISH_BAD_USE, "no command: see planish --help");
    return;
  }
  if (strcmp(name, "--help") == 0 || strcmp(name, "-h") == 0 || strcmp(name, "help") == 0) {
    print_help();
    return;
  }
  if (strcmp(name, "--version") == 0) {
    (void)puts("planish " PLANISH_VERSION);
    return;
  }
  for (size_t n = 0; n < sizeof commands / sizeof *commands; ++n) {
    if (strcmp(name, commands[n].name) == 0) {
      commands[n].run(argc - 1, argv + 1, error);
      return;
    }
  }
  fail_unknown(name, error);
}

/* A standard stream that came closed would give its number to the next file that is opened, and
 * what is printed would end in a master. What stands in for it refuses what it is for. */
static void hold_standard_streams(void)
{
  static const int stand_ins[] = {O_WRONLY, O_RDONLY, O_RDONLY};
  for (int stream = STDIN_FILENO; stream <= STDERR_FILENO; ++stream) {
    if (fcntl(stream, F_GETFD) < 0) {
      (void)open("/dev/null", stand_ins[stream]);
    }
  }
}

static void tell(const PlanishError *error)
{
  if (error->outcome != PLANISH_DONE && error->text[0] != '\0') {
    planish_text_print(stderr, "planish: %s\n", error->text);
  }
}

/* Whoever reads a table as far as they like, with head or in a pager, needs no word of it. */
static bool reader_has_left(void)
{
  struct pollfd look = {.fd = STDOUT_FILENO, .events = POLLOUT};
  return poll(&look, 1, 0) > 0 && (look.revents & POLLERR) != 0;
}

int main(int argc, char **argv)
{
  PlanishError error = {0};
  hold_standard_streams();
  planish_interrupt_install();
  run(argc, argv, &error);
  tell(&error);
  if ((fflush(stdout) != 0 || ferror(stdout)) && error.outcome < PLANISH_BAD_FILE) {
    /* Worse than what was found: whoever asked has not got it. */
    planish_error_clear(&error);
    planish_fail(&error, PLANISH_BAD_FILE,
                 "cannot write: standard output: give it a place with room");
    if (!reader_has_left()) {
      tell(&error);
    }
  }
  return exit_code(error.outcome);
}
