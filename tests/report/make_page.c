/* Writes a report on made-up sound: make_page SECONDS FILE. */
#include "tests/report/page_fixture.h"

int main(int argc, char **argv)
{
  PageFixture page;
  PlanishError error = {0};
  if (argc != 3) {
    fprintf(stderr, "Usage: make_page SECONDS FILE\n");
    return 2;
  }
  page_make(&page, strtod(argv[1], NULL), argv[2]);
  const bool done = planish_report_write(&page.report, argv[2], &error);
  page_free(&page);
  if (!done) {
    fprintf(stderr, "%s\n", error.text);
  }
  return done ? 0 : 1;
}
