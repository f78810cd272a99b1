/* Draws from the posterior of a softening model: SEXP in, SEXP out. */
#include "glue_mixed.h"
#include "glue_posterior.h"
#include "posterior.h"
#include "sampler.h"
#include <math.h>
#include <string.h>

#define BLOCK 10 /* moves between two looks for the user's wish to stop */
#define MOST_UNKNOWNS 200

static double *room(size_t n)
{
    double *out = (double *)R_alloc(n > 0 ? n : 1, sizeof(double));
    memset(out, 0, n * sizeof(double));
    return out;
}

static void belief_from(SEXP list, const char *name, size_t n, sa_belief *out)
{
    const double *x = glue_field_doubles(list, name, (R_xlen_t)(3 * n));
    for (size_t j = 0; j < n; j++) {
        out[j].kind = (sa_belief_kind)glue_whole(x[3 * j], SA_BELIEF_FIXED, SA_BELIEF_HALF_CAUCHY, name);
        out[j].a = x[3 * j + 1];
        out[j].b = x[3 * j + 2];
    }
}

/* fit: list(steps, setup, ref_k, structure, errors) as of sa_call_mixed(). prior: belief (3 x parameters:
 * kind, a, b), sd (3 x SA_S_COUNT), fixed (values), per_reading (of each step in order of blocks),
 * df_reading, ss_reading, linear (parameters x sums), linear_mean, linear_sd, hour (none, or mean in K, sd,
 * fraction, minutes), run (of each step in order of conditions, or -1), runs. */
static void pose(SEXP fit, SEXP prior, glue_mixed *m, sa_posterior *f)
{
    glue_mixed_pose(glue_part(fit, 0), glue_part(fit, 1), glue_part(fit, 2), glue_part(fit, 3),
                    glue_part(fit, 4), m);
    const size_t n = m->n, p = m->p;
    const R_xlen_t rn = (R_xlen_t)n, rp = (R_xlen_t)p;
    const double *per_reading = glue_field_doubles(prior, "per_reading", rn);
    double *y = room(n), *per = room(n), *factor = room(n), *scale = room(n);
    double *share = room(n * m->operators);
    int *piece = (int *)R_alloc(n + 1, sizeof(int)), *number = (int *)R_alloc(m->columns + 1, sizeof(int));
    int pieces = 0;
    if (m->operators > SA_MOST_OPERATORS)
        Rf_error("internal error: too many operators");
    for (size_t k = 0; k < m->columns; k++)
        number[k] = m->c.is_furnace[k] ? -1 : pieces++;
    for (size_t i = 0; i < n; i++) { /* from the order of blocks to that of conditions */
        const size_t row = (size_t)m->f.row[i];
        y[row] = m->hardness[row];
        per[row] = per_reading[i];
        factor[row] = m->c.factor[i];
        scale[row] = m->f.furnace_scale[i];
        piece[row] = m->c.piece[i] < 0 ? -1 : number[m->c.piece[i]];
        for (size_t k = 0; k < m->operators; k++)
            share[row + k * n] = m->c.operator_share[i + k * n];
    }
    const int runs = (int)glue_whole(glue_field_double(prior, "runs"), 0, SA_MOST_FURNACES, "runs");
    const double *hour = glue_field_doubles(prior, "hour", -1);
    const size_t sums = (size_t)Rf_xlength(glue_field(prior, "linear_mean"));
    sa_belief *belief = (sa_belief *)R_alloc(p, sizeof(sa_belief));
    memset(f, 0, sizeof *f);
    belief_from(prior, "belief", p, belief);
    belief_from(prior, "sd", SA_S_COUNT, f->sd);
    f->kind = m->s.kind;
    f->clock = m->s.clock;
    f->n = n;
    f->p = p;
    f->y = y;
    f->per_reading = per;
    f->factor = factor;
    f->least = glue_field_double(prior, "least");
    f->df_reading = glue_field_double(prior, "df_reading");
    f->ss_reading = glue_field_double(prior, "ss_reading");
    f->n_piece = (size_t)pieces;
    f->n_operator = m->operators;
    f->piece = piece;
    f->share = share;
    f->furnaces = (sa_furnaces){.count = (size_t)runs,
                                .of = glue_places(glue_field(prior, "run"), rn, -1, runs - 1, "run"),
                                .scale = scale,
                                .ref_k = m->f.ref_k,
                                .shift = room(n),
                                .jac = room(n * p)};
    f->lower = m->s.lower;
    f->upper = m->s.upper;
    f->fixed = glue_field_doubles(prior, "fixed", rp);
    f->belief = belief;
    f->n_linear = sums;
    f->linear = glue_field_doubles(prior, "linear", rp * (R_xlen_t)sums);
    f->linear_mean = glue_field_doubles(prior, "linear_mean", (R_xlen_t)sums);
    f->linear_sd = glue_field_doubles(prior, "linear_sd", (R_xlen_t)sums);
    if (Rf_xlength(glue_field(prior, "hour")) == 4) {
        f->hour = 1;
        f->hour_mean_k = hour[0];
        f->hour_sd = hour[1];
        f->hour_fraction = hour[2];
        f->hour_min = hour[3];
    }
    f->work = room(sa_posterior_work(f));
    if (sa_posterior_unknowns(f) > MOST_UNKNOWNS)
        Rf_error("internal error: too many unknowns");
}

static double density(const void *context, const double *u, double *gradient)
{
    return sa_posterior_density((const sa_posterior *)context, u, gradient);
}

/* settings: chains, warmup, draws, seed, accept, spread, sd (start of the standard deviations). Rows of
 * `draws`: parameters, standard deviations, errors of furnaces, ln density; of `moves`: acceptance, depth,
 * steps, divergence. A chain that found no start leaves NA. */
SEXP sa_call_posterior(SEXP fit, SEXP prior, SEXP settings)
{
    const char *fields[] = {"draws", "moves", "steps", "started", ""};
    glue_mixed m;
    sa_posterior f;
    pose(fit, prior, &m, &f);
    const size_t d = sa_posterior_unknowns(&f), values = f.p + SA_S_COUNT + f.furnaces.count + 1;
    const sa_target target = {d, density, &f};
    const size_t chains = (size_t)glue_whole(glue_field_double(settings, "chains"), 1, 1000, "chains");
    const int warmup = (int)glue_whole(glue_field_double(settings, "warmup"), 20, 1e7, "warmup");
    const size_t draws = (size_t)glue_whole(glue_field_double(settings, "draws"), 1, 1e7, "draws");
    const double seed = glue_whole(glue_field_double(settings, "seed"), -2147483647.0, 2147483647.0, "seed");
    const double accept = glue_field_double(settings, "accept");
    const double spread = glue_field_double(settings, "spread");
    if (d == 0 || (double)chains * (double)draws > 1e8)
        Rf_error("internal error: nothing to draw");
    SEXP out = PROTECT(Rf_mkNamed(VECSXP, fields));
    const size_t rows = chains * draws;
    double *to = glue_put_matrix(out, "draws", values, rows), *moves = glue_put_matrix(out, "moves", 4, rows);
    double *steps = glue_put_doubles(out, "steps", chains);
    int *started = glue_put_integers(out, "started", chains);
    double *centre = room(d), *factor = room(d * d), *u = room(d);
    sa_posterior_place(&f, f.fixed, glue_field_doubles(settings, "sd", SA_S_COUNT), centre);
    sa_target_mode(&target, centre, factor, room(d * (2 * d + 6)));
    sa_posterior_shear(&f, centre, room(d * d)); /* and again, in these unknowns */
    sa_target_mode(&target, centre, factor, room(d * (2 * d + 6)));
    double *space = room(sa_chain_room(d));
    for (size_t k = 0; k < chains; k++) {
        sa_chain c;
        sa_chain_begin(&c, &target, (uint64_t)(int64_t)seed, k, centre, factor, warmup, accept, space);
        started[k] = sa_chain_start(&c, spread);
        for (size_t i = 0; i < (size_t)warmup && started[k]; i++) {
            if (i % BLOCK == 0)
                R_CheckUserInterrupt();
            sa_chain_move(&c);
        }
        steps[k] = c.step;
        for (size_t i = 0; i < draws; i++) {
            double *x = to + (k * draws + i) * values, *move = moves + (k * draws + i) * 4;
            if (!started[k]) {
                for (size_t j = 0; j < values; j++)
                    x[j] = NA_REAL;
                for (size_t j = 0; j < 4; j++)
                    move[j] = NA_REAL;
                continue;
            }
            if (i % BLOCK == 0)
                R_CheckUserInterrupt();
            const sa_move one = sa_chain_move(&c);
            sa_chain_place(&c, u);
            sa_posterior_values(&f, u, x, x + f.p, x + f.p + SA_S_COUNT);
            x[values - 1] = c.value;
            move[0] = one.accept;
            move[1] = one.depth;
            move[2] = one.steps;
            move[3] = one.divergent;
        }
    }
    UNPROTECT(1);
    return out;
}

/* ln density and gradient at unknowns: columns of `at`. */
SEXP sa_call_posterior_density(SEXP fit, SEXP prior, SEXP at)
{
    glue_mixed m;
    sa_posterior f;
    pose(fit, prior, &m, &f);
    const size_t d = sa_posterior_unknowns(&f);
    const R_xlen_t columns = d == 0 ? 0 : Rf_xlength(at) / (R_xlen_t)d;
    const double *u = glue_doubles(at, columns * (R_xlen_t)d, "at");
    const char *fields[] = {"value", "gradient", "values", ""};
    SEXP out = PROTECT(Rf_mkNamed(VECSXP, fields));
    const size_t many = f.p + SA_S_COUNT + f.furnaces.count;
    double *value = glue_put_doubles(out, "value", (size_t)columns);
    double *gradient = glue_put_matrix(out, "gradient", d, (size_t)columns);
    double *values = glue_put_matrix(out, "values", many, (size_t)columns);
    memset(gradient, 0, d * (size_t)columns * sizeof(double));
    for (size_t k = 0; k < (size_t)columns; k++) {
        double *x = values + k * many;
        glue_poll_each((R_xlen_t)k);
        value[k] = sa_posterior_density(&f, u + k * d, gradient + k * d);
        sa_posterior_values(&f, u + k * d, x, x + f.p, x + f.p + SA_S_COUNT);
    }
    UNPROTECT(1);
    return out;
}
