# Do the chains agree, and how many independent draws are they worth: rank-normalised split R-hat, effective
# draws of the bulk and of the tails (Vehtari, Gelman, Simpson, Carpenter, Buerkner 2021, Bayesian Analysis
# 16, 667). A quantity comes as a matrix, one column a chain.

# The halves of each chain as chains; the middle draw of an odd number is left out.
split_chains <- function(x) {
  n <- nrow(x)
  half <- n %/% 2L
  cbind(x[seq_len(half), , drop = FALSE], x[seq.int(n - half + 1L, n), , drop = FALSE])
}

rank_normal <- function(x) {
  z <- stats::qnorm((rank(x) - 0.375) / (length(x) + 0.25))
  matrix(z, nrow(x))
}

chain_ratio <- function(x) {
  n <- nrow(x)
  within <- mean(apply(x, 2L, stats::var))
  between <- n * stats::var(colMeans(x))
  sqrt((between / within + n - 1) / n)
}

# Effective number of draws: initial positive and monotone sequence of pairs (Geyer 1992).
effective_draws <- function(x) {
  n <- nrow(x)
  m <- ncol(x)
  if (n < 3L || anyNA(x) || !all(is.finite(x)) ||
      max(x) - min(x) < .Machine$double.eps * abs(max(x))) return(NA_real_)
  size <- stats::nextn(2L * n)
  centred <- rbind(sweep(x, 2L, colMeans(x)), matrix(0, size - n, m))
  spectrum <- stats::mvfft(centred)
  covariance <- Re(stats::mvfft(Mod(spectrum)^2, inverse = TRUE))[seq_len(n), , drop = FALSE] / size / n
  lags <- rowMeans(covariance)
  within <- lags[1L] * n / (n - 1)
  whole <- within * (n - 1) / n + if (m > 1L) stats::var(colMeans(x)) else 0
  rho <- 1 - (within - lags) / whole
  rho[1L] <- 1
  pairs <- seq_len((n - 2L) %/% 2L) # the last lags are noise
  sums <- rho[2L * pairs - 1L] + rho[2L * pairs]
  positive <- match(TRUE, sums < 0)
  last <- if (is.na(positive)) length(sums) else positive - 1L
  kept <- cummin(sums[seq_len(last)])
  tau <- -1 + 2 * sum(kept)
  if (!is.na(positive) && 2L * last + 1L <= n) tau <- tau + max(rho[2L * last + 1L], 0)
  whole_number <- as.double(n) * m
  whole_number / max(tau, 1 / log10(whole_number))
}

# One row a quantity (columns of `draws`, chains below each other).
chain_table <- function(draws, chains) {
  n <- nrow(draws) / chains
  out <- vapply(seq_len(ncol(draws)), function(j) {
    x <- split_chains(matrix(draws[, j], n))
    if (anyNA(x) || stats::var(as.vector(x)) == 0) return(rep(NA_real_, 3L))
    folded <- abs(x - stats::median(x))
    q <- stats::quantile(draws[, j], c(0.05, 0.95), names = FALSE)
    c(max(chain_ratio(rank_normal(x)), chain_ratio(rank_normal(folded))), effective_draws(rank_normal(x)),
      min(effective_draws((x <= q[1L]) + 0), effective_draws((x <= q[2L]) + 0)))
  }, numeric(3L))
  data.frame(term = colnames(draws), rhat = out[1L, ], ess_bulk = out[2L, ], ess_tail = out[3L, ])
}
