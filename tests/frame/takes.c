#include "tests/frame/takes.h"

#include "tests/unit/cmocka_headers.h"

#include <dlfcn.h>
#include <fftw3.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void *must(void *memory)
{
  if (memory == NULL) {
    abort();
  }
  return memory;
}

Audio audio_new(uint32_t frames)
{
  Audio audio = {.frames = frames};
  for (int c = 0; c < 2; ++c) {
    audio.channel[c] = must(calloc(frames + 1u, sizeof(float)));
  }
  return audio;
}

void audio_free(Audio *audio)
{
  free(audio->channel[0]);
  free(audio->channel[1]);
  *audio = (Audio){0};
}

/* SplitMix64 (Steele, Lea, Flood 2014), constants from memory. */
uint64_t random_next(uint64_t *state)
{
  uint64_t z = (*state += 0x9e3779b97f4a7c15u);
  z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
  z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
  return z ^ (z >> 31);
}

double random_within(uint64_t *state, double low, double high)
{
  return low + (high - low) * (double)(random_next(state) >> 11) / 9007199254740992.0;
}

Audio audio_music(uint32_t frames, uint64_t seed, float peak)
{
  Audio audio = audio_new(frames);
  double slow[3] = {0.0, 0.0, 0.0};
  float largest = 1e-9f;
  for (uint32_t n = 0; n < frames; ++n) {
    const double envelope = 0.2 + exp(-(double)(n % 9000) / 2500.0);
    double noise[3];
    for (int k = 0; k < 3; ++k) {
      const double white = random_within(&seed, -1.0, 1.0);
      slow[k] += 0.02 * (white - slow[k]);
      noise[k] = envelope * (slow[k] * 4.0 + 0.3 * white);
    }
    for (int c = 0; c < 2; ++c) {
      audio.channel[c][n] = (float)(noise[2] + 0.5 * noise[c]);
      largest = fmaxf(largest, fabsf(audio.channel[c][n]));
    }
  }
  for (uint32_t n = 0; n < frames; ++n) {
    audio.channel[0][n] *= peak / largest;
    audio.channel[1][n] *= peak / largest;
  }
  return audio;
}

Audio audio_sine(uint32_t frames, double rate, double hz, float peak)
{
  Audio audio = audio_new(frames);
  for (uint32_t n = 0; n < frames; ++n) {
    audio.channel[0][n] = audio.channel[1][n] =
        peak * (float)sin(2.0 * 3.14159265358979323846 * hz * n / rate);
  }
  return audio;
}

Take take_of(const PlanishPlugin *plugin, double rate)
{
  return (Take){.plugin = plugin, .rate = rate, .block = WHOLE, .buffers = APART};
}

static void add_move(Take *take, uint32_t at, uint32_t port, float value)
{
  if (take->move_count == MOST_MOVES) {
    abort();
  }
  take->moves[take->move_count++] = (Move){at, port, value};
}

void take_move(Take *take, uint32_t at, const char *symbol, float value)
{
  const int port = planish_plugin_find(take->plugin, symbol);
  if (port >= 0) {
    add_move(take, at, (uint32_t)port, value);
  }
}

static bool is_common(const char *symbol)
{
  static const char *const common[] = {"enabled",        "output_gain", "listen",
                                       "loudness_match", "channels",    "mix"};
  for (size_t i = 0; i < sizeof common / sizeof *common; ++i) {
    if (strcmp(symbol, common[i]) == 0) {
      return true;
    }
  }
  return false;
}

void take_scatter(Take *take, uint32_t at, uint64_t *seed)
{
  for (uint32_t i = 0; i < take->plugin->port_count; ++i) {
    const PlanishPluginPort *port = &take->plugin->ports[i];
    if (port->kind != PLANISH_PLUGIN_CONTROL_INPUT || is_common(port->symbol) ||
        port->not_automatic) {
      continue;
    }
    const double position = random_within(seed, 0.0, 1.0);
    const double low = (double)port->minimum;
    const double high = (double)port->maximum;
    const double value = port->logarithmic && low > 0.0 ? low * pow(high / low, position)
                                                        : low + position * (high - low);
    add_move(take, at, i, (float)value);
  }
}

/* Where the block that starts at `from` ends. */
static uint32_t block_end(const Take *take, uint32_t from, uint32_t move, uint32_t frames,
                          uint64_t *seed)
{
  uint32_t length = take->block;
  if (take->block == RANDOM_BLOCKS) {
    length = (uint32_t)(random_next(seed) % 301);
    length = length < 20 ? 0 : random_next(seed) % 4 == 0 ? length % 40 : length;
  }
  uint32_t end = length > frames - from ? frames : from + length;
  if (move < take->move_count && take->moves[move].at < end) {
    end = take->moves[move].at;
  }
  return end;
}

static void run_block(PlanishInstance *instance, const Take *take, Audio *in, Audio *out,
                      uint32_t from, uint32_t frames)
{
  if (take->buffers == APART) {
    const float *const inputs[2] = {in->channel[0] + from, in->channel[1] + from};
    float *const outputs[2] = {out->channel[0] + from, out->channel[1] + from};
    planish_instance_run(instance, inputs, outputs, frames);
    return;
  }
  const int left = take->buffers == CROSSED ? 1 : 0;
  float *both[2];
  for (int c = 0; c < 2; ++c) {
    both[c] = must(malloc((frames + 1u) * sizeof(float)));
    memcpy(both[c], in->channel[c] + from, frames * sizeof(float));
  }
  planish_instance_run(instance, (const float *const[2]){both[0], both[1]},
                       (float *const[2]){both[left], both[1 - left]}, frames);
  memcpy(out->channel[0] + from, both[left], frames * sizeof(float));
  memcpy(out->channel[1] + from, both[1 - left], frames * sizeof(float));
  free(both[0]);
  free(both[1]);
}

/* A run of 0 frames takes nothing but, before the first frame, the marked controls: so it may find
 * anything in the ports later. */
static void run_nothing(PlanishInstance *instance, const Take *take, bool started)
{
  float values[MOST_PORTS];
  for (uint32_t i = 0; started && i < take->plugin->port_count; ++i) {
    const PlanishPluginPort *port = &take->plugin->ports[i];
    if (port->kind == PLANISH_PLUGIN_CONTROL_INPUT) {
      values[i] = planish_instance_get_at(instance, i);
      planish_instance_set_at(instance, i,
                              values[i] == port->minimum ? port->maximum : port->minimum);
    }
  }
  planish_instance_run(instance, NULL, NULL, 0);
  for (uint32_t i = 0; started && i < take->plugin->port_count; ++i) {
    if (take->plugin->ports[i].kind == PLANISH_PLUGIN_CONTROL_INPUT) {
      planish_instance_set_at(instance, i, values[i]);
    }
  }
}

static void run_life(PlanishInstance *instance, const Take *take, Audio *in, Audio *out)
{
  uint64_t seed = 99;
  uint32_t move = 0;
  for (uint32_t i = 0; i < take->plugin->port_count; ++i) {
    if (take->plugin->ports[i].kind == PLANISH_PLUGIN_CONTROL_INPUT) {
      planish_instance_set_at(instance, i, take->plugin->ports[i].initial);
    }
  }
  planish_instance_activate(instance);
  for (uint32_t at = 0; at < in->frames;) {
    for (; move < take->move_count && take->moves[move].at <= at; ++move) {
      planish_instance_set_at(instance, take->moves[move].port, take->moves[move].value);
    }
    const uint32_t end = block_end(take, at, move, in->frames, &seed);
    if (end == at) {
      run_nothing(instance, take, at > 0);
    } else {
      run_block(instance, take, in, out, at, end - at);
    }
    at = end;
  }
}

Audio take_run(const Take *take, const Audio *in, uint32_t *latency)
{
  PlanishError error = {0};
  PlanishInstance *instance = planish_instance_new(take->plugin, take->rate, &error);
  if (instance == NULL) {
    fprintf(stderr, "%s\n", error.text);
    abort();
  }
  Audio out = audio_new(in->frames);
  Audio source = {.channel = {in->channel[0], in->channel[1]}, .frames = in->frames};
  if (take->second_life > 0) {
    /* Loud, so that whatever stays behind is seen. */
    Audio other = audio_music(take->second_life, 4711, 1e5f);
    run_life(instance, take, &other, &other);
    planish_instance_deactivate(instance);
    audio_free(&other);
  }
  run_life(instance, take, &source, &out);
  if (latency != NULL) {
    *latency = planish_instance_latency(instance);
  }
  planish_instance_free(instance);
  return out;
}

double largest_difference(const Audio *a, const Audio *b, uint32_t late)
{
  double largest = -1.0;
  for (int c = 0; c < 2; ++c) {
    for (uint32_t n = 0; n < a->frames; ++n) {
      const float expected = n < late ? 0.0f : b->channel[c][n - late];
      if (a->channel[c][n] != expected) {
        largest = fmax(largest, fabs((double)a->channel[c][n] - (double)expected));
      }
    }
  }
  return largest;
}

/* Kaiser window, beta 24: side lobes far under what float samples can hold. */
static double kaiser(double position)
{
  const double x = 2.0 * position - 1.0;
  double sums[2];
  for (int k = 0; k < 2; ++k) {
    const double argument = 24.0 * (k == 0 ? sqrt(fmax(0.0, 1.0 - x * x)) : 1.0);
    double term = 1.0;
    sums[k] = 1.0;
    for (int i = 1; i < 80; ++i) {
      term *= (argument / (2.0 * i)) * (argument / (2.0 * i));
      sums[k] += term;
    }
  }
  return sums[0] / sums[1];
}

double energy_above(const float *x, uint32_t frames, double rate, double hz)
{
  double *in = fftw_alloc_real(frames);
  fftw_complex *bins = fftw_alloc_complex(frames / 2 + 1);
  fftw_plan plan = fftw_plan_dft_r2c_1d((int)frames, in, bins, FFTW_ESTIMATE);
  for (uint32_t n = 0; n < frames; ++n) {
    in[n] = (double)x[n] * kaiser((n + 0.5) / frames);
  }
  fftw_execute(plan);
  double above = 0.0;
  double all = 0.0;
  for (uint32_t k = 0; k <= frames / 2; ++k) {
    const double power = bins[k][0] * bins[k][0] + bins[k][1] * bins[k][1];
    all += power;
    above += k * rate / frames > hz ? power : 0.0;
  }
  fftw_destroy_plan(plan);
  fftw_free(in);
  fftw_free(bins);
  return 10.0 * log10((above + 1e-300) / (all + 1e-300));
}

bool has(const PlanishPlugin *plugin, const char *symbol)
{
  return planish_plugin_find(plugin, symbol) >= 0;
}

static PlanishHost *open_host(void)
{
  PlanishError error = {0};
  PlanishHost *host = planish_host_open(&error);
  if (host == NULL) {
    fprintf(stderr, "%s\n", error.text);
    abort();
  }
  return host;
}

void for_each_stage(void (*check)(const PlanishPlugin *plugin))
{
  PlanishError error = {0};
  PlanishHost *host = open_host();
  for (uint32_t i = 0; i < planish_host_count(host); ++i) {
    const PlanishPlugin *plugin = planish_host_plugin(host, planish_host_uri(host, i), &error);
    printf("%s\n", plugin->uri);
    check(plugin);
  }
  planish_host_free(host);
}

const PlanishPlugin *stage_named(const char *name)
{
  static PlanishHost *host = NULL;
  PlanishError error = {0};
  host = host == NULL ? open_host() : host;
  return must((void *)planish_host_plugin(host, name, &error));
}

const LV2_Descriptor *descriptor_of(const PlanishPlugin *plugin)
{
  char path[1024];
  snprintf(path, sizeof path, "%s/%s.so", getenv("PLANISH_BUNDLE"), strrchr(plugin->uri, ':') + 1);
  void *module = dlopen(path, RTLD_NOW | RTLD_LOCAL);
  assert_non_null(module);
  LV2_Descriptor_Function get = NULL;
  void *symbol = dlsym(module, "lv2_descriptor");
  assert_non_null(symbol);
  memcpy(&get, &symbol, sizeof get);
  assert_null(get(1));
  assert_non_null(get(0));
  assert_string_equal(get(0)->URI, plugin->uri);
  return get(0);
}
