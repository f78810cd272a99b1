/* The way from JavaScript to the glue of src/ and back. No mathematics: memory, vectors, names, and
 * the table of entry points. Compiled by make-core-js.sh; see
 * inst/pages/core-api.js for the other side. */
#include "glue_components.h"
#include "glue_fit.h"
#include "glue_heat.h"
#include "glue_parts.h"
#include "glue_plan.h"
#include "glue_scale.h"
#include <emscripten.h>
#include <stdarg.h>
#include <stdlib.h>

/* clang-format off */
EM_JS(void, core_stop, (const char *text), { throw new Error(UTF8ToString(text)); })
EM_JS(double, core_student, (double p, double df), { return Module["studentQuantile"](p, df); })
/* clang-format on */

static struct core_value nil = {NILSXP, 0, -1, 0, NULL, NULL};
SEXP R_NilValue = &nil, R_NamesSymbol = &nil, R_GlobalEnv = &nil;

/* All memory of a call, in one chain. */
typedef struct block {
    struct block *next;
    double first;
} block;
static block *chain = NULL;

static void *take(size_t count, size_t size)
{
    if (size > 0 && count > (SIZE_MAX / 2 - sizeof(block)) / size)
        Rf_error("too large");
    block *b = (block *)calloc(1, sizeof(block) + count * size);
    if (b == NULL)
        Rf_error("no memory left");
    b->next = chain;
    chain = b;
    return &b->first;
}

EMSCRIPTEN_KEEPALIVE void core_forget(void)
{
    while (chain != NULL) {
        block *next = chain->next;
        free(chain);
        chain = next;
    }
}

_Noreturn void Rf_error(const char *format, ...)
{
    char text[200];
    size_t n = 0;
    va_list args;
    va_start(args, format);
    for (const char *c = format; *c != '\0' && n < sizeof text - 1; c++) {
        if (*c == '%' && c[1] == 's') { /* numbers are left out: no page shows this text */
            for (const char *word = va_arg(args, const char *); *word != '\0' && n < sizeof text - 1;)
                text[n++] = *word++;
            c++;
        } else {
            text[n++] = *c;
        }
    }
    va_end(args);
    text[n] = '\0';
    core_stop(text);
    abort();
}

double Rf_qt(double p, double df, int lower, int logarithm)
{
    if (!lower || logarithm)
        Rf_error("internal error: quantile");
    return core_student(p, df);
}

char *R_alloc(size_t count, int size)
{
    return (char *)take(count, (size_t)size);
}

static size_t size_of(SEXPTYPE type)
{
    return type == REALSXP ? sizeof(double) : type == STRSXP || type == VECSXP ? sizeof(SEXP) : sizeof(int);
}

EMSCRIPTEN_KEEPALIVE SEXP Rf_allocVector(SEXPTYPE type, R_xlen_t length)
{
    SEXP x = (SEXP)take(1, sizeof(struct core_value));
    *x = (struct core_value){type, length, -1, 0, R_NilValue, take((size_t)length, size_of(type))};
    if (type == VECSXP)
        for (R_xlen_t i = 0; i < length; i++)
            SET_VECTOR_ELT(x, i, R_NilValue);
    return x;
}

EMSCRIPTEN_KEEPALIVE SEXP Rf_allocMatrix(SEXPTYPE type, int rows, int cols)
{
    SEXP x = Rf_allocVector(type, (R_xlen_t)rows * cols);
    x->rows = rows;
    x->cols = cols;
    return x;
}

EMSCRIPTEN_KEEPALIVE SEXP Rf_mkChar(const char *text)
{
    const size_t n = strlen(text) + 1;
    SEXP x = (SEXP)take(1, sizeof(struct core_value));
    *x = (struct core_value){CHARSXP, (R_xlen_t)n - 1, -1, 0, R_NilValue, take(n, 1)};
    memcpy(x->data, text, n);
    return x;
}

SEXP Rf_mkNamed(SEXPTYPE type, const char **names)
{
    R_xlen_t n = 0;
    while (names[n][0] != '\0')
        n++;
    SEXP x = Rf_allocVector(type, n), text = Rf_allocVector(STRSXP, n);
    for (R_xlen_t i = 0; i < n; i++)
        SET_STRING_ELT(text, i, Rf_mkChar(names[i]));
    x->names = text;
    return x;
}

SEXP Rf_ScalarReal(double x)
{
    SEXP out = Rf_allocVector(REALSXP, 1);
    REAL(out)[0] = x;
    return out;
}

SEXP Rf_ScalarInteger(int x)
{
    SEXP out = Rf_allocVector(INTSXP, 1);
    INTEGER(out)[0] = x;
    return out;
}

SEXP Rf_ScalarLogical(int x)
{
    SEXP out = Rf_allocVector(LGLSXP, 1);
    LOGICAL(out)[0] = x;
    return out;
}

SEXP Rf_lang1(SEXP a)
{
    return a;
}

SEXP Rf_lang2(SEXP a, SEXP b)
{
    (void)b;
    return a;
}

SEXP Rf_eval(SEXP call, SEXP where)
{
    (void)call;
    (void)where;
    Rf_error("internal error: no functions here");
}

SEXP Rf_duplicate(SEXP x)
{
    return x;
}

/* Views and parts for the other side. */
EMSCRIPTEN_KEEPALIVE SEXP core_nil(void)
{
    return R_NilValue;
}

EMSCRIPTEN_KEEPALIVE int core_type(SEXP x)
{
    return (int)x->type;
}

EMSCRIPTEN_KEEPALIVE int core_length(SEXP x)
{
    return (int)x->length;
}

EMSCRIPTEN_KEEPALIVE int core_rows(SEXP x)
{
    return x->rows;
}

EMSCRIPTEN_KEEPALIVE void *core_data(SEXP x)
{
    return x->data;
}

EMSCRIPTEN_KEEPALIVE SEXP core_names(SEXP x)
{
    return x->names;
}

EMSCRIPTEN_KEEPALIVE void core_name(SEXP x, SEXP names)
{
    x->names = names;
}

EMSCRIPTEN_KEEPALIVE SEXP core_part(SEXP x, int i)
{
    return ((SEXP *)x->data)[i];
}

EMSCRIPTEN_KEEPALIVE void core_put(SEXP x, int i, SEXP part)
{
    ((SEXP *)x->data)[i] = part;
}

/* Of each list what a page uses. */
static const R_CallMethodDef entries[] = {
    GLUE_COMPONENTS_CALLS GLUE_HEAT_CALLS GLUE_PARTS_CALLS CALLDEF(sa_call_softening, 4),
    CALLDEF(sa_call_gradient_se, 2), CALLDEF(sa_call_hardness, 4), CALLDEF(sa_call_time_to, 5),
    CALLDEF(sa_call_history_check, 1), CALLDEF(sa_call_reduced_time, 6), CALLDEF(sa_call_soften, 6),
    CALLDEF(sa_call_meeting_interval, 6), CALLDEF(sa_call_curve_interval, 7),
    CALLDEF(sa_call_design, 5), CALLDEF(sa_call_convert, 4), {NULL, NULL, 0}};

EMSCRIPTEN_KEEPALIVE const char *core_entry(int k)
{
    return entries[k].name;
}

typedef SEXP (*of_0)(void);
typedef SEXP (*of_1)(SEXP);
typedef SEXP (*of_2)(SEXP, SEXP);
typedef SEXP (*of_3)(SEXP, SEXP, SEXP);
typedef SEXP (*of_4)(SEXP, SEXP, SEXP, SEXP);
typedef SEXP (*of_5)(SEXP, SEXP, SEXP, SEXP, SEXP);
typedef SEXP (*of_6)(SEXP, SEXP, SEXP, SEXP, SEXP, SEXP);
typedef SEXP (*of_7)(SEXP, SEXP, SEXP, SEXP, SEXP, SEXP, SEXP);
typedef SEXP (*of_8)(SEXP, SEXP, SEXP, SEXP, SEXP, SEXP, SEXP, SEXP);

/* The k-th entry with its arguments, an unnamed list. */
EMSCRIPTEN_KEEPALIVE SEXP core_call(int k, SEXP list)
{
    const SEXP *a = (const SEXP *)list->data;
    const DL_FUNC f = entries[k].fun;
    if (list->length != entries[k].arguments)
        Rf_error("internal error: number of arguments");
    switch (list->length) {
    case 0:
        return ((of_0)f)();
    case 1:
        return ((of_1)f)(a[0]);
    case 2:
        return ((of_2)f)(a[0], a[1]);
    case 3:
        return ((of_3)f)(a[0], a[1], a[2]);
    case 4:
        return ((of_4)f)(a[0], a[1], a[2], a[3]);
    case 5:
        return ((of_5)f)(a[0], a[1], a[2], a[3], a[4]);
    case 6:
        return ((of_6)f)(a[0], a[1], a[2], a[3], a[4], a[5]);
    case 7:
        return ((of_7)f)(a[0], a[1], a[2], a[3], a[4], a[5], a[6]);
    case 8:
        return ((of_8)f)(a[0], a[1], a[2], a[3], a[4], a[5], a[6], a[7]);
    default:
        Rf_error("internal error: number of arguments");
    }
}
