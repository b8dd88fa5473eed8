#include "presets-demo/mix/track.h"

#include "presets-demo/mix/arithmetic.h"

#include <stdlib.h>

PlanishDemoTrack planish_demo_track_new(size_t frames)
{
  PlanishDemoTrack track = {calloc(frames, sizeof(double)), calloc(frames, sizeof(double)), frames};
  if (track.left == NULL || track.right == NULL) {
    planish_demo_track_free(&track);
  }
  return track;
}

void planish_demo_track_free(PlanishDemoTrack *track)
{
  free(track->left);
  free(track->right);
  *track = (PlanishDemoTrack){NULL, NULL, 0};
}

void planish_demo_track_place(PlanishDemoTrack *track, const double *sound, size_t frames,
                              ptrdiff_t at, double gain, double pan)
{
  const double to_left = gain * sqrt(0.5 - 0.5 * pan);
  const double to_right = gain * sqrt(0.5 + 0.5 * pan);
  const size_t skipped = at < 0 ? (size_t)-at : 0;
  for (size_t n = skipped; n < frames; ++n) {
    const size_t to = (size_t)(at + (ptrdiff_t)n);
    if (to >= track->frames) {
      break;
    }
    track->left[to] += to_left * sound[n];
    track->right[to] += to_right * sound[n];
  }
}

void planish_demo_track_add(PlanishDemoTrack *track, const PlanishDemoTrack *other, double gain)
{
  for (size_t n = 0; n < track->frames; ++n) {
    track->left[n] += gain * other->left[n];
    track->right[n] += gain * other->right[n];
  }
}

void planish_demo_track_scale(PlanishDemoTrack *track, double gain)
{
  for (size_t n = 0; n < track->frames; ++n) {
    track->left[n] *= gain;
    track->right[n] *= gain;
  }
}

void planish_demo_track_filter(PlanishDemoTrack *track, const PlanishDemoBand *bands, size_t count)
{
  planish_demo_filter_all(bands, count, track->left, track->frames);
  planish_demo_filter_all(bands, count, track->right, track->frames);
}

void planish_demo_track_filter_side(PlanishDemoTrack *track, PlanishDemoBand band)
{
  PlanishDemoFilter filter = {0};
  planish_demo_filter_tune(&filter, band, PLANISH_DEMO_RATE);
  for (size_t n = 0; n < track->frames; ++n) {
    const double mid = 0.5 * (track->left[n] + track->right[n]);
    const double side =
        planish_demo_filter_process(&filter, 0.5 * (track->left[n] - track->right[n]));
    track->left[n] = mid + side;
    track->right[n] = mid - side;
  }
}

double planish_demo_track_peak(const PlanishDemoTrack *track)
{
  double peak = 0.0;
  for (size_t n = 0; n < track->frames; ++n) {
    peak = planish_max(peak, fabs(track->left[n]));
    peak = planish_max(peak, fabs(track->right[n]));
  }
  return peak;
}
