#include "harness/deliver/read_back.h"

#include "harness/audio/audio_reader.h"
#include "harness/base/interrupt.h"
#include "harness/base/standard_streams.h"
#include "harness/deliver/flac_tags.h"

#include <sndfile.h>
#include <string.h>
#include <unistd.h>

enum { BLOCK = 4096 };

static bool read_all(PlanishReader *reader, PlanishMeasure *measure, bool coded,
                     PlanishReadBack *back, PlanishSourceTell tell, void *user, PlanishError *error)
{
  float block[2 * BLOCK];
  const double frames = (double)planish_reader_frames(reader);
  bool done = true;
  uint64_t at = 0;
  size_t got = 1;
  while (done && got > 0) {
    done = planish_interrupt_check(error) && planish_reader_read(reader, block, BLOCK, &got, error);
    if (!done) {
      continue;
    }
    planish_measure_process(measure, block, got);
    if (coded) {
      planish_overs_samples(&back->overs, block, 2 * got);
    }
    at += got;
    if (tell != NULL) {
      tell(user, "reading back", 0, (double)at / frames);
    }
  }
  return done;
}

static bool fail_reading(const PlanishDeliveredFile *file, const PlanishError *reason,
                         PlanishError *error)
{
  if (reason->outcome == PLANISH_INTERRUPTED) {
    return planish_fail(error, PLANISH_INTERRUPTED, "%s", reason->text);
  }
  return planish_fail(error, PLANISH_BAD_FILE,
                      "what was written cannot be read back: %s: the disk is full, or fails: make "
                      "room, or write to another",
                      planish_delivered_file_path(file));
}

bool planish_read_back_sound(const PlanishDeliveredFile *file, bool coded, PlanishReadBack *back,
                             PlanishSourceTell tell, void *user, PlanishError *error)
{
  PlanishError reason = {0};
  PlanishReader *reader =
      planish_reader_open(planish_delivered_file_temporary(file), NULL, &reason);
  if (reader == NULL) {
    return fail_reading(file, &reason, error);
  }
  PlanishMeasure *measure = planish_measure_new(planish_reader_rate(reader), 2);
  if (measure == NULL) {
    planish_reader_free(reader);
    return planish_fail_memory(error);
  }
  back->overs = (PlanishOvers){.ceiling = back->overs.ceiling, .highest = -HUGE_VAL};
  if (coded) {
    planish_measure_watch(measure, planish_overs_step, &back->overs);
  }
  const bool done = read_all(reader, measure, coded, back, tell, user, &reason);
  if (done) {
    planish_measure_finish(measure, &back->measured);
  }
  planish_measure_free(measure);
  planish_reader_free(reader);
  return done || fail_reading(file, &reason, error);
}

/* What libsndfile tells of the fields. */
static bool has_strings(int descriptor, const PlanishDeliveredFileJob *job,
                        PlanishMetadataField *lacking)
{
  SF_INFO info = {0};
  const int kept = planish_standard_error_hush();
  SNDFILE *file = lseek(descriptor, 0, SEEK_SET) == 0
                      ? sf_open_fd(descriptor, SFM_READ, &info, SF_FALSE)
                      : NULL;
  planish_standard_error_back(kept);
  bool has = true;
  for (int n = 0; has && n < PLANISH_METADATA_ISRC; ++n) {
    const PlanishMetadataField field = (PlanishMetadataField)n;
    const char *text = job->metadata->text[n];
    if (text != NULL && planish_coding_carries(job->spec->format, job->spec->has_bext, field)) {
      const char *found = file == NULL ? NULL : sf_get_string(file, planish_coding_string(field));
      has = found != NULL && strcmp(found, text) == 0;
      *lacking = field;
    }
  }
  if (file != NULL) {
    sf_close(file);
  }
  return has;
}

bool planish_read_back_metadata(const PlanishDeliveredFile *file,
                                const PlanishDeliveredFileJob *job, PlanishMetadataField *lacking)
{
  const int descriptor = planish_delivered_file_descriptor(file);
  const char *isrc = job->metadata->text[PLANISH_METADATA_ISRC];
  if (job->spec->format == PLANISH_FORMAT_FLAC) {
    return planish_flac_tags_has(descriptor, job->metadata, lacking);
  }
  if (!has_strings(descriptor, job, lacking)) {
    return false;
  }
  *lacking = PLANISH_METADATA_ISRC;
  return isrc == NULL || !job->spec->has_bext || planish_axml_has_isrc(descriptor, isrc);
}
