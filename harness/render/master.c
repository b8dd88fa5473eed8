#include "harness/render/master.h"

#include "harness/render/mastering.h"

bool planish_master(const PlanishMasterJob *job, PlanishMasterReport *report, PlanishError *error)
{
  *report = (PlanishMasterReport){0};
  PlanishMastering *mastering = planish_mastering_new(job, error);
  const bool done =
      mastering != NULL && planish_mastering_land(mastering, job->out, report, error) &&
      (job->matched == NULL || planish_mastering_match(mastering, job->matched, report, error)) &&
      (!job->price || !report->landing_wanted ||
       planish_mastering_price_loudest(mastering, report, error)) &&
      planish_mastering_commit(mastering, error);
  planish_mastering_free(mastering);
  return done;
}

void planish_master_report_free(PlanishMasterReport *report)
{
  planish_accounts_free(report->accounts, report->account_count);
  report->accounts = NULL;
}
