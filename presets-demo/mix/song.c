#include "presets-demo/mix/song.h"

#include "presets-demo/mix/arithmetic.h"
#include "presets-demo/mix/players.h"
#include "presets-demo/mix/score.h"

#include <string.h>

/* Seconds; the last chord rings out under the fade. */
#define FADE_FROM 56.6
#define FADE_TO   59.7
#define MIX_PEAK  0.5

typedef struct {
  const char *name;
  PlanishDemoPlayer *play;
  double gain; /* dB */
} Fader;

static const Fader faders[PLANISH_DEMO_STEMS] = {
    {"drums", planish_demo_drums, 0.0},       {"bass", planish_demo_bass, 3.0},
    {"guitars", planish_demo_guitars, -17.7}, {"voice", planish_demo_voice, -6.0},
    {"pad", planish_demo_pad, -30.5},
};

/* Takes off what loudspeakers cannot follow, and with it any offset. */
static const PlanishDemoBand low_cut[] = {{PLANISH_DEMO_HIGH_PASS, 22.0, 0.7, 0.0}};

const char *planish_demo_stem_name(size_t stem)
{
  return faders[stem].name;
}

static void fade_out(PlanishDemoTrack *track)
{
  const size_t from = (size_t)(FADE_FROM * PLANISH_DEMO_RATE);
  const double length = (FADE_TO - FADE_FROM) * PLANISH_DEMO_RATE;
  for (size_t n = from; n < track->frames; ++n) {
    const double gone = (double)(n - from) / length;
    const double left = 1.0 - planish_smoothstep(gone);
    /* Squared: near the end it falls as a decay does, not as a hand on a fader. */
    track->left[n] *= left * left;
    track->right[n] *= left * left;
  }
}

static bool play_stem(const Fader *fader, PlanishDemoTrack *stem, size_t frames)
{
  *stem = planish_demo_track_new(frames);
  if (stem->left == NULL || !fader->play(stem)) {
    return false;
  }
  planish_demo_track_filter(stem, low_cut, 1);
  planish_demo_track_scale(stem, planish_gain_of(fader->gain));
  fade_out(stem);
  return true;
}

bool planish_demo_song_play(PlanishDemoSong *song)
{
  memset(song, 0, sizeof *song);
  const size_t frames = planish_demo_score_frames();
  song->mix = planish_demo_track_new(frames);
  bool done = song->mix.left != NULL;
  for (size_t i = 0; done && i < PLANISH_DEMO_STEMS; ++i) {
    done = play_stem(&faders[i], &song->stems[i], frames);
    if (done) {
      planish_demo_track_add(&song->mix, &song->stems[i], 1.0);
    }
  }
  if (!done) {
    return false;
  }
  const double gain = MIX_PEAK / planish_demo_track_peak(&song->mix);
  planish_demo_track_scale(&song->mix, gain);
  for (size_t i = 0; i < PLANISH_DEMO_STEMS; ++i) {
    planish_demo_track_scale(&song->stems[i], gain);
  }
  return true;
}

void planish_demo_song_free(PlanishDemoSong *song)
{
  planish_demo_track_free(&song->mix);
  for (size_t i = 0; i < PLANISH_DEMO_STEMS; ++i) {
    planish_demo_track_free(&song->stems[i]);
  }
}
