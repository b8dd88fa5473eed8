#include "harness/recall/machine.h"

#include "harness/base/text.h"

#include <soxr.h>
#include <sys/utsname.h>

#ifdef __GLIBC__
#include <gnu/libc-version.h>
#endif

static const char *marks(void)
{
#if defined(__x86_64__) && defined(__GNUC__)
  const int fma = __builtin_cpu_supports("fma");
  const int avx2 = __builtin_cpu_supports("avx2");
  const int avx512 = __builtin_cpu_supports("avx512f");
  return avx512 ? " fma avx2 avx512" : (fma && avx2 ? " fma avx2" : (fma ? " fma" : ""));
#else
  return "";
#endif
}

void planish_machine(char *text, size_t size)
{
  struct utsname names;
  planish_text_format(text, size, "%s%s", uname(&names) >= 0 ? names.machine : "unknown", marks());
}

void planish_machine_libraries(char *text, size_t size)
{
#ifdef __GLIBC__
  planish_text_format(text, size, "glibc %s, %s", gnu_get_libc_version(), soxr_version());
#else
  planish_text_format(text, size, "%s", soxr_version());
#endif
}
