#include "harness/render/branch.h"

#include "common/dsp/maths.h"

#include <stdlib.h>
#include <string.h>

#define GLIDE_S 0.02

struct PlanishBranch {
  PlanishBranchTake take;
  PlanishBranchAdd add;
  size_t latency;
  size_t waiting;  /* frames in the lines beyond the latency */
  float *lines[4]; /* main left and right, taken left and right */
  double gain;
  double target;
  double step;
  uint32_t glide; /* frames of a glide */
  uint32_t left;  /* of the one that is under way */
};

PlanishBranch *planish_branch_new(double rate, const float *values, uint32_t latency,
                                  uint32_t block, PlanishError *error)
{
  PlanishBranch *branch = calloc(1, sizeof *branch);
  bool done = branch != NULL;
  for (int n = 0; done && n < 4; ++n) {
    branch->lines[n] = calloc((size_t)latency + block, sizeof(float));
    done = branch->lines[n] != NULL;
  }
  if (!done) {
    planish_branch_free(branch);
    planish_fail_memory(error);
    return NULL;
  }
  branch->take = (PlanishBranchTake)values[PLANISH_BRANCH_TAKE];
  branch->add = (PlanishBranchAdd)values[PLANISH_BRANCH_ADD];
  branch->latency = latency;
  branch->gain = branch->target = planish_gain_of((double)values[PLANISH_BRANCH_LEVEL]);
  branch->glide = (uint32_t)ceil(GLIDE_S * rate);
  return branch;
}

void planish_branch_free(PlanishBranch *branch)
{
  for (int n = 0; branch != NULL && n < 4; ++n) {
    free(branch->lines[n]);
  }
  free(branch);
}

void planish_branch_set_level(PlanishBranch *branch, float level)
{
  const double target = planish_gain_of((double)level);
  if (target != branch->target) {
    branch->target = target;
    branch->step = (target - branch->gain) / branch->glide;
    branch->left = branch->glide;
  }
}

static void take_frame(PlanishBranchTake take, float left, float right, float taken[2])
{
  const float mid = (float)(0.5 * ((double)left + (double)right));
  const float side = (float)(0.5 * ((double)left - (double)right));
  taken[0] = left;
  taken[1] = right;
  switch (take) {
  case PLANISH_TAKE_STEREO:
    break;
  case PLANISH_TAKE_MID:
    taken[0] = taken[1] = mid;
    break;
  case PLANISH_TAKE_SIDE:
    taken[0] = side;
    taken[1] = -side;
    break;
  case PLANISH_TAKE_LEFT:
    taken[1] = 0.0f;
    break;
  case PLANISH_TAKE_RIGHT:
    taken[0] = 0.0f;
    break;
  }
}

void planish_branch_take(PlanishBranch *branch, float *const in[2], float *const taken[2],
                         uint32_t frames)
{
  const size_t at = branch->latency + branch->waiting;
  for (uint32_t n = 0; n < frames; ++n) {
    float frame[2];
    take_frame(branch->take, in[0][n], in[1][n], frame);
    for (int c = 0; c < 2; ++c) {
      branch->lines[c][at + n] = in[c][n];
      branch->lines[2 + c][at + n] = taken[c][n] = frame[c];
    }
  }
  branch->waiting += frames;
}

static void move_gain(PlanishBranch *branch)
{
  if (branch->left > 0) {
    branch->left -= 1;
    branch->gain = branch->left == 0 ? branch->target : branch->gain + branch->step;
  }
}

void planish_branch_add(PlanishBranch *branch, float *const result[2], float *const out[2],
                        uint32_t frames)
{
  const double kept = branch->add == PLANISH_ADD_DIFFERENCE ? 1.0 : 0.0;
  for (uint32_t n = 0; n < frames; ++n) {
    move_gain(branch);
    for (int c = 0; c < 2; ++c) {
      const double added = (double)result[c][n] - kept * (double)branch->lines[2 + c][n];
      out[c][n] = (float)((double)branch->lines[c][n] + branch->gain * added);
    }
  }
  branch->waiting -= frames;
  for (int n = 0; n < 4; ++n) {
    memmove(branch->lines[n], branch->lines[n] + frames,
            (branch->latency + branch->waiting) * sizeof(float));
  }
}
