#include "harness/base/interrupt.h"
#include "harness/base/text.h"
#include "harness/program/commands.h"

#include <fcntl.h>
#include <string.h>
#include <unistd.h>

typedef struct {
  const char *name;
  bool (*run)(int argc, char **argv, PlanishError *error);
} Command;

static const Command commands[] = {
    {"check", planish_command_check},   {"measure", planish_command_measure},
    {"render", planish_command_render}, {"response", planish_command_response},
    {"sheet", planish_command_sheet},   {"stages", planish_command_stages},
};

static const char help[] =
    "Usage: planish COMMAND [OPTION]... [ARGUMENT]...\n"
    "Masters a stereo mix through a chain of LV2 stages.\n"
    "\n"
    "  planish stages                 what is installed: stage, URI, latency\n"
    "  planish stages STAGE           its controls\n"
    "  planish check MIX...           a mix on arrival: what is wrong, where, how bad\n"
    "  planish render SHEET MIX OUT   make the master that a sheet describes\n"
    "  planish sheet ...              new, check, from presets, to presets\n"
    "  planish measure FILE...        loudness, peaks, dynamics, stereo\n"
    "  planish response STAGE         a stage's measured magnitude and static curve\n"
    "\n"
    "  planish COMMAND --help         the command's options\n"
    "  planish --version\n"
    "\n"
    "Exit: 0 done; 1 a target missed, a fault found, a tolerance passed; 2 bad usage or\n"
    "sheet; 3 unusable audio; 4 could not read or write; 130 interrupted.\n";

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
    (void)fputs(help, stdout);
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

int main(int argc, char **argv)
{
  PlanishError error = {0};
  hold_standard_streams();
  planish_interrupt_install();
  run(argc, argv, &error);
  if (fflush(stdout) != 0 || ferror(stdout)) {
    planish_fail(&error, PLANISH_BAD_FILE,
                 "cannot write: standard output: give it a place with room");
  }
  if (error.outcome != PLANISH_DONE && error.text[0] != '\0') {
    planish_text_print(stderr, "planish: %s\n", error.text);
  }
  return exit_code(error.outcome);
}
