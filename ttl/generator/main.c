/* Writes what is derived from the templates of the bundle's Turtle.
 *
 *   planish-generate stage COMMON.ttl INDICES TEMPLATE.ttl OUT.ttl OUT.h
 *   planish-generate manifest OUT.ttl TEMPLATE.ttl...
 *   planish-generate indices COMMON.ttl INDICES TEMPLATE.ttl    the lines INDICES should hold */
#include "ttl/generator/check.h"
#include "ttl/generator/write_header.h"
#include "ttl/generator/write_turtle.h"

#include <string.h>

static void write_indices(const Stage *stage)
{
  for (int i = 0; i < stage->port_count; ++i) {
    printf("%s %d %s\n", stage->name, i, stage->ports[i].symbol);
  }
}

int main(int argc, char **argv)
{
  static Stage stage;
  if (argc == 7 && strcmp(argv[1], "stage") == 0) {
    stage_read(&stage, argv[2], argv[3], argv[4]);
    check_stage(&stage);
    write_stage(&stage, argv[5]);
    write_header(&stage, argv[6]);
    stage_free(&stage);
  } else if (argc >= 3 && strcmp(argv[1], "manifest") == 0) {
    write_manifest(argv[2], argv + 3, argc - 3);
  } else if (argc == 5 && strcmp(argv[1], "indices") == 0) {
    stage_read(&stage, argv[2], argv[3], argv[4]);
    write_indices(&stage);
    stage_free(&stage);
  } else {
    fail("usage: stage COMMON INDICES TEMPLATE OUT.ttl OUT.h, manifest OUT TEMPLATE..., or "
         "indices COMMON INDICES TEMPLATE");
  }
  return 0;
}
