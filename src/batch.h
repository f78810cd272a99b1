/* Many fits in one call: one softening fit a group of readings; see batch.c. */
#ifndef SA_BATCH_H
#define SA_BATCH_H

#include "softening.h"

/* What became of a group; those before SA_GROUP_TOO_FEW have estimates, the others have none. */
typedef enum {
    SA_GROUP_OK = 0,
    SA_GROUP_OPEN,           /* some parameter is not fixed by the data */
    SA_GROUP_ONE_TEMPERATURE, /* activation energies cannot be estimated */
    SA_GROUP_NO_SOFTENING,   /* a constant hardness explains the readings as well */
    SA_GROUP_LIMIT,          /* iteration limit */
    SA_GROUP_TOO_FEW,        /* fewer steps than parameters */
    SA_GROUP_NO_ANNEAL,      /* no reading after time zero */
    SA_GROUP_BAD_VALUE,      /* a reading that cannot be */
    SA_GROUP_OUTSIDE,        /* a reading outside the conversion table */
    SA_GROUP_FAILED,         /* the model cannot be evaluated within its bounds */
    SA_GROUP_STATUSES
} sa_group_status;

/* How standard errors are formed: from the scatter of readings, from that of steps,
 * or by the cluster estimate over steps. */
typedef enum { SA_ERRORS_MODEL = 0, SA_ERRORS_STEPS, SA_ERRORS_CLUSTER, SA_ERROR_KINDS } sa_batch_errors;

/* Columns in bench units: deg C, min, hardness. Not a number: missing; hardness -Inf: no
 * conversion. A missing temperature is not a defect at time zero. */
typedef struct {
    const double *temp_c, *time, *hardness;
    const double *weight; /* NULL: all 1 */
    const int *specimen;  /* labels in an order that does not depend on the rows; NULL: none */
    const int *order;     /* 1-based rows, groups together; NULL: as they are */
} sa_batch_columns;

typedef struct {
    sa_model_kind kind;
    double ref_k;         /* NaN: mean of 1/T of each group */
    const double *start;  /* p values: where held ones stay; with use_start also the start */
    const int *held;      /* p */
    const double *lower, *upper; /* p, NaN: the default bound */
    const int *natural;   /* 2 p, see softening.h */
    sa_batch_errors errors;
    int automatic;        /* SA_ERRORS_MODEL where a group has one reading per treatment */
    int use_start, infer; /* infer = 0: estimates only */
    int any_value;        /* no hardness: zero and below are values, and levels may be there too */
    const double *t_quantile, *f_quantile; /* at 1, 2, ... degrees of freedom */
    size_t quantiles;
    sa_lsq_control control;
} sa_batch_settings;

/* Results, one entry per group unless said otherwise; matrices by group: entry k of group g is
 * at [g * width + k]. Not fitted: NaN and zero counts. */
typedef struct {
    double *par;        /* p */
    double *cov;        /* lower triangle of the covariance, p (p + 1) / 2 */
    double *limit;      /* 2 p, see sa_softening_states() */
    int *state;         /* p */
    double *sums;       /* SA_BATCH_SUMS: see below */
    int *counts;        /* SA_BATCH_COUNTS: see below */
} sa_batch_results;

enum {
    SA_SUM_MISFIT = 0, SA_SUM_PURE_ERROR, SA_SUM_BETWEEN, SA_SUM_REF_K, /* reference, coldest and */
    SA_SUM_COLD_K, SA_SUM_HOT_K, SA_SUM_LONGEST_MIN, SA_BATCH_SUMS /* hottest anneal, longest */
};
enum {
    SA_COUNT_STATUS = 0, SA_COUNT_USED, SA_COUNT_MISSING, SA_COUNT_CONDITIONS,
    SA_COUNT_TREATMENTS, SA_COUNT_ESTIMATED, SA_COUNT_ITERATIONS, SA_COUNT_EVALUATIONS,
    SA_COUNT_END, SA_COUNT_ROW, SA_COUNT_BY_TREATMENT, SA_BATCH_COUNTS
};

/* The names of all these for R, in their order. */
extern const sa_word sa_group_statuses[SA_GROUP_STATUSES];
extern const sa_word sa_error_kinds[SA_ERROR_KINDS];
extern const sa_word sa_batch_sums[SA_BATCH_SUMS];
extern const sa_word sa_batch_counts[SA_BATCH_COUNTS];

/* Bytes of work space of one thread for groups of at most `largest` rows; 0 on overflow. */
size_t sa_batch_work(size_t largest);

/* Groups first[g], ..., first[g] + size[g] - 1 (0-based places in `order`). `work` holds
 * `threads` times sa_batch_work() bytes, aligned for doubles. `poll` is called from the
 * calling thread alone. The results do not depend on the number of threads. */
sa_status sa_batch_fit(const sa_batch_columns *columns, const int *first, const int *size,
                       size_t groups, size_t largest, const sa_batch_settings *settings,
                       int threads, sa_poll poll, void *poll_context, char *work,
                       sa_batch_results *out);

/* Whether the profile of one parameter plainly passes `ceiling` on both sides of the minimum;
 * 0 leaves the question to sa_softening_states(). `half`: half width of the Wald interval. */
int sa_short_closed(const sa_softening *s, const double *weight, const double *par, size_t which,
                    double half, double ceiling, double *rows);

/* One reading, K and min. */
typedef struct {
    double temp_k, time, hardness, weight;
    int specimen;
} sa_reading;

/* Work space of one thread, all parts with room for the largest group. */
typedef struct {
    sa_reading *row, *spare;
    double *log_time, *mean, *weight, *root, *coordinate, *cluster_mean, *cluster_weight, *resid,
        *jac, *work;
    int *first_of;
    sa_poll poll; /* asked while a large group is sorted */
    void *poll_context;
} sa_batch_room;

/* Readings of a group into `row`, checked and sorted; returns SA_GROUP_OK or what is wrong, with
 * the row in `count`. A reference temperature that is not a number becomes the group's own. */
sa_group_status sa_batch_collect(const sa_batch_columns *columns, size_t first, size_t size,
                                 int any_value, sa_batch_room *room, size_t *n, double *ref_k,
                                 int *count);

/* Sorted readings to conditions and steps; returns the readings of positive weight. */
int sa_batch_gather(sa_batch_room *room, size_t n, double ref_k, sa_replicates *out);

/* One group on its way through the fit. */
typedef struct {
    sa_softening s;
    sa_replicates rep;
    double lower[SA_MODEL_MAX_PAR], upper[SA_MODEL_MAX_PAR], par[SA_MODEL_MAX_PAR];
    double ref_k, constant, cold, hot, last;
    int held[SA_MODEL_MAX_PAR], at_bound[SA_MODEL_MAX_PAR], estimated, used, in_short;
    double model[SA_MODEL_MAX_PAR * SA_MODEL_MAX_PAR];
    double cluster[SA_MODEL_MAX_PAR * SA_MODEL_MAX_PAR];
    double singular[SA_MODEL_MAX_PAR], loading[SA_MODEL_MAX_PAR];
    sa_covariances cov;
    sa_lsq_result res;
    sa_status status;
} sa_batch_group;

/* Covariance by step from the unweighted rows of derivatives of sa_short_fit(). */
void sa_batch_sandwich(const sa_batch_room *room, sa_batch_group *group, const double *rows);

/* States and limits; a lower minimum met on a profile is adopted and all is done again. Returns
 * whether standard errors are by step. */
int sa_batch_judge(const sa_batch_settings *settings, sa_batch_room *room, sa_batch_group *group,
                   const sa_lsq_control *control, int *state, double *limit);

/* Weighted sum of squares of the conditions about one common hardness. */
double sa_batch_about_constant(const sa_batch_room *room, size_t conditions);

sa_group_status sa_batch_classify(const sa_batch_group *group, const sa_batch_settings *settings,
                                  const int *state, int one_temperature);

#endif
