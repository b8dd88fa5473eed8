/* planish album: the masters of an album, its CD, and the files that destinations ask for. */
#include "harness/album/album_make.h"
#include "harness/album/album_page.h"
#include "harness/album/cd_lists.h"
#include "harness/base/beside.h"
#include "harness/base/place.h"
#include "harness/base/text.h"
#include "harness/deliver/file_name.h"
#include "harness/program/album_table.h"
#include "harness/program/commands.h"
#include "harness/program/delivering.h"
#include "harness/program/opening.h"

#include <libgen.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

static const char help[] =
    "Usage: planish album [OPTION]... ALBUM FOLDER\n"
    "       planish album --check ALBUM...\n"
    "Masters the tracks of an album sheet through one chain, side by side on all processors,\n"
    "and writes each into FOLDER as a 32-bit float file with its recall file. Tracks that run\n"
    "on are one stream, rendered as one and cut: the files joined are the stream.\n"
    "Masters that are there already and were made from the same are kept, so that a second\n"
    "run goes on where one has ended. With \"cd: true\" in the sheet also the CD: one WAV file of\n"
    "16 bit, a cue sheet and a PQ list.\n"
    "\n"
    "      --to=SPEC         also the files that a delivery spec asks for, of each track; may be\n"
    "                        given again (see planish deliver)\n"
    "      --report          also FOLDER/ALBUM.html: tracks, loudness, peaks and gaps on a page\n"
    "      --check           only look for mistakes in album sheets\n"
    "      --force           write over what is there\n"
    "      --jobs=N          tracks at once; left out, as many as there are processors\n"
    "      --json            for machines\n"
    "      --bundle=FOLDER   the bundle of stages to use\n"
    "      --help\n"
    "\n"
    "Examples:\n"
    "  planish album --check album.yaml\n"
    "  planish album --report --to=streaming-album --to=archive album.yaml out\n";

typedef struct {
  PlanishOptionTexts to;
  unsigned jobs;
  const char *bundle;
  bool report;
  bool check;
  bool force;
  bool json;
  const char *album;
  const char *folder;
} Request;

/* All of a run, as far as it has come. */
typedef struct {
  const Request *request;
  PlanishAlbum *album;
  PlanishAlbumPlan *plan;
  PlanishAlbumResult result;
  PlanishProgress progress;
  PlanishSpec *cd;
  PlanishSource *image; /* of the CD; taken over by `deliveries` */
  PlanishDelivering deliveries;
  PlanishSource *tracks[PLANISH_ALBUM_TRACKS]; /* those of `deliveries` */
  char *stem; /* of names beside those of the tracks: FOLDER/ALBUM */
} Run;

static const char page_ending[] = ".html";
static const char cue_ending[] = "-cd.cue";
static const char pq_ending[] = "-cd.pq.txt";

static PlanishAlbum *open_album(const char *path, PlanishHost *host, PlanishError *error)
{
  PlanishAlbumMistakes mistakes;
  PlanishAlbum *album = planish_album_read(path, host, &mistakes);
  if (mistakes.album.count > 0) {
    planish_options_complain(path, &mistakes.album, error);
  }
  if (mistakes.sheet.count > 0) {
    planish_options_complain(mistakes.sheet_path, &mistakes.sheet, error);
  }
  planish_album_mistakes_free(&mistakes);
  return album;
}

static void told(void *user, double share)
{
  planish_progress_tell(user, "album", 0, share);
}

/* FOLDER/ALBUM and an ending; NULL without memory. */
static char *beside(const Run *run, const char *ending)
{
  return planish_text_new("%s%s", run->stem, ending);
}

static bool find_stem(Run *run, PlanishError *error)
{
  struct stat facts;
  char *name = planish_file_name_stem(run->request->album);
  run->stem = name == NULL ? NULL : planish_text_new("%s/%s", run->request->folder, name);
  free(name);
  if (run->stem == NULL) {
    return planish_fail_memory(error);
  }
  return (stat(run->request->folder, &facts) == 0 && S_ISDIR(facts.st_mode)) ||
         planish_fail(error, PLANISH_BAD_FILE, "no folder to write into: %s: make it first",
                      run->request->folder);
}

/* An album that was interrupted has been written in part. */
static void tell_of_the_whole(const Run *run, PlanishError *error)
{
  size_t made = 0;
  for (size_t s = 0; run->result.made != NULL && s < run->plan->stream_count; ++s) {
    made += run->result.made[s];
  }
  if (error->outcome == PLANISH_INTERRUPTED && made > 0) {
    planish_error_clear(error);
    planish_fail(error, PLANISH_INTERRUPTED,
                 "interrupted: what is whole stands in %s: run it again to go on",
                 run->request->folder);
  }
}

static bool make_masters(Run *run, PlanishHost *host, PlanishError *error)
{
  const PlanishAlbumJob job = {.album = run->album,
                               .host = host,
                               .folder = run->request->folder,
                               .program = PLANISH_VERSION,
                               .force = run->request->force,
                               .cores = run->request->jobs,
                               .told = told,
                               .told_user = &run->progress};
  run->plan = planish_album_plan_new(&job, error);
  const bool done = run->plan != NULL && planish_album_make(run->plan, &job, &run->result, error);
  planish_progress_end(&run->progress);
  return done;
}

/* A master of the album as a source; one that runs on or is run on from with all of its stream. */
static PlanishSource *source_of(Run *run, const PlanishAlbumStream *stream, size_t n,
                                PlanishError *error)
{
  const char *paths[PLANISH_ALBUM_TRACKS];
  for (size_t k = 0; k < stream->count; ++k) {
    paths[k] = run->plan->tracks[stream->first + k].path;
  }
  const PlanishSourceRun parts = {.paths = paths, .count = stream->count, .own = n};
  return planish_source_new_of_run(&parts, planish_progress_tell, &run->deliveries.progress, error);
}

static bool plan_tracks(Run *run, PlanishError *error)
{
  bool done = true;
  const size_t streams = run->deliveries.spec_count > 0 ? run->plan->stream_count : 0;
  for (size_t s = 0; s < streams; ++s) {
    const PlanishAlbumStream *stream = &run->plan->streams[s];
    for (size_t n = 0; done && n < stream->count; ++n) {
      PlanishSource *source = source_of(run, stream, n, error);
      run->tracks[stream->first + n] = source;
      run->deliveries.together = (PlanishDeliverTogether){.sources = run->tracks,
                                                          .count = run->album->count,
                                                          .stream_first = stream->first,
                                                          .stream_count = stream->count};
      done = planish_delivering_add(&run->deliveries, source, NULL,
                                    &run->album->tracks[stream->first + n].metadata, error);
    }
  }
  run->deliveries.together = (PlanishDeliverTogether){0};
  return done;
}

/* All masters as one file. */
static bool plan_cd(Run *run, PlanishError *error)
{
  const char *paths[PLANISH_ALBUM_TRACKS];
  char *named = beside(run, ".wav");
  for (size_t n = 0; n < run->album->count; ++n) {
    paths[n] = run->plan->tracks[n].path;
  }
  const PlanishSourceRun parts = {
      .paths = paths, .count = run->album->count, .own = PLANISH_SOURCE_ALL, .named = named};
  run->cd = named == NULL ? NULL : planish_delivering_spec("cd", error);
  const bool done =
      run->cd != NULL
          ? planish_delivering_add(&run->deliveries,
                                   planish_source_new_of_run(&parts, planish_progress_tell,
                                                             &run->deliveries.progress, error),
                                   run->cd, &run->album->metadata, error)
          : (error->outcome != PLANISH_DONE ? false : planish_fail_memory(error));
  free(named);
  return done;
}

static bool write_beside(const char *path, const char *text, size_t size, PlanishError *error)
{
  PlanishBeside file = {0};
  const bool done =
      planish_beside_new(&file, path, text, size, error) && planish_beside_commit(&file, error);
  planish_beside_release(&file);
  return done;
}

/* What is written beside the masters, by how its name ends: it takes no other's place. */
static bool check_beside(const Run *run, const char *ending, const char *mark, PlanishError *error)
{
  char *path = beside(run, ending);
  if (path == NULL) {
    return planish_fail_memory(error);
  }
  const bool done =
      planish_place_is_ours(path, mark) ||
      planish_fail(error, PLANISH_BAD_USE,
                   "is there already, and is something else: %s: pass --force to write over it, "
                   "or give another folder",
                   path);
  free(path);
  return done;
}

/* These would be written last: what else stands there is told first. */
static bool check_all_beside(const Run *run, PlanishError *error)
{
  const bool has_lists = run->album->cd;
  return run->request->force ||
         ((!run->request->report ||
           check_beside(run, page_ending, PLANISH_ALBUM_PAGE_MARK, error)) &&
          (!has_lists || check_beside(run, cue_ending, PLANISH_CD_CUE_MARK, error)) &&
          (!has_lists || check_beside(run, pq_ending, PLANISH_CD_PQ_MARK, error)));
}

/* What a plant would send back, and what the lists cannot say. */
static void warn_of_cd(const Run *run)
{
  PlanishLines notes = {0};
  planish_cd_notes(run->plan, &notes);
  for (size_t n = 0; n < notes.count; ++n) {
    planish_options_warn("%s", notes.text[n]);
  }
}

/* The cue sheet and the PQ list beside the image. */
static bool write_cd_lists(const Run *run, PlanishError *error)
{
  char *image = beside(run, "-cd.wav");
  char *cue_path = beside(run, cue_ending);
  char *pq_path = beside(run, pq_ending);
  size_t cue_size = 0;
  size_t pq_size = 0;
  char *cue = image == NULL ? NULL : planish_cd_cue(run->plan, basename(image), &cue_size);
  char *pq = planish_cd_pq(run->plan, &pq_size);
  bool done = cue_path != NULL && pq_path != NULL && cue != NULL && pq != NULL
                  ? true
                  : planish_fail_memory(error);
  done = done && write_beside(cue_path, cue, cue_size, error) &&
         write_beside(pq_path, pq, pq_size, error);
  if (done && !run->request->json) {
    planish_text_print(stdout, "cue sheet %s\nPQ list   %s\n", cue_path, pq_path);
  }
  free(pq);
  free(cue);
  free(pq_path);
  free(cue_path);
  free(image);
  return done;
}

static bool write_page(const Run *run, PlanishError *error)
{
  char *path = beside(run, page_ending);
  size_t size = 0;
  char *text = planish_album_page(run->plan, &run->result, &size);
  const bool done = path != NULL && text != NULL ? write_beside(path, text, size, error)
                                                 : planish_fail_memory(error);
  if (done && !run->request->json) {
    planish_text_print(stdout, "report    %s\n", path);
  }
  free(text);
  free(path);
  return done;
}

static bool deliver(Run *run, PlanishJson *json, PlanishError *error)
{
  PlanishDelivering *work = &run->deliveries;
  bool done = plan_tracks(run, error) && (!run->album->cd || plan_cd(run, error));
  planish_progress_end(&work->progress);
  if (done && json == NULL && work->kept > 0) {
    planish_text_print(stdout, "kept      %zu delivered files that are there already\n",
                       work->kept);
  }
  if (done && json == NULL && work->count > 0) {
    (void)putchar('\n');
  }
  done = done && planish_delivering_make(work, json, error);
  return done && (!run->album->cd || write_cd_lists(run, error));
}

/* What was made is told, also of an album that could not be finished. */
static bool tell_and_deliver(Run *run, bool made, PlanishError *error)
{
  const bool asked = run->album->cd || run->request->to.count > 0;
  PlanishJson json = planish_json_on(stdout);
  if (run->request->json) {
    planish_json_object_begin(&json, NULL);
    planish_album_json(&json, run->plan, &run->result);
  } else {
    planish_album_table(run->plan, &run->result);
  }
  (void)fflush(stdout);
  if (run->album->cd) {
    warn_of_cd(run);
  }
  const size_t missed = planish_album_tell_missed(run->plan, &run->result);
  bool done = made && (!run->request->report || write_page(run, error));
  if (run->request->json) {
    planish_json_array_begin(&json, "delivered");
    done = done && (!asked || deliver(run, &json, error));
    planish_json_array_end(&json);
    planish_json_object_end(&json);
  } else {
    done = done && (!asked || deliver(run, NULL, error));
  }
  return done && (missed == 0 || planish_fail(error, PLANISH_MISSED, "%s", ""));
}

static bool make_album(Run *run, PlanishHost *host, PlanishError *error)
{
  run->deliveries = (PlanishDelivering){.folder = run->request->folder,
                                        .force = run->request->force,
                                        .keep = run->request->album,
                                        .host = host,
                                        .progress = planish_progress_new()};
  bool done = find_stem(run, error) && check_all_beside(run, error) &&
              planish_delivering_open(&run->deliveries, &run->request->to, error);
  for (size_t n = 0; done && n < run->deliveries.spec_count; ++n) {
    done = planish_delivering_check_tags(&run->deliveries.specs[n]->metadata, run->album->count,
                                         error);
  }
  if (!done) {
    return false;
  }
  done = make_masters(run, host, error);
  return run->plan != NULL && run->result.made != NULL && tell_and_deliver(run, done, error);
}

static bool run_album(const Request *request, PlanishHost *host, PlanishError *error)
{
  Run run = {.request = request, .progress = planish_progress_new()};
  run.album = open_album(request->album, host, error);
  const bool done = run.album != NULL && make_album(&run, host, error);
  tell_of_the_whole(&run, error);
  planish_delivering_release(&run.deliveries);
  planish_spec_free(run.cd);
  planish_album_result_free(&run.result);
  planish_album_plan_free(run.plan);
  planish_album_free(run.album);
  free(run.stem);
  return done;
}

static bool check_albums(int count, char **paths, PlanishHost *host, PlanishError *error)
{
  bool done = true;
  for (int n = 0; n < count; ++n) {
    PlanishAlbum *album = open_album(paths[n], host, error);
    if (album != NULL) {
      planish_text_print(stdout, "%s: no mistakes; %zu tracks\n", paths[n], album->count);
    }
    done = done && album != NULL;
    planish_album_free(album);
  }
  return done;
}

static bool check_request(const Request *request, int names, PlanishError *error)
{
  if (request->check ? names == 0 : names != 2) {
    return planish_fail(error, PLANISH_BAD_USE,
                        "%d names: album takes %s: see planish album --help", names,
                        request->check ? "one album sheet or more" : "two, ALBUM FOLDER");
  }
  return true;
}

/* A folder's name without the slashes that it may end with. */
static char *without_end(char *folder)
{
  for (size_t n = strlen(folder); n > 1 && folder[n - 1] == '/'; --n) {
    folder[n - 1] = '\0';
  }
  return folder;
}

bool planish_command_album(int argc, char **argv, PlanishError *error)
{
  Request request = {0};
  const PlanishOption options[] = {
      {"to", PLANISH_OPTION_TEXTS, &request.to},
      {"report", PLANISH_OPTION_FLAG, &request.report},
      {"check", PLANISH_OPTION_FLAG, &request.check},
      {"force", PLANISH_OPTION_FLAG, &request.force},
      {"jobs", PLANISH_OPTION_COUNT, &request.jobs},
      {"json", PLANISH_OPTION_FLAG, &request.json},
      {"bundle", PLANISH_OPTION_TEXT, &request.bundle},
  };
  int first = 0;
  if (!planish_options_read(argc, argv, help, options, sizeof options / sizeof *options, &first,
                            error)) {
    return false;
  }
  if (!check_request(&request, argc - first, error)) {
    return false;
  }
  PlanishHost *host = planish_opening_host(request.bundle, error);
  bool done = host != NULL;
  if (done && request.check) {
    done = check_albums(argc - first, argv + first, host, error);
  } else if (done) {
    request.album = argv[first];
    request.folder = without_end(argv[first + 1]);
    done = run_album(&request, host, error);
  }
  planish_host_free(host);
  return done;
}
