# Arithmetic in 200 bits (GNU MPFR through the package Rmpfr) for tests against an oracle.

exact_bits <- 200L
exactly <- function(x) Rmpfr::mpfr(x, exact_bits)

# Relative error of plain numbers against exact ones.
relative <- function(got, truth) {
  truth <- truth + 0 * exactly(1)
  error <- abs(exactly(got) - truth) / abs(truth)
  # below the normal doubles a result may lose its digits, not its size
  small <- abs(truth) < exactly(2)^-1022
  out <- as.numeric(error)
  out[as.logical(small)] <- as.numeric(abs(exactly(got) - truth))[as.logical(small)]
  out[got == 0 & as.numeric(truth) == 0] <- 0
  out
}

# ln of the mean of exp(-a/T + a/T_ref) over a straight ramp, a = Q/R: closed form with the
# exponential integral, int exp(-a/T) dT = T exp(-a/T) - a E1(a/T), and Ei(-x) = -E1(x).
# Vectors of ramps at once: an exact operation costs the same for one number and for many.
exact_ramp <- function(from_k, to_k, q_kj_mol, ref_k, bits = exact_bits) {
  number <- function(x) Rmpfr::mpfr(x, bits)
  a <- number(q_kj_mol) * 1000 / number(GAS_CONSTANT)
  shift <- a / number(ref_k)
  hold <- shift - a / number(from_k)
  area <- function(k) number(k) * exp(-a / number(k)) + a * Rmpfr::Ei(-a / number(k))
  ramp <- from_k != to_k & q_kj_mol != 0
  if (!any(ramp)) return(hold)
  out <- log((area(to_k) - area(from_k)) / (number(to_k) - number(from_k))) + shift
  out[!ramp] <- hold[!ramp]
  out
}
