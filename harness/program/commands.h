/* The program's commands. argv[0] is the command's name. False with what went wrong; main prints
 * its line, if it has one, and turns the outcome into the exit code. Thread: main. */
#ifndef PLANISH_HARNESS_COMMANDS_H
#define PLANISH_HARNESS_COMMANDS_H

#include "harness/base/error.h"

bool planish_command_check(int argc, char **argv, PlanishError *error);
bool planish_command_compare(int argc, char **argv, PlanishError *error);
bool planish_command_stages(int argc, char **argv, PlanishError *error);
bool planish_command_render(int argc, char **argv, PlanishError *error);
bool planish_command_sheet(int argc, char **argv, PlanishError *error);
bool planish_command_recall(int argc, char **argv, PlanishError *error);
bool planish_command_revise(int argc, char **argv, PlanishError *error);
bool planish_command_measure(int argc, char **argv, PlanishError *error);
bool planish_command_deliver(int argc, char **argv, PlanishError *error);
bool planish_command_album(int argc, char **argv, PlanishError *error);
bool planish_command_response(int argc, char **argv, PlanishError *error);

#endif
