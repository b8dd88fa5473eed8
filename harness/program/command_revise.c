/* planish revise: what changed from one master to the next. */
#include "harness/base/text.h"
#include "harness/program/commands.h"
#include "harness/program/opening.h"
#include "harness/program/options.h"
#include "harness/program/progress.h"
#include "harness/program/revise_table.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

static const char help[] =
    "Usage: planish revise [OPTION]... OLD NEW\n"
    "Says what changed from OLD to NEW: two sheets, two recall files (master.wav.yaml), one\n"
    "of each, or a recall file and a new mix. Settings, each with its old and new value; where\n"
    "the mix changed, in time and third octaves, once it is lined up and equally loud; what\n"
    "that does to loudness, peaks and spectrum of the master; and what landing again moves.\n"
    "\n"
    "      --quick            render nothing\n"
    "      --level=DB         a difference of the mixes over this counts, re the old mix;\n"
    "                         -60 unless given\n"
    "      --json             for machines\n"
    "      --bundle=FOLDER    the bundle of stages to use\n"
    "      --help\n"
    "\n"
    "  planish revise master.wav.yaml new-mix.wav\n"
    "  planish revise --quick song.yaml song-2.yaml\n"
    "  planish revise last-year/master.wav.yaml master.wav.yaml\n"
    "\n"
    "Exit: 0 done, whatever changed; 2 bad usage or sheet; 3 unusable audio; 4 could not\n"
    "read or write.\n";

typedef struct {
  const char *bundle;
  double level;
  bool quick;
  bool json;
} Request;

/* A sheet has one of YAML's endings; all else is a mix. */
static bool is_sheet(const char *path)
{
  const char *ending = strrchr(path, '.');
  return ending != NULL && (strcasecmp(ending, ".yaml") == 0 || strcasecmp(ending, ".yml") == 0);
}

static bool open_side(PlanishReviseSide *side, const char *path, PlanishHost *host,
                      PlanishError *error)
{
  side->path = path;
  if (!is_sheet(path)) {
    return true;
  }
  side->sheet = planish_opening_sheet(path, host, true, error);
  return side->sheet != NULL;
}

static bool check_sides(const PlanishReviseSide side[2], PlanishError *error)
{
  if (side[0].sheet == NULL) {
    return planish_fail(
        error, PLANISH_BAD_USE,
        "no sheet and no recall file: %s: OLD ends in .yaml; two files of sound are "
        "for planish compare",
        side[0].path);
  }
  return side[1].sheet != NULL || side[0].sheet->recall != NULL ||
         planish_fail(error, PLANISH_BAD_USE,
                      "a sheet, but no recall file: %s: it knows no mix to hold %s against: name "
                      "the file that a render left beside its master",
                      side[0].path, side[1].path);
}

static bool revise(const Request *request, const PlanishReviseJob *sides, PlanishError *error)
{
  PlanishRevision revision;
  PlanishProgress progress = planish_progress_new();
  PlanishReviseJob job = *sides;
  job.told = planish_progress_tell;
  job.told_user = &progress;
  job.quick = request->quick;
  job.level = isnan(request->level) ? PLANISH_MIX_LEVEL : request->level;
  const bool done = planish_revise(&job, &revision, error);
  planish_progress_end(&progress);
  if (done && request->json) {
    planish_revise_json(&job, &revision);
  } else if (done) {
    planish_revise_table(&job, &revision);
  }
  planish_revision_release(&revision);
  return done;
}

static bool run(const Request *request, char **names, PlanishHost *host, PlanishError *error)
{
  PlanishReviseJob job = {0};
  const bool done = open_side(&job.side[0], names[0], host, error) &&
                    open_side(&job.side[1], names[1], host, error) &&
                    check_sides(job.side, error) && revise(request, &job, error);
  planish_sheet_free(job.side[0].sheet);
  planish_sheet_free(job.side[1].sheet);
  return done;
}

bool planish_command_revise(int argc, char **argv, PlanishError *error)
{
  Request request;
  const PlanishOption options[] = {
      {"quick", PLANISH_OPTION_FLAG, &request.quick},
      {"level", PLANISH_OPTION_NUMBER, &request.level},
      {"json", PLANISH_OPTION_FLAG, &request.json},
      {"bundle", PLANISH_OPTION_TEXT, &request.bundle},
  };
  int first = 0;
  if (!planish_options_read(argc, argv, help, options, sizeof options / sizeof *options, &first,
                            error)) {
    return false;
  }
  if (argc - first != 2) {
    return planish_fail(error, PLANISH_BAD_USE, "give OLD NEW: see planish revise --help");
  }
  if (!isnan(request.level) && !(request.level >= -120.0 && request.level <= 0.0)) {
    return planish_fail(error, PLANISH_BAD_USE, "out of range: --level=%g: give -120 to 0 dB",
                        request.level);
  }
  PlanishHost *host = planish_opening_host(request.bundle, error);
  const bool done = host != NULL && run(&request, argv + first, host, error);
  planish_host_free(host);
  return done;
}
