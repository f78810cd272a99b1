# The random numbers of a practice page: a generator that counts, so that each effect of a run has a number of
# its own whatever is done before. The page has the same (inst/pages/practice-physics.js).

PHILOX_FACTORS <- c(3528531795, 3449720151) # 0xD2511F53, 0xCD9E8D57
PHILOX_STEPS <- c(2654435769, 3144134277) # 0x9E3779B9, 0xBB67AE85

# Philox 4x32-10 (Salmon J K, Moraes M A, Dror R O, Shaw D E, 2011, Parallel random numbers: as easy as 1,
# 2, 3):
# `counter` of four columns, `key` of two words, all from 0 to 2^32 - 1; a matrix of four words a row.
philox <- function(counter, key) {
  x <- matrix(as.double(counter), ncol = 4L)
  for (round in 1:10) {
    p <- word_product(PHILOX_FACTORS[1L], x[, 1L])
    q <- word_product(PHILOX_FACTORS[2L], x[, 3L])
    x <- cbind(word_xor(word_xor(q$high, x[, 2L]), key[1L]), q$low,
               word_xor(word_xor(p$high, x[, 4L]), key[2L]), p$low)
    key <- (key + PHILOX_STEPS) %% 2^32
  }
  unname(x)
}

# High and low word of a product of words, by halves of 16 bits.
word_product <- function(a, b) {
  half <- 65536
  low <- (a %% half) * (b %% half)
  middle <- (a %% half) * (b %/% half) + (a %/% half) * (b %% half) + low %/% half
  list(high = (a %/% half) * (b %/% half) + middle %/% half, low = (middle %% half) * half + low %% half)
}

word_xor <- function(a, b) {
  half <- 65536
  bitwXor(a %/% half, b %/% half) * half + bitwXor(a %% half, b %% half)
}

# Two words from digits (key or number of the class) and group: they say nothing of either.
practice_seed <- function(seed, group) {
  key <- if (is.raw(seed)) seed else charToRaw(format(seed, scientific = FALSE))
  message <- c(charToRaw("softanneal practice"), as.raw(0), charToRaw(group), as.raw(0), key)
  digest <- as.double(.Call(C_sa_call_sha256, message))
  c(sum(digest[1:4] * 256^(3:0)), sum(digest[5:8] * 256^(3:0)))
}

# Doubles as text that is not read at a glance; unseal() of the page gives them back bit for bit.
seal_numbers <- function(x, key) {
  bytes <- as.integer(writeBin(as.double(x), raw(), endian = "little"))
  blocks <- seq_len(ceiling(length(bytes) / 16)) - 1
  words <- as.vector(t(philox(cbind(0, blocks, 0, 0), key)))
  stream <- as.vector(vapply(words, function(w) (w %/% 256^(0:3)) %% 256, numeric(4L)))
  text <- jsonlite::base64_enc(as.raw(bitwXor(bytes, as.integer(stream[seq_along(bytes)]))))
  gsub("[^A-Za-z0-9+/=]", "", text)
}
