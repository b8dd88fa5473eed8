#include "presets-demo/mix/players.h"

#include "presets-demo/mix/arithmetic.h"
#include "presets-demo/mix/random.h"
#include "presets-demo/mix/room.h"
#include "presets-demo/mix/score.h"

enum { PARTIALS = 9 };

typedef struct {
  size_t from;
  size_t to;
  double hertz;
  double turns;
} Voice;

/* Odd and even partials falling as 1/k^2 against 1/k: between a reed and a string machine. */
static double tone(double turns)
{
  const double twice = 2.0 * planish_demo_cosine(turns);
  double before = 0.0;
  double now = planish_demo_sine(turns);
  double sum = 0.0;
  for (int k = 1; k <= PARTIALS; ++k) {
    sum += now / (double)(k % 2 == 1 ? k * k : 2 * k * k);
    const double next = twice * now - before;
    before = now;
    now = next;
  }
  return sum;
}

/* Opens over half a second, closes over 0.4 s past its end. */
static void hold(Voice voice, double *lane, size_t frames)
{
  const double open = planish_demo_approach(0.28);
  const double close = planish_demo_fall(0.9);
  double level = 0.0;
  for (size_t n = voice.from; n < frames; ++n) {
    level = n < voice.to ? level + open * (1.0 - level) : level * close;
    if (n >= voice.to && level < 1e-6) {
      break;
    }
    lane[n] += level * tone(voice.turns);
    voice.turns += voice.hertz / PLANISH_DEMO_RATE;
    voice.turns = voice.turns >= 1.0 ? voice.turns - 1.0 : voice.turns;
  }
}

bool planish_demo_pad(PlanishDemoTrack *track)
{
  static const PlanishDemoRoom hall = {2.8, 1.1, 0.03, 0.4, 150.0};
  static const PlanishDemoBand dull[] = {
      {PLANISH_DEMO_HIGH_PASS, 130.0, 0.7, 0.0},
      {PLANISH_DEMO_LOW_PASS, 3200.0, 0.6, 0.0},
  };
  PlanishDemoRandom random = planish_demo_random(500);
  for (size_t bar = 0; bar < PLANISH_DEMO_BARS; ++bar) {
    const double *chord = planish_demo_score_chord(bar);
    for (size_t i = 1; chord != NULL && i < PLANISH_DEMO_STRINGS; ++i) {
      for (int lane = 0; lane < 2; ++lane) {
        const double apart = (lane == 0 ? -0.05 : 0.05) * (1.0 + planish_demo_random_bell(&random));
        const Voice voice = {
            .from = (size_t)planish_demo_score_frame((double)(bar * PLANISH_DEMO_STEPS)),
            .to = (size_t)planish_demo_score_frame((double)((bar + 1) * PLANISH_DEMO_STEPS)),
            .hertz = planish_demo_hertz(chord[i] + apart),
            .turns = 0.5 + 0.5 * planish_demo_random_even(&random),
        };
        hold(voice, lane == 0 ? track->left : track->right, track->frames);
      }
    }
  }
  planish_demo_track_filter(track, dull, 2);
  return planish_demo_room_add(&hall, track, 0.12, track);
}
