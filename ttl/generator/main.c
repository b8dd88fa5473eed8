/* Writes what is derived from the templates of the bundle's Turtle.
 *
 *   planish-generate stage COMMON.ttl INDICES TEMPLATE.ttl OUT.ttl OUT.h
 *   planish-generate presets COMMON.ttl INDICES TEMPLATE.ttl PRESETS.ttl OUT.ttl
 *   planish-generate manifest COMMON.ttl INDICES OUT.ttl [TEMPLATE.ttl PRESETS.ttl]...
 *   planish-generate indices COMMON.ttl INDICES TEMPLATE.ttl    the lines INDICES should hold */
#include "ttl/generator/check.h"
#include "ttl/generator/presets.h"
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
  } else if (argc == 7 && strcmp(argv[1], "presets") == 0) {
    stage_read(&stage, argv[2], argv[3], argv[4]);
    presets_read(&stage, argv[5]);
    write_presets(&stage, argv[6]);
    stage_free(&stage);
  } else if (argc >= 5 && strcmp(argv[1], "manifest") == 0) {
    write_manifest(argv[4], argv[2], argv[3], argv + 5, argc - 5);
  } else if (argc == 5 && strcmp(argv[1], "indices") == 0) {
    stage_read(&stage, argv[2], argv[3], argv[4]);
    write_indices(&stage);
    stage_free(&stage);
  } else {
    fail("usage: stage COMMON INDICES TEMPLATE OUT.ttl OUT.h, presets COMMON INDICES TEMPLATE "
         "PRESETS OUT.ttl, manifest COMMON INDICES OUT [TEMPLATE PRESETS]..., or indices COMMON "
         "INDICES TEMPLATE");
  }
  return 0;
}
