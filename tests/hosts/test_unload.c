/* A host that plans with its own FFTW after our stages are gone from the process, stages that are
 * made in two threads at once, and what a host loses that loads and unloads them again and again.
 */
#include "tests/unit/cmocka_headers.h"

#include <dirent.h>
#include <dlfcn.h>
#include <lv2/core/lv2.h>
#include <malloc.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

enum { RATE = 48000, MOST_PORTS = 512, BLOCK = 64 };

static void *live_and_die(void *descriptor)
{
  const LV2_Descriptor *const d = descriptor;
  const LV2_Feature *const features[] = {NULL};
  LV2_Handle stage = d->instantiate(d, RATE, "", features);
  float *buffers = calloc(4 * BLOCK, sizeof(float));
  if (stage == NULL || buffers == NULL) {
    abort();
  }
  for (uint32_t port = 0; port < 4; ++port) {
    d->connect_port(stage, port, buffers + (size_t)port * BLOCK);
  }
  d->activate(stage);
  for (int block = 0; block < 200; ++block) {
    d->run(stage, BLOCK);
  }
  d->deactivate(stage);
  d->cleanup(stage);
  free(buffers);
  return NULL;
}

/* FFTW's numbers of its flags. */
enum { FORWARD = -1, MEASURE = 0 };

static void plan_and_run(void)
{
  void *const library = dlopen("libfftw3f.so.3", RTLD_NOW | RTLD_GLOBAL);
  if (library == NULL) {
    return;
  }
  void *(*plan)(int, void *, void *, int, unsigned) = NULL;
  void (*execute)(void *) = NULL;
  void *symbol = dlsym(library, "fftwf_plan_dft_1d");
  memcpy(&plan, &symbol, sizeof plan);
  symbol = dlsym(library, "fftwf_execute");
  memcpy(&execute, &symbol, sizeof execute);
  float *a = aligned_alloc(64, 2048 * sizeof(float));
  float *b = aligned_alloc(64, 2048 * sizeof(float));
  memset(a, 0, 2048 * sizeof(float));
  void *const made = plan(1024, a, b, FORWARD, MEASURE);
  execute(made);
  free(a);
  free(b);
}

static const LV2_Descriptor *descriptor_of(void *module)
{
  LV2_Descriptor_Function get = NULL;
  if (module == NULL) {
    _exit(2);
  }
  void *const symbol = dlsym(module, "lv2_descriptor");
  memcpy(&get, &symbol, sizeof get);
  return get(0);
}

/* In a process of its own: 0 where it lived. */
static int fate_of(const char *path)
{
  const pid_t child = fork();
  if (child == 0) {
    void *const module = dlopen(path, RTLD_NOW | RTLD_LOCAL);
    const LV2_Descriptor *const descriptor = descriptor_of(module);
    pthread_t threads[2];
    for (int i = 0; i < 2; ++i) {
      pthread_create(&threads[i], NULL, live_and_die, (void *)(uintptr_t)descriptor);
    }
    for (int i = 0; i < 2; ++i) {
      pthread_join(threads[i], NULL);
    }
    dlclose(module);
    plan_and_run();
    _exit(0);
  }
  int status = 1;
  waitpid(child, &status, 0);
  return status;
}

/* In a process of its own, as a host that scans: 0 where ten lives more leave less than 200 kB
 * behind; what malloc() keeps at hand counts too. A planner of FFTW that is lost with its module is
 * 118 kB each time. */
static int loss_of(const char *path)
{
  const pid_t child = fork();
  if (child == 0) {
    size_t in_use = 0;
    for (int life = 0; life < 12; ++life) {
      void *const module = dlopen(path, RTLD_NOW | RTLD_LOCAL);
      live_and_die((void *)(uintptr_t)descriptor_of(module));
      dlclose(module);
      in_use = life == 1 ? mallinfo2().uordblks : in_use;
    }
    _exit(mallinfo2().uordblks > in_use + 200000 ? 3 : 0);
  }
  int status = 1;
  waitpid(child, &status, 0);
  return status;
}

static int for_each_module(int (*status_of)(const char *path))
{
  const char *const bundle = getenv("PLANISH_BUNDLE");
  DIR *const folder = opendir(bundle);
  int stages = 0;
  assert_non_null(folder);
  for (struct dirent *entry = readdir(folder); entry != NULL; entry = readdir(folder)) {
    const size_t length = strlen(entry->d_name);
    if (length > 3 && strcmp(entry->d_name + length - 3, ".so") == 0) {
      char path[1024];
      snprintf(path, sizeof path, "%s/%s", bundle, entry->d_name);
      assert_int_equal(status_of(path), 0);
      ++stages;
    }
  }
  closedir(folder);
  assert_true(stages > 0);
  return stages;
}

static void the_host_plans_on_after_our_unload(void **state)
{
  (void)state;
  const int stages = for_each_module(fate_of);
  printf("%d stages: made, run and gone from two threads; the host planned on\n", stages);
}

static void nothing_is_lost_by_loading_and_unloading(void **state)
{
  (void)state;
  const int stages = for_each_module(loss_of);
  printf("%d stages: loaded and unloaded twelve times, nothing lost\n", stages);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_host_plans_on_after_our_unload),
      cmocka_unit_test(nothing_is_lost_by_loading_and_unloading),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
