# Readings that are a limit only: "> 100" in a sheet, or a dial beyond the end of its conversion table. The
# fit uses them by their likelihood: each counts as the reading and weight of src/censored.c at the estimate,
# found by repeated fits, so that all later work (profiles, components, answers) sees ordinary weighted
# readings.

# HV of limits: one that lies beyond the end of its table is a limit at that end, where it says less and stays
# true; NA where it says nothing.
limits_in_vickers <- function(value, scale, material, side) {
  scale <- rep_len(as.character(scale), length(value))
  hv <- to_vickers(value, scale, material)$hv
  table <- table_of(material)
  for (one in unique(scale[is.na(hv)])) {
    curve <- scale_pairs(one, "HV", table, material)$curves[[1L]]
    if (is.null(curve)) next
    n <- length(curve[[1L]])
    at <- is.na(hv) & scale == one
    hv[at & side > 0L & value > curve[[1L]][n]] <- curve[[2L]][n]
    hv[at & side < 0L & value < curve[[1L]][1L]] <- curve[[2L]][1L]
  }
  hv
}

# The sides of the readings of a fit. With outside_table = "limit" what its table does not reach becomes one.
fit_sides <- function(side, outside_table, value, read_on, scale, material) {
  if (outside_table == "stop" || scale == "as read" || identical(read_on, "HV")) return(side)
  hv <- to_vickers(value, read_on, material)$hv
  beyond <- is.na(hv) & !is.na(value)
  if (!any(beyond)) return(side)
  if (is.null(side)) side <- integer(length(value))
  high <- !is.na(limits_in_vickers(value, read_on, material, rep(1L, length(value))))
  side[beyond & side == 0L] <- ifelse(high, 1L, -1L)[beyond & side == 0L]
  side
}

MOST_LIMIT_ROUNDS <- 100L

# The fit with its limits: `d` comes back with the readings and weights they count as.
run_with_limits <- function(d, set, control, level, clusters, use_start) {
  side <- d$side
  bound <- d$hardness
  prior <- d$weights
  own <- side == 0L
  estimated <- length(set$terms) - sum(set$held)
  if (sum(own) <= estimated) {
    abort("too_few", paste0(count(sum(own), "reading"), " beside ", count(sum(!own), "limit"), " for ",
                            estimated, " parameters: the scatter is unknown"), arg = "data",
          remedy = "Add readings, or fix parameters with `fixed`.")
  }
  least <- 1e-6 * max(abs(bound))
  before <- NULL
  for (round in seq_len(MOST_LIMIT_ROUNDS)) {
    r <- run_softening(d, set, control, level = level, clusters = clusters,
                       use_start = use_start || round > 1L)
    w <- if (is.null(prior)) 1 else prior[own]
    sd <- max(sqrt(sum(w * (bound[own] - r$fitted[own])^2) / (sum(own) - estimated)), least)
    now <- c(r$fitted[!own], sd)
    if (!is.null(before) && max(abs(now - before)) < 1e-6 * sd) break
    before <- now
    working <- .Call(C_sa_call_censored, side, bound, r$fitted, sd, prior)
    d$hardness <- working[, 1L]
    d$weights <- working[, 2L]
    set$start <- unname(r$par)
  }
  d$limits <- list(side = side, bound = bound, rounds = round)
  d$side <- NULL
  list(r = r, d = d)
}

# Readings of a fit that are readings.
is_reading <- function(d) if (is.null(d$limits)) rep(TRUE, d$n) else d$limits$side == 0L

limit_words <- function(fit) {
  side <- fit$readings$limits$side
  if (is.null(side)) return(NULL)
  paste0(count(sum(side != 0L), "limit"), " among the readings (", paste(c(
    if (any(side > 0L)) paste(sum(side > 0L), "at least"),
    if (any(side < 0L)) paste(sum(side < 0L), "at most")
  ), collapse = ", "), "), used by their likelihood")
}

# Answers that the quadratic form of the likelihood cannot give.
no_limits <- function(fit, what, arg = "object") {
  if (is.null(fit$readings$limits)) return(invisible())
  abort("model", paste0(what, " of a fit with limits among its readings"), arg = arg,
        remedy = "Use the standard errors and intervals of the fit, or fit the readings without limits.")
}
