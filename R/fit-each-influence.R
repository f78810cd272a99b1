# What other packages ask of a fit, for many fits: leverage, influence, readings, draws and profiles. Each
# group is fitted anew by itself.

# What `ask` answers of the fit of each group that has one, with the places of its readings among the rows;
# answers leave out the readings without a value, or have NA for them.
over_readings <- function(x, ask, put) {
  kept_in_rows(x)
  size <- x$readings$size
  first <- c(0L, cumsum(size))
  for (g in which(fits_fitted(x))) {
    f <- group_fit(x, g)
    value <- ask(f)
    at <- seq_len(size[g])
    gone <- as.integer(f$na.action)
    if (length(gone) && NROW(value) < size[g]) at <- at[-gone]
    put(value, first[g] + at, g)
  }
}

# One number per reading, in the order of the rows of the data.
by_reading <- function(x, ask) {
  out <- rep(NA_real_, length(x$readings$row))
  over_readings(x, ask, function(value, at, g) out[at] <<- value)
  out[order(x$readings$row)]
}

#' @rdname fits-methods
#' @export
hatvalues.softanneal_fits <- function(model, ...) {
  check_dots_empty(...)
  by_reading(model, stats::hatvalues)
}

#' @rdname fits-methods
#' @export
rstandard.softanneal_fits <- function(model, ...) {
  check_dots_empty(...)
  by_reading(model, stats::rstandard)
}

#' @rdname fits-methods
#' @export
cooks.distance.softanneal_fits <- function(model, ...) {
  check_dots_empty(...)
  by_reading(model, stats::cooks.distance)
}

#' @rdname fits-methods
#' @export
terms.softanneal_fits <- function(x, ...) stats::terms(SOFTENING_FORMULA)

#' @rdname fits-methods
#' @export
model.frame.softanneal_fits <- function(formula, ...) {
  check_dots_empty(...)
  parts <- list()
  place <- integer()
  over_readings(formula, stats::model.frame, function(m, at, g) {
    attr(m, "terms") <- NULL
    keys <- formula$keys[rep(g, nrow(m)), , drop = FALSE]
    parts[[length(parts) + 1L]] <<- cbind(key_columns(keys, names(m)), m)
    place <<- c(place, formula$readings$row[at])
  })
  out <- do.call(rbind, parts)[order(place), , drop = FALSE]
  if (!is.null(out)) rownames(out) <- NULL
  structure(out, terms = stats::terms(SOFTENING_FORMULA))
}

#' @rdname fits-methods
#' @export
simulate.softanneal_fits <- function(object, nsim = 1, seed = NULL, ...) {
  check_dots_empty(...)
  nsim <- check_number(nsim, "nsim", 1, 1e6, whole = TRUE)
  state <- begin_seed(seed)
  on.exit(end_seed(state), add = TRUE)
  out <- matrix(NA_real_, length(object$readings$row), nsim,
                dimnames = list(NULL, paste0("sim_", seq_len(nsim))))
  over_readings(object, function(f) stats::simulate(f, nsim), function(value, at, g) {
    out[at, ] <<- as.matrix(value)
  })
  structure(as.data.frame(out[order(object$readings$row), , drop = FALSE]), seed = state$attribute)
}

#' @rdname fits-methods
#' @export
profile.softanneal_fits <- function(fitted, ...) {
  lapply(as.list(fitted), function(f) if (!is.null(f)) stats::profile(f, ...))
}
