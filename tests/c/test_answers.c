/* Intervals of answers and of parameters against a search that knows nothing of them: shapes and rates over
 * a grid, then downhill by a simplex (Nelder and Mead 1965), the two levels by linear least squares. Where a
 * walk may not be followed further, against what follows by hand. */
#include "check.h"
#include "answers.h"
#include "kinetics.h"
#include <string.h>

#define MOST 60
#define PLAIN 5

/* Uniform in (0, 1), and normal by two of them. */
static unsigned long long state;
static double uniform(void)
{
    state = state * 6364136223846793005ULL + 1442695040888963407ULL;
    return ((double)(state >> 11) + 0.5) / 9007199254740992.0;
}
static double normal(void)
{
    const double u = uniform(), v = uniform();
    return sqrt(-2.0 * log(u)) * cos(6.283185307179586 * v);
}

/* Readings, the room of a fit, and its minimum. */
typedef struct {
    size_t n;
    int slow; /* the shape of Austin and Rickett */
    double e[MOST], log_time[MOST], h[MOST], strain[MOST], root[MOST];
    double lower[SA_MODEL_MAX_PAR], upper[SA_MODEL_MAX_PAR], par[SA_MODEL_MAX_PAR];
    int natural[2 * SA_MODEL_MAX_PAR], held[SA_MODEL_MAX_PAR], at_bound[SA_MODEL_MAX_PAR];
    double resid[MOST], jac[MOST * SA_MODEL_MAX_PAR], work[20000], objective;
    sa_softening s;
} bench;

static double coordinate(double temp_c)
{
    return sa_inverse_temperature(temp_c + 273.15, 603.15);
}

/* `rates`: one for each temperature, 1/min, Arrhenius or not. */
static void read_bench(bench *b, size_t temps, const double *temp_c, const double *ln_k, double n,
                       size_t times, const double *time_min, double noise)
{
    b->n = 0;
    for (size_t i = 0; i < temps; i++)
        for (size_t j = 0; j < times; j++) {
            const size_t k = b->n++;
            b->e[k] = coordinate(temp_c[i]);
            b->log_time[k] = log(time_min[j]);
            b->root[k] = 1.0;
            b->strain[k] = 0.0;
            b->h[k] = 80.0 + 80.0 * exp(-exp(n * (ln_k[i] + b->log_time[k]))) + noise * normal();
        }
}

static void pose(bench *b, sa_model_kind kind)
{
    const sa_model_layout at = sa_model_parameters(kind);
    b->slow = at.shape == SA_SHAPE_RICKETT;
    for (size_t j = 0; j < at.n_par; j++) {
        const sa_term *term = sa_model_term(&at, j);
        const double top = term->rule == SA_BY_TOP ? 1600.0 : 1.0;
        b->lower[j] = term->low;
        b->upper[j] = fmin(term->high * top, 1e6);
        b->natural[j] = term->natural;
        b->natural[j + at.n_par] = 0;
        b->par[j] = term->role == SA_LN_RATE ? -3.0 : term->start;
        b->held[j] = 0;
    }
    b->s = (sa_softening){.kind = kind,
                          .clock = {.n = b->n, .coordinate = b->e, .log_time = b->log_time},
                          .hardness = b->h, .root_weight = b->root, .lower = b->lower, .upper = b->upper,
                          .natural = b->natural, .held = b->held};
    check(sa_softening_work_for(b->n, at.n_par) < sizeof b->work / sizeof *b->work, "room");
}

static void minimum(bench *b, int from_here)
{
    const sa_lsq_control control = sa_lsq_defaults();
    sa_lsq_result result;
    sa_softening_fit(&b->s, &control, from_here, b->par, b->resid, b->jac, b->at_bound, b->work, &result);
    b->objective = result.objective;
}

/* --- the search: two of ln n, Q and ln k over a grid, the third fixed or tied */
typedef struct {
    const bench *b;
    int tied;         /* ln k by the meeting; else `fixed` is n (0) or Q (1) */
    int parameter;
    double fixed, ln_y, at, centre; /* meeting: ln y and coordinate; ln k is searched at `centre` */
} search;

static double squares(const search *r, double u, double v)
{
    const bench *b = r->b;
    double ln_n = u, q = v, ln_k;
    if (r->tied) {
        ln_k = r->ln_y / exp(ln_n) - r->fixed - q * r->at;
    } else {
        ln_n = r->parameter == SA_P_N ? log(r->fixed) : v;
        q = r->parameter == SA_P_Q ? r->fixed : v;
        ln_k = u - q * r->centre;
    }
    const double n = exp(ln_n);
    if (fabs(n - 5.05) > 4.95 + 1e-9 || q < 0.0 || q > 2000.0 || fabs(ln_k) > 40.0)
        return HUGE_VAL;
    double ss = 0, s1 = 0, sh = 0, h1 = 0, hh = 0;
    for (size_t i = 0; i < b->n; i++) {
        const double y = exp(fmin(n * (ln_k + b->log_time[i] + q * b->e[i]), b->slow ? 300.0 : 7.0));
        const double s = b->slow ? 1.0 / (1.0 + y) : exp(-y), h = b->h[i] - 120.0;
        ss += s * s;
        s1 += s;
        sh += s * h;
        h1 += h;
        hh += h * h;
    }
    const double m = (double)b->n, det = ss - s1 * s1 / m, slope = det > 1e-12 ? (sh - s1 * h1 / m) / det : 0.0;
    const double soft = (h1 - slope * s1) / m, most = b->upper[SA_P_SOFT] - 120.0;
    double sum = hh - h1 * soft - sh * slope;
    if (fabs(soft - 0.5 * (most - 120.0)) > 0.5 * (most + 120.0) ||
        fabs(soft + slope - 0.5 * (most - 120.0)) > 0.5 * (most + 120.0)) {
        /* one level at its bound, the other as well as it can be */
        const double left = m - 2.0 * s1 + ss;
        sum = HUGE_VAL;
        for (int k = 0; k < 4; k++) {
            const double edge = k % 2 ? most : -120.0, own = k < 2 ? ss : left, other = k < 2 ? left : ss;
            const double y = k < 2 ? h1 - sh : sh, z = k < 2 ? sh : h1 - sh, cross = s1 - ss;
            const double x = own > 1e-12 ? fmin(fmax((z - edge * cross) / own, -120.0), most) : 0.0;
            sum = fmin(sum, hh + edge * edge * other + x * x * own + 2.0 * edge * x * cross - 2.0 * edge * y -
                                2.0 * x * z);
        }
    }
    return fmax(sum, 0.0);
}

static double downhill(const search *r, double u, double v, double du, double dv)
{
    double x[3][2] = {{u, v}, {u + du, v}, {u, v + dv}}, f[3];
    for (int k = 0; k < 3; k++)
        f[k] = squares(r, x[k][0], x[k][1]);
    for (int round = 0; round < 400; round++) {
        int low = 0, high = 0;
        for (int k = 1; k < 3; k++) {
            low = f[k] < f[low] ? k : low;
            high = f[k] >= f[high] ? k : high;
        }
        if (!(f[high] - f[low] > 1e-10 * (1.0 + f[low])))
            return f[low];
        const int mid = 3 - low - high;
        const double cu = 0.5 * (x[low][0] + x[mid][0]), cv = 0.5 * (x[low][1] + x[mid][1]);
        double best = f[high], to = 0.0;
        static const double far[4] = {-1.0, -2.0, -0.5, 0.5};
        for (int k = 0; k < 4; k++) {
            if (k == 1 && !(best < f[low]))
                continue;
            if (k > 1 && best < f[mid])
                break;
            const double g = squares(r, cu + far[k] * (x[high][0] - cu), cv + far[k] * (x[high][1] - cv));
            if (g < best) {
                best = g;
                to = far[k];
            }
        }
        if (best < f[high]) {
            x[high][0] = cu + to * (x[high][0] - cu);
            x[high][1] = cv + to * (x[high][1] - cv);
            f[high] = best;
            continue;
        }
        for (int k = 0; k < 3; k++) {
            if (k == low)
                continue;
            for (int d = 0; d < 2; d++)
                x[k][d] = 0.5 * (x[k][d] + x[low][d]);
            f[k] = squares(r, x[k][0], x[k][1]);
        }
    }
    return fmin(f[0], fmin(f[1], f[2]));
}

/* The least sum of squares; the simplex starts from the best few places of the grid, twice. */
static double least(const search *r)
{
    enum { ACROSS = 48, BEST = 4 };
    double top[BEST][3], least_of = HUGE_VAL;
    for (int k = 0; k < BEST; k++)
        top[k][0] = HUGE_VAL;
    for (int i = 0; i <= ACROSS; i++)
        for (int j = 0; j <= ACROSS; j++) {
            const double a = i / (double)ACROSS, c = j / (double)ACROSS;
            double u = r->tied ? -1.5 + 3.7 * a : -8.0 + 10.0 * a;
            double v = !r->tied && r->parameter == SA_P_Q ? -1.5 + 3.7 * c : 2000.0 * c * c;
            const double f = squares(r, u, v);
            int k = BEST - 1;
            if (!(f < top[k][0]))
                continue;
            for (; k > 0 && top[k - 1][0] > f; k--)
                memcpy(top[k], top[k - 1], sizeof top[k]);
            top[k][0] = f;
            top[k][1] = u;
            top[k][2] = v;
        }
    for (int k = 0; k < BEST; k++) {
        const int energies = r->tied || r->parameter == SA_P_N;
        for (int again = 0; again < 2; again++) {
            const double f = downhill(r, top[k][1], top[k][2], again ? -0.03 : 0.1,
                                      energies ? (again ? -7.0 : 20.0) : 0.1);
            least_of = fmin(least_of, f);
        }
    }
    return least_of;
}

static double tied_sum(const bench *b, double fraction, double at, double log_time)
{
    const double y = b->slow ? fraction / (1.0 - fraction) : -log(1.0 - fraction);
    const search r = {.b = b, .tied = 1, .fixed = log_time, .ln_y = log(y), .at = at};
    return least(&r);
}

static double profile_sum(const bench *b, int parameter, double value)
{
    const search r = {.b = b, .parameter = parameter, .fixed = value, .centre = b->e[0]};
    return least(&r);
}

/* --- what is checked of an interval: the rise at its ends, the places beyond them, and open sides */
static void check_end(double end, int side, double ceiling, double threshold, double far,
                      double (*sum)(const bench *, double), const bench *b, const char *what)
{
    if (isinf(end)) {
        check(sum(b, far) < ceiling + 1e-3 * threshold, what);
        return;
    }
    check(fabs(sum(b, end) - ceiling) < 0.01 * threshold, what);
    for (double d = 0.05; d < 2.0; d *= 3.0)
        check(sum(b, end + side * d) > ceiling - 0.01 * threshold, what);
}

static double asked_at;
static double half_sum(const bench *b, double log_time) { return tied_sum(b, 0.5, asked_at, log_time); }

static const double usual_times[5] = {5, 10, 20, 40, 80};

static void draw_bench(bench *b, int hidden)
{
    const double q = 80.0 + 140.0 * uniform(), n = 0.8 + 1.6 * uniform(), noise = 0.4 + 1.6 * uniform();
    const double temps[3] = {300.0, hidden ? 420.0 : 330.0, 360.0};
    double ln_k[3];
    for (int i = 0; i < 3; i++)
        ln_k[i] = -3.2 + q * (coordinate(temps[i]) - coordinate(310.0));
    read_bench(b, hidden ? 2 : 3, temps, ln_k, n, 5, usual_times, noise);
}

static void answers(void)
{
    static bench b;
    for (unsigned seed = 1; seed <= 24; seed++) {
        state = seed * 7919ULL;
        draw_bench(&b, seed % 2);
        pose(&b, SA_JMAK);
        minimum(&b, 0);
        const double threshold = 5.0 * b.objective / (double)(b.n - PLAIN), ceiling = b.objective + threshold;
        const double at_c[2] = {300.0, 350.0};
        for (int k = 0; k < 2; k++) {
            asked_at = coordinate(at_c[k]);
            sa_meeting at = {SA_TO_FRACTION, 0.5, asked_at, 0.0, {0.0, 0}, 0};
            check(sa_meeting_own(SA_JMAK, b.par, SA_MOVE_TIME, -1.0, 1.0, &at), "meets");
            check(near(at.log_time, log(log(2.0)) / b.par[SA_P_N] - b.par[SA_P_LN_K] - b.par[SA_P_Q] * asked_at,
                       1e-9), "the own meeting, by hand");
            const sa_walk walk = {b.objective, threshold, 0.3, -12.0, 12.0};
            double ends[2];
            sa_meeting_interval(&b.s, &at, SA_MOVE_TIME, &walk, b.par, ends, b.work);
            char what[80];
            snprintf(what, sizeof what, "end of a time, seed %u at %g: %g %g", seed, at_c[k], ends[0], ends[1]);
            check_end(ends[0], -1, ceiling, threshold, -11.0, half_sum, &b, what);
            check_end(ends[1], 1, ceiling, threshold, 11.0, half_sum, &b, what);
        }
    }
}

/* The walk: whatever the first step and wherever the range ends. */
static void walks(void)
{
    static bench b;
    state = 5;
    draw_bench(&b, 0);
    pose(&b, SA_JMAK);
    minimum(&b, 0);
    const double threshold = 5.0 * b.objective / (double)(b.n - PLAIN), at_350 = coordinate(350.0);
    sa_meeting at = {SA_TO_SOFTENING, 0.5, at_350, 0.0, {0.0, 0}, 0};
    sa_walk walk = {b.objective, threshold, 0.3, -12.0, 12.0};
    double ends[2], other[2];
    sa_meeting_own(SA_JMAK, b.par, SA_MOVE_TIME, -1.0, 1.0, &at);
    sa_meeting_interval(&b.s, &at, SA_MOVE_TIME, &walk, b.par, ends, b.work);
    check(ends[0] < at.log_time && at.log_time < ends[1] && ends[1] < 12.0, "an interval");
    static const double steps[4] = {0.01, 0.1, 1.0, 7.0};
    for (int k = 0; k < 4; k++) {
        walk.step = steps[k];
        walk.low = ends[0] - 0.05;
        walk.high = ends[1] + 0.05;
        sa_meeting_interval(&b.s, &at, SA_MOVE_TIME, &walk, b.par, other, b.work);
        check(near(other[0], ends[0], 1e-5) && near(other[1], ends[1], 1e-5), "ends inside the range");
        walk.low = ends[0] + 0.01;
        walk.high = ends[1] - 0.01;
        sa_meeting_interval(&b.s, &at, SA_MOVE_TIME, &walk, b.par, other, b.work);
        check(other[0] == -HUGE_VAL && other[1] == HUGE_VAL, "ends beyond the range: open");
    }
    /* from another place inside the same; from one outside nothing */
    walk = (sa_walk){b.objective, threshold, 0.3, -12.0, 12.0};
    at.log_time = ends[1] - 0.02;
    sa_meeting_interval(&b.s, &at, SA_MOVE_TIME, &walk, b.par, other, b.work);
    check(near(other[0], ends[0], 1e-5) && near(other[1], ends[1], 1e-5), "from elsewhere inside");
    at.log_time = ends[1] + 0.02;
    sa_meeting_interval(&b.s, &at, SA_MOVE_TIME, &walk, b.par, other, b.work);
    check(isnan(other[0]) && isnan(other[1]), "no meeting of this minimum");
    /* the same region seen from the temperature */
    at.log_time = ends[0];
    check(sa_meeting_own(SA_JMAK, b.par, SA_MOVE_COORDINATE, -0.05, 0.05, &at), "a temperature");
    const double y = log(log(2.0)) / b.par[SA_P_N];
    check(near(at.coordinate, (y - b.par[SA_P_LN_K] - ends[0]) / b.par[SA_P_Q], 1e-10), "by hand");
    walk = (sa_walk){b.objective, threshold, 1e-3, -0.1, 0.1};
    sa_meeting_interval(&b.s, &at, SA_MOVE_COORDINATE, &walk, b.par, other, b.work);
    check(fabs(other[0] - at_350) < 1e-7, "one end is the temperature asked before");
    /* a target below the soft level is never met, and the meeting stays */
    sa_meeting never = {SA_TO_HARDNESS, 20.0, 0.001, 1.5, {0.0, 0}, 0};
    check(!sa_meeting_own(SA_JMAK, b.par, SA_MOVE_COORDINATE, -0.05, 0.05, &never) &&
              !sa_meeting_own(SA_JMAK, b.par, SA_MOVE_TIME, -0.05, 0.05, &never) &&
              never.coordinate == 0.001 && never.log_time == 1.5, "never met");
}

/* Recovery alone meets the target at ln t = ln(e^2 - 1), and no rate does later. Without
 * recrystallisation the sum is that of what it took away, by hand: an end there is one only where the sum
 * has risen by nine tenths of the threshold. */
static void recovery(void)
{
    static bench b;
    const double times[5] = {0.5, 1, 2, 3, 5}, cold = 330.0, ln_k = -3.0;
    read_bench(&b, 1, &cold, &ln_k, 1.5, 5, times, 0.0);
    pose(&b, SA_RECOVERY_JMAK);
    const double truth[8] = {160, 80, -3, 1.5, 100, 20, 0, 100};
    double plain[5], rise = 0.0, ends[2];
    memcpy(b.par, truth, sizeof truth);
    sa_model_hardness(SA_RECOVERY_JMAK, &b.s.clock, b.par, b.h, NULL);
    for (size_t j = 0; j < 8; j++)
        b.held[j] = j != SA_P_LN_K && j != SA_P_N;
    for (size_t i = 0; i < b.n; i++) {
        plain[i] = 160.0 - 20.0 * log1p(times[i]);
        rise += (b.h[i] - plain[i]) * (b.h[i] - plain[i]);
    }
    sa_meeting at = {SA_TO_HARDNESS, 120.0, 0.0, 0.0, {0.0, 0}, 0};
    check(sa_meeting_own(SA_RECOVERY_JMAK, b.par, SA_MOVE_TIME, -1.0, 1.0, &at), "meets");
    const double last = log(exp(2.0) - 1.0), shares[4] = {0.5, 0.88, 0.92, 0.99};
    for (int k = 0; k < 4; k++) {
        const sa_walk walk = {0.0, rise / shares[k], 0.1, -12.0, 12.0};
        sa_meeting_interval(&b.s, &at, SA_MOVE_TIME, &walk, b.par, ends, b.work);
        check(shares[k] < 0.9 ? isnan(ends[1]) : fabs(ends[1] - last) < 1e-6, "recovery meets it alone");
    }
    const sa_walk walk = {0.0, 0.5 * rise, 0.1, -12.0, 12.0};
    sa_meeting_interval(&b.s, &at, SA_MOVE_TIME, &walk, b.par, ends, b.work);
    check(ends[1] > at.log_time && ends[1] < last, "before that an end is an end");
}

/* Few readings at temperatures as they come: the valley goes round corners, or on in another place. A curve
 * that meets the target at `log_time` with a sum below the ceiling proves that this time lies inside. */
static void corners(void)
{
    static const struct {
        unsigned seed;
        double temp_c, log_time, worked, soft, n, q;
    } curve[2] = {{119, 300.0, -0.0542, 1050.6038, 79.82325, 0.87127957, 36.940485},
                  {162, 350.0, -1.737951, 158.39294, 80.572799, 1.5918362, 1878.3614}};
    static bench b;
    for (int k = 0; k < 2; k++) {
        state = curve[k].seed * 7919ULL;
        const double q = 60.0 + 200.0 * uniform(), n = 0.6 + 2.4 * uniform(), u = uniform();
        const double noise = 0.3 + 4.0 * u * uniform();
        const size_t temps = uniform() < 2.0 / 2.99 ? 2 : 3;
        const double hot = 300.0 + 150.0 * uniform(), other = 280.0 + 100.0 * uniform();
        const double temp[3] = {300.0, hot, other}, shift = -5.0 + 4.0 * uniform();
        double ln_k[3], found[MOST], sum = 0.0, ends[2];
        for (int i = 0; i < 3; i++)
            ln_k[i] = shift + q * (coordinate(temp[i]) - coordinate(310.0));
        read_bench(&b, temps, temp, ln_k, n, 3 + (size_t)(2.99 * uniform()), usual_times, noise);
        pose(&b, SA_JMAK);
        minimum(&b, 0);
        const double threshold = 5.0 * b.objective / (double)(b.n - PLAIN), e = coordinate(curve[k].temp_c);
        const double own[PLAIN] = {curve[k].worked, curve[k].soft,
                                   log(log(2.0)) / curve[k].n - curve[k].log_time - curve[k].q * e, curve[k].n,
                                   curve[k].q};
        sa_model_hardness(SA_JMAK, &b.s.clock, own, found, NULL);
        for (size_t i = 0; i < b.n; i++)
            sum += (found[i] - b.h[i]) * (found[i] - b.h[i]);
        check(sum < b.objective + threshold, "a curve through that time is good enough");
        sa_meeting at = {SA_TO_FRACTION, 0.5, e, 0.0, {0.0, 0}, 0};
        sa_meeting_own(SA_JMAK, b.par, SA_MOVE_TIME, -1.0, 1.0, &at);
        double step = 0.1 + 0.5 * uniform();
        step = k == 0 ? step : 0.1 + 0.5 * uniform();
        const sa_walk walk = {b.objective, threshold, step, at.log_time - 14.0, at.log_time + 14.0};
        sa_meeting_interval(&b.s, &at, SA_MOVE_TIME, &walk, b.par, ends, b.work);
        check(curve[k].log_time < at.log_time && ends[0] <= curve[k].log_time, "round the corner");
    }
}

/* Two temperatures of two strains: whether the temperature or the strain made the difference is not to be
 * seen. At the hotter temperature and the smaller strain the curve is as slow as the colder one at most
 * (an energy of zero, a natural bound); how fast it may be, only the edge of the powers of strain says. */
static void strains(void)
{
    static bench b;
    state = 11;
    const double temps[2] = {300.0, 330.0}, ln_k[2] = {-3.2, -2.0};
    read_bench(&b, 2, temps, ln_k, 1.5, 5, usual_times, 0.5);
    pose(&b, (sa_model_kind)(SA_JMAK + SA_WITH_STRAIN));
    for (size_t i = 0; i < b.n; i++)
        b.strain[i] = b.e[i] < coordinate(310.0) ? -0.3 : 0.3;
    b.s.clock.strain = b.strain;
    minimum(&b, 0);
    const double threshold = 5.0 * b.objective / (double)(b.n - 6);
    sa_meeting at = {SA_TO_FRACTION, 0.5, coordinate(330.0), 0.0, {-0.3, 0}, 0};
    check(sa_meeting_own(b.s.kind, b.par, SA_MOVE_TIME, -1.0, 1.0, &at), "meets");
    const sa_walk walk = {b.objective, threshold, 0.3, -40.0, 40.0};
    double ends[2];
    sa_meeting_interval(&b.s, &at, SA_MOVE_TIME, &walk, b.par, ends, b.work);
    const double cold = log(log(2.0)) / b.par[SA_P_N] + 3.2;
    check(ends[0] == -HUGE_VAL, "the edge of the powers of strain is no end");
    check(ends[1] > cold - 0.5 && ends[1] < cold + 0.5, "as slow as the colder one at most");
}

/* --- profiles of parameters */
static int states_of(bench *b, double threshold, const double *half, int every, int *state_of, double *limit,
                     double *better)
{
    const double loading[SA_MODEL_MAX_PAR] = {0};
    const sa_profile_task task = {b->par, b->at_bound, b->objective, threshold, half, loading, every, NULL};
    const sa_profile_result out = {state_of, limit, NULL, better, NULL};
    return sa_softening_states(&b->s, &task, &out, b->work);
}

static double n_sum(const bench *b, double value) { return profile_sum(b, SA_P_N, value); }
static double q_sum(const bench *b, double value) { return profile_sum(b, SA_P_Q, 20.0 * value); }

static void profiles(void)
{
    static bench b;
    for (unsigned seed = 1; seed <= 24; seed++) {
        state = seed * 104729ULL;
        draw_bench(&b, seed % 2);
        pose(&b, SA_JMAK);
        minimum(&b, 0);
        const double threshold = 5.0 * b.objective / (double)(b.n - PLAIN), ceiling = b.objective + threshold;
        double limit[2 * PLAIN], better[PLAIN], half[PLAIN] = {1.0, 1.0, 0.2, 0.2, 10.0};
        int state_of[PLAIN];
        check(!states_of(&b, threshold, half, 1, state_of, limit, better), "the lowest minimum");
        char what[80];
        snprintf(what, sizeof what, "n, seed %u: %g %g", seed, limit[6], limit[7]);
        if (limit[6] > b.lower[SA_P_N])
            check_end(limit[6], -1, ceiling, threshold, 0.1, n_sum, &b, what);
        else
            check(n_sum(&b, 0.1) < ceiling, what);
        check_end(limit[7], 1, ceiling, threshold, 10.0, n_sum, &b, what);
        snprintf(what, sizeof what, "Q, seed %u: %g %g", seed, limit[8], limit[9]);
        if (limit[8] > 0.0)
            check_end(limit[8] / 20.0, -1, ceiling, threshold, 0.0, q_sum, &b, what);
        else
            check(q_sum(&b, 0.0) < ceiling, what);
        check_end(limit[9] / 20.0, 1, ceiling, threshold, 100.0, q_sum, &b, what);
    }
}

/* Beside an open parameter every linear error gives way to the profile. */
static void wide_errors(void)
{
    static bench b;
    state = 3;
    draw_bench(&b, 1);
    pose(&b, SA_JMAK);
    minimum(&b, 0);
    const double threshold = 5.0 * b.objective / (double)(b.n - PLAIN);
    double limit[2 * PLAIN], all[2 * PLAIN], better[PLAIN], half[PLAIN] = {1e-3, 40.0, 1e-3, 1e-3, 1e3};
    int state_of[PLAIN];
    states_of(&b, threshold, half, 1, state_of, all, better);
    check(state_of[SA_P_Q] == SA_OPEN_ABOVE && state_of[SA_P_WORKED] == SA_DETERMINED, "what is open");
    states_of(&b, threshold, half, 0, state_of, limit, better);
    for (int j = 0; j < SA_P_Q; j++)
        if (state_of[j] == SA_DETERMINED)
            check(near(limit[2 * j], all[2 * j], 1e-4) && near(limit[2 * j + 1], all[2 * j + 1], 1e-4),
                  "the profile in place of the linear error");
    half[SA_P_SOFT] = 0.5;
    states_of(&b, threshold, half, 0, state_of, limit, better);
    check(near(limit[0], all[0], 1e-4) && near(limit[1], all[1], 1e-4), "narrow or wide");

    /* errors that a narrower profile takes down: of those marked alone, never up */
    const double widths[3] = {10.0, 4.0, 2.0};
    double first[9], second[9];
    for (int which = 0; which < 3; which++) {
        const double wide = which == 1 ? 2.0 : 0.3, by = which == 0 ? 0.3 : 1.0;
        const double ends[6] = {-10.0 * wide, 10.0 * wide, -3.8, 3.8, -0.1, 0.1};
        const int marked[3] = {which < 2, 1, 0};
        for (int i = 0; i < 9; i++)
            first[i] = second[i] = 1.0;
        sa_softening_rescale(widths, marked, ends, 3, first, second);
        const double by_hand[9] = {by * by, by, by, by, 1.0, 1.0, by, 1.0, 1.0};
        for (int i = 0; i < 9; i++)
            check(near(first[i], by_hand[i], 1e-14) && near(second[i], by_hand[i], 1e-14),
                  "errors of the width of their profiles");
    }
}

/* From a minimum that is not the lowest, profiles lead to a lower one. */
static void lower_minima(void)
{
    static bench b;
    int met = 0;
    for (unsigned seed = 2; seed <= 24; seed += 2) {
        state = seed * 104729ULL;
        draw_bench(&b, 0);
        pose(&b, SA_JMAK);
        minimum(&b, 0);
        const double lowest = b.objective, threshold = 5.0 * lowest / (double)(b.n - PLAIN);
        for (int k = 0; k < 12; k++) {
            const double start[PLAIN] = {150.0, 80.0 + 60.0 * uniform(), -8.0 + 8.0 * uniform(),
                                         exp(-1.0 + 3.0 * uniform()), 300.0 * uniform()};
            memcpy(b.par, start, sizeof start);
            minimum(&b, 1);
            if (b.objective < lowest + threshold)
                continue;
            const double half[PLAIN] = {1.0, 1.0, 0.2, 0.2, 10.0};
            double limit[2 * PLAIN], better[PLAIN];
            int state_of[PLAIN];
            met++;
            check(states_of(&b, threshold, half, 1, state_of, limit, better), "a lower minimum is met");
            memcpy(b.par, better, sizeof better);
            minimum(&b, 1);
            check(near(b.objective, lowest, 1e-6), "the lowest");
        }
    }
    check(met > 3, "there are other minima");
}

int main(void)
{
    answers();
    walks();
    recovery();
    corners();
    strains();
    profiles();
    wide_errors();
    lower_minima();
    return report();
}
