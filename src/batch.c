/* One softening fit a group of readings, for many groups in one call.
 *
 * Each group goes the way of fit_softening(): gathered into conditions, started from its own
 * data, minimised, then covariances and states. The plain model takes the short way of
 * batch_short.c first; what is unusual there, or misfits its own scatter grossly, is searched
 * from the full set of starts, so that the minimum is that of the single fit. Within a group
 * readings are sorted by all they hold, so that the order of rows cannot change a digit.
 * Groups share nothing, each writes its own places: any number of threads gives the same
 * numbers. No allocation; OpenMP only where the compiler offers it. */
#include "batch.h"
#include <math.h>
#include <stdint.h>
#include <string.h>
#ifdef _OPENMP
#include <omp.h>
#endif

#define P_MOST SA_MODEL_MAX_PAR
#define MISFIT_SHARE 0.02  /* of the variation between conditions: then search all starts */
#define SMALL_ANGLE 1e-16
#define POLL_UNITS 20000 /* rows times evaluations between two polls, about a millisecond */
#define CHUNK 16

const sa_word sa_group_statuses[SA_GROUP_STATUSES] = {
    [SA_GROUP_OK] = "ok",
    [SA_GROUP_OPEN] = "open",
    [SA_GROUP_ONE_TEMPERATURE] = "one temperature",
    [SA_GROUP_NO_SOFTENING] = "no softening",
    [SA_GROUP_LIMIT] = "not converged",
    [SA_GROUP_TOO_FEW] = "too few",
    [SA_GROUP_NO_ANNEAL] = "no anneal",
    [SA_GROUP_BAD_VALUE] = "bad value",
    [SA_GROUP_OUTSIDE] = "outside table",
    [SA_GROUP_FAILED] = "failed"};

const sa_word sa_error_kinds[SA_ERROR_KINDS] = {[SA_ERRORS_MODEL] = "model",
                                                [SA_ERRORS_STEPS] = "steps",
                                                [SA_ERRORS_CLUSTER] = "cluster"};

const sa_word sa_batch_sums[SA_BATCH_SUMS] = {[SA_SUM_MISFIT] = "misfit",
                                              [SA_SUM_PURE_ERROR] = "pure_error",
                                              [SA_SUM_BETWEEN] = "between",
                                              [SA_SUM_REF_K] = "ref_k",
                                              [SA_SUM_COLD_K] = "cold_k",
                                              [SA_SUM_HOT_K] = "hot_k",
                                              [SA_SUM_LONGEST_MIN] = "longest_min"};

const sa_word sa_batch_counts[SA_BATCH_COUNTS] = {[SA_COUNT_STATUS] = "status",
                                                  [SA_COUNT_USED] = "used",
                                                  [SA_COUNT_MISSING] = "missing",
                                                  [SA_COUNT_CONDITIONS] = "conditions",
                                                  [SA_COUNT_TREATMENTS] = "treatments",
                                                  [SA_COUNT_ESTIMATED] = "estimated",
                                                  [SA_COUNT_ITERATIONS] = "iterations",
                                                  [SA_COUNT_EVALUATIONS] = "evaluations",
                                                  [SA_COUNT_END] = "end",
                                                  [SA_COUNT_ROW] = "row",
                                                  [SA_COUNT_BY_TREATMENT] = "by_treatment"};

/* What the threads of one call share. */
typedef struct {
    const sa_batch_columns *col;
    const sa_batch_settings *set;
    const sa_batch_results *out;
    const int *first, *size;
    sa_model_layout at;
    int stop;
} batch;

/* Poll of one thread: the calling thread asks the user, the others look at the flag. */
typedef struct {
    batch *b;
    sa_poll poll;
    void *context;
    size_t units, each;
} watch;

static size_t doubles_needed(size_t n)
{
    const size_t fit = sa_softening_work(n);
    if (fit == 0 || fit > SIZE_MAX / sizeof(double) / 2)
        return 0;
    return fit + n * (9 + P_MOST + 5) + 64;
}

size_t sa_batch_work(size_t largest)
{
    const size_t n = largest > 0 ? largest : 1, d = doubles_needed(n);
    if (d == 0)
        return 0;
    return d * sizeof(double) + 2 * n * sizeof(sa_reading) + (n + 2) * sizeof(double);
}

static sa_batch_room furnish(char *work, size_t n)
{
    sa_batch_room r;
    double *d = (double *)(void *)work;
    n = n > 0 ? n : 1;
    double **part[8] = {&r.log_time, &r.mean,         &r.weight,         &r.root,
                        &r.coordinate, &r.cluster_mean, &r.cluster_weight, &r.resid};
    for (int k = 0; k < 8; k++, d += n)
        *part[k] = d;
    r.jac = d;
    d += n * P_MOST;
    r.work = d;
    d = (double *)(void *)work + doubles_needed(n);
    r.row = (sa_reading *)(void *)d;
    r.spare = r.row + n;
    r.first_of = (int *)(void *)(r.spare + n);
    r.poll = NULL;
    r.poll_context = NULL;
    return r;
}

static int is_stopped(batch *b)
{
    int stop;
#ifdef _OPENMP
#pragma omp atomic read
#endif
    stop = b->stop;
    return stop;
}

static int look_up(void *context)
{
    watch *w = context;
    w->units += w->each;
    if (w->units < POLL_UNITS)
        return is_stopped(w->b);
    w->units = 0;
    if (w->poll && w->poll(w->context)) {
#ifdef _OPENMP
#pragma omp atomic write
#endif
        w->b->stop = 1;
    }
    return is_stopped(w->b);
}

static double bounded(double given, double otherwise)
{
    return isnan(given) ? otherwise : given;
}

/* fmax() without its care for NaN, which costs a call. */
static double larger(double a, double b)
{
    return a > b ? a : b;
}

/* Bounds, start and held parameters of one group. Twin: softening_setup() in R/fit-data.R. */
static int set_up(const batch *b, const sa_batch_room *r, size_t n, sa_batch_group *g)
{
    const sa_batch_settings *set = b->set;
    const sa_model_layout *at = &b->at;
    const size_t p = at->n_par;
    double first = HUGE_VAL, last = 0.0, cold = HUGE_VAL, hot = 0.0, hard = 0.0, soft = HUGE_VAL;
    for (size_t i = 0; i < n; i++) {
        hard = larger(hard, r->row[i].hardness);
        soft = -larger(-soft, -r->row[i].hardness);
        if (!(r->row[i].time > 0.0))
            continue;
        first = -larger(-first, -r->row[i].time);
        last = larger(last, r->row[i].time);
        cold = -larger(-cold, -r->row[i].temp_k);
        hot = larger(hot, r->row[i].temp_k);
    }
    const int one = sa_same(hot, cold);
    g->cold = cold;
    g->hot = hot;
    g->last = last;
    const double slow = -log(last) + sa_terms[SA_P_LN_K].low,
                 fast = -log(first) + sa_terms[SA_P_LN_K].high, top = 10.0 * hard;
    double sum = 0.0, count = 0.0;
    for (size_t i = 0; i < g->rep.n_condition; i++) {
        if (r->log_time[i] > -HUGE_VAL) {
            sum += r->log_time[i];
            count += 1.0;
        }
    }
    const double middle = -sum / count;
    g->estimated = (int)p;
    for (size_t j = 0; j < p; j++) {
        const sa_term *t = sa_model_term(at, j);
        const int rate = t->rule == SA_BY_TIMES, energy = t->role == SA_ENERGY;
        const double low = rate ? slow : t->role == SA_LEVEL && set->any_value ? -hard : t->low;
        const double high = rate ? fast : t->high * (t->rule == SA_BY_TOP       ? top
                                                     : t->rule == SA_BY_SOFTEST ? soft
                                                                                : 1.0);
        const double start = j == SA_P_WORKED ? hard : j == SA_P_SOFT ? soft
                             : rate ? middle : energy && one ? 0.0 : t->start;
        g->lower[j] = bounded(set->lower[j], low);
        g->upper[j] = bounded(set->upper[j], high);
        g->held[j] = set->held[j] || (energy && one);
        g->par[j] = set->held[j] || (set->use_start && !(energy && one)) ? set->start[j] : start;
        g->estimated -= g->held[j];
        g->at_bound[j] = 0;
    }
    g->s = (sa_softening){
        .kind = set->kind,
        .clock = {.n = g->rep.n_condition, .coordinate = r->coordinate, .log_time = r->log_time},
        .hardness = r->mean, .root_weight = r->root, .lower = g->lower, .upper = g->upper,
        .natural = set->natural, .held = g->held,
        .weight = set->kind == sa_model_plain(set->kind) ? r->weight : NULL};
    return one;
}

/* Share of the variation between conditions that a fit leaves, against the scatter within. */
static int gross(const sa_batch_group *g, double objective)
{
    const double df_misfit = (double)g->rep.n_condition - g->estimated;
    const double df_pure = (double)g->used - (double)g->rep.n_condition;
    if (objective <= MISFIT_SHARE * g->constant)
        return 0;
    if (!(df_misfit > 0.0) || !(df_pure > 0.0) || !(g->rep.pure_error > 0.0))
        return 1;
    return objective / df_misfit > 4.0 * g->rep.pure_error / df_pure;
}

/* The minimum; leaves covariances too when `infer`. */
static void minimise(const batch *b, sa_batch_room *r, sa_batch_group *g, const sa_lsq_control *ctl)
{
    const sa_batch_settings *set = b->set;
    const size_t p = b->at.n_par;
    int iterations = 0, evaluations = 0;
    double start[P_MOST], best[P_MOST], objective = HUGE_VAL;
    memcpy(start, g->par, p * sizeof(double));
    if (set->kind == sa_model_plain(set->kind)) {
        const int good = sa_short_fit(&g->s, r->weight, set->use_start, SMALL_ANGLE, g->par,
                                      r->work, g->model, &objective, &iterations, &evaluations);
        if (good && (set->use_start || !gross(g, objective))) {
            g->res = (sa_lsq_result){SA_END_GRADIENT, iterations, evaluations, objective, 0.0, 0.0};
            g->status = SA_OK;
            g->in_short = 1;
            if (set->infer)
                sa_batch_sandwich(r, g, r->work);
            return;
        }
        if (!good)
            objective = HUGE_VAL;
        memcpy(best, g->par, p * sizeof(double));
        memcpy(g->par, start, p * sizeof(double));
    }
    g->status = sa_softening_fit(&g->s, ctl, set->use_start, g->par, r->resid, r->jac, g->at_bound,
                                 r->work, &g->res);
    if (g->status != SA_INTERRUPTED && objective < HUGE_VAL &&
        (g->status == SA_NOT_FINITE || objective < g->res.objective * (1.0 - 1e-9))) {
        memcpy(g->par, best, p * sizeof(double)); /* the short way found a lower one */
        g->status = sa_softening_fit(&g->s, ctl, 1, g->par, r->resid, r->jac, g->at_bound, r->work,
                                     &g->res);
    }
    g->res.iterations += iterations;
    g->res.evaluations += evaluations;
    if (set->infer && g->status != SA_NOT_FINITE && g->status != SA_INTERRUPTED)
        sa_softening_covariance(&g->s, &g->rep, r->resid, r->jac, g->at_bound, &g->cov, r->work);
}

/* The covariance asked for; nothing where no degree of freedom is left. */
static void pack(const sa_batch_group *g, sa_batch_errors errors, int by, size_t p, double *lower)
{
    const double df = (double)(g->used - g->estimated);
    const double df_steps = (double)g->rep.n_cluster - g->estimated;
    const int robust = by && errors == SA_ERRORS_CLUSTER;
    const double left = by ? df_steps : df;
    const double sum = by ? g->cov.between : g->res.objective + g->rep.pure_error;
    if (!(left > 0.0))
        return;
    for (size_t j = 0; j < p; j++)
        for (size_t k = 0; k <= j; k++)
            *lower++ = robust ? g->cluster[j + k * p] : g->model[j + k * p] * (sum / left);
}

static void blank(double *x, size_t n)
{
    for (size_t i = 0; i < n; i++)
        x[i] = NAN;
}

static sa_group_status fit_group(const batch *b, size_t i, sa_batch_room *r, sa_lsq_control *ctl)
{
    const sa_batch_settings *set = b->set;
    const size_t p = b->at.n_par, half = p * (p + 1) / 2;
    const sa_batch_results *o = b->out;
    int *count = o->counts + i * SA_BATCH_COUNTS, *state = o->state + i * p;
    double *sums = o->sums + i * SA_BATCH_SUMS, *limit = o->limit + 2 * i * p;
    sa_batch_group g;
    size_t n = 0;
    memset(count, 0, SA_BATCH_COUNTS * sizeof(int));
    for (size_t j = 0; j < p; j++)
        state[j] = SA_OPEN;
    blank(o->par + i * p, p);
    blank(sums, SA_BATCH_SUMS);
    if (set->infer) {
        blank(limit, 2 * p);
        blank(o->cov + i * half, half);
    }
    g.ref_k = set->ref_k;
    g.in_short = 0;
    const sa_group_status defect = sa_batch_collect(b->col, (size_t)b->first[i],
                                                    (size_t)b->size[i], set->any_value, r, &n,
                                                    &g.ref_k, count);
    count[SA_COUNT_END] = -1;
    count[SA_COUNT_USED] = (int)n;
    if (defect != SA_GROUP_OK)
        return defect;
    g.used = sa_batch_gather(r, n, g.ref_k, &g.rep);
    const size_t m = g.rep.n_condition;
    const int one = set_up(b, r, n, &g);
    g.s.poll = ctl->poll;
    g.s.poll_context = ctl->poll_context;
    g.s.clock.poll = ctl->poll;
    g.s.clock.poll_context = ctl->poll_context;
    g.cov = (sa_covariances){.model = g.model, .cluster = g.cluster, .singular = g.singular,
                             .loading = g.loading};
    count[SA_COUNT_USED] = g.used;
    count[SA_COUNT_CONDITIONS] = (int)m;
    count[SA_COUNT_TREATMENTS] = (int)g.rep.n_cluster;
    count[SA_COUNT_ESTIMATED] = g.estimated;
    sums[SA_SUM_REF_K] = g.ref_k;
    sums[SA_SUM_COLD_K] = g.cold;
    sums[SA_SUM_HOT_K] = g.hot;
    sums[SA_SUM_LONGEST_MIN] = g.last;
    if (m < (size_t)g.estimated)
        return SA_GROUP_TOO_FEW;
    for (size_t j = 0; j < p; j++) /* a bound of the user against one that the readings set */
        if (!g.held[j] && !(g.lower[j] < g.upper[j]))
            return SA_GROUP_FAILED;
    g.constant = sa_batch_about_constant(r, m);
    ((watch *)ctl->poll_context)->each = m;
    minimise(b, r, &g, ctl);
    if (g.status == SA_INTERRUPTED)
        return SA_GROUP_FAILED;
    count[SA_COUNT_END] = (int)g.res.end;
    if (g.status == SA_NOT_FINITE)
        return SA_GROUP_FAILED;
    sa_group_status status = g.status == SA_LIMIT ? SA_GROUP_LIMIT : SA_GROUP_OK;
    if (set->infer) {
        count[SA_COUNT_BY_TREATMENT] = sa_batch_judge(set, r, &g, ctl, state, limit);
        if (g.status == SA_INTERRUPTED || g.status == SA_NOT_FINITE)
            return SA_GROUP_FAILED;
        status = sa_batch_classify(&g, set, state, one);
        pack(&g, set->errors, count[SA_COUNT_BY_TREATMENT], p, o->cov + i * half);
        sums[SA_SUM_BETWEEN] = g.cov.between;
    }
    memcpy(o->par + i * p, g.par, p * sizeof(double));
    sums[SA_SUM_MISFIT] = g.res.objective;
    sums[SA_SUM_PURE_ERROR] = g.rep.pure_error;
    count[SA_COUNT_ITERATIONS] = g.res.iterations;
    count[SA_COUNT_EVALUATIONS] = g.res.evaluations;
    count[SA_COUNT_END] = (int)g.res.end;
    return status;
}

sa_status sa_batch_fit(const sa_batch_columns *columns, const int *first, const int *size,
                       size_t groups, size_t largest, const sa_batch_settings *settings,
                       int threads, sa_poll poll, void *poll_context, char *work,
                       sa_batch_results *out)
{
    batch b = {columns, settings, out, first, size, sa_model_parameters(settings->kind), 0};
    const size_t bytes = sa_batch_work(largest);
    if (threads < 1)
        return SA_OUT_OF_RANGE;
    if (bytes == 0 || groups > (size_t)INT32_MAX)
        return SA_BAD_SIZE;
#ifdef _OPENMP
#pragma omp parallel num_threads(threads) if (threads > 1)
#endif
    {
        int thread = 0;
#ifdef _OPENMP
        thread = omp_get_thread_num();
#endif
        sa_batch_room r = furnish(work + (size_t)thread * bytes, largest);
        watch w = {&b, thread == 0 ? poll : NULL, poll_context, 0, 0};
        sa_lsq_control ctl = settings->control;
        ctl.poll = look_up;
        ctl.poll_context = &w;
        r.poll = look_up;
        r.poll_context = &w;
#ifdef _OPENMP
#pragma omp for schedule(dynamic, CHUNK)
#endif
        for (int i = 0; i < (int)groups; i++) {
            w.each = 100 + (size_t)size[i];
            if (is_stopped(&b) || look_up(&w))
                continue;
            out->counts[(size_t)i * SA_BATCH_COUNTS + SA_COUNT_STATUS] =
                (int)fit_group(&b, (size_t)i, &r, &ctl);
        }
    }
    return is_stopped(&b) ? SA_INTERRUPTED : SA_OK;
}
