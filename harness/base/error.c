#include "harness/base/error.h"

#include "harness/base/text.h"

#include <stdarg.h>

static void fill(PlanishError *error, PlanishOutcome outcome, const char *format, va_list arguments)
{
  if (error == NULL || error->outcome != PLANISH_DONE) {
    return;
  }
  error->outcome = outcome;
  planish_text_vline(error->text, sizeof error->text, format, arguments);
}

bool planish_fail(PlanishError *error, PlanishOutcome outcome, const char *format, ...)
{
  va_list arguments;
  va_start(arguments, format);
  fill(error, outcome, format, arguments);
  va_end(arguments);
  return false;
}

bool planish_fail_at(PlanishError *error, int line, int column, const char *format, ...)
{
  if (error != NULL && error->outcome == PLANISH_DONE) {
    error->line = line;
    error->column = column;
  }
  va_list arguments;
  va_start(arguments, format);
  fill(error, PLANISH_BAD_USE, format, arguments);
  va_end(arguments);
  return false;
}

bool planish_fail_memory(PlanishError *error)
{
  return planish_fail(error, PLANISH_BAD_FILE, "out of memory: close other programs and try again");
}

void planish_error_clear(PlanishError *error)
{
  *error = (PlanishError){.outcome = PLANISH_DONE};
}
