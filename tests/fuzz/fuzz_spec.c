/* Delivery specs: any text is read, or refused with its mistakes. */
#include "harness/deliver/spec.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
  PlanishMistakes mistakes = {0};
  PlanishSpec *spec = planish_spec_parse((const char *)data, size, "fuzz", &mistakes);
  planish_spec_free(spec);
  planish_mistakes_free(&mistakes);
  return 0;
}
