/* Sheets and recall files, which are sheets too: any text is read, or refused with its mistakes. */
#include "harness/sheet/sheet.h"
#include "harness/sheet/sheet_write.h"

#include <stdio.h>
#include <stdlib.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
  static PlanishHost *host;
  PlanishError error = {0};
  if (host == NULL) {
    host = planish_host_open(&error);
    if (host == NULL) {
      (void)fprintf(stderr, "%s\n", error.text);
      abort();
    }
  }
  PlanishMistakes mistakes = {0};
  PlanishSheet *sheet = planish_sheet_parse((const char *)data, size, host, false, &mistakes);
  planish_sheet_free(sheet);
  planish_mistakes_free(&mistakes);
  return 0;
}
