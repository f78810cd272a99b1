/* SHA-256 of raw bytes. */
#include "glue_hash.h"
#include "sha256.h"

SEXP sa_call_sha256(SEXP message)
{
    SEXP out;

    if (TYPEOF(message) != RAWSXP)
        Rf_error("internal error: 'message' has the wrong type or length");
    out = PROTECT(Rf_allocVector(RAWSXP, SA_SHA256_BYTES));
    sa_sha256(RAW_RO(message), (size_t)Rf_xlength(message), RAW(out));
    UNPROTECT(1);
    return out;
}
