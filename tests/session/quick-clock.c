// Lets threads that wait for each other wait by a clock that runs fast.
//
// `faketime` makes clocks, sleeps and polls fast, and leaves out the futex, on which Rust's channels
// wait until a moment of the clock that it sees. Loaded before `faketime`'s own library:
// the moment is turned into the real one. RATE is in the environment.
#define _GNU_SOURCE
#include <dlfcn.h>
#include <linux/futex.h>
#include <stdarg.h>
#include <stdlib.h>
#include <sys/syscall.h>
#include <time.h>

typedef long (*call)(long, ...);

static long long nanoseconds(struct timespec at) { return at.tv_sec * 1000000000LL + at.tv_nsec; }

long syscall(long number, ...) {
  static call next;
  if (!next) next = (call)dlsym(RTLD_NEXT, "syscall");
  va_list rest;
  va_start(rest, number);
  long given[6];
  for (int at = 0; at < 6; at++) given[at] = va_arg(rest, long);
  va_end(rest);
  struct timespec until, now, real;
  int waits = number == SYS_futex && (given[1] & FUTEX_CMD_MASK) == FUTEX_WAIT_BITSET;
  if (waits && given[3] && !(given[1] & FUTEX_CLOCK_REALTIME)) {
    const char *rate = getenv("RATE");
    clock_gettime(CLOCK_MONOTONIC, &now);
    next(SYS_clock_gettime, (long)CLOCK_MONOTONIC, &real);
    long long left = nanoseconds(*(struct timespec *)given[3]) - nanoseconds(now);
    long long due = nanoseconds(real) + (left > 0 ? left / (rate ? atoi(rate) : 1) : 0);
    until.tv_sec = due / 1000000000LL;
    until.tv_nsec = due % 1000000000LL;
    given[3] = (long)&until;
  }
  return next(number, given[0], given[1], given[2], given[3], given[4], given[5]);
}
