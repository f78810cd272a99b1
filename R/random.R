# Random numbers of the session: kept, and put back.

# The state of random numbers, and back to it: the state itself, its kinds, or its absence.
keep_random <- function() {
  absent <- !exists(".Random.seed", envir = globalenv(), inherits = FALSE)
  if (absent) stats::runif(1)
  list(seed = get(".Random.seed", envir = globalenv()), absent = absent)
}

restore_random <- function(state) {
  assign(".Random.seed", state$seed, envir = globalenv())
  # the kinds live in the seed, and R takes them over only when it looks at it
  RNGkind()
  if (state$absent) rm(".Random.seed", envir = globalenv())
}
