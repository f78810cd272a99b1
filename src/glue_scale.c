/* SEXP side of scale.c: builds the curves of one call, converts block by block; and finds
 * the few different labels of a long text column. */
#include "glue_scale.h"
#include "scale.h"
#ifdef __linux__
#include <stdint.h>
#include <sys/mman.h>
#endif

/* Beyond these the index would leave the first-level cache of 32 KiB. */
#define MOST_BUCKETS 4096
#define MOST_STEPS 960
/* A column of scales has a handful of labels; with more the caller hashes them instead. */
#define MOST_LABELS 64
/* About 10 ms of work between two looks at the keyboard. */
#define BLOCK ((R_xlen_t)1 << 21)

/* For a long result most of the time goes into the first touch of its pages. Where the
 * system offers large pages on request, ask for them; a refusal changes nothing. */
static void ask_large_pages(double *p, R_xlen_t n)
{
#if defined(__linux__) && defined(MADV_HUGEPAGE)
    const uintptr_t page = (uintptr_t)1 << 21;
    uintptr_t begin = ((uintptr_t)p + page - 1) & ~(page - 1);
    uintptr_t end = (uintptr_t)(p + n) & ~(page - 1);

    if (end > begin + 4 * page)
        (void)madvise((void *)begin, end - begin, MADV_HUGEPAGE);
#else
    (void)p;
    (void)n;
#endif
}

/* A curve from list(x, y); NULL is the identity. Memory lives until the call returns. */
static sa_curve read_curve(SEXP points)
{
    sa_curve curve = {0};
    const double *x, *y;
    R_xlen_t n;
    size_t buckets, steps;
    sa_segment *segment;
    sa_cell *cell;
    int *first;

    if (Rf_isNull(points))
        return curve;
    if (TYPEOF(points) != VECSXP || Rf_xlength(points) != 2)
        Rf_error("internal error: a curve must be list(x, y)");
    n = Rf_xlength(glue_part(points, 0));
    x = glue_doubles(glue_part(points, 0), n, "curve x");
    y = glue_doubles(glue_part(points, 1), n, "curve y");
    buckets = sa_curve_buckets(x, (size_t)n, MOST_BUCKETS);
    if (buckets == 0)
        Rf_error("internal error: the points of a curve must ascend");
    steps = sa_curve_steps(x, (size_t)n, MOST_STEPS);
    segment = (sa_segment *)R_alloc((size_t)n - 1, sizeof(sa_segment));
    cell = (sa_cell *)R_alloc(steps + 1, sizeof(sa_cell));
    first = (int *)R_alloc(buckets + 2, sizeof(int));
    if (sa_curve_build(x, y, (size_t)n, buckets, steps, segment, first, cell, &curve) != SA_OK)
        Rf_error("internal error: a curve cannot be built");
    return curve;
}

/* x: doubles; code: NULL or one integer (from 0) for each x; curves: list of list(x, y) or
 * NULL; detail: non-zero for derivative and flag too. Returns value, derivative, flag,
 * and how many were missing and outside. */
SEXP sa_call_convert(SEXP x, SEXP code, SEXP curves, SEXP detail)
{
    static const char *names[] = {"value", "derivative", "flag", "missing", "outside", ""};
    R_xlen_t n = Rf_xlength(x);
    const double *p_x = glue_doubles(x, n, "x");
    const int *p_code = Rf_isNull(code) ? NULL : glue_integers(code, n, "code");
    int want = glue_integer(detail, "detail");
    double *p_value;
    double *p_derivative = NULL;
    int *p_flag = NULL;
    size_t n_curves;
    sa_curve *set;
    sa_scale_counts counts = {0, 0};
    SEXP out;

    if (TYPEOF(curves) != VECSXP || Rf_xlength(curves) < 1)
        Rf_error("internal error: 'curves' must be a list with at least one curve");
    n_curves = (size_t)Rf_xlength(curves);
    set = (sa_curve *)R_alloc(n_curves, sizeof(sa_curve));
    for (size_t i = 0; i < n_curves; i++)
        set[i] = read_curve(glue_part(curves, (R_xlen_t)i));

    out = PROTECT(Rf_mkNamed(VECSXP, names));
    p_value = glue_put_doubles(out, "value", (size_t)n);
    ask_large_pages(p_value, n);
    if (want) {
        p_derivative = glue_put_doubles(out, "derivative", (size_t)n);
        p_flag = glue_put_integers(out, "flag", (size_t)n);
    }

    for (R_xlen_t at = 0; at < n; at += BLOCK) {
        size_t size = (size_t)(n - at < BLOCK ? n - at : BLOCK);
        R_CheckUserInterrupt();
        if (p_code == NULL && !want && set[0].segments > 0) {
            sa_curve_values(&set[0], p_x + at, size, NA_REAL, p_value + at, &counts);
        } else if (sa_curves_values(set, n_curves, p_code ? p_code + at : NULL, p_x + at, size,
                                    NA_REAL, p_value + at,
                                    p_derivative ? p_derivative + at : NULL,
                                    p_flag ? p_flag + at : NULL, &counts) != SA_OK) {
            Rf_error("internal error: a curve number is out of range");
        }
    }
    glue_put(out, "missing", Rf_ScalarReal((double)counts.missing));
    glue_put(out, "outside", Rf_ScalarReal((double)counts.outside));
    UNPROTECT(1);
    return out;
}

/* x: text. Returns code (from 1) and labels in order of appearance, NA being a label too;
 * NULL when there are more than MOST_LABELS. R keeps one copy of each string, so that
 * comparing addresses is enough. */
SEXP sa_call_labels(SEXP x)
{
    static const char *names[] = {"code", "labels", ""};
    R_xlen_t n = Rf_xlength(x);
    SEXP found[MOST_LABELS];
    SEXP out, labels;
    int *code;
    int count = 0;
    int last = 0;

    if (TYPEOF(x) != STRSXP)
        Rf_error("internal error: 'x' must be text");
    out = PROTECT(Rf_mkNamed(VECSXP, names));
    code = glue_put_integers(out, "code", (size_t)n);
    for (R_xlen_t i = 0; i < n; i++) {
        SEXP label = STRING_ELT(x, i);
        if (i % BLOCK == 0)
            R_CheckUserInterrupt();
        if (last >= count || found[last] != label) {
            for (last = 0; last < count && found[last] != label;)
                last++;
            if (last == MOST_LABELS) {
                UNPROTECT(1);
                return R_NilValue;
            }
            if (last == count)
                found[count++] = label;
        }
        code[i] = last + 1;
    }
    labels = glue_put(out, "labels", Rf_allocVector(STRSXP, count));
    for (int k = 0; k < count; k++)
        SET_STRING_ELT(labels, k, found[k]);
    UNPROTECT(1);
    return out;
}
