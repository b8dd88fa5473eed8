/* What a whole chain costs: how much faster than it sounds it is rendered, on one processor and on
 * all of them, and the share of each stage; and what it takes to load the bundle ahead of that.
 * Thread: main. */
#ifndef PLANISH_TESTS_BENCH_CHAIN_H
#define PLANISH_TESTS_BENCH_CHAIN_H

/* Prints the table of a sheet and a mix; an exit code. */
int bench_chain(const char *sheet, const char *mix);

#endif
