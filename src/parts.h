/* The register: what softening models are made of. A term is a parameter with its role, bounds and
 * scale; a process changes a hardness level by its own clock; a model is a shape of
 * recrystallisation with or without processes and a delay. All other files look up here what a
 * parameter is. R asks it once (R/models.R). */
#ifndef SA_PARTS_H
#define SA_PARTS_H

#include <math.h>
#include <stddef.h>

/* Also the slots of the clock, see model.h. */
enum { SA_NO_PROCESS = -1, SA_RECRYSTALLISATION, SA_RECOVERY, SA_HARDENING, SA_GROWTH,
       SA_PROCESSES };

typedef enum {
    SA_LEVEL = 0, /* a hardness */
    SA_AMPLITUDE, /* change of hardness by a process */
    SA_LN_RATE,   /* ln of a rate at the reference temperature, 1/min */
    SA_ENERGY,    /* activation energy, kJ/mol */
    SA_EXPONENT,
    SA_DELAY,     /* of reduced time */
    SA_STRAIN,    /* power of strain */
    SA_ROLES
} sa_role;

typedef enum {
    SA_BY_TABLE = 0, /* as it stands in the row */
    SA_BY_TIMES,     /* from the times of the readings: rates */
    SA_BY_TOP,       /* times ten times the hardest reading */
    SA_BY_SOFTEST    /* times the softest reading */
} sa_bound_rule;

/* Half width of the Wald interval beyond which a parameter is looked at more closely: parts of the
 * drop in hardness and of its own size, at least `least`; and the least first step along its
 * profile, the same way. */
typedef struct {
    double of_drop, of_size, least, step_of_drop, step_of_size, step;
} sa_yardstick;

typedef struct {
    char name[16];
    sa_role role;
    int trades;  /* the process within which it trades against other terms, or SA_NO_PROCESS */
    int natural; /* its lower bound is an answer, not only the edge of the search */
    sa_bound_rule rule; /* of the upper bound; SA_BY_TIMES of both and of the start */
    double low, high, start;
    sa_yardstick yardstick;
} sa_term;

/* Places of the first five parameters of every model, and rows of the register. The three terms of
 * a process stand in a row: amplitude, ln of its rate, its energy. */
enum {
    SA_P_WORKED = 0, SA_P_SOFT, SA_P_LN_K, SA_P_N, SA_P_Q,
    SA_T_K_STRAIN, SA_T_H_STRAIN, SA_T_SOFT_STRAIN, SA_T_THETA0,
    SA_T_RECOVERY, SA_T_HARDENING = SA_T_RECOVERY + 3, SA_T_GROWTH = SA_T_HARDENING + 3,
    SA_TERMS = SA_T_GROWTH + 3
};

/* Start values of a process: ln of its rate against the middle of the clock of the readings, and
 * its energy as a share of that of recrystallisation. */
typedef struct {
    int speeds, shares;
    double speed[4], share[3];
} sa_process_starts;

typedef struct {
    char name[20];
    int terms;   /* the first of its three */
    int of_soft; /* changes the recrystallised hardness, not the unrecrystallised one */
    double sign; /* of the change for a positive amplitude */
    sa_process_starts starts;
} sa_process;

/* Shapes of recrystallisation: fraction X of y = (k t - theta0)^n. */
typedef enum {
    SA_SHAPE_JMAK = 0, /* X = 1 - exp(-y) */
    SA_SHAPE_RICKETT,  /* X = y / (1 + y) */
    SA_SHAPES
} sa_shape;

/* A model. `processes`: bits 1 << SA_RECOVERY and so on. */
typedef struct {
    char name[28], words[60];
    sa_shape shape;
    unsigned processes;
    int delay;
    int usual; /* compared with others unless asked otherwise */
} sa_model_part;

/* The number of a model is its row; R asks for the rows and numbers them the same way. */
typedef enum {
    SA_JMAK = 0,
    SA_JMAK_INCUBATION,
    SA_RECOVERY_JMAK,
    SA_RECOVERY_JMAK_INCUBATION,
    SA_HARDENING_JMAK,
    SA_HARDENING_RECOVERY_JMAK,
    SA_AUSTIN_RICKETT,
    SA_MODELS,
    SA_WITH_STRAIN = 16,   /* powers of strain: several cold reductions in one fit */
    SA_WITH_GROWTH = 32,   /* times m - 1: grain growth with the exponent m of 2, 3 or 4 */
    SA_WITH_SOFT_STRAIN = 128, /* with it: a power for the soft level too */
    SA_ONE_EXPONENT = 256, /* one more n after these: n of each temperature */
    SA_MOST_KINDS = 256 * 16
} sa_model_kind;

extern const sa_term sa_terms[SA_TERMS];
extern const sa_process sa_processes[SA_PROCESSES];
extern const sa_model_part sa_models[SA_MODELS];
extern const char sa_shape_lines[SA_SHAPES][24]; /* what sa_shape_line() is, as text */

/* What a process has done at ln(reduced time) = v, and its derivative in v; `power`: of growth. */
double sa_process_value(int process, double v, double power, double *slope);

/* Share not recrystallised at y; `slope`: y times its fall with y. */
static inline double sa_shape_share(sa_shape shape, double y, double *slope)
{
    const double most = shape == SA_SHAPE_RICKETT ? 1e300 : 745.0; /* beyond: nothing is left */
    *slope = 0.0;
    if (y > most)
        return 0.0;
    if (shape == SA_SHAPE_RICKETT) {
        const double left = 1.0 / (1.0 + y);
        *slope = left * (y * left);
        return left;
    }
    const double share = exp(-y);
    *slope = share * y;
    return share;
}

/* Fraction recrystallised at y; small ones keep their digits. */
double sa_shape_fraction(sa_shape shape, double y);

/* y at which `share` is left, and its logarithm at a fraction: the ordinate of the Avrami plot. */
double sa_shape_inverse(sa_shape shape, double share);
double sa_shape_line(sa_shape shape, double fraction);

/* ln of the reduced time beyond which no more fraction is looked for. */
double sa_shape_reach(sa_shape shape, double n);

#endif
