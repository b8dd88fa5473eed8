/* What surrounds the mix in the result: silence, fades, tail. */
#include "harness/sheet/sheet_reading.h"

/* s */
enum { LONGEST_SILENCE = 60, LONGEST_FADE = 600, LONGEST_TAIL = 600 };

void planish_sheet_read_head_silence(PlanishSheetReading *reading, const PlanishNode *node)
{
  planish_sheet_time(node, "head_silence", LONGEST_SILENCE, &reading->sheet->head_silence,
                     reading->mistakes);
}

void planish_sheet_read_tail(PlanishSheetReading *reading, const PlanishNode *node)
{
  planish_sheet_time(node, "tail", LONGEST_TAIL, &reading->sheet->tail, reading->mistakes);
}

void planish_sheet_read_tail_silence(PlanishSheetReading *reading, const PlanishNode *node)
{
  planish_sheet_time(node, "tail_silence", LONGEST_SILENCE, &reading->sheet->tail_silence,
                     reading->mistakes);
}

static void read_length(PlanishSheetReading *reading, const PlanishNode *node)
{
  PlanishFade *fade = reading->part;
  planish_sheet_time(node, "length", LONGEST_FADE, &fade->length, reading->mistakes);
}

static void read_shape(PlanishSheetReading *reading, const PlanishNode *node)
{
  PlanishFade *fade = reading->part;
  unsigned word = 0;
  if (planish_sheet_word(node, "shape", planish_fade_shapes, PLANISH_FADE_SHAPES, &word,
                         reading->mistakes)) {
    fade->shape = (PlanishFadeShape)word;
  }
}

static void read_fade(PlanishSheetReading *reading, const PlanishNode *node, const char *what,
                      PlanishFade *fade)
{
  static const PlanishSheetMember members[] = {{"length", read_length}, {"shape", read_shape}};
  if (node->kind == PLANISH_NODE_SCALAR) {
    planish_sheet_time(node, what, LONGEST_FADE, &fade->length, reading->mistakes);
    return;
  }
  if (planish_sheet_read_map(reading, node, what, members, PLANISH_LENGTH_OF(members), fade) &&
      planish_sheet_member(node, "length") == NULL) {
    planish_mistake(reading->mistakes, node->line, node->column,
                    "%s: a fade without a length: add \"length:\" in seconds or frames", what);
  }
}

void planish_sheet_read_fade_in(PlanishSheetReading *reading, const PlanishNode *node)
{
  read_fade(reading, node, "fade_in", &reading->sheet->fade_in);
}

void planish_sheet_read_fade_out(PlanishSheetReading *reading, const PlanishNode *node)
{
  read_fade(reading, node, "fade_out", &reading->sheet->fade_out);
}
