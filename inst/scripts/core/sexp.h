/* What the glue files of src/ need of R's headers, for a build without R: vectors, lists, names.
 * The glue is compiled as it stands, so that a page reaches the kernels by the same road as R does.
 * Values live until core_forget(); nothing is protected, since nothing is collected. */
#ifndef CORE_SEXP_H
#define CORE_SEXP_H

#include <math.h>
#include <stddef.h>
#include <stdint.h>

typedef ptrdiff_t R_xlen_t;
typedef unsigned int SEXPTYPE;
typedef enum { FALSE = 0, TRUE } Rboolean;

enum { NILSXP = 0, CHARSXP = 9, LGLSXP = 10, INTSXP = 13, REALSXP = 14, STRSXP = 16, VECSXP = 19 };

typedef struct core_value *SEXP;
struct core_value {
    SEXPTYPE type;
    R_xlen_t length;
    int rows, cols; /* of a matrix; rows < 0: none */
    SEXP names;
    void *data;
};

extern SEXP R_NilValue, R_NamesSymbol, R_GlobalEnv;

#define NA_INTEGER INT32_MIN
#define NA_LOGICAL INT32_MIN
#define NA_REAL ((double)NAN)
#define R_PosInf ((double)INFINITY)
#define ISNAN(x) (isnan(x) != 0)

#define PROTECT(x) (x)
#define UNPROTECT(n) ((void)(n))
#define TYPEOF(x) ((x)->type)
#define Rf_xlength(x) ((x)->length)
#define REAL(x) ((double *)(x)->data)
#define REAL_RO(x) ((const double *)(x)->data)
#define INTEGER(x) ((int *)(x)->data)
#define INTEGER_RO(x) ((const int *)(x)->data)
#define LOGICAL(x) ((int *)(x)->data)
#define LOGICAL_RO(x) ((const int *)(x)->data)
#define CHAR(x) ((const char *)(x)->data)
#define STRING_ELT(x, i) (((SEXP *)(x)->data)[i])
#define SET_STRING_ELT(x, i, v) (((SEXP *)(x)->data)[i] = (v))
#define VECTOR_ELT(x, i) (((SEXP *)(x)->data)[i])
#define SET_VECTOR_ELT(x, i, v) (((SEXP *)(x)->data)[i] = (v))
#define Rf_isNull(x) ((x)->type == NILSXP)
#define Rf_nrows(x) ((x)->rows < 0 ? (int)(x)->length : (x)->rows)
#define Rf_ncols(x) ((x)->rows < 0 ? 1 : (x)->cols)
#define Rf_setAttrib(x, what, v) ((x)->names = (v))
#define Rf_getAttrib(x, what) ((x)->names)
#define Rf_asChar(x) STRING_ELT(x, 0)
#define R_CheckUserInterrupt() ((void)0)

SEXP Rf_allocVector(SEXPTYPE type, R_xlen_t length);
SEXP Rf_allocMatrix(SEXPTYPE type, int rows, int cols);
SEXP Rf_mkNamed(SEXPTYPE type, const char **names);
SEXP Rf_mkChar(const char *text);
SEXP Rf_ScalarReal(double x);
SEXP Rf_ScalarInteger(int x);
SEXP Rf_ScalarLogical(int x);
char *R_alloc(size_t count, int size);
_Noreturn void Rf_error(const char *format, ...);
double Rf_qt(double p, double df, int lower, int logarithm);

/* functions of a user, which no page has */
#define CAR(x) (x)
SEXP Rf_lang1(SEXP a);
SEXP Rf_lang2(SEXP a, SEXP b);
SEXP Rf_eval(SEXP call, SEXP where);
SEXP Rf_duplicate(SEXP x);

typedef void (*DL_FUNC)(void);
typedef struct {
    const char *name;
    DL_FUNC fun;
    int arguments;
} R_CallMethodDef;

#endif
