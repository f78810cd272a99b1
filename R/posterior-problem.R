# From a fit under components of error and a prior to what the compiled density takes (src/posterior.h):
# beliefs
# as numbers, bounds, which standard deviations are unknown, furnace runs.

# Numbers of the forms in C, and their two numbers as C takes them.
belief_numbers <- function(form, a, b) {
  kind <- match(form, names(PRIOR_FORMS)) - 1
  switch(form, lognormal = c(kind, log(a), log(b)), fixed = c(kind, 0, b), flat = c(kind, 0, 1),
         "half-normal" = c(kind, 0, b), c(kind, a, b))
}

# Energy that goes with each rate.
energy_of <- function(rate) ifelse(rate == "ln_k_ref", "q_kj_mol", sub("^ln_k_(.*)$", "q_\\1_kj_mol", rate))

# The coefficients by which a term at another reference temperature is a sum of terms of the fit.
term_at <- function(term, terms, temp_c, ref_c) {
  out <- as.double(terms == term)
  if (is_rate(term)) out[terms == energy_of(term)] <- inverse_temperature(temp_c, ref_c)
  out
}

posterior_problem <- function(fit, prior) {
  e <- fit$errors
  set <- fit$settings$set
  terms <- set$terms
  table <- prior$table
  check_joint(prior$joint, fit)
  rows <- table[!table$quantity %in% names(PRIOR_SDS), ]
  check_quantities(c(rows$quantity, names(prior$joint$mean)), fit)
  lower <- set$lower
  upper <- set$upper
  par <- unname(fit$par)
  p <- length(terms)
  belief <- matrix(c(1, 0, 1), 3L, p)
  said <- match(terms, rows$quantity)
  fixed <- set$held != 0L & !(terms %in% set$no_energy & (!is.na(said) | terms %in% names(prior$joint$mean)))
  belief[, fixed] <- 0
  linear <- mean <- sd <- NULL
  for (j in which(!is.na(said))) {
    row <- rows[said[j], ]
    if (terms[j] == "ln_k_ref") {
      linear <- cbind(linear, term_at("ln_k_ref", terms, prior$rate_temp_c, fit$temp_ref_c))
      mean <- row$a
      sd <- row$b
      next
    }
    belief[, j] <- belief_numbers(row$form, row$a, row$b)
    if (row$form == "flat") {
      lower[j] <- max(lower[j], row$a)
      upper[j] <- min(upper[j], row$b)
    }
    if (row$form == "fixed") par[j] <- row$b
    if (row$form == "lognormal") lower[j] <- max(lower[j], 0)
    outside <- lower[j] >= upper[j] || (row$form == "fixed" && (par[j] < lower[j] || par[j] > upper[j])) ||
      (row$form %in% c("normal", "lognormal") && is_outside(row$a, c(lower[j], upper[j])))
    if (outside) {
      abort("range", paste0("the belief of `", terms[j], "` lies outside the bounds of the model, ",
                            format(signif(set$lower[j], 4)), " to ", format(signif(set$upper[j], 4))),
            arg = "prior", remedy = "Check the numbers and their units.")
    }
    if (row$form != "fixed") par[j] <- start_within(par[j], row, lower[j], upper[j])
  }
  if (!is.null(prior$joint)) {
    known <- names(prior$joint$mean)
    root <- solve(t(chol(prior$joint$cov))) # root times the difference has covariance 1
    a <- vapply(known, term_at, numeric(p), terms = terms, temp_c = prior$joint$temp_ref_c,
                ref_c = fit$temp_ref_c)
    linear <- cbind(linear, a %*% t(root))
    mean <- c(mean, drop(root %*% prior$joint$mean))
    sd <- c(sd, rep(1, length(known)))
    open <- match(intersect(known, set$no_energy), terms)
    par[open] <- prior$joint$mean[terms[open]]
  }
  hour <- rows[rows$quantity == "recryst_1h_c", ]
  hour <- if (nrow(hour)) c(hour$a + ZERO_CELSIUS, hour$b, COMPLETE_FRACTION, 60) else numeric()
  s <- error_beliefs(fit, table)
  runs <- posterior_runs(e$steps)
  n <- length(e$steps$mean)
  replicated <- is.finite(e$steps$sd_reading)
  o <- e$structure$order
  setup <- list(set$kind, lower, upper, set$natural, set$held)
  c(s[c("table", "presence", "scale")], list(
    terms = terms, par = par, fixed = fixed | belief[1L,
                                                     ] == 0, lower = lower, upper = upper, runs = runs$labels,
    run_scale = runs$scale,
    fit = list(e$input, setup, fit$readings$ref_k, e$form, e$errors),
    prior = list(belief = belief, sd = s$belief, fixed = par,
                 per_reading = if (replicated) 1 / e$steps$weight[o] else numeric(n),
                 least = (1e-7 * max(abs(e$steps$mean)))^2,
                 df_reading = if (replicated) e$steps$df_reading + 0 else 0,
                 ss_reading = if (replicated) e$steps$df_reading * e$steps$sd_reading^2 else 0,
                 linear = as.double(linear %or% numeric()), linear_mean = as.double(mean %or% numeric()),
                 linear_sd = as.double(sd %or% numeric()), hour = as.double(hour), run = runs$run,
                 runs = as.double(length(runs$labels))),
    start_sd = s$start))
}

# Levels believed in HV, by prior_brass(), in the scale of the fit.
in_scale_of_fit <- function(table, fit) {
  rows <- which(table$unit == "HV" & is_level(table$quantity))
  if (!length(rows) || fit$scale == "HV") return(table)
  words <- paste0("the prior holds ", in_quotes(table$quantity[rows], " and "), " in HV, and the fit is ")
  if (!is.null(property_of(fit))) {
    abort("scale", paste0(words, "of ", property_word(fit)), arg = "prior",
          remedy = "Say what is believed of them in the unit of the fit: prior_brass(h_worked = , ...).")
  }
  middle <- table$a[rows]
  ends <- suppressWarnings(convert_hardness(c(middle, middle - table$b[rows], middle + table$b[rows]), "HV",
                                            fit$scale, if (is.na(fit$material)) "brass" else fit$material),
                           classes = "softanneal_warning")
  ends <- matrix(ends, ncol = 3L)
  if (anyNA(ends)) {
    abort("scale", paste0(words, "in ", fit$scale, ", which the conversion table does not reach"),
          arg = "prior",
          remedy = "Say what is believed of these levels in the scale of the fit, or fit in HV.")
  }
  table$a[rows] <- ends[, 1L]
  table$b[rows] <- (ends[, 3L] - ends[, 2L]) / 2
  table$unit[rows] <- fit$scale
  table
}

# An earlier fit speaks of a later one in the same scale, with the same meaning of rate and exponent.
check_joint <- function(joint, fit) {
  if (is.null(joint) || is.null(joint$model)) return(invisible()) # saved by an earlier version
  shape <- function(model) register()$models$line[[match(model, model_names())]]
  if (joint$scale != fit$scale) {
    abort("scale", paste0("`from` of the prior is in ", joint$scale, ", and the fit in ", fit$scale),
          arg = "prior", remedy = "Fit both in one scale.")
  }
  if (shape(joint$model) != shape(fit$model)) {
    abort("model", paste0("`from` of the prior has model '", joint$model, "', whose rate and exponent mean ",
                          "something else in '", fit$model, "'"), arg = "prior",
          remedy = "Fit both with one model.")
  }
}

COMPLETE_FRACTION <- 0.99 # as COMPLETE of plan_guess()

# A start that the belief can stand: the estimate where it lies within three spreads, else the middle.
start_within <- function(x, row, lower, upper) {
  ends <- switch(row$form, normal = row$a + c(-3, 3) * row$b, lognormal = row$a * row$b^c(-3, 3),
                 "half-normal" = c(0, 3 * row$b), c(lower, upper))
  if (x > ends[1L] && x < ends[2L]) return(x)
  middle <- switch(row$form, normal = , lognormal = row$a, mean(ends))
  min(max(middle, lower), upper)
}

check_quantities <- function(quantities, fit) {
  terms <- names(fit$par)
  odd <- setdiff(quantities, c(terms, "recryst_1h_c"))
  if (length(odd)) {
    abort("argument", paste0("the prior speaks of ", in_quotes(odd, " and "), ", which model '", fit$model,
                             "' has not"), arg = "prior",
          remedy = paste0("Its parameters are ", in_quotes(terms, " and "), "."))
  }
  held <- intersect(quantities, setdiff(terms[fit$settings$set$held != 0L], fit$settings$set$no_energy))
  if (length(held)) {
    abort("argument", paste0("the prior speaks of ", in_quotes(held, " and "), ", which is fixed in the fit"),
          arg = "prior", remedy = "Leave one of them out.")
  }
  if ("recryst_1h_c" %in% quantities && sum(base_term(terms) == "n") > 1L) {
    abort("model", "a temperature for one hour needs one exponent for all temperatures", arg = "prior",
          remedy = "Say what is believed of `ln_k_ref`.")
  }
}

# Standard deviations: which are there, as C takes them, and where their draws start.
error_beliefs <- function(fit, table) {
  e <- fit$errors
  steps <- e$steps
  replicated <- is.finite(steps$sd_reading)
  runs <- posterior_runs(steps)$labels
  presence <- c(length(runs) > 0L, any(e$structure$piece >= 0L), TRUE, !is.null(steps$share), replicated)
  rows <- table[match(names(PRIOR_SDS), table$quantity), ]
  default <- rows$source == "default"
  if (fit$scale != "HV") {
    drop <- abs(fit$par[["h_worked"]] - fit$par[["h_soft"]])
    own <- default & !is.na(PRIOR_SHARES)
    rows$b[own] <- PRIOR_SHARES[own] * drop
    rows$unit[own] <- fit$scale
  }
  scale <- 1
  if (!is.null(e$stated)) {
    if (!default[1L]) {
      abort("argument", "`sd_furnace_c` is believed in the prior and stated in the fit by `u_temp_c`",
            arg = "prior",
            remedy = "Leave one of them out.")
    }
    scale <- sqrt(mean(steps$scale[steps$time > 0]^2))
    rows[1L, c("source", "how_got")] <- c("u_temp_c of the fit", "stated")
    rows[1L, c("form", "a", "b")] <- if (isTRUE(e$exact) || scale == 0) list("fixed", NA, 1) else {
      list("lognormal", 1, exp(STATED_WIDTH))
    }
  }
  belief <- vapply(seq_along(presence), function(k) {
    if (!presence[k]) return(c(0, 0, 0))
    belief_numbers(rows$form[k], rows$a[k], rows$b[k])
  }, numeric(3L))
  found <- c(unname(e$sd[, "estimate"]), if (replicated) steps$sd_reading else 0)
  usual <- ifelse(rows$form == "lognormal", rows$a, ifelse(rows$form == "flat", 0.5 * (rows$a + rows$b),
                                                           0.5 * rows$b))
  if (any(presence & rows$form == "flat")) {
    abort("argument", "a standard deviation of errors cannot be flat", arg = "prior",
          remedy = "Say c(scale = ) or c(median = , factor = ).")
  }
  start <- ifelse(is.finite(found) & found > 0.05 * usual, found, usual)
  rows$a[1L] <- rows$a[1L] * scale
  if (rows$form[1L] != "lognormal") rows$b[1L] <- rows$b[1L] * scale
  list(table = rows[presence, ], presence = presence, scale = scale, belief = as.double(belief),
       start = as.double(ifelse(presence, start, 1)))
}

# Furnace runs that annealed anything, for each step in order of conditions; the as-rolled steps have none.
posterior_runs <- function(steps) {
  after <- steps$time > 0 & steps$scale > 0
  used <- sort(unique(steps$run[after]))
  run <- match(steps$run, used) - 1L
  run[!after | is.na(run)] <- -1L
  first <- match(used, ifelse(after, steps$run, NA))
  if (length(used) > MOST_RUNS) {
    abort("model", paste0("there are ", length(used), " furnace runs, and a posterior takes ", MOST_RUNS,
                          " at most"),
          arg = "data", remedy = "Fit parts of the data, and pool them with pool_fits().")
  }
  list(run = as.integer(run), labels = as.character(steps$runs[used]), scale = steps$scale[first])
}

# Twin: SA_MOST_FURNACES in src/posterior.h.
MOST_RUNS <- 64L

# ln density, gradient and values at unknowns (columns of `u`), without the shear of the sampler.
posterior_density <- function(problem, u) {
  .Call(C_sa_call_posterior_density, problem$fit, problem$prior, as.double(u))
}
