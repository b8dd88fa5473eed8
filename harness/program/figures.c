#include "harness/program/figures.h"

#include "common/dsp/maths.h"
#include "harness/base/text.h"

#include <math.h>
#include <stdbool.h>

static bool is_silent(double value)
{
  return !isfinite(value) || value <= PLANISH_SILENCE_DB;
}

static const char *spaced(const char *unit)
{
  return unit[0] == '\0' ? "" : " ";
}

void planish_figure(char text[PLANISH_FIGURE], double value, const char *unit)
{
  if (is_silent(value)) {
    planish_text_format(text, PLANISH_FIGURE, "silent");
  } else {
    planish_text_format(text, PLANISH_FIGURE, "%.2f%s%s", value, spaced(unit), unit);
  }
}

void planish_figure_change(char text[PLANISH_FIGURE], double before, double after, const char *unit)
{
  text[0] = '\0';
  if (!is_silent(before) && !is_silent(after)) {
    planish_text_format(text, PLANISH_FIGURE, "%+.2f%s%s", after - before, spaced(unit), unit);
  }
}
