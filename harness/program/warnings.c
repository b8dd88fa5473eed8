#include "harness/program/warnings.h"

#include "harness/base/standard_streams.h"
#include "harness/program/options.h"

void planish_warn_of_silenced(const char *name, uint64_t samples)
{
  if (samples > 0) {
    planish_options_warn(samples == 1 ? "%llu sample that is no number was taken as silence: %s"
                                      : "%llu samples that are no number were taken as silence: %s",
                         (unsigned long long)samples, name);
  }
}

void planish_warn_of_cut(const char *name, bool is_cut)
{
  if (is_cut) {
    planish_options_warn("cut short, its header promises more audio than there is: %s: what is "
                         "there was taken; copy or export it again",
                         name);
  }
}

void planish_warn_of_mix(const PlanishMasterJob *job, const PlanishMasterReport *report)
{
  planish_warn_of_cut(planish_reader_path(job->mix), planish_reader_is_cut(job->mix));
  /* How many is not known: the mix was read more than once. */
  if (planish_reader_silenced(job->mix) > 0) {
    planish_options_warn("samples that are no number were taken as silence: %s",
                         planish_reader_path(job->mix));
  }
  if (report->no_room) {
    planish_options_warn("no room beside the output to keep what the first stages made, so each "
                         "render began at the start: %s: the result is the same, only later",
                         planish_output_name(job->out));
  }
}

void planish_warn_of_clipping(const char *out, uint64_t samples)
{
  if (samples > 0) {
    planish_options_warn("%llu samples were over full scale and are clipped: %s: lower the level, "
                         "or write --float",
                         (unsigned long long)samples, planish_output_name(out));
  }
}

void planish_warn_of_price(const char *out, const PlanishMasterReport *report)
{
  const char *name = out == NULL ? "" : out;
  const char *colon = out == NULL ? "" : ": ";
  const PlanishPrice *price = &report->price;
  if (report->has_drive && report->extra_drive >= PLANISH_DRIVE_WARNING) {
    planish_options_warn(
        "%s%s%.2f dB of extra drive: the chain is pushed for more loudness than it can "
        "give cleanly: listen at matched loudness, or ask for less",
        name, colon, report->extra_drive);
  }
  if (price->has_distortion && planish_distortion_ruins(&price->distortion)) {
    planish_options_warn("%s%sdistortion is over the mask %.0f %% of the time%s: listen at matched "
                         "loudness, or ask for less",
                         name, colon, 100.0 * price->distortion.audible,
                         price->known ? "" : " around the loudest moment");
  }
}
