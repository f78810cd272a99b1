/* Global fit of a softening model to all temperatures at once; see softening.c. */
#ifndef SA_SOFTENING_H
#define SA_SOFTENING_H

#include <math.h>
#include <stdint.h>
#include "furnaces.h"
#include "least_squares.h"
#include "model.h"
#include "replicates.h"
#include "whitening.h"

typedef struct {
    sa_model_kind kind;
    sa_clock clock;
    const double *hardness;    /* of each condition */
    const double *root_weight; /* of each condition */
    const double *lower, *upper;
    const int *natural; /* 2 p, lower then upper: non-zero where a bound is an answer, not
                         * only the edge of the search */
    const int *held;    /* non-zero: stays at its start */
    const double *weight; /* squares of root_weight: profiles may go the short way; NULL: not */
    const sa_whitening *whitening; /* of residuals, all weights 1: errors with a covariance; NULL */
    const sa_furnaces *furnaces; /* errors of temperature fitted too: then all arrays of parameters here
                                  * are longer by their number, and root_weight too; NULL: none */
    sa_poll poll;         /* asked along starts, profiles and intervals; NULL: not */
    void *poll_context;
} sa_softening;

/* How far the data fix one parameter. */
typedef enum {
    SA_DETERMINED = 0,
    SA_HELD,       /* by the user, or since one temperature says nothing about Q */
    SA_AT_LOWER,   /* the best value is the lower bound */
    SA_AT_UPPER,
    SA_OPEN_BELOW, /* the data give only an upper limit */
    SA_OPEN_ABOVE, /* the data give only a lower limit */
    SA_OPEN,       /* the data give no limit */
    SA_PARAMETER_STATES
} sa_parameter_state;

extern const sa_word sa_parameter_states[SA_PARAMETER_STATES]; /* their names for R */

/* Doubles of work for any model, and for one of n_par parameters; 0 on overflow. */
size_t sa_softening_work(size_t n_condition);
size_t sa_softening_work_for(size_t n_condition, size_t n_par);

/* Residuals and unknowns, those of furnaces with them. */
static inline size_t sa_softening_rows(const sa_softening *s)
{
    return s->clock.n + (s->furnaces ? s->furnaces->count : 0);
}

static inline size_t sa_softening_unknowns(const sa_softening *s)
{
    return sa_model_parameters(s->kind).n_par + (s->furnaces ? s->furnaces->count : 0);
}

/* The fit as a problem of the solver; it refers to `s`, which must outlive it. */
sa_lsq_problem sa_softening_problem(const sa_softening *s);

/* Residuals and derivatives (by columns, or NULL) under the covariance of `s`, where it has one. Every
 * residual function of a softening fit ends with it. */
void sa_softening_whiten(const sa_softening *s, double *resid, double *jac);

/* Data-driven starts, a deterministic set of alternatives, the best refined. With
 * `use_start` the fit begins at `par` alone. */
sa_status sa_softening_fit(const sa_softening *s, const sa_lsq_control *control, int use_start,
                           double *par, double *resid, double *jac, int *at_bound, double *work,
                           sa_lsq_result *result);

/* Start values ranked by their sum of squares, best first; returns how many (at most
 * `most`), n_par values each. Work: n (n_par + 1) + 16. */
#define SA_MOST_STARTS 48 /* of all models but the plain one, which have more minima */
#define SA_USUAL_STARTS 5 /* of the plain model */
size_t sa_softening_starts(const sa_softening *s, const double *base, double *starts, size_t most,
                           double *work);

/* Starts far apart in all parts of the model at once; as sa_softening_starts(). */
size_t sa_softening_spread(const sa_softening *s, const double *base, double *starts, size_t most,
                           double *work);

/* Other places of one part of the model (a process, or recrystallisation with its delay), the rest as in
 * `from`; as sa_softening_starts(). */
size_t sa_softening_moves(const sa_softening *s, const double *base, const double *from,
                          double *starts, size_t most, double *work);

/* Solves for the hardness levels at the rates, energies and exponents in `par` (those of `kind`, which may
 * be simpler than s->kind), within their bounds; returns the sum of squares. resid: n, jac: n n_par. */
double sa_softening_levels(const sa_softening *s, sa_model_kind kind, double *par, double *resid,
                           double *jac);

/* `most` starts scattered over the whole space, not selected; as sa_softening_starts(). 0: interrupted. */
size_t sa_softening_scatter(const sa_softening *s, const double *base, uint64_t seed, double *starts,
                            size_t most, double *work);

/* Unscaled covariances (p x p): model = (J'WJ)^-1; cluster = sandwich with residuals of
 * cluster means, each enlarged for its own leverage (see inference.c); null as in
 * sa_covariance(). */
typedef struct {
    double *model, *cluster, *null, *singular, *loading;
    size_t rank;
    double between; /* sum over clusters of weight times squared mean residual */
    /* parameters whose cluster variance leans on a treatment without residual: their Wald
     * interval is not a measure of how far the data fix them */
    int alone[SA_MODEL_MAX_PAR];
} sa_covariances;

/* Weight times error of a step in the cluster covariance: its residual e over the root of
 * 1 minus its leverage; a treatment that alone decides a parameter (leverage 1) has no residual but
 * rounding, and gets the pooled variance of the treatments. */
#define SA_ALONE 1e-4
static inline double sa_treatment_score(double weight, double e, double leverage, double pooled)
{
    const double left = 1.0 - leverage;
    return left > SA_ALONE ? weight * e / sqrt(left) : sqrt(weight * pooled);
}

/* Marks them: `part`, the share of such treatments in the variances of `cluster` (p x p). */
static inline void sa_mark_alone(const double *part, const double *cluster, size_t p, int *alone)
{
    for (size_t j = 0; j < p; j++)
        alone[j] = part[j] > 0.1 * cluster[j + j * p];
}

void sa_softening_covariance(const sa_softening *s, const sa_replicates *r, const double *resid,
                             const double *jac, const int *at_bound, sa_covariances *out,
                             double *work);

/* Huber loss: the means of the heat treatments (every reading a condition, weighted residuals
 * `resid`, bent at `limit`) become those of pseudo-values, of which the covariances of least squares
 * are the sandwich of M-estimation; see inference.c. Returns the sum of squares of the
 * pseudo-residuals. */
double sa_softening_pseudo(const sa_softening *s, const double *resid, double limit,
                           size_t estimated, sa_replicates *r);

/* The variance by which profiles are judged: `between` treatments, but never less than that of the
 * readings about the curve, `squares` on `df` degrees of freedom. Means that lie on the curve by chance,
 * or because nothing moves any more, leave the readings their scatter. */
double sa_least_variance(double between, double squares, double df);

/* Whether the half width of a Wald interval is wide enough to doubt parameter j. */
int sa_softening_wide(const sa_softening *s, const double *par, size_t j, double half);

/* A minimum whose parameters are looked at. `half` (p): half widths of the Wald intervals, below zero:
 * passed over. `threshold`: rise of the sum of squares at the ends of an interval; infinite: no profile.
 * `every`: limits of all are wanted. `cov` (n_par x n_par, unscaled; may be NULL): linear covariance, against
 * which the valley of the energy is held where readings see it from one side only. */
typedef struct {
    const double *par;
    const int *at_bound;
    double objective, threshold;
    const double *half, *loading;
    int every;
    const double *cov;
} sa_profile_task;

/* `limit` (2 p): ends found, NaN where not looked for. `ends` (2 p times p, may be NULL): the parameters
 * at these ends. `better` (p): a lower minimum met on the way, if any; NULL: such a side counts as open. */
typedef struct {
    int *state;
    double *limit, *ends, *better;
    int *narrow; /* NULL, or one a parameter: is its profile narrower than its linear error? */
} sa_profile_result;

/* Which parameters the data fix: walks the profile of each doubtful one outwards to its bounds. Returns 1
 * when a lower minimum was met; only `better` is filled then. */
int sa_softening_states(const sa_softening *s, const sa_profile_task *task,
                        const sa_profile_result *out, double *work);

/* Covariances (p x p) of which the parameters that sa_softening_states() found `narrow` get the error of
 * their profile, whose ends are in `limit`. A profile wider than the linear error changes the interval
 * alone: the error stays that of the linear model. */
void sa_softening_rescale(const double *half, const int *narrow, const double *limit, size_t p,
                          double *first, double *second);

/* The short way for the plain model at constant temperature, from the double-logarithmic line
 * by damped normal equations, until the squared cosine between residual and tangent plane is
 * below `angle`. `rows`: 10 m doubles of work; on success (1) the first 5 m are the unweighted
 * derivatives at the minimum, by condition, `cov` the inverse of the normal matrix (p x p, zero
 * where held; NULL: not wanted), *objective the weighted sum of squares. Returns 0 for anything unusual: then
 * sa_softening_fit() decides. */
int sa_short_fit(const sa_softening *s, const double *weight, int use_start, double angle,
                 double *par, double *rows, double *cov, double *objective, int *iterations,
                 int *evaluations);

/* One point of a profile by the short way: `par` holds a solution at another value of `which` and
 * becomes that at `value`; 0 (par as it was) for anything unusual. */
int sa_short_profile(const sa_softening *s, const double *weight, const int *held, size_t which,
                     double value, double angle, double *par, double *rows, double *objective);

#endif
