/* Status codes shared by the pure C files. No R header here or in any file that
 * is not init.c or glue_*.c: a kernel computes on the caller's arrays, returns one
 * of these codes, and never allocates R memory, prints, exits or jumps. */
#ifndef SA_STATUS_H
#define SA_STATUS_H

typedef enum {
    SA_OK = 0,
    SA_BAD_SIZE,     /* sizes do not fit together, or overflow */
    SA_OUT_OF_RANGE, /* an argument lies outside its domain */
    SA_NOT_FINITE,   /* the objective cannot be evaluated at the start */
    SA_SINGULAR,     /* a matrix has no inverse */
    SA_LIMIT,        /* iteration limit reached */
    SA_INTERRUPTED   /* the caller's poll function asked to stop */
} sa_status;

/* A word of a list that R asks for by number. An array, not a pointer, so that the list is constant
 * to the last byte. */
typedef char sa_word[40];

/* Flag of one element of a vectorised kernel. */
typedef enum { SA_EL_OK = 0, SA_EL_MISSING, SA_EL_OUTSIDE } sa_element;

/* Molar gas constant, J/(mol K): exact since the 2019 revision of the SI
 * (CODATA 2018). Twin: GAS_CONSTANT in R/kinetics.R. */
#define SA_GAS_CONSTANT 8.31446261815324
/* 0 degrees Celsius in K. Twin: ZERO_CELSIUS in R/checks.R. */
#define SA_ZERO_CELSIUS 273.15

/* Called by long loops about every 50 ms, and more often by those of a caller's function; a
 * non-zero answer stops the loop, with SA_INTERRUPTED where it has a status. May be NULL. */
typedef int (*sa_poll)(void *context);

#endif
