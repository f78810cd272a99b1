/* Small dense linear algebra; see linear.c. */
#ifndef SA_LINEAR_H
#define SA_LINEAR_H

#include <stddef.h>

/* A column of derivatives shorter than this counts as none. */
#define SA_LEAST_LENGTH 1e-150

double sa_norm(const double *x, size_t n);

/* Householder triangularisation of a (rows x cols, destroyed) with right-hand side b (may
 * be NULL); R is left in the upper triangle. */
void sa_triangularise(double *a, size_t rows, size_t cols, double *b);

/* Solve the upper triangle a (leading dimension lead) times x = b; 0 when singular. */
int sa_back_substitute(const double *a, size_t lead, size_t p, const double *b, double *x);

/* Lower Cholesky factor of a (k x k, by columns) in place; what stands above the diagonal stays. Adds ln of
 * the determinant. 0 when a pivot is not above `least` times its diagonal element. */
int sa_cholesky(double *a, size_t k, double least, double *log_determinant);

/* x <- L^-1 x. */
void sa_forward(const double *l, size_t k, double *x);

/* Singular values of the column-scaled `jac` (n x p), and the unscaled covariance
 * (J'J)^-1 in the subspace that the data determine (values above `tolerance` times the
 * largest). `skip` (p, may be NULL): parameters taken as constants, 0 in `cov`.
 * `loading` (p): share of each parameter in the undetermined directions (0: determined).
 * `null` (p x p, may be NULL): the undetermined directions, so that g'N g > 0 says that
 * a quantity with gradient g is not determined either. Returns the rank. Work: n p + 2 p p + p doubles. */
size_t sa_covariance(const double *jac, size_t n, size_t p, const int *skip, double tolerance,
                     double *cov, double *null, double *singular, double *loading, double *work);

/* g' V g for each row g of `gradient` (rows x p, leading dimension lead). */
void sa_quadratic_forms(const double *gradient, size_t rows, size_t lead, size_t p, const double *v,
                        double *out);

#endif
