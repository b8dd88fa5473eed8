/* Meter: reads loudness, peaks and stereo of what passes, and changes no bit of it.
 *
 * Readings are taken at the end of steps of 10 ms, those that cost more at the end of every tenth,
 * so that a run costs the same however often the host looks. */
#include "common/dsp/loudness.h"
#include "common/dsp/maths.h"
#include "common/frame/stage.h"
#include "plugins/meter/peaks.h"
#include "plugins/meter/window.h"
#include "ttl/meter_ports.h"

enum { SLOT_STEPS = PLANISH_LOUDNESS_SHORTTERM_STEPS / PLANISH_METER_SLOTS };

/* Mono loss and range are read so many steps after the blocks that they come from have ended, which
 * keeps the dearest step short. */
enum { MONO_LATE = SLOT_STEPS / 2, RANGE_LATE = SLOT_STEPS / 5 };

_Static_assert(SLOT_STEPS == 10, "slots end with the blocks of the integrated loudness");

/* Of readings that cost more than a glance; LUFS, LU and dB. */
typedef struct {
  double integrated;
  double range;
  double mono_loss;
  PlanishMeterStretch window;
} Readings;

typedef struct {
  PlanishLoudness loudness;
  PlanishMeterPeaks peaks;
  PlanishMeterWindow window;
  Readings readings;
  double compared; /* LUFS */
  int compare_type;
  bool reset_held; /* the trigger, as it stood last */
  bool fresh;
} Meter;

static PlanishStatus setup(void *state, double rate, PlanishArena *arena)
{
  Meter *meter = state;
  const PlanishStatus status = planish_loudness_setup(&meter->loudness, arena, rate, 2);
  if (status == PLANISH_OK) {
    planish_meter_peaks_setup(&meter->peaks, arena, rate);
  }
  return status;
}

static void read_whole(Meter *meter)
{
  meter->readings.integrated = planish_loudness_integrated(&meter->loudness);
  meter->readings.range = planish_loudness_range(&meter->loudness);
  meter->readings.mono_loss = planish_loudness_mono_loss(&meter->loudness);
}

static void reset(void *state)
{
  Meter *meter = state;
  planish_loudness_reset(&meter->loudness);
  planish_meter_peaks_reset(&meter->peaks);
  meter->window = (PlanishMeterWindow){.next = 0};
  meter->readings = (Readings){.integrated = 0.0};
  read_whole(meter);
  meter->fresh = true;
}

static void restart(Meter *meter)
{
  planish_loudness_restart(&meter->loudness);
  planish_meter_peaks_restart(&meter->peaks);
  read_whole(meter);
}

static void set(void *state, const float *values)
{
  Meter *meter = state;
  const bool paused = !(values[METER_MEASURING] > 0.0F);
  const bool reset_held = values[METER_RESET] > 0.0F;
  planish_loudness_pause(&meter->loudness, paused);
  planish_meter_peaks_count(&meter->peaks, !paused);
  if (reset_held && !meter->reset_held && !meter->fresh) {
    restart(meter);
  }
  meter->reset_held = reset_held;
  meter->compared = (double)values[METER_COMPARE_LOUDNESS];
  meter->compare_type = (int)values[METER_COMPARE_TYPE];
  meter->fresh = false;
}

static void finish_step(Meter *meter)
{
  const uint64_t counted = meter->loudness.steps - meter->loudness.since;
  planish_meter_peaks_finish_step(&meter->peaks);
  if (meter->loudness.steps % SLOT_STEPS == 0) {
    meter->readings.window = planish_meter_window_finish_slot(&meter->window);
  }
  if (counted % SLOT_STEPS == 0) {
    meter->readings.integrated = planish_loudness_integrated(&meter->loudness);
  }
  if (counted % SLOT_STEPS == MONO_LATE) {
    meter->readings.mono_loss = planish_loudness_mono_loss(&meter->loudness);
  }
  if (counted % SLOT_STEPS == RANGE_LATE) {
    meter->readings.range = planish_loudness_range(&meter->loudness);
  }
}

/* At most up to the end of a step. */
static void process_piece(Meter *meter, const double *const audio[2], uint32_t frames)
{
  planish_loudness_process(&meter->loudness, audio, frames);
  planish_meter_peaks_process(&meter->peaks, audio, frames);
  planish_meter_window_process(&meter->window, audio, frames);
}

static void process(void *state, const PlanishBlock *block)
{
  Meter *meter = state;
  for (uint32_t done = 0; done < block->frames;) {
    const uint64_t to_end = meter->loudness.step_end - meter->loudness.frame;
    const uint32_t left = block->frames - done;
    const uint32_t frames = left < to_end ? left : (uint32_t)to_end;
    const double *const audio[2] = {block->audio[0] + done, block->audio[1] + done};
    const uint64_t steps = meter->loudness.steps;
    process_piece(meter, audio, frames);
    if (meter->loudness.steps != steps) {
      finish_step(meter);
    }
    done += frames;
  }
}

/* Within the port's range, whose lower end is what nothing reads; 0 where there is no meaning. */
static void show(float *values, int port, double value)
{
  const PlanishPort *range = &meter_port_table[port];
  const double known = isnan(value) ? 0.0 : value;
  values[port] = (float)planish_clamp(known, (double)range->minimum, (double)range->maximum);
}

/* `level` above `loudness`; 0 where that is under the gate. */
static double above(double level, double loudness)
{
  return loudness > PLANISH_LOUDNESS_FLOOR ? level - loudness : 0.0;
}

static void report_loudness(const Meter *meter, float *values)
{
  const PlanishLoudness *loudness = &meter->loudness;
  show(values, METER_MOMENTARY, planish_loudness_momentary(loudness));
  show(values, METER_MOMENTARY_MAX, planish_loudness_momentary_max(loudness));
  show(values, METER_SHORT_TERM, planish_loudness_shortterm(loudness));
  show(values, METER_SHORT_TERM_MAX, planish_loudness_shortterm_max(loudness));
  show(values, METER_INTEGRATED, meter->readings.integrated);
  show(values, METER_LOUDNESS_RANGE, meter->readings.range);
  show(values, METER_MEASURED_TIME,
       (double)loudness->counted / (double)PLANISH_LOUDNESS_STEPS_PER_S);
  show(values, METER_MONO_LOSS, meter->readings.mono_loss);
}

static void report_peaks(const Meter *meter, float *values)
{
  const double true_peak = planish_level_of(meter->peaks.true_peak);
  const double recent = planish_level_of(meter->peaks.recent_peak);
  show(values, METER_TRUE_PEAK, true_peak);
  show(values, METER_TRUE_PEAK_NOW, recent);
  show(values, METER_SAMPLE_PEAK, planish_level_of(meter->peaks.sample_peak));
  show(values, METER_PLR, above(true_peak, meter->readings.integrated));
  show(values, METER_PSR, above(recent, planish_loudness_shortterm(&meter->loudness)));
}

static void report_stereo(const Meter *meter, float *values)
{
  const PlanishMeterStretch *window = &meter->readings.window;
  const double frames = planish_max(1.0, (double)window->frames);
  show(values, METER_CORRELATION, planish_stereo_sums_correlation(&window->sums));
  show(values, METER_MID_LEVEL, planish_level_of_power(window->sums.mid_square / frames));
  show(values, METER_SIDE_LEVEL, planish_level_of_power(window->sums.side_square / frames));
}

/* The loudness that is compared is over the floor, or there is nothing to compare. */
static void report_difference(const Meter *meter, float *values)
{
  static const int ports[] = {
      [METER_COMPARE_TYPE_INTEGRATED] = METER_INTEGRATED,
      [METER_COMPARE_TYPE_SHORT_TERM] = METER_SHORT_TERM,
      [METER_COMPARE_TYPE_MOMENTARY] = METER_MOMENTARY,
  };
  const double loudness = (double)values[ports[meter->compare_type]];
  show(values, METER_DIFFERENCE,
       loudness > PLANISH_LOUDNESS_FLOOR ? loudness - meter->compared : 0.0);
}

static void report(void *state, float *values, uint32_t frames)
{
  (void)frames;
  const Meter *meter = state;
  report_loudness(meter, values);
  report_peaks(meter, values);
  report_stereo(meter, values);
  report_difference(meter, values);
}

const PlanishStage planish_stage = {
    .ports = &meter_ports,
    .state_size = sizeof(Meter),
    .setup = setup,
    .reset = reset,
    .set = set,
    .process = process,
    .report = report,
};
