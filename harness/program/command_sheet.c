/* planish sheet: a starting sheet, mistakes in a sheet, settings to and from a host. */
#include "harness/base/place.h"
#include "harness/base/text.h"
#include "harness/program/commands.h"
#include "harness/program/opening.h"
#include "harness/program/options.h"
#include "harness/program/sheet_template.h"
#include "harness/sheet/sheet_presets.h"
#include "harness/sheet/sheet_write.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static const char help[] =
    "Usage: planish sheet new [FILE]\n"
    "       planish sheet check [OPTION]... SHEET...\n"
    "       planish sheet from [OPTION]... PRESET...\n"
    "       planish sheet presets [OPTION]... SHEET [FOLDER]\n"
    "A sheet is a short YAML text that says how a master is made.\n"
    "\n"
    "  new       a starting sheet with a word on everything that can stand in one, in FILE\n"
    "            (which must not exist yet) or on standard output\n"
    "  check     every mistake in a sheet, with line and column; nothing is rendered\n"
    "  from      a sheet with a stage for each preset, in that order: settings that were made in\n"
    "            a host. A preset is named by label, URI or file (.ttl); it is looked for in the\n"
    "            bundle, then in LV2_PATH, or in ~/.lv2 and the system's folders\n"
    "  presets   a bundle of LV2 presets, one for each stage of SHEET, in the new folder FOLDER,\n"
    "            or else SHEET's name and .presets.lv2; put it in ~/.lv2 for hosts to find it\n"
    "\n"
    "      --out=FILE        from: a new file instead of standard output\n"
    "      --audition        check: allow listen, listen_band and loudness_match\n"
    "      --bundle=FOLDER   the bundle of stages to use\n"
    "      --help\n"
    "\n"
    "Examples:\n"
    "  planish sheet new song.yaml\n"
    "  planish sheet check song.yaml\n"
    "  planish sheet from \"Low end in the middle\" \"Three decibels louder\" --out=song.yaml\n"
    "  planish sheet presets song.yaml ~/.lv2/song.presets.lv2\n";

typedef struct {
  const char *out;
  const char *bundle;
  bool audition;
  char **names;
  int count;
} Request;

/* On standard output (path NULL), or in a file that must be new. */
static bool put(const char *path, const char *text, size_t size, PlanishError *error)
{
  if (path == NULL) {
    (void)fwrite(text, 1, size, stdout);
    return true;
  }
  const int file = open(path, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
  if (file < 0) {
    return errno == EEXIST ? planish_fail(error, PLANISH_BAD_FILE,
                                          "something stands there: %s: name a new file", path)
                           : planish_fail(error, PLANISH_BAD_FILE, "cannot write: %s: %s", path,
                                          planish_place_advice(errno));
  }
  size_t done = 0;
  ssize_t wrote = 0;
  while (done < size && wrote >= 0) {
    wrote = write(file, text + done, size - done);
    done += wrote > 0 ? (size_t)wrote : 0;
  }
  const bool failed = wrote < 0 || fsync(file) != 0;
  const int problem = errno;
  if (close(file) != 0 || failed) {
    (void)unlink(path);
    return planish_fail(error, PLANISH_BAD_FILE, "cannot write: %s: %s", path,
                        planish_place_advice(problem));
  }
  return true;
}

static bool make_new(const Request *request, PlanishError *error)
{
  if (request->count > 1) {
    return planish_fail(error, PLANISH_BAD_USE,
                        "%d names: sheet new takes one file or none: see planish sheet --help",
                        request->count);
  }
  return put(request->count == 1 ? request->names[0] : NULL, planish_sheet_template,
             strlen(planish_sheet_template), error);
}

/* Branches are none. */
static unsigned count_stages(const PlanishSheet *sheet)
{
  unsigned count = 0;
  for (uint32_t n = 0; n < sheet->stage_count; ++n) {
    count += planish_sheet_is_branch(&sheet->stages[n]) ? 0 : 1;
  }
  return count;
}

/* The names of a path's stages; after that of a branch, in brackets, those that stand in it. */
static void print_path(const PlanishSheet *sheet, uint32_t from, uint32_t to, uint32_t depth)
{
  const char *before = depth == 0 ? " " : "";
  for (uint32_t n = planish_sheet_next(sheet, from, depth); n < to;
       n = planish_sheet_next(sheet, n + 1, depth)) {
    planish_text_print(stdout, "%s%s", before, sheet->stages[n].name);
    if (planish_sheet_is_branch(&sheet->stages[n])) {
      planish_text_print(stdout, " (");
      print_path(sheet, sheet->stages[n].first, n, depth + 1);
      planish_text_print(stdout, ")");
    }
    before = " ";
  }
}

static void print_good(const char *path, const PlanishSheet *sheet)
{
  const unsigned count = count_stages(sheet);
  planish_text_print(stdout, "%s: no mistakes; %u stage%s:", path, count, count == 1 ? "" : "s");
  print_path(sheet, 0, sheet->stage_count, 0);
  (void)putchar('\n');
}

static bool check(const Request *request, PlanishError *error)
{
  if (request->count == 0) {
    return planish_fail(error, PLANISH_BAD_USE, "no sheet: see planish sheet --help");
  }
  PlanishHost *host = planish_opening_host(request->bundle, error);
  bool done = host != NULL;
  for (int n = 0; n < request->count && host != NULL; ++n) {
    PlanishSheet *sheet = planish_opening_sheet(request->names[n], host, request->audition, error);
    if (sheet != NULL) {
      print_good(request->names[n], sheet);
    }
    done = done && sheet != NULL;
    planish_sheet_free(sheet);
  }
  planish_host_free(host);
  return done;
}

static bool write_from(const Request *request, const PlanishSheet *sheet, PlanishError *error)
{
  static const PlanishSheetWriting writing = {
      .words = "From presets of a host. The stages stand in the order in which the presets were\n"
               "named; \"planish sheet new\" shows what else a sheet may say."};
  char *text = NULL;
  size_t size = 0;
  FILE *stream = open_memstream(&text, &size);
  if (stream != NULL) {
    planish_sheet_write(stream, sheet, &writing);
  }
  const bool done = stream != NULL && fclose(stream) == 0 ? put(request->out, text, size, error)
                                                          : planish_fail_memory(error);
  free(text);
  return done;
}

static bool make_from(const Request *request, PlanishError *error)
{
  if (request->count == 0) {
    return planish_fail(error, PLANISH_BAD_USE, "no preset: see planish sheet --help");
  }
  PlanishHost *host = planish_opening_host(request->bundle, error);
  const char **presets = calloc((size_t)request->count, sizeof *presets);
  for (int n = 0; n < request->count && presets != NULL; ++n) {
    presets[n] = request->names[n];
  }
  PlanishSheet *sheet =
      host == NULL || presets == NULL
          ? NULL
          : planish_sheet_from_presets(host, presets, (size_t)request->count, error);
  const bool done = sheet != NULL && write_from(request, sheet, error);
  if (host != NULL && presets == NULL) {
    planish_fail_memory(error);
  }
  planish_sheet_free(sheet);
  free(presets);
  planish_host_free(host);
  return done;
}

/* A path's last part, without what follows its first dot but a leading one. */
static char *title_of(const char *path)
{
  const char *slash = strrchr(path, '/');
  const char *name = slash == NULL ? path : slash + 1;
  const size_t length = name[0] == '\0' ? 0 : 1 + strcspn(name + 1, ".");
  return planish_text_new("%.*s", (int)length, name);
}

/* In the sheet, that is no setting of a stage. */
static const char *what_stays(const PlanishSheet *sheet)
{
  const bool branches = count_stages(sheet) < sheet->stage_count;
  return branches && sheet->automation_count > 0 ? "; branches and automation stay in the sheet"
         : branches                              ? "; branches stay in the sheet"
         : sheet->automation_count > 0           ? "; automation stays in the sheet"
                                                 : "";
}

static bool write_presets(const Request *request, const PlanishSheet *sheet, PlanishError *error)
{
  char *title = title_of(request->names[0]);
  char *folder = title == NULL        ? NULL
                 : request->count > 1 ? planish_text_copy(request->names[1])
                                      : planish_text_new("%s.presets.lv2", title);
  bool done = folder != NULL ? planish_sheet_write_presets(sheet, folder, title, error)
                             : planish_fail_memory(error);
  if (done) {
    planish_text_print(stdout, "%s: %u preset%s, shown by hosts as \"%s: NAME\"%s\n", folder,
                       count_stages(sheet), count_stages(sheet) == 1 ? "" : "s", title,
                       what_stays(sheet));
  }
  free(folder);
  free(title);
  return done;
}

static bool make_presets(const Request *request, PlanishError *error)
{
  if (request->count < 1 || request->count > 2) {
    return planish_fail(error, PLANISH_BAD_USE,
                        "%d names: sheet presets takes SHEET and perhaps FOLDER: see planish sheet "
                        "--help",
                        request->count);
  }
  PlanishHost *host = planish_opening_host(request->bundle, error);
  PlanishSheet *sheet =
      host == NULL ? NULL : planish_opening_sheet(request->names[0], host, false, error);
  const bool done = sheet != NULL && write_presets(request, sheet, error);
  planish_sheet_free(sheet);
  planish_host_free(host);
  return done;
}

static const struct {
  const char *name;
  bool (*run)(const Request *request, PlanishError *error);
} actions[] = {
    {"new", make_new},
    {"check", check},
    {"from", make_from},
    {"presets", make_presets},
};

static bool run(const char *name, const Request *request, PlanishError *error)
{
  PlanishNearest nearest = planish_nearest_to(name);
  for (size_t n = 0; n < sizeof actions / sizeof *actions; ++n) {
    if (strcmp(name, actions[n].name) == 0) {
      return actions[n].run(request, error);
    }
    planish_nearest_consider(&nearest, actions[n].name);
  }
  return nearest.best != NULL
             ? planish_fail(error, PLANISH_BAD_USE, "unknown: sheet %s: did you mean %s?", name,
                            nearest.best)
             : planish_fail(error, PLANISH_BAD_USE,
                            "unknown: sheet %s: give new, check, from or presets", name);
}

bool planish_command_sheet(int argc, char **argv, PlanishError *error)
{
  Request request = {0};
  const PlanishOption options[] = {
      {"out", PLANISH_OPTION_TEXT, &request.out},
      {"audition", PLANISH_OPTION_FLAG, &request.audition},
      {"bundle", PLANISH_OPTION_TEXT, &request.bundle},
  };
  int first = 0;
  if (!planish_options_read(argc, argv, help, options, sizeof options / sizeof *options, &first,
                            error)) {
    return false;
  }
  if (first == argc) {
    return planish_fail(error, PLANISH_BAD_USE,
                        "sheet needs one of new, check, from, presets: see planish sheet --help");
  }
  request.names = argv + first + 1;
  request.count = argc - first - 1;
  return run(argv[first], &request, error);
}
