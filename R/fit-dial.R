# What limits of readings say of the two levels. Where all readings of a state are limits, profiles of the
# values that they count as let a level pass far beyond the limits themselves; these end the interval instead.

# Ends by the limits: the as-rolled state of each specimen is at least h_worked's, and no state is softer than
# h_soft. A level L is beyond its end where all m specimens would read past limits b with less than the
# likelihood ratio of the level: pnorm((L - b) / sd)^m = exp(-qchisq(level, 1) / 2), sd of one reading of a
# specimen with all its errors; the limit itself where many specimens would say more, as sd is then badly
# known. NULL where no state is cut off.
dial_ends <- function(fit, level) {
  l <- fit$readings$limits
  if (is.null(l) || length(unique(fit$conditions$strain)) > 1L || any(grepl("^dh_grow", names(fit$par))) ||
      fit$par[["h_worked"]] <= fit$par[["h_soft"]] || !isTRUE(fit$sigma > 0)) return(NULL)
  sd <- fit$sigma
  if (!is.null(fit$errors)) {
    sd <- sqrt(sd^2 + sum(fit$errors$sd[c("piece", "step"), "estimate"]^2))
  }
  step <- as.character(fit$conditions$cluster_of)
  time <- fit$conditions$time_min[fit$conditions$of_reading + 1L]
  end <- function(side, rows) {
    rows <- rows[!step[rows] %in% step[l$side != side]]
    m <- length(unique(step[rows]))
    if (!m) return(NULL)
    z <- stats::qnorm(exp(-stats::qchisq(level, 1) / (2 * m)))
    bound <- stats::median(l$bound[rows])
    list(end = bound + side * min(z, 0) * sd, bound = bound, n = length(rows))
  }
  list(h_worked = end(1L, which(time == 0)), h_soft = end(-1L, seq_along(l$side)))
}

# Ends of intervals of the levels, none beyond what the limits allow.
within_dial <- function(fit, out, level) {
  if (!inherits(fit, "softanneal_fit_softening")) return(out)
  ends <- dial_ends(fit, level)
  if (!is.null(ends$h_worked) && !is.na(out["h_worked", 1L])) {
    out["h_worked", 1L] <- max(out["h_worked", 1L], ends$h_worked$end)
  }
  if (!is.null(ends$h_soft) && !is.na(out["h_soft", 2L])) {
    out["h_soft", 2L] <- min(out["h_soft", 2L], ends$h_soft$end)
  }
  out
}

# A level of which nothing was known has at least the end of its limits.
states_by_dial <- function(fit) {
  ends <- dial_ends(fit, fit$level)
  open <- fit$states %in% "not determined"
  names(open) <- names(fit$states)
  if (!is.null(ends$h_worked) && open[["h_worked"]]) {
    fit$states[["h_worked"]] <- "only a lower limit"
    fit$limits["h_worked", ] <- c(-Inf, Inf)
  }
  if (!is.null(ends$h_soft) && open[["h_soft"]]) {
    fit$states[["h_soft"]] <- "only an upper limit"
    fit$limits["h_soft", ] <- c(-Inf, Inf)
  }
  fit$limits <- within_dial(fit, fit$limits, fit$level)
  fit
}

# Estimates beyond the limits of the readings they stand for.
dial_words <- function(fit) {
  ends <- dial_ends(fit, fit$level %or% 0.95)
  past <- function(term, side, state, words) {
    e <- ends[[term]]
    if (is.null(e) || side * (fit$par[[term]] - e$end) >= 0) return(NULL)
    paste0(term, " (", format_quantity(fit$par[[term]]), " ", fit$scale, ") contradicts ",
           count(e$n, "limit"), " of ", state, " (", words, " ", format_quantity(e$bound),
           "): the curve does not hold there.")
  }
  c(past("h_worked", 1L, "the as-rolled state", "at least"),
    past("h_soft", -1L, "soft states", "at most"))
}

# What settles a level that is cut off at the end of the dial; named by level.
settle_dial <- function(fit) {
  ends <- dial_ends(fit, fit$level %or% 0.95)
  words <- function(term, state, side) {
    e <- ends[[term]]
    if (is.null(e) || !is_undetermined(fit$states[[term]])) return(NULL)
    paste0(state, " is cut off at the end of the dial (", count(e$n, "reading"), " ", side, " ",
           format_quantity(e$bound), "); read it on a scale whose dial reaches it")
  }
  unlist(list(h_worked = words("h_worked", "the as-rolled state", "at least"),
              h_soft = words("h_soft", "the soft state", "at most")))
}
