/* Softening models: hardness at conditions (temperature, time), with derivatives. */
#ifndef SA_MODEL_H
#define SA_MODEL_H

#include "history.h"
#include "parts.h"
#include <stddef.h>

/* A kind is the row of a model in the register (parts.h), plus SA_WITH_STRAIN, and SA_WITH_SOFT_STRAIN, plus (m - 1)
 * SA_WITH_GROWTH for grain growth with the exponent m of 2, 3 or 4, plus SA_ONE_EXPONENT for each
 * exponent after the first. Its parameters: h_worked h_soft ln_k_ref n q, k_strain h_strain
 * h_soft_strain, the further n, three of each process, theta0. */
#define SA_BASE_PAR 15
#define SA_MOST_EXPONENTS 12
#define SA_MODEL_MAX_PAR (SA_BASE_PAR + 3 + SA_MOST_EXPONENTS - 1)

/* Places of the parameters in the vector; -1 where the model has none. */
typedef struct {
    size_t n_par;
    sa_shape shape;
    int theta0, k_strain, h_strain, soft_strain;
    int exponent;     /* the second n */
    size_t exponents; /* how many n there are */
    size_t processes; /* besides recrystallisation: which, and place of the first of its three */
    int process[SA_PROCESSES - 1], place[SA_PROCESSES - 1];
    int falls, rises; /* a process lowers, or raises, the unrecrystallised hardness */
    double power;     /* -1/(2 m): power of 1 + theta_g in the hardness; 0 without growth */
} sa_model_layout;

sa_model_layout sa_model_parameters(sa_model_kind kind);

/* Row of the register of parameter j. */
int sa_model_term_row(const sa_model_layout *at, size_t j);
static inline const sa_term *sa_model_term(const sa_model_layout *at, size_t j)
{
    return &sa_terms[sa_model_term_row(at, j)];
}

/* The kind without strain and further exponents, and also without growth. */
static inline sa_model_kind sa_model_base(sa_model_kind kind)
{
    return (sa_model_kind)((unsigned)kind % SA_WITH_SOFT_STRAIN & ~(unsigned)SA_WITH_STRAIN);
}

static inline sa_model_kind sa_model_core(sa_model_kind kind)
{
    return (sa_model_kind)((unsigned)kind % SA_WITH_STRAIN);
}

/* The kind of the same shape and groups without processes and delay. */
sa_model_kind sa_model_plain(sa_model_kind kind);

/* What sets one condition apart besides temperature and time. */
typedef struct {
    double strain; /* ln(strain / reference strain) */
    int exponent;  /* which n, from 0 */
} sa_group;

/* Parameters of the base kind that hold for a group, and the gradient in all parameters
 * (`out`) from one in those of the base kind (`gradient`). */
void sa_model_of_group(sa_model_kind kind, sa_group group, const double *par, double *base);
void sa_model_chain(sa_model_kind kind, sa_group group, const double *par, const double *gradient,
                    double *out);

/* A clock turns an activation energy into the reduced time of each condition:
 * log_scaled[i] = ln of the integral of exp(q e(t)) dt and coordinate[i] = its derivative
 * in q (the mean of e along the history). At constant temperature these are
 * ln t + q e and e, computed where they are read. Along histories (`along` not NULL) they
 * are tabulated by sa_clock_set() for each process (its slot) first; log_time and coordinate are
 * then the tangent at a typical energy, good enough for start values. */
typedef struct sa_clock sa_clock;
struct sa_clock {
    size_t n;                 /* conditions */
    const double *coordinate; /* isothermal: e of each condition, mol/kJ */
    const double *log_time;   /* isothermal: ln t, -Inf at t = 0 */
    const sa_histories *along; /* NULL: isothermal. Its marks are the last conditions; those
                                * before them have seen no time */
    double *table; /* sa_clock_table(n) values; sa_clock_begin() before the first use */
    const double *strain; /* ln(strain / reference) of each condition; NULL without strain */
    const int *exponent;  /* which n of each condition; NULL: one n */
    const double *shift;  /* change of e of each condition by an error of temperature; NULL: none */
    sa_poll poll;         /* asked along many conditions; NULL: not */
    void *poll_context;
};

size_t sa_clock_table(size_t n);

/* Forget what is tabulated. */
void sa_clock_begin(const sa_clock *clock);

/* Tabulate reduced times at energy q for one rate process; nothing to do where the clock is
 * isothermal or the table is that of q already. */
void sa_clock_set(const sa_clock *clock, int slot, double q);

/* Reduced time of condition i at energy q: its logarithm (without ln k), and d/dq. */
static inline double sa_clock_read(const sa_clock *clock, size_t i, int slot, double q,
                                   double *slope)
{
    const double shift = clock->shift ? clock->shift[i] : 0.0;
    if (clock->along) {
        const double *from = clock->table + (size_t)slot * (2 * clock->n + 1) + 1;
        *slope = from[clock->n + i] + shift;
        return from[i] + q * shift;
    }
    *slope = clock->coordinate[i] + shift;
    return clock->log_time[i] + q * (clock->coordinate[i] + shift);
}

/* Hardness of every condition in out (n), and its derivatives in jac (n x n_par by columns)
 * unless NULL. Returns 0, or 1 when a value is not finite or the poll stopped it. */
int sa_model_hardness(sa_model_kind kind, const sa_clock *clock, const double *par, double *out,
                      double *jac);

/* Of the base kinds from here on. Fraction recrystallised and hardness of both parts of one
 * condition, and for the inverse problem d hardness / d ln t. */
typedef struct {
    double fraction, unrecrystallised, recrystallised, hardness, slope_ln_time;
} sa_model_state;

sa_model_state sa_model_at(sa_model_kind kind, double log_time, double coordinate,
                           const double *par);

/* Fraction recrystallised at a reduced time ln(k t). */
double sa_model_fraction(sa_model_kind kind, double ln_theta, const double *par);

/* What time_to asks for. */
typedef enum {
    SA_TO_HARDNESS = 0, /* a hardness */
    SA_TO_SOFTENING,    /* a share of the way from h_worked to h_soft */
    SA_TO_FRACTION      /* a recrystallised fraction */
} sa_target_kind;

/* ln of the time at which the curve of one temperature meets the target, and its gradient
 * in the parameters. Returns 0 when it never does (or already has at t = 0). */
int sa_model_time_to(sa_model_kind kind, double coordinate, double target, sa_target_kind what,
                     const double *par, double *ln_time, double *gradient);

#endif
