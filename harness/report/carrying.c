#include "harness/report/carrying.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum {
  MOST_SPANS = PLANISH_LOOP_KINDS + PLANISH_REPORT_MOMENTS,
  PROBE = 4 * PLANISH_BLOCKS_PER_S, /* blocks whose cost is taken for all */
  NEAR = 10,                        /* blocks: spans nearer than this become one */
};

/* Base64 takes four letters for three bytes. */
#define LETTERS_A_BYTE (4.0 / 3.0)

/* Who has the loudest loop alone. */
typedef enum { NOBODY, STAGES, STAGES_AND_REFERENCES } Few;

/* One way to choose. Lengths in s; 0: none. */
typedef struct {
  unsigned bits;
  bool whole;
  int loudest; /* the loudest loop */
  int loop;    /* the others */
  int around;  /* before and after each */
  int moment;
  Few few;
} Choice;

/* From rich to poor. */
static const Choice choices[] = {
    {24, true, 15, 15, 0, 3, NOBODY},
    {20, true, 15, 15, 0, 3, NOBODY},
    {24, false, 15, 15, 4, 3, NOBODY},
    {24, false, 15, 15, 0, 3, NOBODY},
    {20, false, 15, 15, 4, 3, NOBODY},
    {20, false, 15, 15, 0, 3, NOBODY},
    {16, true, 15, 15, 0, 3, NOBODY},
    {16, false, 15, 15, 4, 3, NOBODY},
    {16, false, 15, 15, 0, 3, NOBODY},
    {20, false, 15, 15, 0, 3, STAGES},
    {16, false, 15, 15, 0, 3, STAGES},
    {16, false, 15, 15, 0, 2, STAGES},
    {16, false, 15, 15, 0, 2, STAGES_AND_REFERENCES},
    {16, false, 15, 15, 0, 1, STAGES_AND_REFERENCES},
    {16, false, 15, 10, 0, 1, STAGES_AND_REFERENCES},
    {16, false, 12, 8, 0, 1, STAGES_AND_REFERENCES},
    {16, false, 10, 6, 0, 1, STAGES_AND_REFERENCES},
    {16, false, 8, 4, 0, 1, STAGES_AND_REFERENCES},
    {16, false, 6, 4, 0, 0, STAGES_AND_REFERENCES},
    {16, false, 4, 2, 0, 0, STAGES_AND_REFERENCES},
    {16, false, 2, 1, 0, 0, STAGES_AND_REFERENCES},
    {16, false, 1, 1, 0, 0, STAGES_AND_REFERENCES},
};

/* What the choosing goes by. */
typedef struct {
  const PlanishReportPage *report;
  const PlanishSurvey *surveys;
  const PlanishMoment *moments;
  size_t moment_count;
  size_t blocks; /* of the piece */
} Material;

typedef struct {
  PlanishSpan spans[MOST_SPANS];
  size_t count;
} Spans;

double planish_carried_gain(const PlanishSurvey *survey)
{
  return survey->peak > 1.0f ? 1.0 / (double)survey->peak : 1.0;
}

PlanishSpan planish_moment_span(const PlanishMoment *moment, size_t length, size_t blocks)
{
  length = length < blocks ? length : blocks;
  const double middle = moment->at * PLANISH_BLOCKS_PER_S - (double)length / 2.0;
  const double last = (double)(blocks - length);
  return (PlanishSpan){(size_t)fmin(fmax(floor(middle + 0.5), 0.0), last), length};
}

static void add_span(Spans *spans, PlanishSpan span, size_t around, size_t blocks)
{
  const size_t before = span.start < around ? span.start : around;
  const size_t end = span.start + span.count;
  const size_t after = blocks - end < around ? blocks - end : around;
  spans->spans[spans->count++] = (PlanishSpan){span.start - before, before + span.count + after};
}

static int compare_starts(const void *a, const void *b)
{
  const PlanishSpan *first = a;
  const PlanishSpan *second = b;
  return (first->start > second->start) - (first->start < second->start);
}

/* Those that meet, or nearly, become one. */
static void join(Spans *spans)
{
  qsort(spans->spans, spans->count, sizeof spans->spans[0], compare_starts);
  size_t kept = 0;
  for (size_t n = 1; n < spans->count; ++n) {
    PlanishSpan *last = &spans->spans[kept];
    const PlanishSpan next = spans->spans[n];
    const size_t end = last->start + last->count;
    if (next.start <= end + NEAR) {
      const size_t next_end = next.start + next.count;
      last->count = (next_end > end ? next_end : end) - last->start;
    } else {
      spans->spans[++kept] = next;
    }
  }
  spans->count = spans->count == 0 ? 0 : kept + 1;
}

static Spans spans_of(const Material *material, const Choice *choice, const PlanishSpan *loops,
                      bool all)
{
  Spans spans = {.count = 0};
  if (choice->whole) {
    spans.spans[spans.count++] = (PlanishSpan){0, material->blocks};
    return spans;
  }
  const size_t around = (size_t)choice->around * PLANISH_BLOCKS_PER_S;
  for (int kind = 0; kind < (all ? PLANISH_LOOP_KINDS : 1); ++kind) {
    add_span(&spans, loops[kind], around, material->blocks);
  }
  for (size_t n = 0; all && choice->moment > 0 && n < material->moment_count; ++n) {
    const PlanishSpan span = planish_moment_span(
        &material->moments[n], (size_t)choice->moment * PLANISH_BLOCKS_PER_S, material->blocks);
    add_span(&spans, span, 0, material->blocks);
  }
  join(&spans);
  return spans;
}

/* The loops of a version, in its own time. */
static void find_loops(const PlanishSurvey *survey, const Choice *choice,
                       PlanishSpan loops[PLANISH_LOOP_KINDS])
{
  const float *powers = planish_block_powers_values(survey->blocks);
  const size_t count = planish_block_powers_count(survey->blocks);
  PlanishSpan longer[PLANISH_LOOP_KINDS];
  planish_loops_find(powers, count, (size_t)choice->loudest * PLANISH_BLOCKS_PER_S, longer);
  planish_loops_find(powers, count, (size_t)choice->loop * PLANISH_BLOCKS_PER_S, loops);
  loops[PLANISH_LOOP_LOUDEST] = longer[PLANISH_LOOP_LOUDEST];
}

static PlanishCarried *add(PlanishCarrying *carrying, size_t version, PlanishSpan span)
{
  PlanishCarried *carried = &carrying->carried[carrying->count++];
  *carried = (PlanishCarried){.version = version, .span = span, .place = span.start, .loop = -1};
  return carried;
}

/* Its loops play in the places of the piece's, which may be longer than a short reference is. */
static void add_reference(PlanishCarrying *carrying, const Material *material, const Choice *choice,
                          size_t version)
{
  PlanishSpan own[PLANISH_LOOP_KINDS];
  if (planish_block_powers_count(material->surveys[version].blocks) == 0) {
    return;
  }
  find_loops(&material->surveys[version], choice, own);
  for (int kind = 0; kind < (choice->few == STAGES_AND_REFERENCES ? 1 : PLANISH_LOOP_KINDS);
       ++kind) {
    PlanishCarried *carried = add(carrying, version, own[kind]);
    carried->place = carrying->loops[kind].start;
    carried->loop = kind;
  }
}

/* Lists what a choice carries. */
static void list(PlanishCarrying *carrying, const Material *material, const Choice *choice)
{
  const PlanishReportPage *report = material->report;
  carrying->bits = choice->bits;
  carrying->whole = choice->whole;
  carrying->few_of_stages = choice->few != NOBODY;
  carrying->few_of_references = choice->few == STAGES_AND_REFERENCES;
  carrying->moment_blocks = (size_t)choice->moment * PLANISH_BLOCKS_PER_S;
  carrying->count = 0;
  find_loops(&material->surveys[0], choice, carrying->loops);
  for (size_t v = 0; v < report->version_count; ++v) {
    const PlanishVersionKind kind = report->versions[v].kind;
    if (kind == PLANISH_VERSION_REFERENCE) {
      add_reference(carrying, material, choice, v);
      continue;
    }
    const Spans spans = spans_of(material, choice, carrying->loops,
                                 choice->few == NOBODY || kind != PLANISH_VERSION_STAGE);
    for (size_t n = 0; n < spans.count; ++n) {
      add(carrying, v, spans.spans[n]);
    }
  }
}

static bool encode(const Material *material, const PlanishCarried *carried, unsigned bits,
                   PlanishExcerpt *excerpt, PlanishError *error)
{
  const PlanishSurvey *survey = &material->surveys[carried->version];
  const PlanishReportVersion *version = &material->report->versions[carried->version];
  const double rate = material->report->rate;
  const uint64_t first = planish_block_start(rate, carried->span.start);
  const PlanishExcerptJob job = {
      .track = version->track,
      .rate = rate,
      .gain = planish_carried_gain(survey),
      .bits = bits,
      .first = first,
      .frames = planish_block_start(rate, carried->span.start + carried->span.count) - first,
  };
  return planish_excerpt_make(excerpt, &job, error);
}

/* Letters that a block of each version takes in 24 bit. */
static bool weigh(const Material *material, double *weights, PlanishError *error)
{
  for (size_t v = 0; v < material->report->version_count; ++v) {
    const PlanishBlockPowers *blocks = material->surveys[v].blocks;
    PlanishSpan loops[PLANISH_LOOP_KINDS];
    PlanishExcerpt excerpt;
    const size_t count = planish_block_powers_count(blocks);
    weights[v] = 0.0;
    if (count == 0) {
      continue;
    }
    planish_loops_find(planish_block_powers_values(blocks), count, PROBE, loops);
    const PlanishCarried probe = {.version = v, .span = loops[PLANISH_LOOP_LOUDEST]};
    if (!encode(material, &probe, 24, &excerpt, error)) {
      return false;
    }
    weights[v] = (double)excerpt.size * LETTERS_A_BYTE / (double)probe.span.count;
    free(excerpt.bytes);
  }
  return true;
}

/* Letters that a list would take, a little more rather than less. */
static double reckon(const PlanishCarrying *carrying, const Material *material,
                     const double *weights)
{
  double sum = 0.0;
  for (size_t n = 0; n < carrying->count; ++n) {
    const PlanishCarried *carried = &carrying->carried[n];
    /* Noise that a shorter word leaves out: its bits, of two channels. */
    const double spared = (24.0 - (double)carrying->bits) * 2.0 / 8.0 * material->report->rate /
                          PLANISH_BLOCKS_PER_S * LETTERS_A_BYTE;
    const double least = 0.25 * weights[carried->version];
    sum += fmax(weights[carried->version] - spared, least) * (double)carried->span.count;
  }
  return sum;
}

static void drop_excerpts(PlanishCarrying *carrying)
{
  for (size_t n = 0; n < carrying->count; ++n) {
    free(carrying->carried[n].excerpt.bytes);
    carrying->carried[n].excerpt = (PlanishExcerpt){0};
  }
}

/* Encodes what is listed. `fits` is false where it came out larger than reckoned. */
static bool encode_all(PlanishCarrying *carrying, const Material *material, size_t largest,
                       bool *fits, PlanishError *error)
{
  double sum = 0.0;
  for (size_t n = 0; n < carrying->count && sum <= (double)largest; ++n) {
    PlanishCarried *carried = &carrying->carried[n];
    if (!encode(material, carried, carrying->bits, &carried->excerpt, error)) {
      return false;
    }
    sum += (double)carried->excerpt.size * LETTERS_A_BYTE;
  }
  *fits = sum <= (double)largest;
  return true;
}

static bool choose(PlanishCarrying *carrying, const Material *material, const double *weights,
                   size_t largest, PlanishError *error)
{
  for (size_t n = 0; n < sizeof choices / sizeof *choices; ++n) {
    bool fits = false;
    list(carrying, material, &choices[n]);
    if (reckon(carrying, material, weights) > (double)largest) {
      continue;
    }
    if (!encode_all(carrying, material, largest, &fits, error)) {
      return false;
    }
    if (fits) {
      return true;
    }
    drop_excerpts(carrying);
  }
  carrying->count = 0;
  return true;
}

bool planish_carrying_make(PlanishCarrying *carrying, const PlanishReportPage *report,
                           const PlanishSurvey *surveys, const PlanishMoment *moments,
                           size_t moment_count, size_t largest, PlanishError *error)
{
  *carrying = (PlanishCarrying){0};
  const Material material = {report, surveys, moments, moment_count,
                             planish_block_powers_count(surveys[0].blocks)};
  if (material.blocks == 0) {
    return true;
  }
  carrying->carried = calloc(report->version_count * MOST_SPANS, sizeof *carrying->carried);
  double *weights = calloc(report->version_count, sizeof *weights);
  const bool done =
      carrying->carried != NULL && weights != NULL
          ? weigh(&material, weights, error) && choose(carrying, &material, weights, largest, error)
          : planish_fail_memory(error);
  free(weights);
  return done;
}

void planish_carrying_free(PlanishCarrying *carrying)
{
  if (carrying->carried != NULL) {
    drop_excerpts(carrying);
  }
  free(carrying->carried);
  carrying->carried = NULL;
}
