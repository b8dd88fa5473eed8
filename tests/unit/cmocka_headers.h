/* cmocka wants these first, in this order. */
#ifndef PLANISH_TESTS_CMOCKA_HEADERS_H
#define PLANISH_TESTS_CMOCKA_HEADERS_H

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#endif
