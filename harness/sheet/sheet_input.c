/* How the mix goes in: `input` and `rate`. */
#include "harness/measure/measure.h"
#include "harness/sheet/sheet_reading.h"

#include <math.h>

enum { GAIN_LIMIT = 60, BALANCE_LIMIT = 20 };

static void read_level(PlanishSheetReading *reading, const PlanishNode *node, PlanishInputKind kind)
{
  PlanishSheet *sheet = reading->sheet;
  if (sheet->input != PLANISH_INPUT_AS_IT_IS) {
    planish_mistake(reading->mistakes, node->key->line, node->key->column,
                    "input: gain and loudness exclude each other: keep one");
    return;
  }
  sheet->input = kind;
  if (kind == PLANISH_INPUT_GAIN) {
    planish_sheet_number(node, "gain", -GAIN_LIMIT, GAIN_LIMIT, "dB", &sheet->input_value,
                         reading->mistakes);
  } else {
    planish_sheet_number(node, "loudness", PLANISH_SHEET_QUIETEST, PLANISH_SHEET_LOUDEST, "LUFS",
                         &sheet->input_value, reading->mistakes);
  }
}

static void read_gain(PlanishSheetReading *reading, const PlanishNode *node)
{
  read_level(reading, node, PLANISH_INPUT_GAIN);
}

static void read_loudness(PlanishSheetReading *reading, const PlanishNode *node)
{
  read_level(reading, node, PLANISH_INPUT_LOUDNESS);
}

static void read_balance(PlanishSheetReading *reading, const PlanishNode *node)
{
  planish_sheet_number(node, "balance", -BALANCE_LIMIT, BALANCE_LIMIT, "dB",
                       &reading->sheet->mending.balance, reading->mistakes);
}

static void read_channel(PlanishSheetReading *reading, const PlanishNode *node, size_t channel)
{
  static const char *const words[] = {"normal", "inverted"};
  unsigned word = 0;
  if (planish_sheet_word(node, "polarity", words, PLANISH_LENGTH_OF(words), &word,
                         reading->mistakes)) {
    reading->sheet->mending.invert[channel] = word == 1;
  }
}

static void read_left(PlanishSheetReading *reading, const PlanishNode *node)
{
  read_channel(reading, node, 0);
}

static void read_right(PlanishSheetReading *reading, const PlanishNode *node)
{
  read_channel(reading, node, 1);
}

static void read_polarity(PlanishSheetReading *reading, const PlanishNode *node)
{
  static const PlanishSheetMember members[] = {{"left", read_left}, {"right", read_right}};
  planish_sheet_read_map(reading, node, "polarity", members, PLANISH_LENGTH_OF(members), NULL);
}

static void read_swap(PlanishSheetReading *reading, const PlanishNode *node)
{
  planish_sheet_switch(node, "swap", &reading->sheet->mending.swap, reading->mistakes);
}

static void read_dc(PlanishSheetReading *reading, const PlanishNode *node)
{
  static const char *const words[] = {"keep", "remove"};
  unsigned word = 0;
  if (planish_sheet_word(node, "dc", words, PLANISH_LENGTH_OF(words), &word, reading->mistakes)) {
    reading->sheet->mending.remove_dc = word == 1;
  }
}

void planish_sheet_read_input(PlanishSheetReading *reading, const PlanishNode *node)
{
  static const PlanishSheetMember members[] = {
      {"gain", read_gain},         {"loudness", read_loudness}, {"balance", read_balance},
      {"polarity", read_polarity}, {"swap", read_swap},         {"dc", read_dc}};
  planish_sheet_read_map(reading, node, "input", members, PLANISH_LENGTH_OF(members), NULL);
}

void planish_sheet_read_rate(PlanishSheetReading *reading, const PlanishNode *node)
{
  double rate = 0.0;
  if (!planish_sheet_number(node, "rate", PLANISH_MEASURE_MIN_RATE, PLANISH_MEASURE_MAX_RATE, "Hz",
                            &rate, reading->mistakes)) {
    return;
  }
  if (rate != floor(rate)) {
    planish_mistake(reading->mistakes, node->line, node->column,
                    "rate: %g is no whole number of Hz: give %g or %g", rate, floor(rate),
                    ceil(rate));
    return;
  }
  reading->sheet->rate = rate;
}
