# What a page is given of a fit, a guess, a metal and a table, for the functions of inst/pages/core-api.js:
# plain lists, which json_text() writes with exact numbers. Vectors stand in I(), so that those of one
# element stay vectors.

# A softening fit with all that its curve and intervals need.
page_fit <- function(fit) {
  check_ungrouped(fit)
  p <- length(fit$par)
  at <- fit$conditions
  after <- at$time_min > 0
  list(
    model = fit$model, growth = fit$readings$growth %or% 0, kind = fit$settings$set$kind,
    terms = I(names(fit$par)), par = I(unname(fit$par)), temp_ref_c = fit$temp_ref_c,
    states = I(unname(fit$states)), limits = unname(fit$limits), fixed = I(unname(fit$settings$set$held)),
    std_error = I(sqrt(unname(diag(fit$vcov)))), conf = unname(wald_limits(fit, fit$level)),
    level = fit$level, df = fit$df_interval, se = fit$se, cov = unname(fit$vcov),
    cov_full = unname(fit$cov_full), cov_null = matrix(fit$cov_null, p, p), errors = page_errors(fit),
    reading_variance = reading_variance(fit), scale = fit$scale,
    material = fit$material, sigma = fit$sigma, deviance = fit$deviance,
    converged = fit$convergence$converged, end = fit$convergence$end,
    conditions = list(temp_c = I(at$temp_c), time_min = I(at$time_min), mean = I(at$mean),
                      weight = I(at$weight)),
    range = list(temp_c = I(range(at$temp_c[after])), time_min = I(range(at$time_min[after]))))
}

# Components of error as api.interval() takes them; NULL for other standard errors.
page_errors <- function(fit) {
  e <- fit$errors
  if (is.null(e)) return(NULL)
  names <- c("y", "x", "g", "noise", "share", "piece", "furnace", "first", "first_column", "is_furnace",
             "factor")
  vector <- function(x) if (is.null(x) || is.matrix(x)) unname(x) else I(x)
  list(problems = lapply(e$problems, function(one) {
    c(stats::setNames(lapply(one, vector), names), columns = ncol(one[[2L]]))
  }), prior = unname(e$prior), free = I(e$free - 1L), sd_reading = e$steps$sd_reading,
  furnace_scale2 = if (is.null(e$stated)) 1 else mean(e$steps$scale[e$steps$time > 0]^2),
  operators = !is.null(e$steps$share))
}

# Points of the curves between the scales of a table, by "FROM>TO".
page_tables <- function(material) {
  table <- table_of(material)
  scales <- colnames(table$value)
  pairs <- list()
  for (i in seq_along(scales)) for (j in seq_along(scales)[-i]) {
    points <- tryCatch(pair_points(table, i, j), softanneal_error_scale = function(e) NULL)
    if (is.null(points)) next
    pairs[[paste0(scales[i], ">", scales[j])]] <- list(x = I(as.double(points[[1L]])),
                                                       y = I(as.double(points[[2L]])))
  }
  list(material = material, scales = I(scales), pairs = pairs)
}

# A metal for api.heat().
page_metal <- function(alloy) {
  alloy <- as_material(alloy)
  alloy[c("material", "density_kg_m3", "heat_j_kgk", "heat_slope_j_kgk2", "heat_at_c", "emissivity",
          "solidus_c")]
}

# A guess for api.planValue() and api.nextStep().
page_guess <- function(guess) {
  list(model = guess$model, par = I(unname(guess$par)), draws = unname(guess$draws),
       temp_ref_c = guess$temp_ref_c, estimated = I(as.integer(guess$estimated)),
       sd_reading = guess$sd_reading, sd_step = guess$sd_step, scale = guess$scale)
}

# What api.curveInterval() asks the likelihood with, where something is open (curve_limits()); NULL else.
page_likelihood <- function(fit, level) {
  if (!needs_likelihood(fit) || by_components(fit)) return(NULL)
  span <- abs(fit$par[["h_worked"]] - fit$par[["h_soft"]])
  set <- fit$settings$set[c("kind", "lower", "upper", "natural", "held")]
  at <- fit$conditions
  read <- lapply(different_temperatures(at$temp_c[at$time_min > 0]), function(t) {
    c(t, range(at$time_min[at$time_min > 0 & abs(at$temp_c - t) < 1e-6]))
  })
  list(read = read,
       conditions = typed_parts(likelihood_conditions(fit, level)), setup = typed_parts(lapply(set, unname)),
       threshold = likelihood_threshold(fit, level), misfit = fit$lack_of_fit$misfit, flat_rise = FLAT_RISE,
       flat_span = FLAT_SPAN, quarter = QUARTER, leans = LEANS, span = span,
       narrow = NARROW[["hardness"]] * span,
       t = interval_t(fit, level), own = interval_t(fit, level) * sqrt(reading_variance(fit)))
}

# Parts of a compiled call with their types, which JSON does not tell.
typed_parts <- function(x) {
  if (is.null(x)) return(list(type = "none"))
  if (is.list(x)) {
    return(list(type = "list", names = if (!is.null(names(x))) I(names(x)),
                value = unname(lapply(x, typed_parts))))
  }
  if (is.matrix(x)) {
    return(list(type = "matrix", columns = ncol(x), value = lapply(seq_len(nrow(x)), \(i) I(unname(x[i, ])))))
  }
  list(type = if (is.integer(x)) "integer" else "number", value = I(unname(x)))
}
