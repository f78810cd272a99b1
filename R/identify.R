# What the readings say about each parameter, why, and which readings would settle it. The
# states and ends come from the profile likelihood and the singular values of the scaled
# Jacobian (src/inference.c); the advice compares the two ends of what is still possible.

#' What the readings determine
#'
#' For each parameter of a softening fit: whether the readings determine it, bound it from one side, or
#' do not determine it; the ends of its profile likelihood; the reason in plain words; and the
#' most informative next reading.
#'
#' The most informative reading is found by comparing the two ends of what the readings
#' still allow: the model with the parameter at either end of its profile (without a limit: the
#' search limit) and all others refitted. The temperature and time at which the two
#' curves differ most is reported. Where they differ by
#' less than two standard deviations of a reading, one reading will not settle it, which is
#' reported.
#'
#' @param fit A fit of [fit_softening()].
#' @param level Level of the profile limits.
#' @param temp_c,time_min Temperatures in degrees Celsius and times in min among which a reading
#'   is sought; by default a grid over, and somewhat around, those read.
#' @param ... Must be empty.
#' @return A data frame of class `softanneal_identifiability`, one row per parameter: `term`,
#'   `estimate`, `state` (`"determined"`, `"fixed"`, `"at lower bound"`, `"at upper bound"`,
#'   `"only an upper limit"`, `"only a lower limit"`, `"not determined"`), `conf.low`, `conf.high` (ends
#'   of the profile, infinite where open), `reason`, `advice`. Attributes: `singular`, the
#'   singular values of the column-scaled Jacobian, and `condition`, their ratio.
#' @section Errors: `softanneal_error_argument`, and `softanneal_error_model` for a fit with Huber
#'   loss, which has no profile likelihood.
#' @source Bates D M, Watts D G (1988) Nonlinear Regression Analysis and Its Applications
#'   \doi{10.1002/9780470316757}, chapter 6 (profiles); Belsley D A, Kuh E, Welsch R E (1980) Regression
#'   Diagnostics \doi{10.1002/0471725153} (scaled singular values).
#' @seealso [fit_softening()], [softening-inference], [improve_plan()], [compare_models()]
#' @examples
#' # Two temperatures, the hotter one finished before its first reading
#' readings <- example_data("bellbrass_readings")
#' two <- readings[readings$temp_c %in% c(330, 410), ]
#' fit <- suppressWarnings(fit_softening(two))
#' identifiability(fit)
#' @export
identifiability <- function(fit, ..., level = 0.95, temp_c = NULL, time_min = NULL) {
  check_dots_empty(...)
  check_softening(fit)
  level <- check_level(level)
  if (fit$loss == "huber") {
    abort("model", "a fit with Huber loss has no profile likelihood", arg = "fit",
          remedy = "Fit with loss = \"squares\".")
  }
  terms <- names(fit$coefficients)
  r <- run_softening(fit$readings, fit$settings$set, control_vector(fit$settings$control, "squares"),
                     unname(fit$par), level = level, clusters = fit$se != "model", every = TRUE)
  limits <- t(r$limit)
  if (!is.null(fit$errors)) limits <- profile_limits(fit, terms, level)
  candidates <- candidate_readings(fit, temp_c, time_min)
  states <- stats::setNames(parameter_states(r$state), terms)
  if (!is.null(fit$errors)) states <- fit_states(fit, level)
  asked <- !states %in% c("determined", "fixed")
  out <- data.frame(term = terms, estimate = unname(fit$coefficients), state = unname(states),
                    conf.low = unname(limits[, 1L]), conf.high = unname(limits[, 2L]), reason = "",
                    advice = "")
  out$conf.low[states == "fixed"] <- out$conf.high[states == "fixed"] <- NA_real_
  for (k in seq_along(terms)) {
    out$reason[k] <- in_property(reason_for(fit, terms[k], states[[k]]), fit)
    if (asked[k]) out$advice[k] <- advice_for(fit, r$ends[, 2L * k - 1:0], candidates)
  }
  singular <- sort(fit$singular[fit$singular > 0], decreasing = TRUE)
  attr(out, "property") <- property_of(fit)
  structure(out, singular = singular, level = level, scale = fit$scale,
            condition = if (length(singular)) singular[1L] / singular[length(singular)] else NA_real_,
            class = c("softanneal_identifiability", "data.frame"))
}

# States of a fit under components of error at a level of the profile.
fit_states <- function(fit, level) {
  if (level == fit$level) return(fit$states)
  stats::setNames(components_profile(fit, fit$errors, level)$states, names(fit$states))
}

candidate_readings <- function(fit, temp_c, time_min) {
  at <- fit$conditions
  after <- at$time_min > 0
  temp_c <- if (is.null(temp_c)) {
    read <- range(at$temp_c[after])
    room <- max(diff(read) * 0.25, 20)
    seq(read[1L] - room, read[2L] + room, length.out = 13L)
  } else check_temperature(temp_c, "temp_c")
  time_min <- if (is.null(time_min)) {
    read <- range(at$time_min[after])
    exp(seq(log(read[1L] / 4), log(read[2L] * 2), length.out = 25L))
  } else check_numeric(time_min, "time_min", 0, open = TRUE)
  if (length(fit$settings$set$no_energy)) temp_c <- fit$temp_ref_c
  if (!is.null(fit$readings$exponent_k)) temp_c <- fit$readings$exponent_k - ZERO_CELSIUS
  grid <- list(temp_c = temp_c, time_min = time_min)
  grid$strain <- check_strain(fit, NULL)
  expand.grid(grid, KEEP.OUT.ATTRS = FALSE)
}

# Why the amplitude, the rate and the energy of a process are not known.
UNSEEN_PROCESS <- c(
  recovery = paste("While recovery is slow only the product of its amplitude and rate shows;",
                   "or there is no recovery to see."),
  hardening = paste("The hardening shows only in readings taken while it is under way, before the",
                    "metal softens; or there is none to see."),
  growth = paste("While grains have grown little only the product of the fall and its rate shows;",
                 "or there is no growth to see."))

reason_for <- function(fit, term, state) {
  if (state == "determined") return("The readings determine it.")
  if (state == "fixed") {
    return(if (term %in% fit$settings$set$no_energy) {
      "All readings are at one temperature: no activation energy can be estimated."
    } else "It is fixed by the call.")
  }
  p <- progress(fit)
  over <- unique(p$temp_c[which(p$first > OVER)])
  idle <- unique(p$temp_c[which(p$last < IDLE)])
  mean <- fit$conditions$mean
  if (all(is.na(c(p$first, p$last))) || diff(range(mean)) <= 1e-9 * max(abs(mean))) {
    return("The hardness does not change: there is no softening to see.")
  }
  process <- term_process(term)
  rate <- process == "recrystallisation" && (is_rate(term) || is_energy(term))
  if (rate && length(over)) {
    return(paste0("Softening at ", paste(temperature_label(over), collapse = ", "),
                  " was over before the first reading, so only a lower limit of the rate is known there."))
  }
  if (rate && length(idle)) {
    return(paste0("Softening at ", paste(temperature_label(idle), collapse = ", "),
                  " had not begun at the last reading, so only an upper limit of the rate is known there."))
  }
  if (term == "k_strain") {
    return("Softening is under way at too few strains to determine how the rate depends on strain.")
  }
  if (process %in% names(UNSEEN_PROCESS)) return(UNSEEN_PROCESS[[process]])
  if (term == "theta0" && state == "at lower bound") {
    return("The early readings fall; a delay alone would make them flatter.")
  }
  if (term == "h_soft" && all(p$last < 0.95, na.rm = TRUE)) {
    return("No temperature has reached its soft plateau.")
  }
  if (term == "h_worked" && !any(fit$conditions$time_min == 0)) {
    return("There is no reading before the anneal, and softening was under way at the first.")
  }
  if (base_term(term) == "n") {
    return("Too few readings lie on the falling part of a curve to show its steepness.")
  }
  if (grepl("bound", state)) return("The best value lies on a bound.")
  "The readings change too little when it changes."
}

# Where the curves of the two ends of a profile (columns of `ends`) differ most.
advice_for <- function(fit, ends, candidates) {
  curve <- function(par) {
    .Call(C_sa_call_hardness, fit$settings$set$kind, log(candidates$time_min),
          fit_places(fit, candidates$temp_c, candidates$strain), par)[, 1L]
  }
  gap <- abs(curve(ends[, 1L]) - curve(ends[, 2L]))
  k <- which.max(gap)
  noise <- reading_variance(fit)
  if (is.na(noise)) {
    return(paste("The scatter is not known: take more readings than there are parameters, or use a",
                 "simpler model."))
  }
  # below 0.01 HV no reading shows a difference, however small the scatter is
  least <- if (is.null(property_of(fit))) 0.01 else 0
  if (length(k) == 0L || gap[k] < max(2 * sqrt(noise), least)) {
    return("No single reading would settle it; more readings or a simpler model.")
  }
  paste0("Read at ", temperature_label(signif(candidates$temp_c[k], 3)), " after ",
         format_quantity(candidates$time_min[k], 2), " min",
         if (!is.null(candidates$strain)) paste(" at strain", format_quantity(candidates$strain[k])),
         ": acceptable fits differ there by ",
         format_quantity(gap[k], 2), unit_after(fit$scale), ".")
}

#' @export
print.softanneal_identifiability <- function(x, ...) {
  cat("What the readings determine (profile limits of ", format(100 * attr(x, "level")),
      " %; condition number ", format_quantity(attr(x, "condition"), 2), ")\n", sep = "")
  for (k in seq_len(nrow(x))) {
    range <- if (is.na(x$conf.low[k])) "" else {
      paste0(" [", format_quantity(x$conf.low[k]), ", ", format_quantity(x$conf.high[k]), "]")
    }
    cat("  ", format(x$term[k], width = 14L), x$state[k], range, "\n", sep = "")
    if (x$state[k] != "determined") {
      words <- c(x$reason[k], x$advice[k][nzchar(x$advice[k])])
      cat(strwrap(words, width = 76, prefix = "      "), sep = "\n")
    }
  }
  invisible(x)
}

#' @rdname profile.softanneal_fit_softening
#' @param object,x What `profile()` returned.
#' @method autoplot softanneal_profile
#' @rawNamespace S3method(ggplot2::autoplot,softanneal_profile)
autoplot.softanneal_profile <- function(object, ...) {
  check_dots_empty(...)
  d <- as.data.frame(object)
  label <- property_labels(unique(d$term), attr(object, "property"))
  d$term <- factor(d$term, unique(d$term), label)
  t <- attr(object, "t95")
  best <- d[abs(d$tau) < 1e-6, ]
  ggplot2::ggplot(d, ggplot2::aes(.data[["value"]], .data[["tau"]])) +
    ggplot2::geom_hline(yintercept = c(-t, t), linetype = "22", colour = SECOND_COLOUR) +
    ggplot2::geom_hline(yintercept = 0, colour = INK, linewidth = 0.3) +
    ggplot2::geom_line(colour = MAIN_COLOUR, linewidth = 0.6) +
    ggplot2::geom_point(data = best, size = 2, colour = MAIN_COLOUR) +
    ggplot2::facet_wrap(ggplot2::vars(.data[["term"]]), scales = "free_x",
                        labeller = ggplot2::label_wrap_gen(18)) +
    ggplot2::scale_x_continuous(labels = axis_numbers) +
    ggplot2::labs(x = "Value (unit of the parameter)", y = "tau (signed root of the rise, no unit)",
                  title = "Profile traces",
                  caption = paste0("Dashed: t quantiles of the 95 % interval. A trace that never ",
                                   "meets one has no limit on that side."),
                  alt = paste0("Profile traces of ", nlevels(d$term), " parameters: ",
                               paste(levels(d$term), collapse = ", "), ".")) +
    plain_theme() + ggplot2::theme(panel.spacing.x = grid::unit(1.2, "lines"))
}

#' @rdname profile.softanneal_fit_softening
#' @export
plot.softanneal_profile <- draw_picture
