/* How many threads a batch may have: no more than the processors this process may use, and no
 * more than can start. OpenMP ends the process when a thread cannot start (a limit on processes
 * or on address space), so that many are started here first, with stacks as large as theirs. */
#include "glue_threads.h"
#ifdef _OPENMP
#include <omp.h>
#endif
#if defined(_OPENMP) && !defined(_WIN32)
#include <ctype.h>
#include <pthread.h>
#include <stdlib.h>

enum { MOST_THREADS = 1024 };

/* The threads wait until all have started, as those of a batch live at the same time. */
typedef struct {
    pthread_mutex_t lock;
    pthread_cond_t change;
    int begun, go;
} gate;

static void *wait_at_gate(void *context)
{
    gate *g = context;
    /* the first allocation of a thread may reserve an arena: let that happen here too */
    void *volatile room = malloc(1024);
    free(room);
    pthread_mutex_lock(&g->lock);
    g->begun++;
    pthread_cond_broadcast(&g->change);
    while (!g->go)
        pthread_cond_wait(&g->change, &g->lock);
    pthread_mutex_unlock(&g->lock);
    return NULL;
}

/* OMP_STACKSIZE: a number, in kB unless B, K, M or G follows; 0 where it says nothing. */
static size_t stack_asked_for(void)
{
    const char *text = getenv("OMP_STACKSIZE");
    char *end;
    unsigned long long size;
    int shift = 10;

    if (text == NULL)
        return 0;
    size = strtoull(text, &end, 10);
    while (isspace((unsigned char)*end))
        end++;
    switch (toupper((unsigned char)*end)) {
    case 'B':
        shift = 0;
        break;
    case 'M':
        shift = 20;
        break;
    case 'G':
        shift = 30;
        break;
    default:
        break;
    }
    return size > ((size_t)-1 >> shift) ? (size_t)-1 : (size_t)size << shift;
}

/* How many of `extra` threads start beside the calling one. */
static int can_start(int extra)
{
    gate g = {PTHREAD_MUTEX_INITIALIZER, PTHREAD_COND_INITIALIZER, 0, 0};
    pthread_t thread[MOST_THREADS];
    pthread_attr_t attributes;
    const size_t stack = stack_asked_for();
    int started = 0;

    if (pthread_attr_init(&attributes) != 0)
        return 0;
    if (stack > 0)
        (void)pthread_attr_setstacksize(&attributes, stack); /* refused: OpenMP ignores it too */
    while (started < extra &&
           pthread_create(&thread[started], &attributes, wait_at_gate, &g) == 0)
        started++;
    pthread_mutex_lock(&g.lock);
    while (g.begun < started)
        pthread_cond_wait(&g.change, &g.lock);
    g.go = 1;
    pthread_cond_broadcast(&g.change);
    pthread_mutex_unlock(&g.lock);
    for (int k = 0; k < started; k++)
        pthread_join(thread[k], NULL);
    pthread_attr_destroy(&attributes);
    return started;
}

/* Also where OpenMP keeps threads of an earlier batch: another package may have ended them. */
static int startable(int wanted)
{
    const int n = wanted > MOST_THREADS ? MOST_THREADS : wanted;
    return 1 + can_start(n - 1);
}
#else
static int startable(int wanted)
{
    return wanted;
}
#endif

/* Two numbers: threads that may be used of those wanted, and those that processors are there for. */
SEXP sa_call_threads(SEXP wanted)
{
    int threads = glue_integer(wanted, "wanted");
    if (threads < 1)
        Rf_error("internal error: 'wanted' must be positive");
#ifdef _OPENMP
    const int found = omp_get_num_procs();
    if (threads > found)
        threads = found < 1 ? 1 : found;
#else
    threads = 1;
#endif
    SEXP out = PROTECT(Rf_allocVector(INTSXP, 2));
    INTEGER(out)[1] = threads;
    INTEGER(out)[0] = startable(threads);
    UNPROTECT(1);
    return out;
}
