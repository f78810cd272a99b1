/* SHA-256 of a message (FIPS 180-4). */
#ifndef SA_SHA256_H
#define SA_SHA256_H

#include <stddef.h>

enum { SA_SHA256_BYTES = 32 };

/* `digest` holds SA_SHA256_BYTES. */
void sa_sha256(const unsigned char *message, size_t size, unsigned char *digest);

#endif
