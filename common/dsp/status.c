#include "common/dsp/status.h"

const char *planish_status_text(PlanishStatus status)
{
  switch (status) {
  case PLANISH_OK:
    return "done";
  case PLANISH_NO_MEMORY:
    return "out of memory";
  case PLANISH_BAD_ARGUMENT:
    return "a value is out of its range";
  case PLANISH_BAD_RATE:
    return "the sample rate is not supported";
  }
  return "unknown status";
}
