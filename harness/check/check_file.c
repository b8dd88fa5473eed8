#include "harness/check/check_file.h"

#include "harness/base/interrupt.h"

enum { BLOCK = 4096 };

static bool read_all(PlanishReader *reader, PlanishCheck *check,
                     void (*told)(void *user, double share), void *user, PlanishError *error)
{
  float block[2 * BLOCK];
  const double frames = (double)planish_reader_frames(reader);
  bool done = true;
  uint64_t at = 0;
  size_t got = 1;
  while (done && got > 0) {
    done = planish_interrupt_check(error) && planish_reader_read(reader, block, BLOCK, &got, error);
    if (done) {
      planish_check_process(check, block, got);
      at += got;
      if (told != NULL) {
        told(user, (double)at / frames);
      }
    }
  }
  return done;
}

bool planish_check_file(const char *path, bool silence_bad, void (*told)(void *user, double share),
                        void *user, PlanishCheckResult *result, PlanishError *error)
{
  const PlanishReaderOptions options = {
      .silence_bad = silence_bad, .take_cut = true, .keep_beside = "-"};
  PlanishReader *reader = planish_reader_open(path, &options, error);
  if (reader == NULL) {
    return false;
  }
  const PlanishCheckSource source = {planish_reader_rate(reader), planish_reader_channels(reader),
                                     planish_reader_word(reader)};
  PlanishCheck *check = planish_check_new(&source);
  const bool done =
      check == NULL ? planish_fail_memory(error) : read_all(reader, check, told, user, error);
  if (done) {
    planish_check_finish(check, planish_reader_silenced_at(reader), planish_reader_is_cut(reader),
                         result);
  }
  planish_check_free(check);
  planish_reader_free(reader);
  return done;
}
