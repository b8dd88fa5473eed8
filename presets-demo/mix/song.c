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

/* In the order of the stems: drums, bass, guitars, voice, pad. */
typedef struct {
  const char *name;
  double gains[PLANISH_DEMO_STEMS];
  double from; /* share of the song */
  double to;
} Further;

#define FIRST_HALF 0.5137 /* on no beat: a stream that is cut there goes on through the cut */

static const Further furthers[PLANISH_DEMO_FURTHER] = {
    {"whole", {1.0, 1.0, 1.0, 1.0, 1.0}, 0.0, 1.0},
    {"quiet", {0.0, 0.7, 0.15, 0.8, 1.6}, 0.0, 1.0},
    {"instrumental-1", {1.0, 1.0, 1.0, 0.0, 1.0}, 0.0, FIRST_HALF},
    {"instrumental-2", {1.0, 1.0, 1.0, 0.0, 1.0}, FIRST_HALF, 1.0},
};

const char *planish_demo_further_name(size_t further)
{
  return furthers[further].name;
}

PlanishDemoTrack planish_demo_further(const PlanishDemoSong *song, size_t further)
{
  const Further *wanted = &furthers[further];
  const size_t from = (size_t)(wanted->from * (double)song->mix.frames);
  const size_t to = (size_t)(wanted->to * (double)song->mix.frames);
  PlanishDemoTrack track = planish_demo_track_new(to - from);
  for (size_t i = 0; track.left != NULL && i < PLANISH_DEMO_STEMS; ++i) {
    const PlanishDemoTrack *stem = &song->stems[i];
    const PlanishDemoTrack part = {stem->left + from, stem->right + from, to - from};
    planish_demo_track_add(&track, &part, wanted->gains[i]);
  }
  return track;
}
