#include "common/dsp/glide.h"

void planish_glide_setup(PlanishGlide *glide, PlanishArena *arena, double rate, double ms)
{
  const double half = ms * 0.5e-3 * rate / PLANISH_GRID;
  *glide = (PlanishGlide){0};
  glide->half = half < 1.0 ? 1 : (uint32_t)(half + 0.5);
  glide->means = planish_arena_take(arena, glide->half + 1, sizeof(double));
  glide->targets = planish_arena_take(arena, glide->half + 1, sizeof(double));
}

void planish_glide_jump(PlanishGlide *glide, double value)
{
  glide->value = value;
  glide->target = value;
  glide->slope = 0.0;
  glide->curvature = 0.0;
  glide->left = 0;
  glide->frame = 0;
}

/* While the value stands still the rings are not kept; a new move starts from still water. */
static void start(PlanishGlide *glide)
{
  for (uint32_t i = 0; i <= glide->half; ++i) {
    glide->means[i] = glide->value;
    glide->targets[i] = glide->value;
  }
  glide->at = 0;
  glide->frame = 0;
}

static uint32_t following(const PlanishGlide *glide, uint32_t place)
{
  return place == glide->half ? 0 : place + 1;
}

/* Slope and curvature of the grid interval that begins here. The first mean is a straight line
 * within an interval, so the second is a parabola, known from its slopes at both ends. */
static void advance(PlanishGlide *glide)
{
  const double half = glide->half;
  const uint32_t oldest = following(glide, glide->at);
  const double mean = glide->means[glide->at];
  const double oldest_mean = glide->means[oldest];

  glide->targets[glide->at] = glide->target;
  const double next_mean = mean + (glide->target - glide->targets[oldest]) / half;
  const double next_oldest_mean = glide->means[following(glide, oldest)];
  const double slope = (mean - oldest_mean) / half;
  const double next_slope = (next_mean - next_oldest_mean) / half;
  glide->slope = slope / PLANISH_GRID;
  glide->curvature = (next_slope - slope) / (PLANISH_GRID * PLANISH_GRID);
  glide->means[oldest] = next_mean;
  glide->at = oldest;
}

void planish_glide_set(PlanishGlide *glide, double target)
{
  if (target == glide->target) {
    return;
  }
  if (glide->left == 0) {
    start(glide);
  }
  glide->target = target;
  glide->left = 2 * glide->half;
}

static void move_on(PlanishGlide *glide, uint32_t frames)
{
  const double n = frames;
  if (glide->frame == 0) {
    advance(glide);
  }
  /* Exact for a parabola: the mean of the slopes at both ends of the way. */
  glide->value += n * (glide->slope + 0.5 * n * glide->curvature);
  glide->slope += n * glide->curvature;
  glide->frame += frames;
  if (glide->frame == PLANISH_GRID) {
    glide->frame = 0;
    if (--glide->left == 0) {
      planish_glide_jump(glide, glide->target);
    }
  }
}

double planish_glide_next(PlanishGlide *glide)
{
  if (glide->left == 0) {
    return glide->target;
  }
  const double value = glide->value;
  move_on(glide, 1);
  return value;
}

double planish_glide_skip(PlanishGlide *glide, uint32_t frames)
{
  if (glide->left != 0) {
    move_on(glide, frames);
  }
  return glide->value;
}
