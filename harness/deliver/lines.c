#include "harness/deliver/lines.h"

#include "harness/base/text.h"

void planish_lines_add(PlanishLines *lines, const char *format, ...)
{
  if (lines->count < PLANISH_LINES) {
    va_list arguments;
    va_start(arguments, format);
    planish_text_vline(lines->text[lines->count], PLANISH_LINE_BYTES, format, arguments);
    va_end(arguments);
    lines->count += 1;
  }
}
