/* What a function of common/ that can fail returns. Thread: any. Real-time safe. */
#ifndef PLANISH_DSP_STATUS_H
#define PLANISH_DSP_STATUS_H

typedef enum {
  PLANISH_OK = 0,
  PLANISH_NO_MEMORY,    /* an allocation failed */
  PLANISH_BAD_ARGUMENT, /* a value outside the documented range */
  PLANISH_BAD_RATE,     /* a sample rate that the code does not work at */
} PlanishStatus;

/* One constant line of text, without a full stop. Never NULL. */
const char *planish_status_text(PlanishStatus status);

#endif
