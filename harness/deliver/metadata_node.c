#include "harness/deliver/metadata_node.h"

void planish_metadata_read_node(PlanishSheetReading *reading, const PlanishNode *node,
                                PlanishMetadata *metadata, PlanishMetadataField field)
{
  PlanishError error = {0};
  if (node->kind != PLANISH_NODE_SCALAR) {
    planish_mistake(reading->mistakes, node->line, node->column, "%s: no text: give one value",
                    node->key->text);
  } else if (!planish_metadata_set(metadata, field, node->text, &error)) {
    planish_mistake(reading->mistakes, node->line, node->column, "%s", error.text);
  }
}
