#include "plugins/ms-eq/region.h"

#include "plugins/ms-eq/eq_region.h"

#include <string.h>

void planish_region_setup(PlanishRegion *region, double rate)
{
  region->rate = rate;
  planish_crossfade_setup(&region->fade, rate, PLANISH_GLIDE_MS);
}

static const PlanishEqBand *band_of(const PlanishEqBand *bands, unsigned number)
{
  return &bands[number - 1];
}

static PlanishSvfCoefs coefs_for(const PlanishRegionVoice *voice, const PlanishEqBand *band,
                                 double rate)
{
  const PlanishEqSetting setting = planish_eq_band_setting(band);
  return planish_eq_region(voice->on ? voice->shape.type : PLANISH_EQ_PEAKING, &setting, rate);
}

static void start(PlanishRegion *region, PlanishRegionVoice *voice, const PlanishEqBand *bands,
                  unsigned number)
{
  memset(voice, 0, sizeof *voice);
  voice->band = number;
  if (number != 0) {
    voice->shape = band_of(bands, number)->wanted;
    voice->on = voice->shape.on;
    voice->coefs = coefs_for(voice, band_of(bands, number), region->rate);
  }
}

void planish_region_jump(PlanishRegion *region, const PlanishEqBand *bands, unsigned band)
{
  planish_crossfade_jump(&region->fade, true);
  region->current = 0;
  region->wanted = band;
  start(region, &region->voice[0], bands, band);
}

/* The voice's band has taken another shape since. */
static bool is_of_old_shape(const PlanishRegionVoice *voice, const PlanishEqBand *bands)
{
  const PlanishEqShape *shape = &band_of(bands, voice->band)->wanted;
  return shape->on != voice->on || shape->type != voice->shape.type ||
         shape->channels != voice->shape.channels;
}

/* The band listened to is another one, or its shape has changed. */
static bool has_changed(const PlanishRegion *region, const PlanishEqBand *bands)
{
  const PlanishRegionVoice *voice = &region->voice[region->current];
  return voice->band != region->wanted || (voice->band != 0 && is_of_old_shape(voice, bands));
}

/* With a new shape the band's settings leap: the old one stays where it is, and fades. */
static void follow(PlanishRegion *region, PlanishRegionVoice *voice, const PlanishEqBand *bands)
{
  if (voice->band == 0) {
    return;
  }
  if (is_of_old_shape(voice, bands)) {
    voice->change = (PlanishSvfCoefs){0};
    return;
  }
  const double share = 1.0 / PLANISH_GRID;
  const PlanishSvfCoefs end = coefs_for(voice, band_of(bands, voice->band), region->rate);
  voice->change = (PlanishSvfCoefs){
      (end.g - voice->coefs.g) * share,   (end.k - voice->coefs.k) * share,
      (end.m0 - voice->coefs.m0) * share, (end.m1 - voice->coefs.m1) * share,
      (end.m2 - voice->coefs.m2) * share,
  };
}

void planish_region_grid(PlanishRegion *region, const PlanishEqBand *bands)
{
  if (!planish_crossfade_is_moving(&region->fade) && has_changed(region, bands)) {
    region->current = 1 - region->current;
    start(region, &region->voice[region->current], bands, region->wanted);
    planish_crossfade_jump(&region->fade, false);
    planish_crossfade_turn(&region->fade, true);
  }
  follow(region, &region->voice[0], bands);
  follow(region, &region->voice[1], bands);
}

/* `shares`: NULL, or how far the voice has faded in. A filter's input fades, since its own way from
 * rest would be heard if its output did. */
static void hear(PlanishRegionVoice *voice, const PlanishTwo *input, const PlanishTwo *result,
                 const double *shares, PlanishTwo *heard, uint32_t frames)
{
  const bool is_result = voice->band == 0;
  for (uint32_t n = 0; n < frames; ++n) {
    const PlanishTwo x =
        is_result ? result[n] : planish_eq_part_of(voice->shape.channels, input[n]);
    heard[n] = shares == NULL ? x : planish_both(shares[n]) * x;
  }
  if (is_result) {
    return;
  }
  planish_svf_process_moving(&voice->state, &voice->coefs, &voice->change, heard, frames);
  for (uint32_t n = 0; n < frames; ++n) {
    heard[n] = planish_eq_part_on_both(voice->shape.channels, heard[n]);
  }
}

void planish_region_process(PlanishRegion *region, const PlanishTwo *input, PlanishTwo *audio,
                            uint32_t frames)
{
  PlanishTwo coming[PLANISH_GRID];
  PlanishRegionVoice *voice = &region->voice[region->current];
  if (!planish_crossfade_is_moving(&region->fade)) {
    hear(voice, input, audio, NULL, coming, frames);
    memcpy(audio, coming, frames * sizeof *audio);
    return;
  }
  double shares[PLANISH_GRID] = {0.0};
  PlanishTwo going[PLANISH_GRID];
  for (uint32_t n = 0; n < frames; ++n) {
    shares[n] = planish_crossfade_next(&region->fade);
  }
  hear(voice, input, audio, shares, coming, frames);
  hear(&region->voice[1 - region->current], input, audio, NULL, going, frames);
  for (uint32_t n = 0; n < frames; ++n) {
    audio[n] = coming[n] + planish_both(1.0 - shares[n]) * going[n];
  }
}
