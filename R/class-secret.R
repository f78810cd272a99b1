# Where the random numbers of a class start: a whole number, which anyone finds by trying, or a key that
# cannot be found, from which each group gets a stream of its own by SHA-256.

# Bits that a key must have at least, and those of a new one.
SECRET_BITS <- 128L
NEW_SECRET_BITS <- 256L

#' A key for the readings of a class
#'
#' Makes a key from random bytes of the operating system, to be used as `seed` of [simulate_class()] and
#' [answer_key()]. Readings drawn with a whole number give their answers away: whoever has the package and
#' guesses the design tries numbers until the readings come out the same, which takes seconds
#' for a number such as the year. A key of 256 bits cannot be tried.
#'
#' The stream of group k starts at the SHA-256 digest of the key and the name of the group, so the
#' readings of one group, even with their answers known, say nothing of those of another.
#'
#' Write the key down where students cannot read it, such as with the marks, not in the script that goes to
#' them. Whoever has it can draw the class and its answers again; without it nobody can.
#'
#' @return One text of 64 hexadecimal digits. A key from elsewhere may be used instead, if it has 32
#'   hexadecimal digits (128 bits) or more; spaces and hyphens do not count.
#' @section Errors: `softanneal_error_file` where the operating system has no `/dev/urandom` (Windows): use
#'   hexadecimal digits of your own there, such as a password manager makes.
#' @source SHA-256: FIPS PUB 180-4 (2015) Secure Hash Standard \doi{10.6028/NIST.FIPS.180-4}.
#' @seealso [simulate_class()], [answer_key()], [mark_answers()]
#' @examples
#' key <- class_secret()
#' nchar(key)
#' class <- simulate_class(2, seed = key)
#' answer_key(2, seed = key, class = class)
#' @export
class_secret <- function() paste(random_bytes(NEW_SECRET_BITS %/% 8L), collapse = "")

random_bytes <- function(n, source = "/dev/urandom") {
  if (!file.exists(source)) {
    abort("file", paste0("there is no ", source, " to read random bytes from"), arg = "source",
          remedy = "Use 32 hexadecimal digits or more of your own as key, such as a password manager makes.")
  }
  from <- file(source, "rb", raw = TRUE)
  on.exit(close(from))
  readBin(from, "raw", n)
}

# A whole number, or a key as raw bytes.
check_class_seed <- function(seed) {
  if (!is.character(seed)) return(check_seed(seed))
  if (length(seed) != 1L || is.na(seed)) {
    abort("argument", paste0("`seed` must be one whole number or one key, not ", describe(seed)),
          arg = "seed", remedy = "Make a key with class_secret().")
  }
  digits <- gsub("[ -]", "", seed, useBytes = TRUE)
  if (!grepl("^[0-9A-Fa-f]*$", digits, useBytes = TRUE) || nchar(digits, "bytes") %% 2L != 0L) {
    abort("argument", "a key in `seed` must be an even number of hexadecimal digits", arg = "seed",
          remedy = "Make a key with class_secret(), or give a whole number without quotes.")
  }
  if (4L * nchar(digits) < SECRET_BITS) {
    abort("argument", paste0("the key in `seed` has ", 4L * nchar(digits), " bits, fewer than the ",
                             SECRET_BITS, " that cannot be tried"), arg = "seed",
          remedy = "Make a key with class_secret().")
  }
  as.raw(strtoi(substring(digits, seq(1L, nchar(digits), 2L), seq(2L, nchar(digits), 2L)), 16L))
}

# State of the generator for the group from a key: six words of the digest below its two moduli (L'Ecuyer
# 1999), of which neither three may all be zero.
STREAM_MODULI <- c(4294967087, 4294944443)

secret_stream <- function(key, group, kind) {
  message <- c(charToRaw("softanneal class"), as.raw(0), charToRaw(group), as.raw(0), key)
  digest <- as.integer(.Call(C_sa_call_sha256, message))
  words <- colSums(matrix(digest, 4L)[, 1:6] * 256^(3:0))
  words <- words %% rep(STREAM_MODULI, each = 3L)
  if (all(words[1:3] == 0)) words[1L] <- 1
  if (all(words[4:6] == 0)) words[4L] <- 1
  c(kind, as.integer(ifelse(words >= 2^31, words - 2^32, words)))
}
