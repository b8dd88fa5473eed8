/* Faults planted in clean music, each to be found, at its time and by its name; and nothing else.
 * On synthetic music, and on real music and stems where they stand beside the project. */
#include "common/dsp/maths.h"
#include "harness/audio/rate_converter.h"
#include "harness/check/check.h"
#include "harness/check/check_json.h"
#include "tests/harness/program_fixture.h"

enum { SECONDS = 14 };

typedef struct {
  float *samples; /* stereo */
  size_t frames;
  PlanishCheckSource source;
  PlanishPlaces silenced;
  bool cut;
} Mix;

typedef struct {
  const char *name;
  void (*plant)(Mix *mix);
  PlanishFindingKind kind;
  PlanishSeverity severity;
  PlanishFindingChannel channel;
  double time; /* s; -1: it has none */
} Fault;

static size_t at(const Mix *mix, double seconds)
{
  return (size_t)(seconds * mix->source.rate);
}

static Mix copy_of(const Mix *mix)
{
  Mix copy = *mix;
  copy.samples = malloc(2 * mix->frames * sizeof(float));
  memcpy(copy.samples, mix->samples, 2 * mix->frames * sizeof(float));
  return copy;
}

static void scale(Mix *mix, double left, double right)
{
  for (size_t n = 0; n < mix->frames; ++n) {
    mix->samples[2 * n] = (float)(left * (double)mix->samples[2 * n]);
    mix->samples[2 * n + 1] = (float)(right * (double)mix->samples[2 * n + 1]);
  }
}

/* In a channel (2: both), between two times. */
static void set_to(Mix *mix, size_t channel, double from, double to, float value)
{
  for (size_t n = at(mix, from); n < at(mix, to) && n < mix->frames; ++n) {
    for (size_t c = 0; c < 2; ++c) {
      if (channel == c || channel == 2) {
        mix->samples[2 * n + c] = value;
      }
    }
  }
}

/* Down to nothing from `from` on within `length`, or up from nothing. */
static void fade(Mix *mix, double from, double length, bool up)
{
  for (size_t n = at(mix, from); n < at(mix, from + length) && n < mix->frames; ++n) {
    const double share = ((double)n / mix->source.rate - from) / length;
    const double gain = planish_smoothstep(up ? share : 1.0 - share);
    for (size_t c = 0; c < 2; ++c) {
      mix->samples[2 * n + c] = (float)(gain * (double)mix->samples[2 * n + c]);
    }
  }
}

static void clip_right(Mix *mix)
{
  for (size_t n = at(mix, 8.0); n < at(mix, 8.4); ++n) {
    const double x = 12.0 * (double)mix->samples[2 * n + 1];
    mix->samples[2 * n + 1] = (float)planish_clamp(x, -1.0, 1.0 - 1.0 / 8388608.0);
  }
}

static void clip_and_turn_down(Mix *mix)
{
  clip_right(mix);
  scale(mix, 0.7, 0.7);
}

/* A quarter of the rate, sampled where it is 3 dB down. */
static void over_between(Mix *mix)
{
  for (size_t n = at(mix, 10.0); n < at(mix, 10.1); ++n) {
    const double x = 1.3 * sin(0.5 * PLANISH_PI * (double)n + 0.25 * PLANISH_PI) *
                     planish_smoothstep((double)(n - at(mix, 10.0)) / 0.01 / mix->source.rate);
    mix->samples[2 * n] = mix->samples[2 * n + 1] = (float)x;
  }
}

static void over_in_float(Mix *mix)
{
  mix->source.word = (PlanishReaderWord){32, true, false};
  scale(mix, 6.54321, 6.54321);
}

static void offset_left(Mix *mix)
{
  for (size_t n = 0; n < mix->frames; ++n) {
    mix->samples[2 * n] += 0.01F;
  }
}

static void silence_right(Mix *mix)
{
  scale(mix, 1.0, 0.0);
}

static void silence_all(Mix *mix)
{
  scale(mix, 0.0, 0.0);
}

static void same_in_both(Mix *mix)
{
  for (size_t n = 0; n < mix->frames; ++n) {
    mix->samples[2 * n + 1] = mix->samples[2 * n];
  }
}

static void turn_left(Mix *mix)
{
  scale(mix, -1.0, 1.0);
}

static void lean_right(Mix *mix)
{
  scale(mix, 0.5, 1.0);
}

static void late_start(Mix *mix)
{
  set_to(mix, 2, 0.0, 2.0, 0.0F);
  fade(mix, 2.0, 0.1, true);
}

static void early_end(Mix *mix)
{
  fade(mix, 7.0, 1.0, false);
  set_to(mix, 2, 8.0, SECONDS, 0.0F);
}

static void cut_head(Mix *mix)
{
  const size_t cut = at(mix, 5.003);
  memmove(mix->samples, mix->samples + 2 * cut, 2 * (mix->frames - cut) * sizeof(float));
  mix->frames -= cut;
}

static void cut_tail(Mix *mix)
{
  mix->frames = at(mix, 12.0);
}

static void drop_both(Mix *mix)
{
  set_to(mix, 2, 11.0, 11.03, 0.0F);
}

static void drop_left(Mix *mix)
{
  set_to(mix, 0, 9.0, 9.006, 0.0F);
}

/* Triangular, as a writer of words of so many bits adds it; then rounded to them. */
static void dither(Mix *mix, int bits)
{
  const double full = ldexp(1.0, bits - 1);
  uint32_t seed = 11;
  for (size_t n = 0; n < 2 * mix->frames; ++n) {
    double noise = 0.0;
    for (int k = 0; k < 2; ++k) {
      seed = seed * 1664525U + 1013904223U;
      noise += (double)(seed >> 8) / 16777216.0 - 0.5;
    }
    mix->samples[n] = (float)(floor(full * (double)mix->samples[n] + noise + 0.5) / full);
  }
  mix->source.word = (PlanishReaderWord){(unsigned)bits, false, false};
}

static void drop_both_under_dither(Mix *mix)
{
  drop_both(mix);
  dither(mix, 24);
}

static void drop_both_under_dither_of_16(Mix *mix)
{
  drop_both(mix);
  dither(mix, 16);
}

static void clip_and_dither(Mix *mix)
{
  clip_and_turn_down(mix);
  dither(mix, 24);
}

static void kill_right(Mix *mix)
{
  set_to(mix, 1, 8.0, SECONDS, 0.0F);
}

static void rest_right(Mix *mix)
{
  for (size_t n = at(mix, 8.0); n < at(mix, 9.0); ++n) {
    mix->samples[2 * n + 1] *= (float)planish_smoothstep(9.0 - (double)n / mix->source.rate);
  }
  set_to(mix, 1, 9.0, 10.5, 0.0F);
}

static void cut_to_black(Mix *mix)
{
  set_to(mix, 2, 12.0, SECONDS, 0.0F);
}

static void black_in_the_middle(Mix *mix)
{
  fade(mix, 6.0, 0.5, false);
  set_to(mix, 2, 6.5, 7.0, 0.0F);
  fade(mix, 7.0, 0.5, true);
}

static void click_right(Mix *mix)
{
  mix->samples[2 * at(mix, 7.123) + 1] += 0.9F;
}

static void jump_left(Mix *mix)
{
  double jump = 0.9;
  for (size_t n = at(mix, 4.321); n < mix->frames; ++n, jump *= 0.998) {
    mix->samples[2 * n] += (float)jump;
  }
}

static void round_to_16(Mix *mix)
{
  for (size_t n = 0; n < 2 * mix->frames; ++n) {
    mix->samples[n] = (float)(floor(32768.0 * (double)mix->samples[n] + 0.5) / 32768.0);
  }
}

static void hold_12_in_16(Mix *mix)
{
  for (size_t n = 0; n < 2 * mix->frames; ++n) {
    mix->samples[n] = (float)(floor(2048.0 * (double)mix->samples[n] + 0.5) / 2048.0);
  }
  mix->source.word = (PlanishReaderWord){16, false, false};
}

/* Rounding leaves black and steps, which are told of as what they are. */
static void round_to_8(Mix *mix)
{
  dither(mix, 8);
  for (size_t n = 2 * at(mix, 3.0); n < 2 * at(mix, 4.0); ++n) {
    mix->samples[n] = (float)(floor(128.0 * (double)mix->samples[n] * 0.02 + 0.5) / 128.0);
  }
}

typedef struct {
  const Mix *mix;
  size_t at;
} Source;

static bool give(void *user, float *interleaved, size_t frames, size_t *got, PlanishError *error)
{
  (void)error;
  Source *source = user;
  const size_t left = source->mix->frames - source->at;
  *got = frames < left ? frames : left;
  memcpy(interleaved, source->mix->samples + 2 * source->at, 2 * *got * sizeof(float));
  source->at += *got;
  return true;
}

static void convert(Mix *mix, double rate)
{
  Source source = {mix, 0};
  PlanishError error = {0};
  PlanishRateConverter *converter =
      planish_rate_converter_new(mix->source.rate, rate, mix->frames, give, &source, &error);
  assert_non_null(converter);
  const size_t frames = planish_converted_frames(mix->frames, mix->source.rate, rate);
  float *samples = malloc(2 * frames * sizeof(float));
  size_t got = 0;
  assert_true(planish_rate_converter_read(converter, samples, frames, &got, &error));
  assert_int_equal(got, frames);
  planish_rate_converter_free(converter);
  free(mix->samples);
  mix->samples = samples;
  mix->frames = frames;
  mix->source.rate = rate;
}

static void raise_rate(Mix *mix)
{
  convert(mix, 2.0 * mix->source.rate);
}

static void raise_from_32(Mix *mix)
{
  const double rate = mix->source.rate;
  convert(mix, 22050.0);
  convert(mix, rate);
}

/* Through a file of MPEG layer III, at a middling quality; left alone where it cannot be written.
 */
static void code_with_loss(Mix *mix)
{
  SF_INFO info = {.samplerate = (int)mix->source.rate,
                  .channels = 2,
                  .format = SF_FORMAT_MPEG | SF_FORMAT_MPEG_LAYER_III};
  const char *path = in_folder("coded.mp3");
  SNDFILE *file = sf_open(path, SFM_WRITE, &info);
  if (file == NULL) {
    print_message("    libsndfile writes no MP3 here\n");
    skip();
  }
  double compression = 0.6;
  sf_command(file, SFC_SET_COMPRESSION_LEVEL, &compression, sizeof compression);
  sf_writef_float(file, mix->samples, (sf_count_t)mix->frames);
  sf_close(file);
  SF_INFO read = {0};
  file = sf_open(path, SFM_READ, &read);
  assert_non_null(file);
  mix->frames = (size_t)sf_readf_float(file, mix->samples, (sf_count_t)mix->frames);
  sf_close(file);
}

static void noise_in_a_pause(Mix *mix)
{
  black_in_the_middle(mix);
  uint32_t seed = 3;
  for (size_t n = 2 * at(mix, 4.0); n < 2 * at(mix, 9.0); ++n) {
    seed = seed * 1664525U + 1013904223U;
    mix->samples[n] += (float)(0.001 * ((double)(seed >> 8) / 8388608.0 - 1.0));
  }
}

/* Everything bent under a ceiling, without a corner. */
static void limit(Mix *mix)
{
  scale(mix, 8.0, 8.0);
  for (size_t n = 0; n < 2 * mix->frames; ++n) {
    const double x = (double)mix->samples[n] / 0.8;
    mix->samples[n] = (float)((double)mix->samples[n] / pow(1.0 + pow(x, 8.0), 0.125));
  }
}

/* Samples held under a ceiling, by a gain that comes within 2 ms ahead of a peak: the lowest that
 * is needed in the 2 ms to come, its mean over the last 2 ms. */
static void limit_samples(Mix *mix)
{
  const size_t ahead = at(mix, 0.002);
  double *lowest = calloc(mix->frames + ahead, sizeof *lowest);
  scale(mix, 5.0, 5.0);
  for (size_t n = 0; n < mix->frames + ahead; ++n) {
    lowest[n] = 1.0;
    for (size_t k = n < ahead ? 0 : n - ahead; k <= n && k < mix->frames; ++k) {
      const double peak =
          fmax(fabs((double)mix->samples[2 * k]), fabs((double)mix->samples[2 * k + 1]));
      lowest[n] = fmin(lowest[n], 0.6 / fmax(peak, 0.6));
    }
  }
  for (size_t n = 0; n < mix->frames; ++n) {
    double sum = 0.0;
    for (size_t k = n; k <= n + ahead; ++k) {
      sum += lowest[k];
    }
    for (size_t c = 0; c < 2; ++c) {
      mix->samples[2 * n + c] =
          (float)(sum / (double)(ahead + 1) * (double)mix->samples[2 * n + c]);
    }
  }
  free(lowest);
}

static void lose_numbers(Mix *mix)
{
  planish_places_add(&mix->silenced, at(mix, 6.25));
  planish_places_add(&mix->silenced, at(mix, 6.5));
}

static void break_off(Mix *mix)
{
  mix->cut = true;
}

static void one_channel(Mix *mix)
{
  same_in_both(mix);
  mix->source.channels = 1;
}

static void odd_rate(Mix *mix)
{
  mix->source.rate = 50000.0;
}

static const Fault faults[] = {
    {"clipped", clip_right, PLANISH_FINDING_CLIPPED, PLANISH_FAULT, PLANISH_OF_RIGHT, 8.0},
    {"clipped and turned down", clip_and_turn_down, PLANISH_FINDING_CLIPPED, PLANISH_FAULT,
     PLANISH_OF_RIGHT, 8.0},
    {"over between samples", over_between, PLANISH_FINDING_OVER_BETWEEN_SAMPLES, PLANISH_WARNING,
     PLANISH_OF_BOTH, 10.0},
    {"over in float", over_in_float, PLANISH_FINDING_OVER_FULL_SCALE, PLANISH_NOTE, PLANISH_OF_BOTH,
     -1.0},
    {"DC", offset_left, PLANISH_FINDING_OFFSET, PLANISH_WARNING, PLANISH_OF_LEFT, -1.0},
    {"silent", silence_all, PLANISH_FINDING_SILENT, PLANISH_FAULT, PLANISH_OF_BOTH, -1.0},
    {"a silent channel", silence_right, PLANISH_FINDING_CHANNEL_SILENT, PLANISH_FAULT,
     PLANISH_OF_RIGHT, -1.0},
    {"mono in stereo", same_in_both, PLANISH_FINDING_CHANNELS_IDENTICAL, PLANISH_WARNING,
     PLANISH_OF_BOTH, -1.0},
    {"polarity", turn_left, PLANISH_FINDING_POLARITY, PLANISH_FAULT, PLANISH_OF_BOTH, -1.0},
    {"balance", lean_right, PLANISH_FINDING_IMBALANCE, PLANISH_WARNING, PLANISH_OF_RIGHT, -1.0},
    {"silence at the head", late_start, PLANISH_FINDING_HEAD_SILENCE, PLANISH_NOTE, PLANISH_OF_BOTH,
     -1.0},
    {"silence at the tail", early_end, PLANISH_FINDING_TAIL_SILENCE, PLANISH_NOTE, PLANISH_OF_BOTH,
     7.9},
    {"head cut off", cut_head, PLANISH_FINDING_HEAD_CUT, PLANISH_WARNING, PLANISH_OF_BOTH, 0.0},
    {"tail cut off", cut_tail, PLANISH_FINDING_TAIL_CUT, PLANISH_WARNING, PLANISH_OF_BOTH, 12.0},
    {"dropout", drop_both, PLANISH_FINDING_DROPOUT, PLANISH_FAULT, PLANISH_OF_BOTH, 11.0},
    {"dropout of a channel", drop_left, PLANISH_FINDING_DROPOUT, PLANISH_FAULT, PLANISH_OF_LEFT,
     9.0},
    {"dropout under dither", drop_both_under_dither, PLANISH_FINDING_DROPOUT, PLANISH_FAULT,
     PLANISH_OF_BOTH, 11.0},
    {"dropout under dither of 16 bit", drop_both_under_dither_of_16, PLANISH_FINDING_DROPOUT,
     PLANISH_FAULT, PLANISH_OF_BOTH, 11.0},
    {"a channel that ends early", kill_right, PLANISH_FINDING_DROPOUT, PLANISH_FAULT,
     PLANISH_OF_RIGHT, 8.0},
    {"a channel that rests", rest_right, PLANISH_FINDING_BLACK, PLANISH_NOTE, PLANISH_OF_RIGHT,
     9.0},
    {"cut off ahead of black", cut_to_black, PLANISH_FINDING_TAIL_CUT, PLANISH_WARNING,
     PLANISH_OF_BOTH, 12.0},
    {"clipped, turned down and dithered", clip_and_dither, PLANISH_FINDING_CLIPPED, PLANISH_FAULT,
     PLANISH_OF_RIGHT, 8.0},
    {"12 bit in 16", hold_12_in_16, PLANISH_FINDING_WORD_LENGTH, PLANISH_WARNING, PLANISH_OF_BOTH,
     -1.0},
    {"8 bit", round_to_8, PLANISH_FINDING_WORD_LENGTH, PLANISH_WARNING, PLANISH_OF_BOTH, -1.0},
    {"digital black", black_in_the_middle, PLANISH_FINDING_BLACK, PLANISH_NOTE, PLANISH_OF_BOTH,
     6.5},
    {"click", click_right, PLANISH_FINDING_CLICKS, PLANISH_WARNING, PLANISH_OF_RIGHT, 7.123},
    {"16 bit in 24", round_to_16, PLANISH_FINDING_WORD_LENGTH, PLANISH_WARNING, PLANISH_OF_BOTH,
     -1.0},
    {"raised rate", raise_rate, PLANISH_FINDING_RATE_RAISED, PLANISH_WARNING, PLANISH_OF_BOTH,
     -1.0},
    {"raised from a low rate", raise_from_32, PLANISH_FINDING_RATE_RAISED, PLANISH_WARNING,
     PLANISH_OF_BOTH, -1.0},
    {"noise", noise_in_a_pause, PLANISH_FINDING_NOISE, PLANISH_NOTE, PLANISH_OF_BOTH, 6.6},
    {"limited", limit, PLANISH_FINDING_LIMITED, PLANISH_NOTE, PLANISH_OF_BOTH, -1.0},
    {"samples limited", limit_samples, PLANISH_FINDING_LIMITED, PLANISH_NOTE, PLANISH_OF_BOTH,
     -1.0},
    {"no numbers", lose_numbers, PLANISH_FINDING_NOT_A_NUMBER, PLANISH_FAULT, PLANISH_OF_BOTH,
     6.25},
    {"cut short", break_off, PLANISH_FINDING_CUT_SHORT, PLANISH_FAULT, PLANISH_OF_BOTH, SECONDS},
    {"mono", one_channel, PLANISH_FINDING_MONO, PLANISH_NOTE, PLANISH_OF_BOTH, -1.0},
    {"odd rate", odd_rate, PLANISH_FINDING_ODD_RATE, PLANISH_NOTE, PLANISH_OF_BOTH, -1.0},
};

/* Not to be told from the noise of the stems, which is bright throughout. */
static const Fault jump = {"jump",          jump_left,       PLANISH_FINDING_CLICKS,
                           PLANISH_WARNING, PLANISH_OF_LEFT, 4.321};

static const Fault coded = {"coded with loss", code_with_loss,  PLANISH_FINDING_CODED_WITH_LOSS,
                            PLANISH_WARNING,   PLANISH_OF_BOTH, -1.0};

static PlanishCheckResult check_in(const Mix *mix, size_t block)
{
  PlanishCheck *check = planish_check_new(&mix->source);
  assert_non_null(check);
  for (size_t n = 0; n < mix->frames; n += block) {
    planish_check_process(check, mix->samples + 2 * n,
                          mix->frames - n < block ? mix->frames - n : block);
  }
  PlanishCheckResult result;
  planish_check_finish(check, &mix->silenced, mix->cut, &result);
  planish_check_free(check);
  return result;
}

static void print_findings(const PlanishCheckResult *result)
{
  for (size_t n = 0; n < result->findings.count; ++n) {
    const PlanishFinding *finding = &result->findings.finding[n];
    print_message("    %s %s: %s\n", planish_finding_severity_name(finding->severity),
                  planish_finding_kind_name(finding->kind), finding->what);
  }
}

static const PlanishFinding *find(const PlanishCheckResult *result, PlanishFindingKind kind)
{
  for (size_t n = 0; n < result->findings.count; ++n) {
    if (result->findings.finding[n].kind == kind) {
      return &result->findings.finding[n];
    }
  }
  return NULL;
}

/* Whether one of its times is right: within a tenth of a second, as the plants themselves are not
 * sharper. */
static bool is_in_time(const PlanishFinding *finding, double time)
{
  for (size_t n = 0; n < finding->times; ++n) {
    if (fabs(finding->time[n] - time) < 0.11) {
      return true;
    }
  }
  return time < 0.0;
}

static bool is_as_planted(const PlanishFinding *finding, const Fault *fault)
{
  return finding != NULL && finding->severity >= fault->severity &&
         finding->channel == fault->channel && is_in_time(finding, fault->time) &&
         finding->remedy[0] != '\0';
}

/* What a plant brings with it: an edge clicks, a dropout is an edge, a limiter leaves no room. */
static bool is_fault_of_another_kind(const PlanishCheckResult *result, const Fault *fault)
{
  for (size_t n = 0; n < result->findings.count; ++n) {
    const PlanishFinding *finding = &result->findings.finding[n];
    if (finding->severity == PLANISH_FAULT && finding->kind != fault->kind) {
      return true;
    }
  }
  return false;
}

static bool plant_and_find(const Mix *clean, const Fault *fault)
{
  Mix mix = copy_of(clean);
  fault->plant(&mix);
  const PlanishCheckResult result = check_in(&mix, 4096);
  free(mix.samples);
  const bool found = is_as_planted(find(&result, fault->kind), fault);
  const bool more = is_fault_of_another_kind(&result, fault);
  if (!found || more) {
    print_message("  %s: %s\n", fault->name, !found ? "not found" : "a false fault");
    print_findings(&result);
  }
  return found && !more;
}

/* The music of a file, or of several added up, its ends faded. False: it is not here. */
static bool read_music(Mix *mix, const char *const *names)
{
  const char *shared = getenv("PLANISH_SHARED");
  *mix = (Mix){0};
  for (; *names != NULL; ++names) {
    char path[1024];
    snprintf(path, sizeof path, "%s/%s", shared == NULL ? "../shared" : shared, *names);
    SF_INFO info = {0};
    SNDFILE *file = sf_open(path, SFM_READ, &info);
    if (file == NULL) {
      print_message("    %s is absent\n", path);
      free(mix->samples);
      return false;
    }
    const size_t frames = (size_t)(SECONDS * info.samplerate);
    float *samples = calloc(frames * (size_t)info.channels, sizeof(float));
    sf_readf_float(file, samples, (sf_count_t)frames);
    sf_close(file);
    if (mix->samples == NULL) {
      mix->samples = calloc(2 * frames, sizeof(float));
      mix->frames = frames;
      mix->source = (PlanishCheckSource){info.samplerate, 2, {24, false, false}};
    }
    for (size_t n = 0; n < 2 * frames; ++n) {
      const size_t channels = (size_t)info.channels;
      mix->samples[n] += samples[n / 2 * channels + (channels == 2 ? n % 2 : 0)];
    }
    free(samples);
  }
  fade(mix, 0.0, 0.3, true);
  fade(mix, SECONDS - 1.5, 1.0, false);
  set_to(mix, 2, SECONDS - 0.5, SECONDS, 0.0F);
  return true;
}

static void find_all(const char *const *names, const Fault *one_more)
{
  Mix mix;
  if (!read_music(&mix, names)) {
    skip();
  }
  const PlanishCheckResult clean = check_in(&mix, 4096);
  print_findings(&clean);
  assert_int_equal(planish_findings_of(&clean.findings, PLANISH_FAULT), 0);
  size_t found = 0;
  const size_t count = sizeof faults / sizeof *faults;
  for (size_t n = 0; n < count; ++n) {
    found += plant_and_find(&mix, &faults[n]);
  }
  print_message("    %zu of %zu planted faults found\n", found, count);
  assert_int_equal(found, count);
  assert_true(one_more == NULL || plant_and_find(&mix, one_more));
  assert_true(plant_and_find(&mix, &coded));
  free(mix.samples);
}

static void planted_in_guitars(void **state)
{
  (void)state;
  find_all((const char *const[]){"music/guitars-dynamic.flac", NULL}, &jump);
}

static void planted_in_stems(void **state)
{
  (void)state;
  find_all((const char *const[]){"stems/drums-1.flac", "stems/bass-1.flac", "stems/guitars-1.flac",
                                 "stems/voice-1.flac", NULL},
           NULL);
}

/* Everything at once is clean: no fault, and no warning but what is true of the piece. */
static void clean_music(void **state)
{
  (void)state;
  static const struct {
    const char *names[5];
    PlanishFindingKind true_warning; /* PLANISH_FINDING_KINDS: none */
  } pieces[] = {
      {{"music/guitars-dense.flac"}, PLANISH_FINDING_CODED_WITH_LOSS}, /* by its README */
      {{"music/guitars-dynamic.flac"}, PLANISH_FINDING_KINDS},
      {{"music/lopsided.flac"}, PLANISH_FINDING_IMBALANCE}, /* left 8.7 dB over right */
      {{"music/quiet.flac"}, PLANISH_FINDING_KINDS},
      {{"stems/drums-1.flac", "stems/bass-1.flac", "stems/guitars-1.flac", "stems/voice-1.flac"},
       PLANISH_FINDING_KINDS},
      {{"stems/drums-2.flac", "stems/bass-2.flac", "stems/guitars-ringing-2.flac",
        "stems/voice-2.flac"},
       PLANISH_FINDING_KINDS},
  };
  for (size_t p = 0; p < sizeof pieces / sizeof *pieces; ++p) {
    Mix mix;
    if (!read_music(&mix, pieces[p].names)) {
      skip();
    }
    const PlanishCheckResult result = check_in(&mix, 4096);
    print_message("  %s\n", pieces[p].names[0]);
    print_findings(&result);
    for (size_t n = 0; n < result.findings.count; ++n) {
      assert_true(result.findings.finding[n].severity == PLANISH_NOTE ||
                  result.findings.finding[n].kind == pieces[p].true_warning);
    }
    free(mix.samples);
  }
}

/* Without the shared music: bursts of tones and noise, faded. */
static Mix synthetic(void)
{
  Mix mix = {malloc(2 * SECONDS * RATE * sizeof(float)),
             SECONDS * RATE,
             {RATE, 2, {24, 0, 0}},
             {0},
             false};
  for (size_t n = 0; n < 2 * mix.frames; ++n) {
    mix.samples[n] = music[n % (2 * LENGTH)];
  }
  fade(&mix, 0.0, 0.3, true);
  fade(&mix, SECONDS - 1.5, 1.0, false);
  set_to(&mix, 2, SECONDS - 0.5, SECONDS, 0.0F);
  return mix;
}

static void planted_in_noise(void **state)
{
  (void)state;
  /* What does not depend on music. */
  static const PlanishFindingKind kinds[] = {
      PLANISH_FINDING_CLIPPED,        PLANISH_FINDING_OVER_BETWEEN_SAMPLES,
      PLANISH_FINDING_OFFSET,         PLANISH_FINDING_SILENT,
      PLANISH_FINDING_CHANNEL_SILENT, PLANISH_FINDING_CHANNELS_IDENTICAL,
      PLANISH_FINDING_POLARITY,       PLANISH_FINDING_IMBALANCE,
      PLANISH_FINDING_HEAD_SILENCE,   PLANISH_FINDING_TAIL_SILENCE,
      PLANISH_FINDING_HEAD_CUT,       PLANISH_FINDING_TAIL_CUT,
      PLANISH_FINDING_DROPOUT,        PLANISH_FINDING_BLACK,
      PLANISH_FINDING_WORD_LENGTH,    PLANISH_FINDING_RATE_RAISED,
      PLANISH_FINDING_NOT_A_NUMBER,   PLANISH_FINDING_CUT_SHORT,
      PLANISH_FINDING_MONO,           PLANISH_FINDING_ODD_RATE,
  };
  Mix mix = synthetic();
  const PlanishCheckResult clean = check_in(&mix, 4096);
  print_findings(&clean);
  assert_int_equal(planish_findings_of(&clean.findings, PLANISH_FAULT), 0);
  size_t missed = 0;
  for (size_t n = 0; n < sizeof faults / sizeof *faults; ++n) {
    for (size_t k = 0; k < sizeof kinds / sizeof *kinds; ++k) {
      missed += faults[n].kind == kinds[k] && !plant_and_find(&mix, &faults[n]);
    }
  }
  free(mix.samples);
  assert_int_equal(missed, 0);
}

static void blocks_change_nothing(void **state)
{
  (void)state;
  Mix mix = synthetic();
  drop_left(&mix);
  clip_right(&mix);
  mix.frames /= 2;
  const PlanishCheckResult whole = check_in(&mix, mix.frames);
  static const size_t blocks[] = {1, 63, 8192};
  for (size_t b = 0; b < 3; ++b) {
    const PlanishCheckResult result = check_in(&mix, blocks[b]);
    assert_int_equal(result.findings.count, whole.findings.count);
    for (size_t n = 0; n < whole.findings.count; ++n) {
      assert_string_equal(result.findings.finding[n].what, whole.findings.finding[n].what);
      assert_true(result.findings.finding[n].times == 0 ||
                  result.findings.finding[n].time[0] == whole.findings.finding[n].time[0]);
    }
    assert_true(result.measurement.integrated == whole.measurement.integrated);
  }
  free(mix.samples);
}

/* One that is faint is a fault, too, but is not called silent. */
static void a_faint_channel_is_told_as_what_it_is(void **state)
{
  (void)state;
  Mix mix = synthetic();
  scale(&mix, 1.0, 1e-3);
  const PlanishCheckResult result = check_in(&mix, 4096);
  free(mix.samples);
  const PlanishFinding *finding = find(&result, PLANISH_FINDING_CHANNEL_SILENT);
  assert_non_null(finding);
  print_message("%s\n", finding->what);
  assert_int_equal(finding->severity, PLANISH_FAULT);
  assert_int_equal(finding->channel, PLANISH_OF_RIGHT);
  assert_null(strstr(finding->what, "the channel is silent"));
}

/* A single clipped run, to the frame; and two equal samples, or a slow top, that are none. */
static void clipped_runs_are_exact(void **state)
{
  (void)state;
  Mix mix = synthetic();
  set_to(&mix, 2, 5.0, 5.2, 0.1F);
  const size_t place = at(&mix, 5.1);
  for (size_t n = 0; n < 4; ++n) {
    mix.samples[2 * (place + n)] = 1.0F;
  }
  const PlanishCheckResult result = check_in(&mix, 4096);
  const PlanishFinding *finding = find(&result, PLANISH_FINDING_CLIPPED);
  assert_non_null(finding);
  assert_int_equal(finding->count, 1);
  assert_true(finding->value == 4.0 && finding->channel == PLANISH_OF_LEFT);
  assert_true(fabs(finding->time[0] - (double)place / RATE) < 1e-9);
  for (size_t n = 0; n < mix.frames; ++n) {
    const double x = 0.9 * sin(2.0 * PLANISH_PI * 20.0 * (double)n / RATE);
    mix.samples[2 * n] = (float)(floor(32768.0 * x + 0.5) / 32768.0);
    mix.samples[2 * n + 1] = 0.0F;
  }
  const PlanishCheckResult slow = check_in(&mix, 4096);
  assert_null(find(&slow, PLANISH_FINDING_CLIPPED));
  free(mix.samples);
}

static void the_program(void **state)
{
  (void)state;
  start_files(NULL);
  const char *const mix = name("mix.wav");
  Outcome outcome = RUN("check", "--json", mix);
  assert_non_null(strstr(outcome.out, "\"findings\": ["));
  assert_non_null(strstr(outcome.out, "\"true_peak_dbtp\": "));
  float wide[3 * 8] = {0.0F};
  wide[4] = NAN;
  write_audio("wide.wav", WAV24, RATE, 3, wide, 8);
  write_audio("nan.wav", SF_FORMAT_WAV | SF_FORMAT_FLOAT, RATE, 2, wide, 8);
  write_audio("none.wav", WAV24, RATE, 2, wide, 0);
  write_audio("one.wav", WAV24, RATE, 2, music + 8000, 1);
  write_audio("slow.wav", WAV24, 4000, 2, wide, 1);
  write_audio("odd.wav", WAV24, 37123, 2, music, LENGTH);
  write_audio("mono.wav", WAV24, RATE, 1, music, LENGTH);
  write_audio("short.wav", WAV24, RATE, 2, music, RATE);
  write_text("words.wav", "words\n");
  write_text("empty.wav", "");
  mkfifo(in_folder("pipe.wav"), 0600);
  assert_int_equal(truncate(in_folder("short.wav"), 100000), 0);
  /* Each is named once: there is room for 16. */
  const char *const words = name("words.wav");
  const char *const no_number = name("nan.wav");
  const char *const cut = name("short.wav");
  const char *const one = name("one.wav");
  const struct {
    const char *arguments[4];
    int code;
    const char *says; /* on standard error; of codes 0 and 1 in the result */
  } cases[] = {
      {{"check"}, 2, "no file"},
      {{"check", "--jason", mix}, 2, "unknown option"},
      {{"check", name("absent.wav")}, 4, "no such file"},
      {{"check", files_folder}, 3, "a folder"},
      {{"check", name("pipe.wav")}, 3, "a pipe"},
      {{"check", name("empty.wav")}, 3, "an empty file"},
      {{"check", words}, 3, "no audio"},
      {{"check", name("wide.wav")}, 3, "3 channels"},
      {{"check", name("none.wav")}, 3, "no audio in it"},
      {{"check", name("slow.wav")}, 3, "4000 Hz: "},
      {{"check", no_number}, 3, "a sample that is no number (NaN) at 0:00.000"},
      {{"check", "--silence-bad", no_number}, 1, "1 frame with samples that are no numbers"},
      {{"check", cut}, 1, "the file is cut short"},
      {{"check", name("odd.wav")}, 0, "an unusual sample rate, 37123 Hz"},
      {{"check", name("mono.wav")}, 0, "mono: taken as dual mono"},
      {{"check", one}, 0, "sound stands at the very start and the very end"},
      {{"check", one, words}, 3, "no audio"},
      {{"check", words, cut}, 3, "no audio"},
  };
  const int files = count_files();
  for (size_t n = 0; n < sizeof cases / sizeof *cases; ++n) {
    const char *arguments[6] = {"planish"};
    for (int a = 0; a < 4 && cases[n].arguments[a] != NULL; ++a) {
      arguments[a + 1] = cases[n].arguments[a];
    }
    outcome = finish(launch(arguments));
    expect(&outcome, cases[n].code, cases[n].code > 1 ? cases[n].says : "");
    if (cases[n].code <= 1 && strstr(outcome.out, cases[n].says) == NULL) {
      fail_msg("no \"%s\" in: %s", cases[n].says, outcome.out);
    }
    assert_int_equal(count_files(), files);
  }
}

static void bad_arguments_are_refused(void **state)
{
  (void)state;
  PlanishCheckSource source = {7999.0, 2, {24, false, false}};
  assert_null(planish_check_new(&source));
  source.rate = 48000.0;
  source.channels = 3;
  assert_null(planish_check_new(&source));
  planish_check_free(NULL);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_faint_channel_is_told_as_what_it_is),
      cmocka_unit_test(planted_in_noise),
      cmocka_unit_test(planted_in_guitars),
      cmocka_unit_test(planted_in_stems),
      cmocka_unit_test(clean_music),
      cmocka_unit_test(blocks_change_nothing),
      cmocka_unit_test(clipped_runs_are_exact),
      cmocka_unit_test(the_program),
      cmocka_unit_test(bad_arguments_are_refused),
  };
  return cmocka_run_group_tests(tests, open_all, close_all);
}
