/* The parts of the page, in the order in which they stand in it. Each writes a whole section, or
 * nothing where there is nothing to show. */
#ifndef PLANISH_HARNESS_SECTIONS_H
#define PLANISH_HARNESS_SECTIONS_H

#include "harness/report/carrying.h"

#include <stdio.h>

#define PLANISH_NO_VERSION SIZE_MAX

/* What all sections go by. */
typedef struct {
  const PlanishReportPage *report;
  const PlanishSurvey *surveys; /* one a version */
  const PlanishCarrying *carrying;
  const PlanishMoment *moments;
  size_t moment_count;
  size_t mix;    /* index of the version, or PLANISH_NO_VERSION */
  size_t master; /* likewise */
} PlanishPage;

void planish_section_verdict(FILE *out, const PlanishPage *page);
void planish_section_player(FILE *out, const PlanishPage *page);
void planish_section_gains(FILE *out, const PlanishPage *page);
void planish_section_bands(FILE *out, const PlanishPage *page);
void planish_section_punch(FILE *out, const PlanishPage *page);
void planish_section_account(FILE *out, const PlanishPage *page);
void planish_section_mono(FILE *out, const PlanishPage *page);
void planish_section_edges(FILE *out, const PlanishPage *page);
void planish_section_findings(FILE *out, const PlanishPage *page);
void planish_section_settings(FILE *out, const PlanishPage *page);

/* What the player's script works with: a script element of JSON, and one of base64 for each
 * excerpt. */
void planish_player_data(FILE *out, const PlanishPage *page);

/* Shared by sections. */
void planish_section_begin(FILE *out, const char *id, const char *title);
void planish_section_end(FILE *out);
/* Class of a version's lines and labels: "mix", "stage", "master", "reference r1". */
void planish_version_class(const PlanishReportPage *report, size_t version, char *text,
                           size_t size);
void planish_section_table(FILE *out, const PlanishReportTable *table);
/* A list of findings. */
void planish_section_list(FILE *out, const PlanishReportFinding *findings, size_t count);
/* What a line's colour means. */
void planish_legend_entry(FILE *out, const char *kind, const char *name);

#endif
