#include "harness/deliver/spec.h"

#include "harness/base/text.h"
#include "harness/deliver/file_name.h"
#include "harness/deliver/metadata_node.h"
#include "harness/sheet/sheet_reading.h"
#include "harness/sheet/sheet_text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* CD: IEC 60908. */
static const double cd_rate = 44100.0;

/* kbit/s that MPEG-1 layer III has (ISO 11172-3, table of bit rates). */
static const int mp3_bit_rates[] = {32,  40,  48,  56,  64,  80,  96, 112,
                                    128, 160, 192, 224, 256, 320, 0};
/* Of two channels, as far as the library goes. */
enum { LEAST_OPUS = 12, MOST_OPUS = 512 };
enum { MOST_TOLERANCE = 10 };

const PlanishTextKind planish_spec_kind = {"delivery spec", "delivery: 1"};

/* What is left out; numbers that were not given are NAN while a spec is read. */
static const double usual_tolerance = 0.1; /* LU */

static PlanishSpec *spec_of(const PlanishSheetReading *reading)
{
  return reading->part;
}

static void read_head(PlanishSheetReading *reading, const PlanishNode *node)
{
  double format = 0.0;
  if (node->kind != PLANISH_NODE_SCALAR || node->quoted ||
      !planish_text_number(node->text, &format) || format != PLANISH_SPEC_FORMAT) {
    planish_mistake(reading->mistakes, node->line, node->column,
                    "delivery: an unknown format of delivery spec: this program reads %d",
                    PLANISH_SPEC_FORMAT);
  }
}

/* A text of a key, to be kept. */
static void read_text(PlanishSheetReading *reading, const PlanishNode *node, char **text)
{
  if (node->kind != PLANISH_NODE_SCALAR || node->text[0] == '\0') {
    planish_mistake(reading->mistakes, node->line, node->column, "%s: no text: give a line of it",
                    node->key->text);
    return;
  }
  *text = planish_text_copy(node->text);
  if (*text == NULL) {
    planish_mistake_memory(reading->mistakes);
  }
}

static void read_about(PlanishSheetReading *reading, const PlanishNode *node)
{
  read_text(reading, node, &spec_of(reading)->about);
}

static void read_source(PlanishSheetReading *reading, const PlanishNode *node)
{
  read_text(reading, node, &spec_of(reading)->source);
}

static void read_name(PlanishSheetReading *reading, const PlanishNode *node)
{
  PlanishError error = {0};
  read_text(reading, node, &spec_of(reading)->pattern);
  if (spec_of(reading)->pattern != NULL &&
      !planish_file_name_check(spec_of(reading)->pattern, &error)) {
    planish_mistake(reading->mistakes, node->line, node->column, "%s", error.text);
  }
}

static void read_format(PlanishSheetReading *reading, const PlanishNode *node)
{
  unsigned word = 0;
  const char *not_written =
      node->kind == PLANISH_NODE_SCALAR ? planish_coding_not_written(node->text) : NULL;
  if (not_written != NULL) {
    planish_mistake(reading->mistakes, node->line, node->column, "format: %s %s", node->text,
                    not_written);
  } else if (planish_sheet_word(node, "format", planish_format_words, PLANISH_FORMATS, &word,
                                reading->mistakes)) {
    spec_of(reading)->format = (PlanishFormat)word;
  }
}

static void read_rate(PlanishSheetReading *reading, const PlanishNode *node)
{
  PlanishSpec *spec = spec_of(reading);
  if (node->kind == PLANISH_NODE_SCALAR && strcmp(node->text, "same") == 0) {
    return;
  }
  if (!planish_sheet_number(node, "rate", PLANISH_MEASURE_MIN_RATE, PLANISH_MEASURE_MAX_RATE, "Hz",
                            &spec->rate, reading->mistakes)) {
    return;
  }
  if (spec->rate != floor(spec->rate)) {
    planish_mistake(reading->mistakes, node->line, node->column,
                    "rate: %g is no whole number: give whole Hz, or same", spec->rate);
  }
}

static void read_bits(PlanishSheetReading *reading, const PlanishNode *node)
{
  static const char *const words[] = {"16", "24", "float"};
  static const unsigned bits[] = {16, 24, 32};
  unsigned word = 0;
  if (planish_sheet_word(node, "bits", words, PLANISH_LENGTH_OF(words), &word, reading->mistakes)) {
    spec_of(reading)->bits = bits[word];
  }
}

static void read_dither(PlanishSheetReading *reading, const PlanishNode *node)
{
  static const char *const words[] = {"plain", "shaped"};
  unsigned word = 0;
  if (planish_sheet_word(node, "dither", words, PLANISH_LENGTH_OF(words), &word,
                         reading->mistakes)) {
    spec_of(reading)->shaped = word == 1;
  }
}

static void read_bit_rate(PlanishSheetReading *reading, const PlanishNode *node)
{
  planish_sheet_number(node, "bit_rate", LEAST_OPUS, MOST_OPUS, "kbit/s",
                       &spec_of(reading)->bit_rate, reading->mistakes);
}

static void read_quality(PlanishSheetReading *reading, const PlanishNode *node)
{
  planish_sheet_number(node, "quality", -1, 10, "", &spec_of(reading)->quality, reading->mistakes);
}

static void read_loudness(PlanishSheetReading *reading, const PlanishNode *node)
{
  spec_of(reading)->has_loudness = true;
  planish_sheet_number(node, "loudness", PLANISH_SHEET_QUIETEST, PLANISH_SHEET_LOUDEST, "LUFS",
                       &spec_of(reading)->loudness, reading->mistakes);
}

static void read_tolerance(PlanishSheetReading *reading, const PlanishNode *node)
{
  planish_sheet_number(node, "tolerance", 0, MOST_TOLERANCE, "LU", &spec_of(reading)->tolerance,
                       reading->mistakes);
}

static void read_level(PlanishSheetReading *reading, const PlanishNode *node)
{
  static const char *const words[] = {"keep", "match"};
  unsigned word = 0;
  if (planish_sheet_word(node, "level", words, PLANISH_LENGTH_OF(words), &word,
                         reading->mistakes)) {
    spec_of(reading)->match = word == 1;
  }
}

static void read_ceiling(PlanishSheetReading *reading, const PlanishNode *node)
{
  planish_sheet_number(node, "ceiling", PLANISH_SHEET_LOWEST_CEILING, 0, "dBTP",
                       &spec_of(reading)->ceiling, reading->mistakes);
}

static void read_over(PlanishSheetReading *reading, const PlanishNode *node)
{
  static const char *const words[] = {
      [PLANISH_OVER_LOWER] = "lower",
      [PLANISH_OVER_RERENDER] = "rerender",
      [PLANISH_OVER_REFUSE] = "refuse",
  };
  unsigned word = 0;
  if (planish_sheet_word(node, "over", words, PLANISH_LENGTH_OF(words), &word, reading->mistakes)) {
    spec_of(reading)->over = (PlanishOver)word;
  }
}

static void read_decoded_ceiling(PlanishSheetReading *reading, const PlanishNode *node)
{
  spec_of(reading)->has_decoded_ceiling = true;
  planish_sheet_number(node, "decoded_ceiling", PLANISH_SHEET_LOWEST_CEILING, 6, "dBTP",
                       &spec_of(reading)->decoded_ceiling, reading->mistakes);
}

static void read_whole_sectors(PlanishSheetReading *reading, const PlanishNode *node)
{
  planish_sheet_switch(node, "whole_sectors", &spec_of(reading)->whole_sectors, reading->mistakes);
}

static void read_field(PlanishSheetReading *reading, const PlanishNode *node)
{
  int field = 0;
  while (strcmp(planish_metadata_names[field], node->key->text) != 0) {
    field += 1;
  }
  planish_metadata_read_node(reading, node, reading->part, (PlanishMetadataField)field);
}

static void read_metadata(PlanishSheetReading *reading, const PlanishNode *node)
{
  PlanishSheetMember members[PLANISH_METADATA_FIELDS];
  for (int n = 0; n < PLANISH_METADATA_FIELDS; ++n) {
    members[n] = (PlanishSheetMember){planish_metadata_names[n], read_field};
  }
  planish_sheet_read_map(reading, node, "metadata", members, PLANISH_METADATA_FIELDS,
                         &spec_of(reading)->metadata);
}

/* A field of the bext chunk, of at most `most` characters. */
static bool read_bext_text(PlanishSheetReading *reading, const PlanishNode *node, char *text,
                           size_t most)
{
  const char *name = node->key->text;
  if (node->kind != PLANISH_NODE_SCALAR) {
    return planish_mistake(reading->mistakes, node->line, node->column, "%s: no text: give a line",
                           name);
  }
  if (!planish_metadata_is_ascii(node->text) || strpbrk(node->text, "\r\n\t") != NULL) {
    return planish_mistake(reading->mistakes, node->line, node->column,
                           "%s: a character that the bext chunk cannot hold: give it in ASCII",
                           name);
  }
  if (strlen(node->text) > most) {
    return planish_mistake(reading->mistakes, node->line, node->column,
                           "%s: too long for the bext chunk: has %zu characters, and %zu fit: "
                           "shorten it",
                           name, strlen(node->text), most);
  }
  memcpy(text, node->text, strlen(node->text) + 1);
  return true;
}

static void read_description(PlanishSheetReading *reading, const PlanishNode *node)
{
  PlanishBext *bext = reading->part;
  read_bext_text(reading, node, bext->description, PLANISH_BEXT_DESCRIPTION);
}

static void read_originator(PlanishSheetReading *reading, const PlanishNode *node)
{
  PlanishBext *bext = reading->part;
  read_bext_text(reading, node, bext->originator, PLANISH_BEXT_ORIGINATOR);
}

static void read_reference(PlanishSheetReading *reading, const PlanishNode *node)
{
  PlanishBext *bext = reading->part;
  read_bext_text(reading, node, bext->reference, PLANISH_BEXT_REFERENCE);
}

/* Whether a text is digits where `form` has 0, and the same elsewhere. */
static bool has_form(const char *text, const char *form)
{
  if (strlen(text) != strlen(form)) {
    return false;
  }
  for (size_t n = 0; form[n] != '\0'; ++n) {
    const bool digit = text[n] >= '0' && text[n] <= '9';
    if (form[n] == '0' ? !digit : text[n] != form[n]) {
      return false;
    }
  }
  return true;
}

static void read_date(PlanishSheetReading *reading, const PlanishNode *node)
{
  PlanishBext *bext = reading->part;
  if (node->kind != PLANISH_NODE_SCALAR || !has_form(node->text, "0000-00-00")) {
    planish_mistake(reading->mistakes, node->line, node->column,
                    "date: no date: give year, month and day as 2026-11-26");
    return;
  }
  memcpy(bext->date, node->text, sizeof bext->date);
}

static void read_time(PlanishSheetReading *reading, const PlanishNode *node)
{
  PlanishBext *bext = reading->part;
  if (node->kind != PLANISH_NODE_SCALAR || !has_form(node->text, "00:00:00")) {
    planish_mistake(reading->mistakes, node->line, node->column,
                    "time: no time of a day: give it as \"13:45:00\"");
    return;
  }
  memcpy(bext->time, node->text, sizeof bext->time);
}

static void read_bext(PlanishSheetReading *reading, const PlanishNode *node)
{
  static const PlanishSheetMember members[] = {{"description", read_description},
                                               {"originator", read_originator},
                                               {"reference", read_reference},
                                               {"date", read_date},
                                               {"time", read_time}};
  PlanishSpec *spec = spec_of(reading);
  if (node->kind == PLANISH_NODE_SCALAR) {
    planish_sheet_switch(node, "bext", &spec->has_bext, reading->mistakes);
    return;
  }
  spec->has_bext = true;
  planish_sheet_read_map(reading, node, "bext", members, PLANISH_LENGTH_OF(members), &spec->bext);
}

/* A key that says nothing beside the others, or is needed beside them. */
static void tell(PlanishSheetReading *reading, const PlanishNode *root, const char *key,
                 const char *words)
{
  const PlanishNode *node = planish_sheet_member(root, key);
  const PlanishNode *place = node == NULL ? root : node->key;
  planish_mistake(reading->mistakes, place->line, place->column, "%s: %s", key, words);
}

static bool has(const PlanishNode *root, const char *key)
{
  return planish_sheet_member(root, key) != NULL;
}

static void check_words(PlanishSheetReading *reading, const PlanishSpec *spec,
                        const PlanishNode *root)
{
  const PlanishCoding *coding = planish_coding_of(spec->format);
  if (coding->coded && has(root, "bits")) {
    tell(reading, root, "bits", "a coded format keeps no words: remove it");
  }
  if (!coding->floating && spec->bits == 32) {
    tell(reading, root, "bits", "FLAC has no float: give 16 or 24");
  }
  if ((coding->coded || spec->bits == 32) && has(root, "dither")) {
    tell(reading, root, "dither", "is for words of 16 or 24 bit: remove it");
  }
  if (spec->format != PLANISH_FORMAT_WAV && spec->has_bext) {
    tell(reading, root, "bext", "is a chunk of WAV files: remove it");
  }
  if (spec->whole_sectors && (coding->coded || spec->rate != cd_rate)) {
    tell(reading, root, "whole_sectors",
         "a CD's sectors are of 44100 Hz in words: add rate: 44100, or remove it");
  }
}

static void check_coding(PlanishSheetReading *reading, const PlanishSpec *spec,
                         const PlanishNode *root)
{
  const bool mp3 = spec->format == PLANISH_FORMAT_MP3;
  const bool by_rate = mp3 || spec->format == PLANISH_FORMAT_OPUS;
  if (!planish_coding_of(spec->format)->coded && spec->has_decoded_ceiling) {
    tell(reading, root, "decoded_ceiling", "is for coded formats: remove it, or use ceiling");
  }
  if (by_rate != has(root, "bit_rate")) {
    tell(reading, root, "bit_rate",
         by_rate ? "is missing: add bit_rate: and kbit/s" : "is for mp3 and opus: remove it");
  }
  if ((spec->format == PLANISH_FORMAT_VORBIS) != has(root, "quality")) {
    tell(reading, root, "quality",
         has(root, "quality") ? "is for vorbis: remove it" : "is missing: add quality: -1 to 10");
  }
  if (mp3 && has(root, "bit_rate")) {
    const int *rate = mp3_bit_rates;
    while (*rate != 0 && spec->bit_rate != *rate) {
      rate += 1;
    }
    if (*rate == 0) {
      tell(reading, root, "bit_rate",
           "mp3 has none such: give 32, 40, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256 or "
           "320");
    }
  }
}

static void check_whole(PlanishSheetReading *reading, const PlanishSpec *spec,
                        const PlanishNode *root)
{
  char rates[80];
  char words[160];
  if (!has(root, "format")) {
    tell(reading, root, "format", "is missing: add format: wav, aiff, flac, vorbis, opus or mp3");
    return;
  }
  if (spec->rate > 0.0 && !planish_coding_has_rate(spec->format, spec->rate)) {
    planish_coding_list_rates(spec->format, rates, sizeof rates);
    planish_text_format(words, sizeof words, "%s has no %g Hz: give %s",
                        planish_coding_of(spec->format)->name, spec->rate, rates);
    tell(reading, root, "rate", words);
  }
  if (!spec->has_loudness && has(root, "tolerance")) {
    tell(reading, root, "tolerance", "is around a loudness: add loudness: or remove it");
  }
  if (!spec->has_loudness && spec->match) {
    tell(reading, root, "level", "match needs a loudness to come to: add loudness:");
  }
  check_words(reading, spec, root);
  check_coding(reading, spec, root);
}

static void read_root(PlanishSheetReading *reading, PlanishSpec *spec, const PlanishNode *root)
{
  static const PlanishSheetMember members[] = {
      {"delivery", read_head},
      {"about", read_about},
      {"source", read_source},
      {"format", read_format},
      {"rate", read_rate},
      {"bits", read_bits},
      {"dither", read_dither},
      {"bit_rate", read_bit_rate},
      {"quality", read_quality},
      {"loudness", read_loudness},
      {"tolerance", read_tolerance},
      {"level", read_level},
      {"ceiling", read_ceiling},
      {"over", read_over},
      {"decoded_ceiling", read_decoded_ceiling},
      {"whole_sectors", read_whole_sectors},
      {"name", read_name},
      {"metadata", read_metadata},
      {"bext", read_bext},
  };
  const PlanishNode *first = root->kind == PLANISH_NODE_MAP ? root->first : NULL;
  if (first == NULL || first != planish_sheet_member(root, "delivery")) {
    planish_mistake(reading->mistakes, root->line, root->column,
                    "no delivery spec: it must begin with \"%s\"%s", planish_spec_kind.begin,
                    has(root, "planish") ? "; this is a sheet, which render takes" : "");
    return;
  }
  if (planish_sheet_read_map(reading, root, "the spec", members, PLANISH_LENGTH_OF(members),
                             spec)) {
    check_whole(reading, spec, root);
  }
}

PlanishSpec *planish_spec_parse(const char *text, size_t size, const char *name,
                                PlanishMistakes *mistakes)
{
  mistakes->kind = &planish_spec_kind;
  PlanishNode *root = planish_sheet_tree_new(text, size, mistakes);
  if (root == NULL) {
    return NULL;
  }
  PlanishSpec *spec = calloc(1, sizeof *spec);
  if (spec != NULL) {
    *spec = (PlanishSpec){.tolerance = usual_tolerance};
    spec->name = planish_text_copy(name);
    PlanishSheetReading reading = {.mistakes = mistakes};
    read_root(&reading, spec, root);
    const bool words = !planish_coding_of(spec->format)->coded;
    spec->bits = words && spec->bits == 0 ? 24 : spec->bits;
  }
  planish_sheet_tree_free(root);
  if (spec == NULL || spec->name == NULL) {
    planish_mistake_memory(mistakes);
  }
  if (mistakes->count > 0) {
    planish_mistakes_sort(mistakes);
    planish_spec_free(spec);
    return NULL;
  }
  return spec;
}

PlanishSpec *planish_spec_read(const char *path, PlanishMistakes *mistakes)
{
  mistakes->kind = &planish_spec_kind;
  size_t size = 0;
  char *text = planish_sheet_text_read(path, &size, mistakes);
  char *name = planish_file_name_stem(path);
  PlanishSpec *spec = NULL;
  if (text != NULL && name != NULL) {
    spec = planish_spec_parse(text, size, name, mistakes);
  } else if (text != NULL) {
    planish_mistake_memory(mistakes);
  }
  free(name);
  free(text);
  return spec;
}

void planish_spec_free(PlanishSpec *spec)
{
  if (spec != NULL) {
    planish_metadata_release(&spec->metadata);
    free(spec->name);
    free(spec->about);
    free(spec->source);
    free(spec->pattern);
    free(spec);
  }
}
