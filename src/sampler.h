/* Draws from a density with a gradient; see sampler.c. */
#ifndef SA_SAMPLER_H
#define SA_SAMPLER_H

#include <stddef.h>
#include <stdint.h>

/* ln of a density (up to a constant) and its gradient; -Inf where there is none. */
typedef struct {
    size_t d;
    double (*density)(const void *context, const double *u, double *gradient);
    const void *context;
} sa_target;

typedef struct {
    uint64_t s[4];
} sa_stream;

/* Streams of one seed are independent of each other. */
void sa_stream_begin(sa_stream *r, uint64_t seed, uint64_t stream);
double sa_stream_uniform(sa_stream *r); /* within 0 and 1 */
double sa_stream_normal(sa_stream *r);

#define SA_MOST_DEPTH 10

/* One chain. It moves in x, where u = centre + factor x, so that x has about unit covariance. */
typedef struct {
    sa_target target;
    sa_stream random;
    double *centre, *factor;     /* d; d x d by columns */
    double *x, *gradient, *work; /* d; d; sa_chain_work(d) */
    double value;                /* ln density */
    double step, accept_target;
    /* warm-up */
    int warmup, done, first, last, window_end, window;
    double log_step_bar, gap_bar, anchor;
    int count;
    double seen;
    double *mean, *spread; /* d; d x d */
} sa_chain;

typedef struct {
    double accept; /* mean over the steps of the trajectory */
    int depth, steps, divergent;
} sa_move;

size_t sa_chain_room(size_t d); /* doubles for all arrays of one chain */

/* Arrays from `room`; `centre` and `factor` are copied. `warmup`: how many moves it adapts. */
void sa_chain_begin(sa_chain *c, const sa_target *target, uint64_t seed, uint64_t stream,
                    const double *centre, const double *factor, int warmup, double accept_target,
                    double *room);

/* A start near the centre with a finite density; 0 where none is found. */
int sa_chain_start(sa_chain *c, double spread);

/* One move, with adaptation while warm-up lasts. */
sa_move sa_chain_move(sa_chain *c);

void sa_chain_place(const sa_chain *c, double *u);

/* Moves `u` to a mode as far as Newton's steps with a numerical second derivative lead, and gives a
 * factor of the inverse of that. Work: d (2 d + 6). */
void sa_target_mode(const sa_target *target, double *u, double *factor, double *work);

#endif
