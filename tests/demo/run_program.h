/* Runs a program and reads what it prints, for the tests of the demo. */
#ifndef PLANISH_TESTS_RUN_PROGRAM_H
#define PLANISH_TESTS_RUN_PROGRAM_H

#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

/* Runs what `arguments` names (ended by NULL), prints its errors, puts its output into `text`.
 * Returns the exit code. */
static inline int run_program(const char *const arguments[], char *text, size_t size)
{
  int ends[2];
  if (pipe(ends) != 0) {
    return -1;
  }
  const pid_t child = fork();
  if (child == 0) {
    char *list[16] = {NULL};
    for (int n = 0; arguments[n] != NULL && n < 15; ++n) {
      memcpy(&list[n], &arguments[n], sizeof list[n]);
    }
    dup2(ends[1], STDOUT_FILENO);
    close(ends[0]);
    close(ends[1]);
    execv(list[0], list);
    _exit(99);
  }
  close(ends[1]);
  size_t used = 0;
  ssize_t got = 1;
  while (got > 0 && used < size - 1) {
    got = read(ends[0], text + used, size - 1 - used);
    used += got > 0 ? (size_t)got : 0;
  }
  text[used] = '\0';
  close(ends[0]);
  int status = 0;
  waitpid(child, &status, 0);
  return WIFEXITED(status) ? WEXITSTATUS(status) : -1;
}

/* The number behind `key`, looked for behind each of `after` in turn (ended by NULL); NAN if it is
 * not there. */
static inline double number_behind(const char *text, const char *const after[], const char *key)
{
  for (int n = 0; text != NULL && after[n] != NULL; ++n) {
    text = strstr(text, after[n]);
  }
  char quoted[80];
  snprintf(quoted, sizeof quoted, "\"%s\": ", key);
  text = text == NULL ? NULL : strstr(text, quoted);
  return text == NULL || strncmp(text + strlen(quoted), "null", 4) == 0
             ? (double)NAN
             : atof(text + strlen(quoted));
}

/* The largest value that a stage has reported, from what render --json prints. */
static inline double largest_report(const char *text, const char *stage, const char *symbol)
{
  char name[80];
  char report[80];
  snprintf(name, sizeof name, "\"name\": \"%s\"", stage);
  snprintf(report, sizeof report, "\"symbol\": \"%s\"", symbol);
  return number_behind(text, (const char *const[]){name, report, NULL}, "highest");
}

#endif
