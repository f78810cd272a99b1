/* Counting checks for the plain C tests. */
#ifndef SA_TEST_CHECK_H
#define SA_TEST_CHECK_H

#include <math.h>
#include <stdio.h>

static int checks_passed, checks_failed;

static void check(int ok, const char *what)
{
    if (ok) {
        checks_passed++;
    } else {
        checks_failed++;
        printf("FAILED: %s\n", what);
    }
}

static inline int near(double x, double y, double tolerance)
{
    return fabs(x - y) <= tolerance * fmax(1.0, fabs(y));
}

static inline int report(void)
{
    printf("%d passed, %d failed\n", checks_passed, checks_failed);
    return checks_failed > 0;
}

#endif
