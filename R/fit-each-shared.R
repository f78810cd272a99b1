# Whether parameters are common to groups: the fit of all groups with them in common (src/shared.c) against
# the fits with parameters of their own.

#' Are parameters common to groups?
#'
#' `anova(fits, share = "q_kj_mol")` fits all groups once more with one activation energy for all, each group
#' keeping its other parameters, and compares the sums of squares by an F test. Any subset of the parameters
#' can be shared, and several subsets tested at once, each against own parameters throughout.
#'
#' The scatter to test against is that of the step means about the curves of the groups, pooled (with
#' `se = "model"` that of the readings): readings of a step share errors, and counting them one by one calls
#' far too many differences significant. Errors that all steps of a specimen or of a furnace run share are
#' not in it: where lots went through different furnaces, or each has few specimens, a small p value may come
#' from these. The rates of all groups are taken at one reference temperature, so that `ln_k_ref` can be
#' compared.
#'
#' @param object Fits of many groups from [fit_each()], with their readings.
#' @param ... Must be empty.
#' @param share Parameters in common: names such as `"q_kj_mol"` or `c("n", "q_kj_mol")`, or a list of
#'   these for several tests. `NULL`: the lack-of-fit test pooled over groups.
#' @return A table of class `anova` over `data.frame`: the fit with own parameters, then one row for each
#'   test with `Df` (parameters saved), `Sum Sq` (by which the residual sum of squares is larger), `F value`
#'   and `Pr(>F)`. The attribute `shared` is a data frame with the common values: `test`, `term`, `estimate`,
#'   `std.error`. Groups without a complete fit are left out with one warning.
#' @section Errors:
#'   `softanneal_error_argument` (unknown or fixed parameters), `softanneal_error_too_few` (one group only),
#'   `softanneal_error_model` (no readings were kept).
#' @references Block angular least squares: Bjorck A (1996) Numerical Methods for Least Squares Problems
#'   \doi{10.1137/1.9781611971484}, section 6.3. F test of nested models: Bates D M, Watts D G (1988)
#'   Nonlinear Regression Analysis and Its Applications \doi{10.1002/9780470316757}, section 3.10.
#' @name share
#' @seealso [fit_each()], [fits-methods], [plot_groups()]
#' @examples
#' bell <- as.data.frame(example_data("bellbrass_readings"))
#' fits <- fit_each(rbind(cbind(coil = "A", bell), cbind(coil = "B", bell)), by = coil)
#' anova(fits, share = list("q_kj_mol", c("n", "q_kj_mol")))
#' @export
anova.softanneal_fits <- function(object, ..., share = NULL) {
  check_dots_empty(...)
  if (is.null(share)) return(pooled_lack_of_fit(object))
  tests <- if (is.list(share)) share else list(share)
  free <- object$set$terms[!object$set$held]
  for (terms in tests) {
    if (!is.character(terms) || !length(terms) || anyDuplicated(terms) || !all(terms %in% free)) {
      abort("argument", paste0("`share` must name free parameters: ", in_quotes(free, " and ")),
            arg = "share", remedy = "Such as share = \"q_kj_mol\", or a list of several.")
    }
  }
  known <- group_status(object) %in% c("ok", "open")
  if (sum(known) < 2L) {
    abort("too_few", paste0("there ", if (sum(known)) "is one group" else "are no groups",
                            " with a complete fit: nothing to compare"),
          arg = "object", remedy = "as.data.frame() gives the reason for each group.")
  }
  if (!all(known)) {
    warn("fit", paste0(sum(!known), " of ", length(known), " groups have no complete fit and are left out."),
         n = sum(!known))
    object <- object[known]
  }
  shared_table(shared_problem(object), tests)
}

pooled_lack_of_fit <- function(object) {
  known <- fits_fitted(object)
  estimated <- group_count(object, "estimated")[known]
  conditions <- group_count(object, "conditions")[known]
  misfit <- sum(group_sum(object, "misfit")[known])
  pure <- sum(group_sum(object, "pure_error")[known])
  df <- c(sum(conditions - estimated), sum(group_count(object, "used")[known] - conditions))
  f <- if (all(df > 0L) && pure > 0) misfit / df[1L] / (pure / df[2L]) else NA_real_
  lack_of_fit_table(list(lack_of_fit = list(
    misfit = misfit, df_misfit = df[1L], pure_error = pure, df_pure = df[2L], f = f,
    p_value = stats::pf(f, df[1L], df[2L], lower.tail = FALSE))))
}

# Readings, settings with one reference temperature, and the fits with own parameters.
shared_problem <- function(object) {
  data <- kept_data(object)
  d <- suppressWarnings(each_data(data, names(object$keys), object$columns, object$set,
                                  weights.softanneal_fits(object)), classes = "softanneal_warning_outside")
  set <- object$set
  after <- which(d$time_min > 0 & !is.na(d$temp_c))
  if (is.nan(set$ref_k)) set$ref_k <- 1 / mean(1 / (d$temp_c[after] + ZERO_CELSIUS))
  own <- run_batch(d, set, 1L)
  row <- if (is.null(d$order)) sequence(d$size, d$first + 1L) else d$order
  here <- !is.na(d$hardness[row]) & !is.na(d$time_min[row]) & (d$time_min[row] == 0 | !is.na(d$temp_c[row]))
  size <- as.integer(rowsum(as.integer(here), rep(seq_along(d$size), d$size))[, 1L])
  row <- row[here]
  coordinate <- inverse_temperature(d$temp_c[row], set$ref_k - ZERO_CELSIUS)
  coordinate[is.na(coordinate)] <- 0 # as-rolled, where no temperature counts
  rows <- list(coordinate = coordinate, log_time = log(d$time_min[row]), hardness = d$hardness[row],
               root = if (is.null(d$weights)) rep(1, length(row)) else sqrt(d$weights[row]))
  part <- term_rows(set$terms)
  log_time <- log(d$time_min[after])
  rate <- part$rule == "times"
  low <- part$low - ifelse(rate, max(log_time), 0)
  if (!is.null(set$property)) low[is_level(set$terms)] <- -max(rows$hardness)
  high <- (part$high - ifelse(rate, min(log_time), 0)) *
    ifelse(part$rule == "top", 10 * max(rows$hardness), ifelse(part$rule == "softest", max(rows$hardness), 1))
  list(d = d, set = set, own = own, rows = rows,
       groups = list(first = as.integer(cumsum(c(0L, size))[seq_along(size)]), size = size),
       lower = ifelse(is.nan(set$lower), low, set$lower), upper = ifelse(is.nan(set$upper), high, set$upper))
}

# The least sum of squares with `terms` in common. Each group is searched anew at the common values found,
# until that gains nothing.
shared_fit <- function(problem, terms) {
  set <- problem$set
  set$infer <- FALSE
  common <- set$terms %in% terms
  diagonal <- cumsum(seq_along(common))[common]
  weight <- 1 / problem$own$cov[diagonal, , drop = FALSE]
  weight[problem$own$state[common, , drop = FALSE] != 0L | !is.finite(weight)] <- 0
  value <- problem$own$par[common, , drop = FALSE]
  value <- ifelse(rowSums(weight) > 0, rowSums(weight * value) / rowSums(weight), rowMeans(value))
  settings <- list(kind = set$kind, common = common, held = set$held, lower = problem$lower,
                   upper = problem$upper, max_iterations = 500, ftol = 1e-13)
  best <- list(objective = Inf)
  for (round in 1:10) {
    set$held <- problem$set$held | common
    set$start[common] <- value
    start <- run_batch(problem$d, set, 1L)$par
    fit <- .Call(C_sa_call_shared, problem$rows, problem$groups, settings,
                 pmin(pmax(start, problem$lower), problem$upper))
    done <- !isTRUE(fit$objective < best$objective * (1 - 1e-9))
    if (isTRUE(fit$objective < best$objective)) best <- fit
    if (done) break
    value <- best$par[common, 1L]
  }
  best$common <- common
  best
}

shared_table <- function(problem, tests) {
  own <- problem$own
  estimated <- sum(group_count(own, "estimated"))
  used <- sum(group_count(own, "used"))
  rss <- sum(group_sum(own, "misfit"), group_sum(own, "pure_error"))
  steps <- problem$set$se != "model"
  scatter <- if (steps) sum(group_sum(own, "between")) else rss
  df_scatter <- (if (steps) sum(group_count(own, "treatments")) else used) - estimated
  groups <- length(problem$groups$size)
  rows <- lapply(tests, function(terms) {
    fit <- shared_fit(problem, terms)
    if (!isTRUE(fit$converged)) {
      warn("fit", paste0("The fit with common ", in_quotes(terms, " and "),
                         " stopped at the iteration limit."), n = 1L)
    }
    saved <- (groups - 1L) * length(terms)
    gain <- max(fit$objective - rss, 0)
    variance <- (scatter + gain) / (df_scatter + saved)
    f <- if (df_scatter > 0L) gain / saved / (scatter / df_scatter) else NA_real_
    none <- matrix(NA_real_, length(terms), length(terms))
    inverse <- tryCatch(chol2inv(fit$triangle), error = function(e) none)
    list(saved = saved, gain = gain, f = f, p = stats::pf(f, saved, df_scatter, lower.tail = FALSE),
         shared = data.frame(test = paste(terms, collapse = ", "), term = problem$set$terms[fit$common],
                             estimate = fit$par[fit$common, 1L], std.error = sqrt(variance * diag(inverse))))
  })
  take <- function(name) vapply(rows, `[[`, 0, name)
  shared <- do.call(rbind, lapply(rows, `[[`, "shared"))
  saved <- take("saved")
  gain <- take("gain")
  out <- data.frame("Res.Df" = used - estimated + c(0, saved), "Res.Sum Sq" = rss + c(0, gain),
                    Df = c(NA, saved), "Sum Sq" = c(NA, gain), "F value" = c(NA, take("f")),
                    "Pr(>F)" = c(NA, take("p")), check.names = FALSE,
                    row.names = make.unique(c("own parameters", vapply(tests, function(terms) {
                      paste("common", paste(terms, collapse = ", "))
                    }, ""))))
  heading <- c(paste0("Parameters common to ", groups, " groups against own ones; F against the scatter of ",
                      if (steps) "step means" else "readings", ", ", df_scatter, " degrees of freedom"),
               paste0(shared$term, " in common: ", format_by_error(shared$estimate, shared$std.error),
                      ", standard error ", format_quantity(shared$std.error, 2L)),
               paste0("Differences between the furnaces or the specimens of the groups count as\n",
                      "differences between groups: a small p value may come from these."), "")
  structure(out, heading = heading, shared = shared, class = c("anova", "data.frame"))
}
