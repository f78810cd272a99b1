/* SHA-256 (FIPS 180-4, sections 4.1.2, 5.1.1 and 6.2): derives the random numbers of one group from a
 * key that cannot be found by trial. Bytes in, 32 bytes out; any length. */
#include "sha256.h"

#include <stdint.h>
#include <string.h>

enum { BLOCK = 64, LENGTH_BYTES = 8 };

/* First 32 bits of the fractional parts of the cube roots of the first 64 primes. */
static const uint32_t round_constant[64] = {
    0x428a2f98, 0x71374491, 0xb5c0fbcf, 0xe9b5dba5, 0x3956c25b, 0x59f111f1, 0x923f82a4, 0xab1c5ed5,
    0xd807aa98, 0x12835b01, 0x243185be, 0x550c7dc3, 0x72be5d74, 0x80deb1fe, 0x9bdc06a7, 0xc19bf174,
    0xe49b69c1, 0xefbe4786, 0x0fc19dc6, 0x240ca1cc, 0x2de92c6f, 0x4a7484aa, 0x5cb0a9dc, 0x76f988da,
    0x983e5152, 0xa831c66d, 0xb00327c8, 0xbf597fc7, 0xc6e00bf3, 0xd5a79147, 0x06ca6351, 0x14292967,
    0x27b70a85, 0x2e1b2138, 0x4d2c6dfc, 0x53380d13, 0x650a7354, 0x766a0abb, 0x81c2c92e, 0x92722c85,
    0xa2bfe8a1, 0xa81a664b, 0xc24b8b70, 0xc76c51a3, 0xd192e819, 0xd6990624, 0xf40e3585, 0x106aa070,
    0x19a4c116, 0x1e376c08, 0x2748774c, 0x34b0bcb5, 0x391c0cb3, 0x4ed8aa4a, 0x5b9cca4f, 0x682e6ff3,
    0x748f82ee, 0x78a5636f, 0x84c87814, 0x8cc70208, 0x90befffa, 0xa4506ceb, 0xbef9a3f7, 0xc67178f2};

static uint32_t rotated(uint32_t x, unsigned n) { return (x >> n) | (x << (32U - n)); }

static uint32_t word_at(const unsigned char *p)
{
    return (uint32_t)p[0] << 24 | (uint32_t)p[1] << 16 | (uint32_t)p[2] << 8 | (uint32_t)p[3];
}

static void put_word(uint32_t x, unsigned char *p)
{
    p[0] = (unsigned char)(x >> 24);
    p[1] = (unsigned char)(x >> 16 & 0xffU);
    p[2] = (unsigned char)(x >> 8 & 0xffU);
    p[3] = (unsigned char)(x & 0xffU);
}

static void add_block(uint32_t *hash, const unsigned char *block)
{
    uint32_t w[64], v[8];

    for (size_t t = 0; t < 16; t++)
        w[t] = word_at(block + 4 * t);
    for (size_t t = 16; t < 64; t++) {
        const uint32_t a = w[t - 15], b = w[t - 2];

        w[t] = w[t - 16] + w[t - 7] + (rotated(a, 7) ^ rotated(a, 18) ^ a >> 3) +
               (rotated(b, 17) ^ rotated(b, 19) ^ b >> 10);
    }
    memcpy(v, hash, sizeof v);
    for (size_t t = 0; t < 64; t++) {
        const uint32_t e = v[4], a = v[0];
        const uint32_t t1 = v[7] + (rotated(e, 6) ^ rotated(e, 11) ^ rotated(e, 25)) +
                            ((e & v[5]) ^ (~e & v[6])) + round_constant[t] + w[t];
        const uint32_t t2 = (rotated(a, 2) ^ rotated(a, 13) ^ rotated(a, 22)) +
                            ((a & v[1]) ^ (a & v[2]) ^ (v[1] & v[2]));

        memmove(v + 1, v, 7 * sizeof v[0]);
        v[4] += t1; /* d, now in the place of e */
        v[0] = t1 + t2;
    }
    for (size_t i = 0; i < 8; i++)
        hash[i] += v[i];
}

void sa_sha256(const unsigned char *message, size_t size, unsigned char *digest)
{
    /* first 32 bits of the fractional parts of the square roots of the first 8 primes */
    uint32_t hash[8] = {0x6a09e667, 0xbb67ae85, 0x3c6ef372, 0xa54ff53a,
                        0x510e527f, 0x9b05688c, 0x1f83d9ab, 0x5be0cd19};
    unsigned char last[2 * BLOCK] = {0};
    const size_t whole = size / BLOCK, left = size % BLOCK;
    const size_t end = left + 1 + LENGTH_BYTES <= BLOCK ? BLOCK : 2 * BLOCK;
    const uint64_t bits = (uint64_t)size * 8U;

    for (size_t i = 0; i < whole; i++)
        add_block(hash, message + i * BLOCK);
    if (left > 0)
        memcpy(last, message + whole * BLOCK, left);
    last[left] = 0x80;
    put_word((uint32_t)(bits >> 32), last + end - LENGTH_BYTES);
    put_word((uint32_t)(bits & 0xffffffffU), last + end - 4);
    for (size_t i = 0; i < end; i += BLOCK)
        add_block(hash, last + i);
    for (size_t i = 0; i < 8; i++)
        put_word(hash[i], digest + 4 * i);
}
