/* No-U-turn sampler: Hoffman and Gelman 2014, J. Mach. Learn. Res. 15, 1593, with states of a
 * trajectory drawn by their weight and the turn judged by the sum of momenta (Betancourt 2017,
 * arXiv:1701.02434). Step sizes by dual averaging (Nesterov's, as in the first paper), covariance by
 * windows that double. Streams of random numbers: xoshiro256** (Blackman and Vigna 2021, ACM Trans.
 * Math. Softw. 47, 36), seeded by splitmix64. */
#include "sampler.h"
#include "linear.h"
#include <math.h>
#include <string.h>

#define MOST_ENERGY_ERROR 1000.0
#define FIRST_WINDOW 25
#define NEWTON_ROUNDS 12

static uint64_t splitmix(uint64_t *state)
{
    uint64_t z = (*state += UINT64_C(0x9e3779b97f4a7c15));
    z = (z ^ (z >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94d049bb133111eb);
    return z ^ (z >> 31);
}

void sa_stream_begin(sa_stream *r, uint64_t seed, uint64_t stream)
{
    uint64_t state = seed;
    state = splitmix(&state) ^ (stream * UINT64_C(0xd1342543de82ef95) + 1);
    for (int k = 0; k < 4; k++)
        r->s[k] = splitmix(&state);
}

static uint64_t rotated(uint64_t x, int k)
{
    return (x << k) | (x >> (64 - k));
}

double sa_stream_uniform(sa_stream *r)
{
    uint64_t *s = r->s;
    const uint64_t out = rotated(s[1] * 5, 7) * 9, t = s[1] << 17;
    s[2] ^= s[0];
    s[3] ^= s[1];
    s[1] ^= s[2];
    s[0] ^= s[3];
    s[2] ^= t;
    s[3] = rotated(s[3], 45);
    return ((double)(out >> 11) + 0.5) * 0x1.0p-53;
}

double sa_stream_normal(sa_stream *r)
{
    for (;;) { /* Marsaglia's polar method, one of the pair */
        const double a = 2.0 * sa_stream_uniform(r) - 1.0, b = 2.0 * sa_stream_uniform(r) - 1.0;
        const double s = a * a + b * b;
        if (s < 1.0 && s > 0.0)
            return a * sqrt(-2.0 * log(s) / s);
    }
}

/* A place with its momentum and gradient, all d long. */
typedef struct {
    double *x, *p, *g, value;
} place;

/* Of one level of the tree. */
typedef struct {
    double *proposal_x, *proposal_g, *sum_first, *sum_second, *first_end, *second_begin;
} level;

#define PER_LEVEL 6

typedef struct {
    sa_chain *c;
    place z;
    level levels[SA_MOST_DEPTH];
    double *u, *of_u, start;
    double accept, step;
    int steps, divergent;
} tree;

size_t sa_chain_room(size_t d)
{
    return d * (2 * d + 4) + d * (PER_LEVEL * SA_MOST_DEPTH + 24);
}

void sa_chain_place(const sa_chain *c, double *u)
{
    const size_t d = c->target.d;
    memcpy(u, c->centre, d * sizeof(double));
    for (size_t j = 0; j < d; j++)
        for (size_t i = 0; i < d; i++)
            u[i] += c->factor[i + j * d] * c->x[j];
}

/* ln density and gradient at x. */
static double look(const sa_chain *c, const double *x, double *g, double *u, double *of_u)
{
    const size_t d = c->target.d;
    memcpy(u, c->centre, d * sizeof(double));
    for (size_t j = 0; j < d; j++)
        for (size_t i = 0; i < d; i++)
            u[i] += c->factor[i + j * d] * x[j];
    const double value = c->target.density(c->target.context, u, of_u);
    if (!isfinite(value))
        return -INFINITY;
    for (size_t j = 0; j < d; j++) {
        g[j] = 0.0;
        for (size_t i = 0; i < d; i++)
            g[j] += c->factor[i + j * d] * of_u[i];
    }
    return value;
}

static double kinetic(const double *p, size_t d)
{
    double sum = 0.0;
    for (size_t i = 0; i < d; i++)
        sum += p[i] * p[i];
    return 0.5 * sum;
}

static void leap(tree *t, int sign)
{
    const size_t d = t->c->target.d;
    const double e = sign * t->step;
    place *z = &t->z;
    for (size_t i = 0; i < d; i++) {
        z->p[i] += 0.5 * e * z->g[i];
        z->x[i] += e * z->p[i];
    }
    z->value = look(t->c, z->x, z->g, t->u, t->of_u);
    if (!isfinite(z->value))
        return;
    for (size_t i = 0; i < d; i++)
        z->p[i] += 0.5 * e * z->g[i];
}

static double add_logs(double a, double b)
{
    const double most = fmax(a, b);
    return isfinite(most) ? most + log1p(exp(-fabs(a - b))) : most;
}

/* The trajectory between two ends has not turned. */
static int straight(const double *begin, const double *end, const double *sum, size_t d)
{
    double a = 0.0, b = 0.0;
    for (size_t i = 0; i < d; i++) {
        a += begin[i] * sum[i];
        b += end[i] * sum[i];
    }
    return a > 0.0 && b > 0.0;
}

static void sum_of(double *out, const double *a, const double *b, size_t d)
{
    for (size_t i = 0; i < d; i++)
        out[i] = a[i] + b[i];
}

/* 2^depth steps more in one direction from t->z; adds their momenta to `sum`, their weight to `weight`;
 * a state of them goes to the proposal. 0: ends here. */
static int build(tree *t, int depth, int sign, double *sum, double *begin, double *end,
                 double *proposal_x, double *proposal_g, double *proposal_value, double *weight)
{
    const size_t d = t->c->target.d, bytes = d * sizeof(double);
    if (depth == 0) {
        leap(t, sign);
        t->steps++;
        double gain = t->z.value - kinetic(t->z.p, d) - t->start;
        if (!(gain > -HUGE_VAL))
            gain = -HUGE_VAL;
        if (gain < -MOST_ENERGY_ERROR) {
            t->divergent = 1;
            return 0;
        }
        *weight = add_logs(*weight, gain);
        t->accept += gain > 0.0 ? 1.0 : exp(gain);
        memcpy(proposal_x, t->z.x, bytes);
        memcpy(proposal_g, t->z.g, bytes);
        *proposal_value = t->z.value;
        sum_of(sum, sum, t->z.p, d);
        memcpy(begin, t->z.p, bytes);
        memcpy(end, t->z.p, bytes);
        return 1;
    }
    level *l = &t->levels[depth - 1];
    double first = -HUGE_VAL, second = -HUGE_VAL, second_value = 0.0;
    memset(l->sum_first, 0, bytes);
    memset(l->sum_second, 0, bytes);
    if (!build(t, depth - 1, sign, l->sum_first, begin, l->first_end, proposal_x, proposal_g,
               proposal_value, &first))
        return 0;
    if (!build(t, depth - 1, sign, l->sum_second, l->second_begin, end, l->proposal_x, l->proposal_g,
               &second_value, &second))
        return 0;
    const double both = add_logs(first, second);
    *weight = add_logs(*weight, both);
    if (sa_stream_uniform(&t->c->random) < exp(second - both)) {
        memcpy(proposal_x, l->proposal_x, bytes);
        memcpy(proposal_g, l->proposal_g, bytes);
        *proposal_value = second_value;
    }
    double *extra = t->u; /* free between evaluations */
    sum_of(extra, l->sum_first, l->second_begin, d);
    int going = straight(begin, l->second_begin, extra, d);
    sum_of(extra, l->sum_second, l->first_end, d);
    going = going && straight(l->first_end, end, extra, d);
    sum_of(extra, l->sum_first, l->sum_second, d);
    going = going && straight(begin, end, extra, d);
    sum_of(sum, sum, extra, d);
    return going;
}

static sa_move transition(sa_chain *c)
{
    const size_t d = c->target.d, bytes = d * sizeof(double);
    double *w = c->work;
    tree t = {.c = c, .step = c->step};
    double **own[] = {&t.z.x, &t.z.p, &t.z.g, &t.u, &t.of_u};
    for (size_t k = 0; k < 5; k++, w += d)
        *own[k] = w;
    for (size_t k = 0; k < SA_MOST_DEPTH; k++) {
        double **of[] = {&t.levels[k].proposal_x, &t.levels[k].proposal_g, &t.levels[k].sum_first,
                         &t.levels[k].sum_second, &t.levels[k].first_end, &t.levels[k].second_begin};
        for (size_t j = 0; j < PER_LEVEL; j++, w += d)
            *of[j] = w;
    }
    /* x, p and gradient of both ends, momenta where the halves meet, sums, and a proposal */
    double *x[2], *p[2], *g[2], *meet[2], *sum[2], *whole, *extra, *new_x, *new_g;
    for (int k = 0; k < 2; k++) {
        x[k] = w;
        p[k] = w + d;
        g[k] = w + 2 * d;
        meet[k] = w + 3 * d;
        sum[k] = w + 4 * d;
        w += 5 * d;
    }
    whole = w;
    extra = w + d;
    new_x = w + 2 * d;
    new_g = w + 3 * d;
    for (size_t i = 0; i < d; i++)
        p[0][i] = sa_stream_normal(&c->random);
    memcpy(p[1], p[0], bytes);
    memcpy(whole, p[0], bytes);
    for (int k = 0; k < 2; k++) {
        memcpy(x[k], c->x, bytes);
        memcpy(g[k], c->gradient, bytes);
    }
    t.start = c->value - kinetic(p[0], d);
    double weight = 0.0, new_value = 0.0;
    sa_move out = {0.0, 0, 0, 0};
    for (int depth = 0; depth < SA_MOST_DEPTH; depth++) {
        const int k = sa_stream_uniform(&c->random) > 0.5; /* 1: forwards */
        double more = -HUGE_VAL;
        memcpy(t.z.x, x[k], bytes);
        memcpy(t.z.p, p[k], bytes);
        memcpy(t.z.g, g[k], bytes);
        memcpy(sum[1 - k], whole, bytes); /* what stands is the other half */
        memcpy(meet[1 - k], p[k], bytes);
        memset(sum[k], 0, bytes);
        if (!build(&t, depth, k ? 1 : -1, sum[k], meet[k], p[k], new_x, new_g, &new_value, &more))
            break;
        out.depth = depth + 1;
        memcpy(x[k], t.z.x, bytes);
        memcpy(g[k], t.z.g, bytes);
        if (sa_stream_uniform(&c->random) < exp(more - weight)) {
            memcpy(c->x, new_x, bytes);
            memcpy(c->gradient, new_g, bytes);
            c->value = new_value;
        }
        weight = add_logs(weight, more);
        sum_of(whole, sum[0], sum[1], d);
        int going = straight(p[0], p[1], whole, d);
        sum_of(extra, sum[0], meet[1], d);
        going = going && straight(p[0], meet[1], extra, d);
        sum_of(extra, sum[1], meet[0], d);
        going = going && straight(meet[0], p[1], extra, d);
        if (!going)
            break;
    }
    out.steps = t.steps;
    out.divergent = t.divergent;
    out.accept = t.accept / (double)t.steps;
    return out;
}

/* Step sizes start anew. */
static void begin_steps(sa_chain *c)
{
    c->anchor = log(10.0 * c->step);
    c->count = 0;
    c->gap_bar = c->log_step_bar = 0.0;
}

/* A first step size that changes the density by about a half. */
static void reasonable_step(sa_chain *c)
{
    const size_t d = c->target.d, bytes = d * sizeof(double);
    double *w = c->work;
    tree t = {.c = c, .z = {w, w + d, w + 2 * d, 0.0}, .u = w + 3 * d, .of_u = w + 4 * d};
    int before = 0;
    for (int round = 0; round < 50; round++) {
        memcpy(t.z.x, c->x, bytes);
        memcpy(t.z.g, c->gradient, bytes);
        for (size_t i = 0; i < d; i++)
            t.z.p[i] = sa_stream_normal(&c->random);
        const double start = c->value - kinetic(t.z.p, d);
        t.step = c->step;
        leap(&t, 1);
        const double gain = t.z.value - kinetic(t.z.p, d) - start;
        const int direction = gain > -0.2231435513142097557663 ? 1 : -1; /* ln 0.8 */
        if (round > 0 && direction != before)
            break;
        before = direction;
        c->step *= direction > 0 ? 2.0 : 0.5;
        if (c->step > 1e3 || c->step < 1e-9)
            break;
    }
}

void sa_chain_begin(sa_chain *c, const sa_target *target, uint64_t seed, uint64_t stream,
                    const double *centre, const double *factor, int warmup, double accept_target,
                    double *room)
{
    const size_t d = target->d;
    memset(c, 0, sizeof *c);
    c->target = *target;
    sa_stream_begin(&c->random, seed, stream);
    c->centre = room;
    c->x = room + d;
    c->gradient = room + 2 * d;
    c->mean = room + 3 * d;
    c->factor = room + 4 * d;
    c->spread = c->factor + d * d;
    c->work = c->spread + d * d;
    memcpy(c->centre, centre, d * sizeof(double));
    memcpy(c->factor, factor, d * d * sizeof(double));
    c->step = 0.5;
    c->accept_target = accept_target;
    c->warmup = warmup;
    c->first = warmup * 3 / 20;
    c->last = warmup - warmup / 10;
    c->window = FIRST_WINDOW;
    c->window_end = c->first + c->window;
}

int sa_chain_start(sa_chain *c, double spread)
{
    const size_t d = c->target.d;
    for (int k = 0; k < 60; k++, spread *= 0.9) {
        for (size_t i = 0; i < d; i++)
            c->x[i] = spread * sa_stream_normal(&c->random);
        c->value = look(c, c->x, c->gradient, c->work, c->work + d);
        if (!isfinite(c->value))
            continue;
        reasonable_step(c);
        begin_steps(c);
        return 1;
    }
    return 0;
}

/* Lower Cholesky factor in place, zero above; 0 when not positive. */
static int factorise(double *a, size_t d)
{
    double ignored = 0.0;
    if (!sa_cholesky(a, d, 1e-12, &ignored))
        return 0;
    for (size_t j = 0; j < d; j++)
        for (size_t i = 0; i < j; i++)
            a[i + j * d] = 0.0;
    return 1;
}

/* The covariance of x seen in this window, drawn towards that of before, becomes the unit. */
static void take_spread(sa_chain *c)
{
    const size_t d = c->target.d;
    const double n = c->seen, own = n / (n + 5.0 + (double)d);
    double *u = c->work, *product = c->mean; /* row by row */
    if (n < 2.0)
        return;
    for (size_t i = 0; i < d * d; i++)
        c->spread[i] *= own / (n - 1.0);
    for (size_t i = 0; i < d; i++)
        c->spread[i + i * d] += 1.0 - own;
    sa_chain_place(c, u);
    if (factorise(c->spread, d)) {
        /* factor <- factor spread; x = 0 at the place itself, which becomes the centre */
        for (size_t i = 0; i < d; i++) {
            for (size_t j = 0; j < d; j++) {
                product[j] = 0.0;
                for (size_t l = j; l < d; l++)
                    product[j] += c->factor[i + l * d] * c->spread[l + j * d];
            }
            for (size_t j = 0; j < d; j++)
                c->factor[i + j * d] = product[j];
        }
        memcpy(c->centre, u, d * sizeof(double));
        memset(c->x, 0, d * sizeof(double));
        c->value = look(c, c->x, c->gradient, c->work + d, c->work + 2 * d);
    }
    c->seen = 0.0;
    memset(c->mean, 0, d * sizeof(double));
    memset(c->spread, 0, d * d * sizeof(double));
}

static void see(sa_chain *c)
{
    const size_t d = c->target.d;
    if (c->seen == 0.0) {
        memset(c->mean, 0, d * sizeof(double));
        memset(c->spread, 0, d * d * sizeof(double));
    }
    c->seen += 1.0;
    double *gap = c->work;
    for (size_t i = 0; i < d; i++) {
        gap[i] = c->x[i] - c->mean[i];
        c->mean[i] += gap[i] / c->seen;
    }
    for (size_t j = 0; j < d; j++)
        for (size_t i = 0; i < d; i++)
            c->spread[i + j * d] += gap[i] * gap[j] * (1.0 - 1.0 / c->seen);
}

sa_move sa_chain_move(sa_chain *c)
{
    const sa_move out = transition(c);
    if (c->done >= c->warmup)
        return out;
    const int k = ++c->done;
    const double t = ++c->count;
    c->gap_bar += (c->accept_target - out.accept - c->gap_bar) / (t + 10.0);
    const double log_step = c->anchor - sqrt(t) / 0.05 * c->gap_bar, share = pow(t, -0.75);
    c->log_step_bar += share * (log_step - c->log_step_bar);
    c->step = exp(log_step);
    if (k > c->first && k <= c->last) {
        see(c);
        if (k == c->window_end || k == c->last) {
            take_spread(c);
            if (k < c->last) {
                c->window *= 2;
                c->window_end = k + c->window;
                if (c->window_end + 2 * c->window > c->last)
                    c->window_end = c->last; /* the rest is one window */
            }
            reasonable_step(c);
            begin_steps(c);
        }
    }
    if (k == c->warmup)
        c->step = exp(c->count > 0 ? c->log_step_bar : log(c->step));
    return out;
}

void sa_target_mode(const sa_target *target, double *u, double *factor, double *work)
{
    const size_t d = target->d, bytes = d * sizeof(double);
    double *up = work, *down = up + d, *g = down + d, *trial = g + d, *move = trial + d;
    double *hessian = move + d, *kept = hessian + d * d;
    double value = target->density(target->context, u, g);
    memset(factor, 0, d * d * sizeof(double));
    for (size_t i = 0; i < d; i++)
        factor[i + i * d] = 0.1;
    for (int round = 0; round < NEWTON_ROUNDS && isfinite(value); round++) {
        memcpy(trial, u, bytes);
        for (size_t j = 0; j < d; j++) {
            const double h = 1e-4 * fmax(1.0, fabs(u[j]));
            trial[j] = u[j] + h;
            const double above = target->density(target->context, trial, up);
            trial[j] = u[j] - h;
            const double below = target->density(target->context, trial, down);
            trial[j] = u[j];
            for (size_t i = 0; i < d; i++)
                kept[i + j * d] = isfinite(above) && isfinite(below) ? (down[i] - up[i]) / (2.0 * h)
                                                                     : (i == j ? 1.0 : 0.0);
        }
        int found = 0;
        for (double ridge = 0.1; ridge < 1e12 && !found; ridge *= 10.0) {
            for (size_t j = 0; j < d; j++)
                for (size_t i = 0; i < d; i++)
                    hessian[i + j * d] =
                        0.5 * (kept[i + j * d] + kept[j + i * d]) + (i == j ? ridge : 0.0);
            found = factorise(hessian, d);
        }
        if (!found)
            return;
        /* factor: transposed inverse of the Cholesky factor, upper triangular */
        for (size_t j = 0; j < d; j++) {
            for (size_t i = d; i-- > 0;) {
                double sum = i == j ? 1.0 : 0.0;
                for (size_t l = i + 1; l < d; l++)
                    sum -= hessian[l + i * d] * factor[l + j * d];
                factor[i + j * d] = i > j ? 0.0 : sum / hessian[i + i * d];
            }
        }
        double most = 0.0;
        for (size_t i = 0; i < d; i++)
            move[i] = 0.0;
        for (size_t j = 0; j < d; j++) { /* inverse times gradient = F F' g */
            double dot = 0.0;
            for (size_t i = 0; i <= j; i++)
                dot += factor[i + j * d] * g[i];
            most = fmax(most, fabs(dot));
            for (size_t i = 0; i <= j; i++)
                move[i] += factor[i + j * d] * dot;
        }
        if (most < 0.05)
            return;
        int better = 0;
        for (double share = 1.0; share > 1e-4 && !better; share *= 0.5) {
            for (size_t i = 0; i < d; i++)
                trial[i] = u[i] + share * move[i];
            const double next = target->density(target->context, trial, up);
            better = next > value;
            if (better)
                value = next;
        }
        if (!better)
            return;
        memcpy(u, trial, bytes);
        memcpy(g, up, bytes);
    }
}
