#include "harness/program/options.h"

#include "harness/base/text.h"

#include <getopt.h>
#include <math.h>
#include <string.h>

enum { MAX_OPTIONS = 32 };

static void clear(const PlanishOption *option)
{
  switch (option->kind) {
  case PLANISH_OPTION_FLAG:
    *(bool *)option->value = false;
    break;
  case PLANISH_OPTION_TEXT:
    *(const char **)option->value = NULL;
    break;
  case PLANISH_OPTION_TEXTS:
    ((PlanishOptionTexts *)option->value)->count = 0;
    break;
  case PLANISH_OPTION_NUMBER:
  case PLANISH_OPTION_TIME:
    *(double *)option->value = NAN;
    break;
  case PLANISH_OPTION_COUNT:
    *(unsigned *)option->value = 0;
    break;
  }
}

static bool add(PlanishOptionTexts *texts, const char *name, const char *text, PlanishError *error)
{
  if (texts->count == PLANISH_OPTION_MAX_TEXTS) {
    return planish_fail(error, PLANISH_BAD_USE, "too many: --%s: give at most %d", name,
                        PLANISH_OPTION_MAX_TEXTS);
  }
  texts->list[texts->count++] = text;
  return true;
}

static bool take_count(const char *name, const char *text, unsigned *count, PlanishError *error)
{
  double number = 0.0;
  const bool fits = planish_text_number(text, &number) && number >= 1.0 &&
                    number <= PLANISH_OPTION_MAX_COUNT && number == floor(number);
  *count = fits ? (unsigned)number : 0;
  return fits || planish_fail(error, PLANISH_BAD_USE, "%s: --%s: give a whole number from 1 to %d",
                              text, name, PLANISH_OPTION_MAX_COUNT);
}

static bool take(const char *command, const PlanishOption *option, const char *text,
                 PlanishError *error)
{
  if (option->kind != PLANISH_OPTION_FLAG && text[0] == '\0') {
    return planish_fail(error, PLANISH_BAD_USE,
                        "empty value: --%s=: give one, or leave the option out: see planish %s "
                        "--help",
                        option->name, command);
  }
  switch (option->kind) {
  case PLANISH_OPTION_FLAG:
    *(bool *)option->value = true;
    return true;
  case PLANISH_OPTION_TEXT:
    *(const char **)option->value = text;
    return true;
  case PLANISH_OPTION_TEXTS:
    return add(option->value, option->name, text, error);
  case PLANISH_OPTION_NUMBER:
    return planish_text_number(text, option->value) ||
           planish_fail(error, PLANISH_BAD_USE, "no number: --%s %s: see planish %s --help",
                        option->name, text, command);
  case PLANISH_OPTION_TIME:
    return planish_text_time(text, option->value) ||
           planish_fail(error, PLANISH_BAD_USE,
                        "no time: --%s %s: give seconds, or minutes and seconds as 1:23.5",
                        option->name, text);
  case PLANISH_OPTION_COUNT:
    return take_count(option->name, text, option->value, error);
  }
  return false;
}

/* After getopt_long() has returned `got`. It tells of a letter in optopt, and may not have come to
 * the end of the argument then. */
static bool fail_option(char **argv, int got, PlanishError *error)
{
  const char letter[3] = {'-', (char)optopt, '\0'};
  const bool is_letter = got == '?' && optopt != 0;
  const char *name = is_letter ? letter : argv[optind - 1];
  const char *problem = got == ':'                  ? "a value is missing"
                        : strchr(name, '=') != NULL ? "unknown option, or one without a value"
                        : is_letter                 ? "unknown option"
                                                    : "unknown option, or not clear";
  return planish_fail(error, PLANISH_BAD_USE, "%s: %s: see planish %s --help", problem, name,
                      argv[0]);
}

static const char help_name[] = "help";

/* For what is made of the commands' help (make-documents), and the test that holds both together.
 */
static const char *const tell_all = "--help-data";

static bool tell_options(const PlanishOption *options, size_t count)
{
  static const char *const kinds[] = {
      [PLANISH_OPTION_FLAG] = "flag",   [PLANISH_OPTION_TEXT] = "text",
      [PLANISH_OPTION_TEXTS] = "texts", [PLANISH_OPTION_NUMBER] = "number",
      [PLANISH_OPTION_TIME] = "time",   [PLANISH_OPTION_COUNT] = "count",
  };
  for (size_t n = 0; n < count; ++n) {
    (void)printf("%s %s\n", options[n].name, kinds[options[n].kind]);
  }
  (void)printf("%s %s\n", help_name, kinds[PLANISH_OPTION_FLAG]);
  return false;
}

/* As getopt_long() wants them, --help after the command's own. */
static void list_options(const PlanishOption *options, size_t count, struct option *list)
{
  for (size_t n = 0; n < count; ++n) {
    list[n].name = options[n].name;
    list[n].has_arg = options[n].kind == PLANISH_OPTION_FLAG ? no_argument : required_argument;
  }
  list[count].name = help_name;
}

bool planish_options_read(int argc, char **argv, const char *help, const PlanishOption *options,
                          size_t count, int *operands, PlanishError *error)
{
  struct option list[MAX_OPTIONS + 2] = {0};
  const size_t taken = count < MAX_OPTIONS ? count : MAX_OPTIONS;
  if (argc == 2 && strcmp(argv[1], tell_all) == 0) {
    return tell_options(options, taken);
  }
  for (size_t n = 0; n < taken; ++n) {
    clear(&options[n]);
  }
  list_options(options, taken, list);
  bool wants_help = false;
  opterr = 0;
  optind = 1;
  int found = 0;
  int got = 0;
  while ((got = getopt_long(argc, argv, ":", list, &found)) != -1) {
    if (got != 0) {
      return fail_option(argv, got, error);
    }
    if ((size_t)found == taken) {
      wants_help = true;
    } else if (!take(argv[0], &options[found], optarg, error)) {
      return false;
    }
  }
  if (wants_help) {
    (void)fputs(help, stdout);
    return false;
  }
  *operands = optind;
  return true;
}

bool planish_options_complain(const char *path, const PlanishMistakes *mistakes,
                              PlanishError *error)
{
  char line[sizeof mistakes->list->text + 640];
  for (size_t n = 0; n < mistakes->count; ++n) {
    const PlanishError *mistake = &mistakes->list[n];
    if (mistake->line > 0) {
      planish_text_line(line, sizeof line, "%s:%d:%d: %s", path, mistake->line, mistake->column,
                        mistake->text);
    } else {
      planish_text_line(line, sizeof line, "%s: %s", path, mistake->text);
    }
    planish_text_print(stderr, "planish: %s\n", line);
  }
  if (mistakes->untold > 0) {
    planish_text_line(line, sizeof line, "%s: %zu more mistakes: mend these first", path,
                      mistakes->untold);
    planish_text_print(stderr, "planish: %s\n", line);
  }
  planish_fail(error, mistakes->count > 0 ? mistakes->list[0].outcome : PLANISH_BAD_FILE, "%s", "");
  return false;
}

void planish_options_warn(const char *format, ...)
{
  char text[640];
  va_list arguments;
  va_start(arguments, format);
  planish_text_vline(text, sizeof text, format, arguments);
  va_end(arguments);
  planish_text_print(stderr, "planish: warning: %s\n", text);
}
