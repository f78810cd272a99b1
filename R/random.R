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

# Random numbers: with a seed the session's state is put back afterwards, and the kinds are
# fixed so that the same seed gives the same numbers everywhere.
begin_seed <- function(seed) {
  if (!exists(".Random.seed", envir = globalenv(), inherits = FALSE)) stats::runif(1)
  before <- get(".Random.seed", envir = globalenv())
  if (is.null(seed)) return(list(restore = NULL, attribute = before))
  seed <- check_number(seed, "seed", -.Machine$integer.max, .Machine$integer.max, whole = TRUE)
  set.seed(seed, kind = "Mersenne-Twister", normal.kind = "Inversion", sample.kind = "Rejection")
  list(restore = before, attribute = structure(seed, kind = as.list(RNGkind())))
}

end_seed <- function(state) {
  if (!is.null(state$restore)) assign(".Random.seed", state$restore, envir = globalenv())
}
