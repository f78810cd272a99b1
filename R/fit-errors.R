# Components of error of a softening fit: specimens, furnace temperatures, operators, steps, readings.
# The design of the errors is read from the labels of the readings; estimates, modes and intervals
# are C (src/mixed.c, src/components.c).

# Scales of the weak priors (half-Cauchy): K; hardness in HV, or as a share of the softening.
PRIOR_FURNACE_K <- 2
PRIOR_HARDNESS_HV <- 2
PRIOR_HARDNESS_SHARE <- 0.025
PRIOR_CUT <- 20 # times the scale
UNSEEN_FURNACE_K <- 2 # half-normal, where the readings cannot show it
STATED_WIDTH <- 0.5 # sd of the logarithm of a stated u_temp_c
FEW_RUNS <- 3L

# Steps: one specimen at one accumulated time. `r` as from run_softening(); clusters without weight
# are left out.
error_steps <- function(r, d) {
  w <- if (is.null(d$weights)) rep(1, d$n) else d$weights
  step <- r$cluster_of + 1L
  total <- rowsum(w, step)[, 1L]
  keep <- which(total > 0)
  condition <- r$first_of[keep] + 1L
  mean <- rowsum(w * d$hardness, step)[, 1L] / total
  first <- match(keep, step)
  time <- r$time[condition]
  coupons <- is.null(d$specimen)
  piece <- if (coupons) keep else d$specimen_id[first]
  run <- error_runs(d, first, time, piece, r$temp_k[condition])
  share <- NULL
  within <- step
  if (!is.null(d$operator) && length(unique(d$operator)) > 1L) {
    id <- match(d$operator, unique(d$operator))
    share <- vapply(seq_len(max(id)), function(k) rowsum(w * (id == k), step)[keep, 1L] / total[keep],
                    numeric(length(keep)))
    share <- matrix(share, length(keep), dimnames = list(NULL, as.character(unique(d$operator))))
    within <- as.integer(factor(paste(step, id)))
  }
  # readings against the mean of their step (and operator)
  used <- w > 0 & is_reading(d) # limits have no scatter
  centre <- rowsum((w * d$hardness)[used], within[used])[, 1L] / rowsum(w[used], within[used])[, 1L]
  df_reading <- sum(used) - length(unique(within[used]))
  squares <- sum((w * (d$hardness - centre[as.character(within)])^2)[used])
  list(keep = keep, key = r$temp_k[condition], time = time, mean = unname(mean[keep]),
       weight = unname(total[keep]), condition = condition, strain = r$strain[condition],
       piece = piece, run = run$run, insertion = run$insertion, runs = run$labels,
       assumed = run$assumed, scale = run$scale, coupons = coupons, share = share,
       df_reading = df_reading,
       sd_reading = if (df_reading > 0L) sqrt(squares / df_reading) else NA_real_,
       label = if (coupons) NULL else d$specimen[first])
}

# Priors of the standard deviations, and which of them REML estimates.
error_priors <- function(steps, structure, d, drop) {
  hv <- max(PRIOR_HARDNESS_SHARE * drop, if (d$scale == "HV") PRIOR_HARDNESS_HV else 1e-6)
  visible <- length(steps$runs) >= FEW_RUNS
  zero <- prior_row("fixed", 0)
  furnace <- if (!is.null(d$u_temp)) {
    if (isTRUE(d$u_temp_exact) || all(steps$scale == 0)) prior_row("fixed", 1) else {
      prior_row("log_normal", 1, width = STATED_WIDTH, nodes = 8)
    }
  } else if (visible) {
    prior_row("half_cauchy", PRIOR_FURNACE_K, PRIOR_CUT * PRIOR_FURNACE_K, nodes = 8)
  } else prior_row("half_normal", UNSEEN_FURNACE_K, nodes = 8)
  pieces <- any(structure$piece >= 0L)
  operators <- !is.null(steps$share)
  hardness <- prior_row("half_cauchy", hv, PRIOR_CUT * hv)
  prior <- rbind(furnace, if (pieces) hardness else zero, hardness,
                 if (operators) replace(hardness, 5L, 8) else zero)
  rownames(prior) <- ERROR_COMPONENTS
  # where REML does not estimate the furnace it stands at the middle of its prior
  start <- c(if (!is.null(d$u_temp)) 1 else if (visible) 0.5 * PRIOR_FURNACE_K else {
    stats::qnorm(0.75) * UNSEEN_FURNACE_K
  }, if (pieces) 0.5 * hv else 0, 0.5 * hv, if (operators) 0.5 * hv else 0)
  list(prior = prior, start = start,
       estimated = c(is.null(d$u_temp) && visible, pieces, TRUE, operators), visible = visible)
}

# The fit under components: `fit` is that of least squares, `r` its compiled result before equivalent
# times. Returns the description of the errors and the estimate, or NULL where nothing is left to
# estimate a variance from.
fit_components <- function(r, d, set, level) {
  steps <- error_steps(r, d)
  n <- length(steps$mean)
  if (n <= length(set$terms) - sum(set$held)) return(NULL)
  structure <- error_structure(steps$piece, steps$run, share = steps$share)
  drop <- abs(r$par[1L] - r$par[2L])
  p <- error_priors(steps, structure, d, drop)
  o <- structure$order
  least <- (1e-7 * max(abs(steps$mean)))^2 # exact readings have no scatter
  replicated <- is.finite(steps$sd_reading)
  noise <- rep(least, n) + if (replicated) steps$sd_reading^2 / steps$weight else 0
  factor <- if (replicated) rep(1, n) else mean(steps$weight) / steps$weight
  errors <- list(noise[o], factor[o], steps$scale[o], as.double(p$start^2),
                 as.integer(p$estimated))
  input <- list(steps$key, as.double(steps$time), steps$mean, NULL, d$history,
                if (!is.null(d$strain_ln)) steps$strain, d$exponent_k)
  form <- list(as.integer(o - 1L), structure$piece, structure$furnace, structure$first,
               structure$first_column, structure$is_furnace, structure$share)
  if (!is.null(form[[7L]])) form[[7L]] <- structure$share[o, , drop = FALSE]
  m <- run_mixed(input, set, d$ref_k, r$par, form, errors)
  held <- NULL
  if (m$counts[1L] > 1L && m$counts[1L] != 5L) { # what the readings leave open stays
    held <- r$state >= 2L
    if (all(set$held != 0L | held)) return(NULL)
    m <- run_mixed(input, set, d$ref_k, r$par, form, errors, held, settle = TRUE)
    if (m$counts[1L] > 1L && m$counts[1L] != 5L) return(NULL)
  }
  if (!is.null(d$limits)) {
    settled <- settle_limits(d, r, steps, structure, input, errors, m, least, function(input, par, errors) {
      run_mixed(input, set, d$ref_k, par, form, errors, held)
    })
    if (is.null(settled)) return(NULL)
    steps <- settled$steps
    errors <- settled$errors
    input <- settled$input
    m <- settled$m
    noise <- errors[[1L]][order(o)]
    factor <- errors[[2L]][order(o)]
  }
  names(m$variance) <- ERROR_COMPONENTS
  problems <- list(components_structure(structure, m, noise, factor, steps))
  run <- steps$run[steps$time > 0]
  time <- steps$time[steps$time > 0]
  if (any(time != time[match(run, run)])) { # several insertions of a run
    block <- match(seq_len(n), o)
    block <- findInterval(block - 1L, structure$first)
    other <- error_structure(steps$piece, steps$run, steps$insertion, "insertion", steps$share, block)
    problems[[2L]] <- components_structure(other, m, noise, factor, steps, o)
  }
  out <- list(m = m, steps = steps, structure = structure, prior = p$prior, estimated = p$estimated,
              visible = p$visible, stated = d$u_temp, exact = isTRUE(d$u_temp_exact),
              problems = problems, free = m$place, input = input, form = form, errors = errors,
              held = held, loading = r$loading)
  if (!is.null(d$limits)) out$readings <- settled$d
  out$errors[[4L]] <- unname(m$variance)
  out
}

# `settle`: what is held because the readings leave it open stands where a solver stopped in a flat valley,
# and is first put to a place that depends on the readings alone.
run_mixed <- function(input, set, ref_k, par, form, errors, held = NULL, settle = FALSE) {
  stay <- set$held
  if (!is.null(held)) stay <- as.integer(stay != 0L | held)
  open <- if (settle) as.integer(held & set$held == 0L)
  .Call(C_sa_call_mixed, input, list(set$kind, set$lower, set$upper, set$natural, stay, open), ref_k, par,
        form, errors)
}

# The linear model at the estimate under a structure: its rows stand in the order of the first one.
components_structure <- function(structure, m, noise, factor, steps, order = structure$order) {
  back <- order(order) # from the order of blocks to that of the steps
  components_problem(structure, m$y[back], m$x[back, , drop = FALSE], m$g[back], noise, factor)
}

SE_CHOICES <- c("components", "cluster", "steps", "model")

# A column of labels that is used where it is there; `name` its default, `other` another one.
label_column <- function(data, column, name, other = name) {
  if (is.null(column)) return(NULL)
  if (column == name && !column %in% names(data)) column <- other
  if (!column %in% names(data) && column %in% c(name, other)) return(NULL)
  any_column(data, column)
}

with_furnace_uncertainty <- function(d, u_temp_c, u_temp_exact) {
  u <- check_u_temp(u_temp_c)
  exact <- check_flag(u_temp_exact, "u_temp_exact")
  if (exact && is.null(u)) {
    abort("argument", "`u_temp_exact` is given without `u_temp_c`", arg = "u_temp_exact",
          remedy = "State the standard uncertainty of the furnace temperature too.")
  }
  if (!is.null(u)) d$u_temp <- u
  if (exact) d$u_temp_exact <- TRUE
  d
}

# What least squares left, moved to other parameters: fitted values, derivatives, sums.
at_estimate <- function(r, par, d, set, control) {
  moved <- run_softening(d, set, control, par, rep(1L, length(par)))
  for (field in c("par", "jac", "fitted")) r[[field]] <- moved[[field]]
  parts <- c("objective", "pure_error", "between")
  r$sums[parts] <- moved$sums[parts]
  r
}

# The fit with its description of errors: estimates, intervals, states under the covariance.
with_components <- function(fit, errors) {
  p <- length(fit$par)
  if (is.null(errors)) {
    fit$vcov[, ] <- fit$cov_full[, ] <- NA_real_
    fit$df_interval <- NA_real_
    return(fit)
  }
  s <- components_summary(errors, p, fit$level)
  terms <- names(fit$par)
  errors$sd <- s$sd
  fit <- components_states(fit, errors, s)
  dimnames(s$vcov) <- list(terms, terms)
  fit$cov_full <- fit$vcov <- s$vcov
  lost <- fit$states != "determined"
  fit$vcov[lost, ] <- fit$vcov[, lost] <- NA_real_
  fit$df_interval <- s$df
  errors$quantile <- s$quantile
  errors$furnace_structure <- s$structure
  errors[names(s$modes)] <- s$modes # at the middle of the standard deviations, which is never zero
  fit$errors <- errors
  fit
}

# Half-seen curves: profiles with the covariance fixed, cut where the marginalised interval of each
# parameter ends on the scale of its standard error. Where least squares leave nothing open the profiles
# count only if the readings see the energy from one side, or the soft level at one temperature only, and
# the valley is bent.
components_states <- function(fit, errors, s) {
  if (is.null(s$quantile)) return(fit)
  settled <- fit$states %in% c("determined", "fixed")
  lost <- setdiff(which(fit$settings$set$held == 0L), errors$free) # stopped at a bound under components
  settled[lost] <- FALSE
  limited <- !is.null(fit$readings$limits) # plateaus are then known from one side
  if (all(settled) && !limited && !any(has_ends(fit)) && !one_sided(fit) && !soft_once(fit)) return(fit)
  errors$nodes <- s$nodes # known from the summary
  r <- components_profile(fit, errors, fit$level)
  if (all(settled) && all(r$states %in% c("determined", "fixed")) && !is_bent(fit, r)) {
    fit$limits[, ] <- NA_real_
    return(fit)
  }
  fit$states[] <- r$states
  fit$limits[, ] <- r$limits
  fit
}

# Is softening over at the first reading of some temperature, or under way at fewer than two? Twin:
# one_sided() in src/profile.c.
one_sided <- function(fit) {
  if (fit$states[["q_kj_mol"]] == "fixed") return(FALSE)
  p <- progress(fit)
  if (!is.null(fit$readings$history) || !is.null(fit$conditions$strain) || is.null(p)) return(TRUE)
  any(p$first > OVER, na.rm = TRUE) || sum(p$last > IDLE & p$first < OVER, na.rm = TRUE) < 2L
}

# Does the profile of the energy, of the rate or of the soft level end much farther out than the line with the
# same covariance says?
BENT <- 1.5
is_bent <- function(fit, profile) {
  at <- match(c("h_soft", "ln_k_ref", "q_kj_mol"), names(fit$par))
  far <- abs(profile$limits - fit$par)[at, , drop = FALSE] / profile$line[at]
  any(far > BENT, na.rm = TRUE)
}

# The errors of a likelihood of answers, with the standard deviations of effective_sds().
likelihood_errors <- function(fit, level, errors = fit$errors) {
  out <- errors$errors
  out[[4L]] <- effective_sds(fit, level, errors)^2
  c(out, list(errors$m$g, errors$m$mode))
}

# Standard deviations with which a normal error has the interval, at this level, of one whose standard
# deviation is known by its nodes only: profiles that rise by the squared normal quantile then end where
# the marginalised intervals do. With an energy that the readings leave open what they say of the furnace
# is that of an arbitrary energy: it stands at its prior.
effective_sds <- function(fit, level, errors = fit$errors) {
  r <- errors$nodes
  if (is.null(r)) {
    r <- components_grid(errors$problems, errors$prior, diag(length(errors$free))[0L, , drop = FALSE],
                         numeric())
  }
  p <- 0.5 + level / 2
  of_nodes <- function(sd, weight) {
    if (max(sd) <= 0 || diff(range(sd)) <= 1e-9 * max(sd)) return(max(sd))
    each <- unique(sd) # the nodes of one standard deviation repeat with those of the others
    weight <- rowsum(weight, match(sd, each))[, 1L] / sum(weight)
    sd <- each
    stats::uniroot(function(x) sum(weight * stats::pnorm(exp(x) / sd)) - p,
                   log(range(sd[sd > 0]) * stats::qnorm(p) * c(0.5, 2)), tol = 1e-8)$root |>
      exp() / stats::qnorm(p)
  }
  out <- vapply(seq_len(4L), function(k) of_nodes(r$sd[, k], r$weight), 0)
  if (is_open(fit)[match("q_kj_mol", names(fit$par))]) {
    nodes <- prior_nodes(errors$prior[1L, ])
    out[1L] <- of_nodes(nodes, rep(1, length(nodes)))
  }
  out
}

components_profile <- function(fit, errors, level) {
  p <- length(fit$par)
  rise <- rep(stats::qnorm(0.5 + level / 2)^2, p)
  set <- fit$settings$set
  r <- .Call(C_sa_call_mixed_profile, errors$input,
             list(set$kind, set$lower, set$upper, set$natural, set$held), fit$readings$ref_k,
             unname(fit$par), errors$form, likelihood_errors(fit, level, errors),
             list(errors$m$g, errors$m$mode, errors$loading), rise)
  list(states = parameter_states(r[[1L]]),
       limits = matrix(r[[2L]], p, 2L, byrow = TRUE,
                       dimnames = list(names(fit$par), c("lower", "upper"))),
       line = r[[3L]])
}
