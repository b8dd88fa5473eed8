/* A parallel branch as a sheet knows it: an entry among the stages that has a name, controls, and
 * stages of its own. Its controls are described like those of a plugin, so that whatever sets,
 * moves, writes or compares values knows them too; but no host can run it: the chain does
 * (render/branch.h). Thread: any, read only. */
#ifndef PLANISH_HARNESS_BRANCH_CONTROLS_H
#define PLANISH_HARNESS_BRANCH_CONTROLS_H

#include "harness/host/plugin.h"

/* Ports, by index. */
enum {
  PLANISH_BRANCH_TAKE,  /* a PlanishBranchTake; not automatic */
  PLANISH_BRANCH_LEVEL, /* dB */
  PLANISH_BRANCH_ADD,   /* a PlanishBranchAdd; not automatic */
};

typedef enum {
  PLANISH_TAKE_STEREO,
  PLANISH_TAKE_MID,
  PLANISH_TAKE_SIDE,
  PLANISH_TAKE_LEFT,
  PLANISH_TAKE_RIGHT,
} PlanishBranchTake;

typedef enum {
  PLANISH_ADD_RESULT,     /* what comes out of its last stage */
  PLANISH_ADD_DIFFERENCE, /* the same less what went in: what its stages changed */
} PlanishBranchAdd;

/* Its lilv is NULL, its short name "branch". */
const PlanishPlugin *planish_branch_plugin(void);

#endif
