/* planish recall: a master again from its recall file, the same samples, or what differs. */
#include "harness/base/json.h"
#include "harness/base/standard_streams.h"
#include "harness/base/text.h"
#include "harness/program/commands.h"
#include "harness/program/figures.h"
#include "harness/program/opening.h"
#include "harness/program/options.h"
#include "harness/program/progress.h"
#include "harness/recall/recall.h"

#include <math.h>
#include <stdarg.h>
#include <stdlib.h>
#include <unistd.h>

static const char help[] =
    "Usage: planish recall [OPTION]... FILE\n"
    "Renders again what FILE, the recall file that stands beside a master (master.wav.yaml),\n"
    "describes, and proves the same samples, or says what differs: the mix (its sound, or\n"
    "only its header), versions, the machine, settings edited by hand.\n"
    "\n"
    "      --mix=FILE         the mix is here now\n"
    "      --out=FILE         keep what was rendered; then also with a mix that has changed.\n"
    "                         Never over the master that is there\n"
    "      --json             for machines\n"
    "      --bundle=FOLDER    the bundle of stages to use\n"
    "      --help\n"
    "\n"
    "  planish recall master.wav.yaml\n"
    "  planish recall --mix=archive/mix.wav --out=again.wav master.wav.yaml\n"
    "  planish render master.wav.yaml instrumental.wav instrumental-master.wav\n"
    "\n"
    "The last renders another mix by the same settings: a recall file is a sheet too.\n"
    "\n"
    "Exit: 0 the same samples; 1 not the same; 2 bad usage, or no recall file; 3 unusable\n"
    "audio; 4 could not read or write.\n";

typedef struct {
  const char *mix;
  const char *out;
  const char *bundle;
  bool json;
} Request;

static const char *match_word(PlanishSoundMatch match)
{
  return match == PLANISH_SOUND_SAME        ? "the same file"
         : match == PLANISH_SOUND_REWRITTEN ? "the same samples, its header rewritten"
                                            : "its sound has changed";
}

static void print_verdict(const PlanishRecallJob *job, const PlanishRecallResult *result)
{
  const PlanishRecallSound *noted = &job->sheet->recall->master;
  if (!result->rendered) {
    planish_text_print(stdout,
                       "result    not rendered: another mix cannot give the same samples\n");
  } else if (result->same) {
    planish_text_print(stdout, "result    the same samples, %.0f frames at %g Hz\n", result->frames,
                       result->rate);
  } else {
    char figures[4][PLANISH_FIGURE];
    planish_figure(figures[0], result->result.integrated, "LUFS");
    planish_figure(figures[1], result->result.true_peak, "dBTP");
    planish_figure(figures[2], noted->loudness, "");
    planish_figure(figures[3], noted->true_peak, "");
    planish_text_print(stdout, "result    other samples: %s, %s, noted were %s and %s\n",
                       figures[0], figures[1], figures[2], figures[3]);
    if (isfinite(result->difference)) {
      planish_text_print(stdout, "          they differ by %.1f dB re the louder\n",
                         result->difference);
    }
  }
  if (job->out != NULL) {
    planish_text_print(stdout, "written   %s\n", job->out);
  }
}

/* A recall file may come from anywhere: no text out of it moves the terminal. */
static void print_line(const char *format, ...) __attribute__((format(printf, 1, 2)));

static void print_line(const char *format, ...)
{
  char line[4400]; /* a path and some words */
  va_list arguments;
  va_start(arguments, format);
  planish_text_vline(line, sizeof line, format, arguments);
  va_end(arguments);
  planish_text_print(stdout, "%s\n", line);
}

static void print_table(const PlanishRecallJob *job, const PlanishRecallResult *result)
{
  print_line("mix       %s: %s", result->mix_path, match_word(result->mix));
  planish_text_print(stdout, "settings  %s\n",
                     result->settings_edited ? "edited since the render" : "as they were rendered");
  for (size_t n = 0; n < result->change_count; ++n) {
    const PlanishRecallChange *change = &result->changes[n];
    print_line("changed   %s: %s then, %s now", change->what, change->then, change->now);
  }
  print_line("master    %s: %s", result->master_path,
             !result->master_there  ? "not there"
             : !result->master_read ? "there, but not to be read as sound"
                                    : match_word(result->master));
  print_verdict(job, result);
}

static void print_json(const PlanishRecallJob *job, const PlanishRecallResult *result)
{
  static const char *const words[] = {"same", "rewritten", "changed"};
  PlanishJson json = planish_json_on(stdout);
  planish_json_object_begin(&json, NULL);
  planish_json_string(&json, "file", job->file);
  planish_json_string(&json, "mix", result->mix_path);
  planish_json_string(&json, "mix_state", words[result->mix]);
  planish_json_string(&json, "master", result->master_path);
  planish_json_string(&json, "master_state",
                      !result->master_there  ? NULL
                      : !result->master_read ? "unreadable"
                                             : words[result->master]);
  planish_json_bool(&json, "settings_edited", result->settings_edited);
  planish_json_array_begin(&json, "changes");
  for (size_t n = 0; n < result->change_count; ++n) {
    planish_json_object_begin(&json, NULL);
    planish_json_string(&json, "what", result->changes[n].what);
    planish_json_string(&json, "then", result->changes[n].then);
    planish_json_string(&json, "now", result->changes[n].now);
    planish_json_object_end(&json);
  }
  planish_json_array_end(&json);
  planish_json_bool(&json, "rendered", result->rendered);
  planish_json_bool(&json, "same_samples", result->same);
  planish_json_number(&json, "difference_db", result->difference);
  planish_json_number(&json, "integrated_lufs",
                      result->rendered ? result->result.integrated : (double)NAN);
  planish_json_number(&json, "true_peak_dbtp",
                      result->rendered ? result->result.true_peak : (double)NAN);
  planish_json_object_end(&json);
}

/* The first cause that can be told; what is only possible stands last. */
static const char *cause_of(const PlanishRecallResult *result)
{
  return result->mix == PLANISH_SOUND_CHANGED ? "the mix has changed"
         : result->settings_edited            ? "the settings were edited by hand"
         : result->change_count > 0           ? "versions or machine are not what they were"
                                              : "nothing that was noted has changed: another "
                                                "build of the program or of a stage, or a fault";
}

static bool recall(const PlanishRecallJob *job, bool as_json, PlanishError *error)
{
  PlanishRecallResult result;
  PlanishProgress progress = planish_progress_new();
  PlanishRecallJob told = *job;
  told.told = planish_progress_tell;
  told.told_user = &progress;
  const bool done = planish_recall(&told, &result, error);
  planish_progress_end(&progress);
  if (done && as_json) {
    print_json(job, &result);
  } else if (done) {
    print_table(job, &result);
  }
  if (done && !result.same) {
    planish_fail(error, PLANISH_MISSED, "not the same samples: %s: %s", job->file,
                 cause_of(&result));
  }
  planish_recall_result_release(&result);
  return error->outcome == PLANISH_DONE;
}

/* Neither an input nor the master that was noted: that is what the recall file stands for. */
static bool check_out(const PlanishRecallJob *job, PlanishError *error)
{
  if (planish_is_stream(job->out)) {
    return planish_fail(error, PLANISH_BAD_USE,
                        "not to standard output, which has the table: --out=-: name a file");
  }
  PlanishRecallNote *note = job->sheet->recall;
  char *mix = job->mix != NULL ? planish_text_copy(job->mix)
                               : planish_recall_find_mix(note, job->file, error);
  char *master = planish_recall_find_master(note, job->file);
  bool done = mix != NULL && master != NULL;
  if (done) {
    /* One that is lost may be made again. */
    const char *const there = access(master, F_OK) == 0 ? master : NULL;
    const char *const inputs[] = {job->file, mix, there, NULL};
    done = planish_writer_check(job->out, inputs, error);
  } else if (error->outcome == PLANISH_DONE) {
    planish_fail_memory(error);
  }
  free(master);
  free(mix);
  return done;
}

static bool run(const Request *request, const char *file, PlanishHost *host, PlanishError *error)
{
  PlanishSheet *sheet = planish_opening_sheet(file, host, true, error);
  if (sheet == NULL) {
    return false;
  }
  PlanishRecallJob job = {.file = file,
                          .sheet = sheet,
                          .mix = request->mix,
                          .out = request->out,
                          .program = PLANISH_VERSION};
  bool done = sheet->recall != NULL;
  if (!done) {
    planish_fail(error, PLANISH_BAD_USE,
                 "a sheet, but no recall file: %s: name the file that a render left beside its "
                 "master, such as master.wav.yaml",
                 file);
  }
  done = done && (request->out == NULL || check_out(&job, error)) &&
         recall(&job, request->json, error);
  planish_sheet_free(sheet);
  return done;
}

bool planish_command_recall(int argc, char **argv, PlanishError *error)
{
  Request request;
  const PlanishOption options[] = {
      {"mix", PLANISH_OPTION_TEXT, &request.mix},
      {"out", PLANISH_OPTION_TEXT, &request.out},
      {"bundle", PLANISH_OPTION_TEXT, &request.bundle},
      {"json", PLANISH_OPTION_FLAG, &request.json},
  };
  int first = 0;
  if (!planish_options_read(argc, argv, help, options, sizeof options / sizeof *options, &first,
                            error)) {
    return false;
  }
  if (argc - first != 1) {
    return planish_fail(error, PLANISH_BAD_USE, "give one recall file: see planish recall --help");
  }
  PlanishHost *host = planish_opening_host(request.bundle, error);
  const bool done = host != NULL && run(&request, argv[first], host, error);
  planish_host_free(host);
  return done;
}
