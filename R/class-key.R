# The answer key: true values of what a group is asked for, and how near a careful analysis of
# such readings can come. The standard errors are those of the least-squares estimator at the
# true values, from the gradient of the model and the true covariance of the readings, not from one
# drawn set of data.

#' Answer key of a simulated class
#'
#' True values and tolerances of what each group has to find, drawn again from the seed and the
#' design that made the class data. Only the instructor has these; the data do not hold them.
#'
#' | quantity | what | unit |
#' |---|---|---|
#' | `h_worked`, `h_soft` | hardness as rolled and recrystallised | HV |
#' | `n` | Avrami exponent | none |
#' | `q_kj_mol` | activation energy of recrystallisation | kJ/mol |
#' | `k_per_min` | rate k of exp(-(k t)^n), at each temperature | 1/min |
#' | `t50_min` | time to half of the softening, at each temperature | min |
#'
#' **Tolerance.** The standard error of a quantity is that of the fit of all readings by least
#' squares in HV ([fit_softening()]), at the true values: with J the gradient of the model at the
#' readings and V their true covariance (readings, steps, specimens, operators, machine, furnaces, times of
#' the steps, rounding of the dial), the estimator has the covariance
#' \eqn{(J'J)^{-1} J' V J (J'J)^{-1}}{(J'J)^-1 J'VJ (J'J)^-1}. The accepted range is the true
#' value plus and minus `tolerance` standard errors; for rates and times the interval is on the
#' logarithm.
#'
#' @inheritParams simulate_class
#' @param class Optionally the class data; then it is checked that this key is theirs.
#' @return A table of class `softanneal_key`, one row per group and quantity: `group`, `quantity`,
#'   `temp_c` (degrees Celsius; `NA` where the quantity has no temperature), `value`, `unit`, `std.error`
#'   (of `value`, or of its logarithm for rates and times), `lower`, `upper`; `reference` (what
#'   [fit_softening()] finds in the readings without blunders) and `as_given` (what it finds with
#'   the blunders left in; `NA` if it cannot). Attributes: `truth`, a table of the parameters of each
#'   group with the number of `draws`; `blunders`, a table of all blunders; `design`, `seed`.
#' @section Errors: Those of [simulate_class()], and `softanneal_error_argument` if `class` was
#'   drawn otherwise.
#' @source Covariance of least squares with correlated errors: Seber G A F, Wild C J (1989) Nonlinear
#'   Regression \doi{10.1002/0471725315}, chapter 6. Rounding: JCGM 100:2008, 4.3.7.
#' @seealso [mark_answers()]
#' @examples
#' class <- simulate_class(2, seed = 20, blunders = "outlier")
#' key <- answer_key(2, seed = 20, blunders = "outlier", class = class)
#' key
#' attr(key, "blunders")
#' @export
answer_key <- function(n_groups, seed, ..., groups = seq_len(n_groups), design = NULL,
                       class = NULL) {
  design <- use_design(design, ...)
  drawn <- draw_class(n_groups, seed, groups, design)
  if (!is.null(class)) check_same_class(class, drawn)
  bind <- function(part) {
    out <- do.call(rbind, lapply(drawn, function(g) {
      x <- part(g)
      data.frame(group = rep(g$group, nrow(x)), x, check.names = FALSE)
    }))
    rownames(out) <- NULL
    out
  }
  key <- bind(function(g) g$key[setdiff(names(g$key), "log")])
  truth <- bind(function(g) {
    data.frame(draws = g$draws, as.list(g$truth$par), temp_ref_c = g$truth$temp_ref_c)
  })
  structure(key, class = c("softanneal_key", "data.frame"), truth = truth,
            blunders = bind(function(g) g$blunders), design = design, seed = seed)
}

check_same_class <- function(class, drawn) {
  check_data(class, "class")
  group <- as.character(any_column(class, "group", "class"))
  hardness <- numeric_column(class, "hardness", "class", na = TRUE)
  expected <- unlist(lapply(drawn, function(g) rep(g$group, nrow(g$data))))
  value <- unlist(lapply(drawn, function(g) g$data$hardness))
  same <- length(group) == length(expected) && setequal(group, expected)
  # groups may stand in another order, readings of a group may not
  if (same) same <- isTRUE(all.equal(unname(split(hardness, group)),
                                     unname(split(value, expected))))
  if (!same) {
    abort("argument", "`class` was not drawn with this seed and design", arg = "class",
          remedy = "Use the numbers and settings with which the class was made, all groups.")
  }
}

# What is asked for, with value and tolerance at the true values.
key_quantities <- function(truth, design) {
  hot <- sort(unique(design$bench$steps$temp_c[design$bench$steps$time_min > 0]))
  levels <- c("h_worked", "h_soft", "n", "q_kj_mol")
  key <- data.frame(quantity = c(levels, rep(c("k_per_min", "t50_min"), each = length(hot))),
                    temp_c = c(rep(NA_real_, length(levels)), hot, hot))
  at <- quantities_of(truth, key)
  unit <- c(h_worked = "HV", h_soft = "HV", n = "", q_kj_mol = "kJ/mol", k_per_min = "1/min",
            t50_min = "min")
  key$value <- at$value
  key$unit <- unname(unit[key$quantity])
  cov <- estimator_covariance(truth, design)
  key$std.error <- gradient_se(at$gradient, cov)
  half <- design$tolerance * key$std.error
  key$log <- key$quantity %in% c("k_per_min", "t50_min")
  key$lower <- ifelse(key$log, key$value * exp(-half), key$value - half)
  key$upper <- ifelse(key$log, key$value * exp(half), key$value + half)
  key
}

# Values of the key quantities for parameters, and gradients (of logarithms for rates and times).
quantities_of <- function(truth, key) {
  par <- truth$par
  terms <- names(par)
  e <- inverse_temperature(key$temp_c, truth$temp_ref_c)
  value <- unname(par[key$quantity])
  gradient <- matrix(0, nrow(key), length(par), dimnames = list(NULL, terms))
  plain <- which(key$quantity %in% terms)
  gradient[cbind(plain, match(key$quantity[plain], terms))] <- 1
  rate <- which(key$quantity == "k_per_min")
  value[rate] <- exp(par[["ln_k_ref"]] + par[["q_kj_mol"]] * e[rate])
  gradient[rate, "ln_k_ref"] <- 1
  gradient[rate, "q_kj_mol"] <- e[rate]
  half <- which(key$quantity == "t50_min")
  m <- .Call(C_sa_call_time_to, truth$kind, as.double(e[half]), rep(0.5, length(half)), 1L,
             unname(par))
  value[half] <- exp(m[, 1L])
  gradient[half, ] <- m[, -1L]
  list(value = value, gradient = gradient)
}

# Covariance of the least-squares estimator in HV at the true values. Infinite where the schedule
# does not determine the parameters.
estimator_covariance <- function(truth, design) {
  bench <- design$bench
  steps <- bench$steps
  m <- true_hardness(truth, steps$temp_c, steps$time_min)
  jac <- m[bench$row, -1L, drop = FALSE]
  scaled <- jac %*% diag(1 / pmax(sqrt(colSums(jac^2)), 1e-300))
  p <- ncol(jac)
  # below this condition the normal equations of the scaled gradient mean nothing
  if (qr(scaled, tol = 1e-7)$rank < p) return(matrix(Inf, p, p))
  decomposition <- qr(jac, tol = 1e-14)
  solver <- qr.coef(decomposition, diag(nrow(jac)))
  # HV for one point on the dial
  hv <- m[bench$row, 1L]
  dial <- tryCatch(convert_hardness(hv, "HV", bench$scale, bench$material),
                   softanneal_warning_outside = function(w) {
                     abort("range", "the true hardness is outside the conversion table",
                           arg = "parameters", remedy = "Change hardness levels or scale.")
                   })
  slope <- to_vickers(dial, bench$scale, bench$material)$derivative
  sd <- bench$sd
  spread <- function(id, size) {
    # variance of an effect shared by all readings of one id
    s <- solver * rep(size, each = nrow(solver))
    shared <- rowsum(t(s), id)
    crossprod(shared)
  }
  n <- nrow(jac)
  alone <- seq_len(n)
  total <- spread(alone, rep(sd[["reading"]], n)) + spread(bench$row, rep(sd[["step"]], n)) +
    spread(steps$specimen[bench$row], rep(sd[["specimen"]], n)) +
    spread(bench$scale, sd[["machine"]] * slope) +
    spread(alone, bench$resolution / sqrt(12) * slope)
  if (sd[["temp_c"]] > 0) {
    per_c <- hardness_slope(truth, steps, 0.05, 0)[bench$row]
    total <- total + spread(steps$furnace[bench$row], sd[["temp_c"]] * per_c)
  }
  if (sd[["time_min"]] > 0) {
    per_min <- hardness_slope(truth, steps, 0, 1e-3)[bench$row]
    for (k in which(steps$time_min > 0)) { # the error of a step stays in all later ones
      after <- steps$specimen == steps$specimen[k] & steps$time_min >= steps$time_min[k]
      total <- total + spread(rep(1L, n), sd[["time_min"]] * per_min * after[bench$row])
    }
  }
  if (!is.null(bench$operator)) total <- total + spread(bench$operator, sd[["operator"]] * slope)
  total
}

# Change of the true hardness of each step with temperature or time, by a central difference.
hardness_slope <- function(truth, steps, by_c, by_min) {
  at <- function(side) {
    true_hardness(truth, steps$temp_c + side * by_c, pmax(steps$time_min + side * by_min, 0))[, 1L]
  }
  slope <- (at(1) - at(-1)) / (2 * max(by_c, by_min))
  ifelse(steps$time_min > 0, slope, 0)
}

#' @export
print.softanneal_key <- function(x, ..., n = 12L) {
  if (!all(c("group", "quantity", "value", "lower", "upper", "unit") %in% names(x))) {
    print(plain_frame(x), ...)
    return(invisible(x))
  }
  design <- attr(x, "design")
  cat("Answer key of ", count(length(unique(x$group)), "group"),
      "; keep it apart from the class data\n", sep = "")
  if (!is.null(design)) {
    cat("Accepted: true value ", plus_minus(), " ", format(design$tolerance),
        " standard errors of a least-squares fit\n", sep = "")
  }
  shown <- utils::head(plain_frame(x), n)
  print(data.frame(group = shown$group, quantity = shown$quantity,
                   temp_c = ifelse(is.na(shown$temp_c), "", format(shown$temp_c)),
                   value = format_quantity(shown$value, 4L), unit = shown$unit,
                   right = paste(format_quantity(shown$lower, 4L), "to",
                                 format_quantity(shown$upper, 4L))), row.names = FALSE)
  if (nrow(x) > nrow(shown)) cat("... and ", count(nrow(x) - nrow(shown), "more row"), "\n",
                                 sep = "")
  invisible(x)
}
