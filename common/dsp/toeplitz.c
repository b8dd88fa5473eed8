#include "common/dsp/toeplitz.h"

void planish_toeplitz_solve(const double *row, const double *side, double *x, uint32_t size)
{
  double predictor[PLANISH_TOEPLITZ_MAX_SIZE] = {1.0};
  double error = row[0];
  x[0] = side[0] / error;
  for (uint32_t k = 1; k < size; ++k) {
    double sum = 0.0;
    double rest = side[k];
    for (uint32_t i = 0; i < k; ++i) {
      sum += predictor[i] * row[k - i];
      rest -= x[i] * row[k - i];
    }
    const double reflection = -sum / error;
    predictor[k] = 0.0;
    for (uint32_t i = 0; i <= k / 2; ++i) {
      const double front = predictor[i];
      const double back = predictor[k - i];
      predictor[i] = front + reflection * back;
      predictor[k - i] = back + reflection * front;
    }
    error *= 1.0 - reflection * reflection;
    x[k] = 0.0;
    for (uint32_t i = 0; i <= k; ++i) {
      x[i] += rest / error * predictor[k - i];
    }
  }
}
