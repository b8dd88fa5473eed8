/* A field of metadata in a text that is read (sheet_reading.h). */
#ifndef PLANISH_HARNESS_METADATA_NODE_H
#define PLANISH_HARNESS_METADATA_NODE_H

#include "harness/deliver/metadata.h"
#include "harness/sheet/sheet_reading.h"

/* Puts the value of `node` into a field; a mistake where it cannot be. */
void planish_metadata_read_node(PlanishSheetReading *reading, const PlanishNode *node,
                                PlanishMetadata *metadata, PlanishMetadataField field);

#endif
