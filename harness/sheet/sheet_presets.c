#include "harness/sheet/sheet_presets.h"
#include "harness/base/place.h"

#include "harness/base/text.h"
#include "harness/host/preset.h"
#include "harness/sheet/sheet_value.h"
#include "harness/sheet/sheet_write.h"

#include <ctype.h>
#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { LONGEST_NAME = 32 };

static bool is_plain(char letter)
{
  return (unsigned char)letter < 0x80 && isalnum((unsigned char)letter);
}

/* A stage's name out of a label: small letters and digits, what is between them a hyphen. */
static void make_name(char name[LONGEST_NAME + 1], const char *label)
{
  size_t length = 0;
  bool gap = false;
  for (; *label != '\0' && length + 2 <= LONGEST_NAME; ++label) {
    if (!is_plain(*label)) {
      gap = length > 0;
      continue;
    }
    if (gap) {
      name[length++] = '-';
      gap = false;
    }
    name[length++] = (char)tolower((unsigned char)*label);
  }
  name[length] = '\0';
}

typedef char Name[LONGEST_NAME + 8];

static bool is_taken(Name *names, size_t n)
{
  bool taken = false;
  for (size_t before = 0; before < n; ++before) {
    taken = taken || strcmp(names[before], names[n]) == 0;
  }
  return taken;
}

/* One that none of `names` before it has: with a number after it where it must be. */
static void make_own_name(Name *names, size_t n, const char *label)
{
  char name[LONGEST_NAME + 1];
  make_name(name, label);
  const char *plain = name[0] == '\0' ? "stage" : name;
  planish_text_format(names[n], sizeof *names, "%s", plain);
  /* Of n + 1 numbers the n names before it take at most n. */
  for (size_t number = n + 1; is_taken(names, n); ++number) {
    planish_text_format(names[n], sizeof *names, "%s-%zu", plain, number);
  }
}

/* One stage as text: the parser then checks it like any other. */
static bool write_stage(FILE *stream, PlanishHost *host, const char *preset_name, Name *names,
                        size_t n, PlanishError *error)
{
  PlanishPreset *preset = planish_preset_new(host, NULL, preset_name, error);
  if (preset == NULL) {
    return false;
  }
  make_own_name(names, n, preset->label);
  planish_text_print(stream, "  - stage: ");
  planish_sheet_write_text(stream, preset->plugin_uri);
  planish_text_print(stream, "\n    name: ");
  planish_sheet_write_text(stream, names[n]);
  planish_text_print(stream, "\n    preset: ");
  planish_sheet_write_text(stream, preset_name);
  (void)fputc('\n', stream);
  planish_preset_free(preset);
  return true;
}

static char *write_stages(PlanishHost *host, const char *const *presets, size_t count, size_t *size,
                          PlanishError *error)
{
  char *text = NULL;
  Name *names = calloc(count + 1, sizeof *names);
  FILE *stream = names == NULL ? NULL : open_memstream(&text, size);
  if (stream == NULL) {
    planish_fail_memory(error);
    free(names);
    return NULL;
  }
  bool done = true;
  planish_text_print(stream, "planish: %d\nstages:\n", PLANISH_SHEET_FORMAT);
  for (size_t n = 0; n < count && done; ++n) {
    done = write_stage(stream, host, presets[n], names, n, error);
  }
  free(names);
  if (fclose(stream) != 0) {
    done = planish_fail_memory(error);
  }
  if (!done) {
    free(text);
    text = NULL;
  }
  return text;
}

/* The preset's values stand in the sheet itself from now on, less those that are defaults. */
static void forget_presets(PlanishSheet *sheet)
{
  for (uint32_t n = 0; n < sheet->stage_count; ++n) {
    PlanishSheetStage *stage = &sheet->stages[n];
    free(stage->preset);
    stage->preset = NULL;
    for (uint32_t port = 0; port < stage->plugin->port_count; ++port) {
      stage->unset[port] = stage->plugin->ports[port].initial;
      stage->given[port] = stage->values[port] != stage->unset[port];
    }
  }
}

PlanishSheet *planish_sheet_from_presets(PlanishHost *host, const char *const *presets,
                                         size_t count, PlanishError *error)
{
  PlanishMistakes mistakes = {0};
  size_t size = 0;
  char *text = write_stages(host, presets, count, &size, error);
  PlanishSheet *sheet =
      text == NULL ? NULL : planish_sheet_parse(text, size, host, false, &mistakes);
  if (sheet != NULL) {
    forget_presets(sheet);
  } else if (text != NULL) {
    planish_fail(error, mistakes.list[0].outcome, "%s", mistakes.list[0].text);
  }
  planish_mistakes_free(&mistakes);
  free(text);
  return sheet;
}

/* A string of Turtle, with its quotes. */
static void write_string(FILE *stream, const char *text)
{
  (void)fputc('"', stream);
  for (; *text != '\0'; ++text) {
    const unsigned char byte = (unsigned char)*text;
    if (byte == '"' || byte == '\\') {
      planish_text_print(stream, "\\%c", byte);
    } else {
      (void)fputc(byte < ' ' ? ' ' : byte, stream);
    }
  }
  (void)fputc('"', stream);
}

static void write_decimal(FILE *stream, float value)
{
  char text[PLANISH_TEXT_NUMBER];
  planish_text_of_float(text, value);
  planish_text_print(stream, "%s%s", text, strchr(text, '.') == NULL ? ".0" : "");
}

static const char prefixes[] = "@prefix lv2: <http://lv2plug.in/ns/lv2core#> .\n"
                               "@prefix pset: <http://lv2plug.in/ns/ext/presets#> .\n"
                               "@prefix rdfs: <http://www.w3.org/2000/01/rdf-schema#> .\n";

static void write_subject(FILE *stream, const char *subject, const PlanishSheetStage *stage,
                          const char *title)
{
  char label[256];
  planish_text_line(label, sizeof label, "%s: %s", title, stage->name);
  planish_text_print(stream, "\n<%s>\n  a pset:Preset ;\n  lv2:appliesTo <%s> ;\n  rdfs:label ",
                     subject, stage->plugin->uri);
  write_string(stream, label);
}

static void write_preset(FILE *stream, const PlanishSheetStage *stage, const char *title)
{
  const PlanishPlugin *plugin = stage->plugin;
  const char *before = " ;\n  lv2:port";
  (void)fputs(prefixes, stream);
  write_subject(stream, "", stage, title);
  for (uint32_t n = 0; n < plugin->port_count; ++n) {
    const PlanishPluginPort *port = &plugin->ports[n];
    if (port->kind != PLANISH_PLUGIN_CONTROL_INPUT || (int)n == plugin->enabled ||
        planish_sheet_is_for_listening(port) || !isfinite(stage->values[n])) {
      continue;
    }
    planish_text_print(stream, "%s [ lv2:symbol \"%s\" ; pset:value ", before, port->symbol);
    write_decimal(stream, stage->values[n]);
    planish_text_print(stream, " ]");
    before = " ,\n   ";
  }
  planish_text_print(stream, " .\n");
}

static void write_manifest(FILE *stream, const PlanishSheet *sheet, const char *title)
{
  (void)fputs(prefixes, stream);
  for (uint32_t n = 0; n < sheet->stage_count; ++n) {
    char file[64];
    if (planish_sheet_is_branch(&sheet->stages[n])) {
      continue;
    }
    planish_text_format(file, sizeof file, "%s.ttl", sheet->stages[n].name);
    write_subject(stream, file, &sheet->stages[n], title);
    planish_text_print(stream, " ;\n  rdfs:seeAlso <%s> .\n", file);
  }
}

/* `stage`: of which stage; that past the last is the manifest. */
static bool write_file(const PlanishSheet *sheet, uint32_t stage, const char *folder,
                       const char *title)
{
  const bool manifest = stage == sheet->stage_count;
  char *path =
      planish_text_new("%s/%s.ttl", folder, manifest ? "manifest" : sheet->stages[stage].name);
  FILE *stream = path == NULL ? NULL : fopen(path, "wx");
  free(path);
  if (stream == NULL) {
    return false;
  }
  if (manifest) {
    write_manifest(stream, sheet, title);
  } else {
    write_preset(stream, &sheet->stages[stage], title);
  }
  const bool failed = ferror(stream) != 0;
  return fclose(stream) == 0 && !failed;
}

static void remove_files(const PlanishSheet *sheet, const char *folder)
{
  for (uint32_t n = 0; n <= sheet->stage_count; ++n) {
    char *path = planish_text_new("%s/%s.ttl", folder,
                                  n < sheet->stage_count ? sheet->stages[n].name : "manifest");
    if (path != NULL) {
      (void)unlink(path);
    }
    free(path);
  }
  (void)rmdir(folder);
}

bool planish_sheet_write_presets(const PlanishSheet *sheet, const char *folder, const char *title,
                                 PlanishError *error)
{
  for (uint32_t n = 0; n < sheet->stage_count; ++n) {
    if (strcmp(sheet->stages[n].name, "manifest") == 0) {
      return planish_fail(error, PLANISH_BAD_USE,
                          "a stage named manifest: %s: the bundle's own file has that name: give "
                          "the stage another",
                          title);
    }
  }
  if (mkdir(folder, 0777) != 0) {
    return errno == EEXIST ? planish_fail(error, PLANISH_BAD_FILE,
                                          "something stands there: %s: name a new folder", folder)
                           : planish_fail(error, PLANISH_BAD_FILE, "cannot make the folder: %s: %s",
                                          folder, planish_place_advice(errno));
  }
  bool done = true;
  for (uint32_t n = 0; n <= sheet->stage_count && done; ++n) {
    const bool branch = n < sheet->stage_count && planish_sheet_is_branch(&sheet->stages[n]);
    done = branch || write_file(sheet, n, folder, title);
  }
  if (!done) {
    planish_fail(error, PLANISH_BAD_FILE, "cannot write: %s: %s", folder,
                 planish_place_advice(errno));
    remove_files(sheet, folder);
  }
  return done;
}
