#include "harness/render/checkpoint.h"

#include <stdlib.h>

enum { FRAME_BYTES = 2 * sizeof(float) };

void planish_checkpoint_release(PlanishCheckpoint *checkpoint)
{
  planish_track_free(checkpoint->track);
  planish_accounts_free(checkpoint->accounts, checkpoint->stages);
  checkpoint->track = NULL;
  checkpoint->accounts = NULL;
  checkpoint->filled = false;
}

bool planish_checkpoint_fits(const PlanishCheckpoint *checkpoint, const PlanishFeed *feed)
{
  return checkpoint != NULL && checkpoint->filled && feed->preroll == checkpoint->feed.preroll &&
         feed->lead == checkpoint->feed.lead && feed->start == checkpoint->feed.start &&
         feed->total <= checkpoint->feed.total;
}

bool planish_checkpoint_begin(PlanishCheckpoint *checkpoint, const PlanishFeed *feed,
                              PlanishError *error)
{
  planish_checkpoint_release(checkpoint);
  if (checkpoint->stages == 0 || checkpoint->no_room) {
    return true;
  }
  checkpoint->track = planish_track_new(checkpoint->beside, 0, error);
  if (checkpoint->track == NULL) {
    return false;
  }
  const uint64_t spare = (checkpoint->spare + FRAME_BYTES - 1) / FRAME_BYTES;
  checkpoint->feed = *feed;
  checkpoint->no_room = !planish_track_has_room(checkpoint->track, feed->total + spare);
  if (checkpoint->no_room) {
    planish_checkpoint_release(checkpoint);
  }
  return true;
}

static bool copy_accounts(PlanishAccount *to, const PlanishAccount *from, uint32_t count,
                          PlanishError *error)
{
  bool done = true;
  for (uint32_t n = 0; done && n < count; ++n) {
    done = planish_account_copy(&to[n], &from[n], error);
  }
  return done;
}

bool planish_checkpoint_finish(PlanishCheckpoint *checkpoint, const PlanishAccount *accounts,
                               uint32_t latency, PlanishError *error)
{
  checkpoint->accounts = calloc(checkpoint->stages, sizeof *checkpoint->accounts);
  if (checkpoint->accounts == NULL) {
    return planish_fail_memory(error);
  }
  checkpoint->filled = copy_accounts(checkpoint->accounts, accounts, checkpoint->stages, error);
  checkpoint->latency = latency;
  return checkpoint->filled;
}

bool planish_checkpoint_account(const PlanishCheckpoint *checkpoint, PlanishAccount *accounts,
                                PlanishError *error)
{
  return copy_accounts(accounts, checkpoint->accounts, checkpoint->stages, error);
}
