# Many benches together: estimates of groups with their covariances, pooled by a multivariate random-effects
# model (src/pool.c).

#' Estimates of many groups pooled
#'
#' What groups, classes, lots or laboratories know together: mean of each parameter over the groups,
#' spread between
#' them, each group's estimate drawn towards the mean as far as its own readings leave it uncertain, what
#' to expect
#' of a new group, and which group stands apart.
#'
#' The estimates of a group are normal about its true values with the covariance of its fit, and the true
#' values
#' are normal about the mean with a covariance to be found by restricted maximum likelihood. Only
#' parameters that a
#' group determines count; a parameter that no group or one alone determines is left out. Rates are moved
#' to one
#' reference temperature. A covariance of a group that leaves out the errors of its furnace
#' (`se = "cluster"` of [fit_each()]) is too small, and that part is counted as spread between groups.
#'
#' `distance` of a group is its squared distance from the mean of the others in units of its standard
#' deviation and the spread of the others (of more than 200 groups: from the mean of all), judged by F
#' (chi-squared); `p.value` is that of Holm over all groups, `NA` where there are hardly more groups than
#' parameters.
#'
#' @param fits Fits of many groups of [fit_each()], or a list of fits of [fit_softening()] of one model.
#' @param terms Parameters to pool; all by default.
#' @param ... Must be empty.
#' @param temp_ref_c Reference temperature of the rates in degrees Celsius; by default the middle one of
#'   the groups.
#' @param level Level of the intervals.
#' @return An object of class `softanneal_pool`: `mean` and its covariance `cov`, `between` (covariance
#'   between groups), `new` (covariance of a new group), `groups` (keys), `estimates` and `std.errors`
#'   (groups by parameters), `drawn` and `drawn_se`, `distance`, `told`, `p.value`, `temp_ref_c`,
#'   `criterion`, `converged`, `remarks` (cautions printed). `tidy()`: one row a parameter: `term`,
#'   `estimate`, `std.error`, `conf.low`,
#'   `conf.high`, `sd_between`, `new.low`, `new.high`, `n_groups`. `as.data.frame()`: one row a group and
#'   parameter, with
#'   `estimate`, `std.error`, `drawn`, `drawn_se`, `conf.low`, `conf.high` (of the drawn one), `distance`,
#'   `p.value`.
#'   Intervals of means and new groups are of t with one less degrees of freedom than groups.
#' @section Errors:
#'   `softanneal_error_argument` for fits of several models or unknown parameters,
#'   `softanneal_error_too_few` where
#'   fewer than two groups determine a parameter, or no covariance between groups can be found.
#' @source van Houwelingen H C, Arends L R, Stijnen T (2002) Statistics in Medicine 21, 589; Jackson D,
#'   Riley R,
#'   White I R (2011) ibid. 30, 2481.
#' @seealso [prior_softening()] takes the result as prior of a new group.
#' @examples
#' class <- simulate_class(8, seed = 3)
#' fits <- suppressWarnings(fit_each(class, by = "group"))
#' pool <- pool_fits(fits, terms = c("n", "q_kj_mol"))
#' pool
#' head(as.data.frame(pool))
#' @export
pool_fits <- function(fits, terms = NULL, ..., temp_ref_c = NULL, level = 0.95) {
  check_dots_empty(...)
  level <- check_level(level)
  temp_ref_c <- check_number(temp_ref_c, "temp_ref_c", -ZERO_CELSIUS, open = TRUE, null = TRUE)
  g <- if (inherits(fits, "softanneal_fits")) groups_of_fits(fits) else groups_of_list(fits)
  ref <- temp_ref_c %or% stats::median(g$ref_c, na.rm = TRUE)
  g <- at_reference(g, ref)
  own <- rownames(g$y)
  if (!is.null(terms)) {
    odd <- if (is.character(terms)) setdiff(terms, own)
    if (length(odd) || !length(terms) || !is.character(terms)) {
      abort("argument", paste0("`terms` names no parameter of these fits", if (length(odd)) ": ",
                               if (length(odd)) in_quotes(odd, " and ")), arg = "terms",
            remedy = paste0("Choose from ", in_quotes(own), "."))
    }
    own <- own[own %in% terms]
  }
  known <- rowSums(g$has)[own]
  if (!is.null(terms) && any(known < 2L) || all(known < 2L)) {
    abort("too_few", paste0("fewer than two groups determine ", in_quotes(own[known < 2L], " and ")),
          arg = "fits",
          remedy = "Pool other parameters, or more groups.")
  }
  own <- own[known >= 2L]
  g <- of_terms(g, own)
  told <- colSums(g$has) > 0L
  solve_pool(g, own, told, ref, level)
}

solve_pool <- function(g, own, told, ref, level) {
  p <- length(own)
  y <- g$y[own, told, drop = FALSE]
  has <- g$has[own, told, drop = FALSE]
  s <- diagonal_of(g$cov[, told, drop = FALSE], p)
  # on the scale of the scatter, so that all parameters weigh alike
  scale <- vapply(seq_len(p), function(j) {
    v <- y[j, has[j, ]]
    max(stats::mad(v), stats::median(sqrt(s[j, has[j, ]])), 1e-12 * max(abs(v), 1e-200))
  }, 0)
  y <- y / scale
  y[!has] <- 0
  packed <- which(upper.tri(diag(p), TRUE), arr.ind = TRUE)
  cov <- g$cov[, told, drop = FALSE] / (scale[packed[, 1L]] * scale[packed[, 2L]])
  cov[is.na(cov)] <- 0 # of what is not told
  spread <- vapply(seq_len(p), function(j) {
    v <- y[j, has[j, ]]
    max(stats::var(v) - mean(s[j, has[j, ]]) / scale[j]^2, 0.1 * stats::var(v))
  }, 0)
  storage.mode(has) <- "integer"
  r <- .Call(C_sa_call_pool, y, cov, has, diag(spread, p))
  if (r$counts[1L] == STATUS_SINGULAR) {
    abort("too_few", "no covariance between the groups can be found", arg = "fits",
          remedy = "Check the standard errors of the fits, or pool fewer parameters.")
  }
  square <- function(m) matrix(m * outer(scale, scale), p, p, dimnames = list(own, own))
  spread_out <- function(m) {
    out <- matrix(NA_real_, length(told), p, dimnames = list(NULL, own))
    out[told, ] <- t(m)
    out
  }
  distance <- rep(NA_real_, length(told))
  distance[told] <- r$distance
  df <- integer(length(told))
  df[told] <- r$told
  chance <- stats::pchisq(distance, pmax(df, 1L), lower.tail = FALSE)
  if (sum(told) <= MOST_LEFT_OUT) {
    left <- left_out(y, cov, has, diag(spread, p))
    distance[told] <- left$distance
    chance[told] <- left$chance
  }
  estimates <- t(g$y[own, , drop = FALSE])
  errors <- sqrt(t(diagonal_of(g$cov, p)))
  estimates[!t(g$has[own, , drop = FALSE])] <- errors[!t(g$has[own, , drop = FALSE])] <- NA_real_
  dimnames(estimates) <- dimnames(errors) <- list(NULL, own)
  cov_mean <- square(r$mean_cov)
  between <- square(r$between)
  structure(list(
    mean = stats::setNames(r$mean * scale, own), cov = cov_mean, between = between, new = between + cov_mean,
    groups = g$keys, estimates = estimates, std.errors = errors, drawn = spread_out(r$drawn * scale),
    drawn_se = spread_out(sqrt(pmax(r$variance, 0)) * scale), distance = distance, told = df,
    p.value = stats::p.adjust(chance, "holm"), remarks = as.character(pool_remarks(g)),
    temp_ref_c = ref, model = g$model, scale = g$scale,
    criterion = r$criterion, converged = r$counts[3L] == 1L, iterations = r$counts[2L], level = level,
    version = PACKAGE_VERSION), class = "softanneal_pool")
}

# Distance of each group from the mean of the others, in the spread of the others: a group far off does not
# hide in a spread that it makes itself (Viechtbauer and Cheung 2010, Research Synthesis Methods 1, 112). That
# spread is known from m groups only: F of p and m - p degrees of freedom, as of one more observation.
MOST_LEFT_OUT <- 200L

left_out <- function(y, cov, has, start) {
  p <- nrow(y)
  groups <- ncol(y)
  place <- matrix(0L, p, p)
  place[upper.tri(place, TRUE)] <- seq_len(p * (p + 1L) / 2L)
  place <- pmax(place, t(place))
  distance <- chance <- rep(NA_real_, groups)
  for (g in seq_len(groups)) {
    others <- has[, -g, drop = FALSE]
    own <- which(has[, g] == 1L)
    if (groups < 3L || any(rowSums(others)[own] < 2L)) next
    used <- which(rowSums(others) > 0L)
    packed <- which(upper.tri(place, TRUE), arr.ind = TRUE)
    rows <- packed[, 1L] %in% used & packed[, 2L] %in% used
    r <- .Call(C_sa_call_pool, y[used, -g, drop = FALSE], cov[rows, -g, drop = FALSE],
               others[used, , drop = FALSE],
               start[used, used, drop = FALSE])
    if (r$counts[1L] == STATUS_SINGULAR) next
    at <- match(own, used)
    v <- matrix(cov[place[own, own], g], length(own)) + (r$between + r$mean_cov)[at, at, drop = FALSE]
    gap <- y[own, g] - r$mean[at]
    distance[g] <- sum(gap * solve(v, gap))
    k <- length(own)
    m <- groups - 1L
    chance[g] <- if (m > k + 1L) {
      stats::pf(distance[g] * (m - k) / (k * (m - 1)), k, m - k, lower.tail = FALSE)
    } else NA_real_
  }
  list(distance = distance, chance = chance)
}

# What the standard errors of the groups leave out.

# Degrees of freedom below which errors by cluster are too small: common practice, no source.
FEW_CLUSTER_DF <- 10L

pool_remarks <- function(g) {
  told <- colSums(g$has) > 0L
  few <- sum(told & g$robust & g$df < FEW_CLUSTER_DF, na.rm = TRUE)
  c(if (any(g$robust, na.rm = TRUE)) {
    paste0("Standard errors of ", if (all(g$robust, na.rm = TRUE)) "the groups" else {
      count(sum(g$robust, na.rm = TRUE), "group")
    }, " leave out the errors of specimen and furnace, which are counted as spread between groups.")
  }, if (few) {
    paste0("Caution: cluster-robust standard errors of ", count(few, "group"), " come from few steps ",
           "(fewer than ", FEW_CLUSTER_DF, " more than parameters) and are too small: these groups weigh ",
           "too much, and too much spread is put between groups. Pool fits of fit_softening() with ",
           "components of error.")
  })
}

# Twin: SA_SINGULAR in src/status.h.
STATUS_SINGULAR <- 4L

# Variances (p x groups) of packed covariances.
diagonal_of <- function(cov, p) cov[cumsum(seq_len(p)), , drop = FALSE]

# Estimates (parameters x groups), packed covariances, which are determined, references, keys.
groups_of_fits <- function(fits) {
  terms <- fits$set$terms
  y <- fits$par
  has <- matrix(parameter_states(as.integer(fits$state)) == "determined", nrow(y))
  has[is.na(has)] <- FALSE
  has <- has & is.finite(y) & is.finite(diagonal_of(fits$cov, nrow(y))) & diagonal_of(fits$cov, nrow(y)) >= 0
  rownames(y) <- rownames(has) <- terms
  list(y = y, cov = fits$cov, has = has, ref_c = unname(group_sum(fits, "ref_k")) - ZERO_CELSIUS,
       keys = plain_frame(fits$keys), robust = rep(fits$set$se == "cluster", ncol(y)), df = fits$df_interval,
       model = fits$set$model, scale = fits$set$scale)
}

groups_of_list <- function(fits) {
  good <- is.list(fits) && !is.data.frame(fits) && length(fits) &&
    all(vapply(fits, inherits, NA, "softanneal_fit_softening"))
  if (!good) {
    abort("argument",
          paste0("`fits` must come from fit_each(), or be a list of fits of fit_softening(), not ",
                             describe(fits)), arg = "fits")
  }
  terms <- names(fits[[1L]]$par)
  same <- vapply(fits, function(f) identical(names(f$par), terms) && f$model == fits[[1L]]$model &&
                   f$scale == fits[[1L]]$scale, NA)
  if (!all(same)) {
    abort("argument", "`fits` are of several models or scales", arg = "fits", rows = which(!same),
          remedy = "Pool fits of one model, in one scale.")
  }
  p <- length(terms)
  y <- vapply(fits, function(f) unname(f$par), numeric(p))
  cov <- vapply(fits, function(f) f$vcov[upper.tri(f$vcov, TRUE)], numeric(p * (p + 1) / 2))
  has <- vapply(fits, function(f) unname(f$states == "determined"), logical(p))
  dim(y) <- dim(has) <- c(p, length(fits))
  dim(cov) <- c(p * (p + 1) / 2, length(fits))
  has <- has & is.finite(diagonal_of(cov, p)) & diagonal_of(cov, p) >= 0
  rownames(y) <- rownames(has) <- terms
  names <- names(fits) %or% as.character(seq_along(fits))
  list(y = y, cov = cov, has = has, ref_c = vapply(fits, `[[`, 0, "temp_ref_c"),
       keys = data.frame(group = valid_text(unname(names))),
       robust = vapply(fits, function(f) identical(f$se, "cluster"), NA),
       df = vapply(fits, function(f) as.double(f$df.residual %or% NA), 0), model = fits[[1L]]$model,
       scale = fits[[1L]]$scale)
}

# Rates moved to one reference temperature: ln k + Q e, where the energy is known too.
at_reference <- function(g, ref) {
  e <- inverse_temperature(ref, g$ref_c) # of a group without a fit NA
  e[is.na(e)] <- 0
  if (all(abs(e) < 1e-12)) return(g)
  terms <- rownames(g$y)
  p <- length(terms)
  place <- matrix(0L, p, p)
  place[upper.tri(place, TRUE)] <- seq_len(p * (p + 1) / 2)
  place <- pmax(place, t(place))
  for (j in which(is_rate(terms))) {
    q <- match(energy_of(terms[j]), terms)
    if (is.na(q)) next
    moved <- abs(e) >= 1e-12
    fixed_energy <- !g$has[q, ] & moved
    g$y[j, ] <- g$y[j, ] + e * g$y[q, ]
    own <- g$cov[place[j, j], ] + 2 * e * g$cov[place[j, q], ] + e^2 * g$cov[place[q, q], ]
    for (k in setdiff(seq_len(p), j)) {
      g$cov[place[j, k], ] <- g$cov[place[j, k], ] + e * g$cov[place[q, k], ]
    }
    g$cov[place[j, j], ] <- own
    g$has[j, fixed_energy] <- FALSE
  }
  g
}

of_terms <- function(g, own) {
  p <- nrow(g$y)
  keep <- match(own, rownames(g$y))
  packed <- which(upper.tri(diag(p), TRUE), arr.ind = TRUE)
  g$cov <- g$cov[packed[, 1L] %in% keep & packed[, 2L] %in% keep, , drop = FALSE]
  g$y <- g$y[own, , drop = FALSE]
  g$has <- g$has[own, , drop = FALSE]
  g
}
