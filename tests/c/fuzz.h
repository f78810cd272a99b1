/* Bytes of a fuzzer as numbers. Half of them are taken as they are (any bit pattern, so NaN,
 * infinities and subnormals come too), half are mapped into a range where work is done. */
#ifndef SA_FUZZ_H
#define SA_FUZZ_H

#include <math.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

typedef struct {
    const uint8_t *at;
    size_t left;
} fuzz_bytes;

static inline unsigned fuzz_byte(fuzz_bytes *b)
{
    if (b->left == 0)
        return 0;
    b->left--;
    return *b->at++;
}

static inline double fuzz_any(fuzz_bytes *b)
{
    double x = 0;
    if (b->left >= sizeof x) {
        memcpy(&x, b->at, sizeof x);
        b->at += sizeof x;
        b->left -= sizeof x;
    }
    return x;
}

static inline double fuzz_in(fuzz_bytes *b, double low, double high)
{
    unsigned x = fuzz_byte(b) << 8;
    x |= fuzz_byte(b);
    return low + (high - low) * x / 65535.0;
}

static inline double fuzz_number(fuzz_bytes *b, double low, double high)
{
    return fuzz_byte(b) < 32 ? fuzz_any(b) : fuzz_in(b, low, high);
}

/* A broken promise says where it stands and stops the fuzzer. */
#define must(ok) ((ok) ? (void)0 : broken(#ok, __FILE__, __LINE__))
static inline void broken(const char *promise, const char *file, int line)
{
    fprintf(stderr, "Broken at %s:%d: %s\n", file, line, promise);
    abort();
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

#endif
