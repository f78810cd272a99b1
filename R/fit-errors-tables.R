# What a fit says of its errors: sentences of the print, table of components with their share in the
# variance of Q, t50 and a new reading, tables of broom.mixed, modes.

COMPONENT_WORDS <- c(furnace = "furnace temperature", piece = "specimen", step = "step",
                     operator = "operator", reading = "reading")

# The description of errors in one or two sentences.
error_sentence <- function(fit) {
  e <- fit$errors
  if (is.null(e)) return("too few steps for standard errors from components of error")
  s <- e$steps
  runs <- length(s$runs)
  parts <- c(if (any(e$structure$piece >= 0L)) "specimen",
             paste0("furnace temperature of ", runs, if (runs == 1L) " run" else " runs",
                    if (s$assumed) " (specimens of one set temperature count as one run)",
                    # labels of at_settings() and of the bench page
                    if (any(grepl(" at [0-9.]+ C$", s$runs))) " (each temperature of a furnace)"),
             if (!is.null(s$share)) paste(ncol(s$share), "operators"), "step",
             if (is.finite(s$sd_reading)) "reading")
  paste0("standard errors from components of error: ", paste(parts, collapse = ", "))
}

# Without labels each step counts as a specimen, and an offset that steps share is in no interval.
specimen_sentence <- function(fit) {
  s <- fit$errors$steps
  after <- s$time > 0
  if (!isTRUE(s$coupons) || anyDuplicated(s$run[after]) == 0L) return(character())
  levels <- intersect(c("h_worked", "h_soft"), names(fit$par))
  paste0("No column names the specimens: each step counts as a specimen of its own. If steps were read on ",
         "one specimen, name it (`specimen`): its offset is not in the intervals of ",
         in_quotes(levels, " and "), ", which are then too narrow.")
}

# Where the furnace cannot be seen: what is assumed, and what one degree does.
furnace_sentences <- function(fit) {
  e <- fit$errors
  if (is.null(e) || !is.null(e$stated) || e$visible) return(character())
  if (is.na(fit$coefficients[["q_kj_mol"]])) {
    return(paste("All readings are at one temperature: what an error of the furnace temperature does is not",
                 "known, and not in the intervals."))
  }
  assumed <- paste0("The error of the furnace temperature cannot be estimated from fewer than ",
                    FEW_RUNS, " runs: ", UNSEEN_FURNACE_K, " K (half-normal) is assumed, and the ",
                    "interval of q_kj_mol rests on it. State it with `u_temp_c`.")
  if (any(is_open(fit))) return(assumed)
  m <- furnace_sensitivity(fit)
  held <- fit$states[intersect(c("q_kj_mol", "n"), colnames(m))] == "fixed"
  m[, names(held)[held]] <- NA_real_
  moves <- vapply(seq_len(nrow(m)), function(k) {
    show <- c(q_kj_mol = "q_kj_mol by %s kJ/mol", n = "n by %s", t50 = "t50 by %s %%")
    value <- c(m[k, intersect(c("q_kj_mol", "n"), colnames(m))], t50 = m[k, "half_percent"])
    value <- value[is.finite(value)]
    value[value < 1e-9] <- 0 # rounding
    paste0(rownames(m)[k], ": ", paste(sprintf(show[names(value)], format_quantity(value, 2L)),
                                       collapse = ", "))
  }, "")
  c(assumed,
    paste0("1 degree C at one run moves, ", paste(moves, collapse = "; "), "."))
}

# Change of the estimates, without sign, for 1 degree C in each run, the temperatures taken as right;
# `half_percent`: of the time to half softening at that temperature.
furnace_sensitivity <- function(fit) {
  e <- fit$errors
  problem <- e$problems[[1L]]
  furnace <- problem[[7L]]
  g <- problem[[3L]] / e$steps$scale[e$structure$order]
  g[!is.finite(g)] <- 0
  sd <- sqrt(pmax(unname(e$m$variance), 0))
  sd[1L] <- 0
  run <- e$steps$run[e$structure$order]
  out <- t(vapply(seq_along(e$steps$runs), function(k) {
    one <- problem
    one[[1L]] <- ifelse(run == k, g, 0)
    moved <- rep(NA_real_, length(fit$par))
    names(moved) <- names(fit$par)
    r <- components_reml(one, sd, integer(4L))
    if (r$status == 0L) moved[e$free] <- r$beta
    label <- unique(fit$readings$label_c[fit$readings$time_min > 0 & run_of_readings(fit) == k])
    half <- NA_real_
    if (length(label) == 1L && !is.na(label) && is.null(strain_name(fit)) && r$status == 0L) {
      row <- time_rows(fit, label, 0.5, "softening", unname(fit$par), NULL)
      half <- 100 * expm1(abs(sum(row[1L, -1L][e$free] * r$beta)))
    }
    c(abs(moved), half_percent = half)
  }, numeric(length(fit$par) + 1L)))
  rownames(out) <- e$steps$runs
  out
}

# Run of each reading.
run_of_readings <- function(fit) {
  s <- fit$errors$steps
  s$run[match(fit$conditions$cluster_of + 1L, s$keep)]
}

#' Components of the errors of a fit
#'
#' The standard deviations that `fit_softening(se = "components")` found, with their intervals, and
#' how much of the variance of the activation energy, of a time to half softening and of a new reading
#' each brings.
#'
#' @param fit A fit of [fit_softening()] with `se = "components"`.
#' @param temp_c Temperature in degrees Celsius at which the time to half softening and the new reading
#'   are taken; by default the middle one read. The reading is taken at the time of half softening,
#'   where an error of temperature counts most, on a new specimen in a new run.
#' @param ... Must be empty.
#' @return A data frame of class `softanneal_components`, one row per component: `component`
#'   (`"furnace temperature"`, `"specimen"`, `"step"`, `"operator"`, `"reading"`), `sd`, `conf.low`,
#'   `conf.high` (95 %), `unit` (K or the scale of the fit), `known` (`"estimated"`, `"stated"`,
#'   `"assumed"`, `"from replicates"`), and `q_share`, `t50_share`, `reading_share`: shares of the
#'   variance, each summing to 1; `NA` where they lean on a parameter that the readings do not determine.
#' @section Errors:
#'   `softanneal_error_model` for a fit with other standard errors.
#' @source Searle S R, Casella G, McCulloch C E (1992) Variance Components \doi{10.1002/9780470316856}.
#'   Weak priors of standard deviations: Gelman A (2006) Bayesian Analysis 1, 515 \doi{10.1214/06-BA117A}.
#' @seealso [softening-errors], [fit_softening()], [uncertainty_budget()]
#' @examples
#' readings <- example_data("bellbrass_readings")
#' fit <- fit_softening(readings, se = "components")
#' components_of_error(fit)
#' @export
components_of_error <- function(fit, ..., temp_c = NULL) {
  check_dots_empty(...)
  check_softening(fit)
  e <- fit$errors
  if (is.null(e)) {
    abort("model", "the fit has no components of error", arg = "fit",
          remedy = "Fit with se = \"components\".")
  }
  hot <- sort(unique(fit$conditions$temp_c[fit$conditions$time_min > 0]))
  temp_c <- if (is.null(temp_c)) hot[(length(hot) + 1L) %/% 2L] else {
    check_number(temp_c, "temp_c", -ZERO_CELSIUS, open = TRUE)
  }
  sd <- unname(e$sd[, "estimate"])
  p <- length(fit$par)
  q <- match("q_kj_mol", names(fit$par))
  half <- half_point(fit, temp_c)
  rows <- rbind(diag(p)[q, ], half$ln_time, half$hardness)
  shares <- variance_shares(e, sd, rows)
  noise <- if (is.finite(e$steps$sd_reading)) e$steps$sd_reading^2 else 0
  scale2 <- if (is.null(e$stated)) 1 else mean(e$steps$scale[e$steps$time > 0]^2)
  new <- c(half$slope^2 * scale2 * sd[1L]^2, sd[2:4]^2, noise)
  shares[3L, ] <- shares[3L, ] + new
  shares <- shares / rowSums(shares)
  # with an energy that the readings leave open they would be those of an arbitrary one
  open <- is_open(fit)
  shares[open[[q]] | rowSums(rows[, open, drop = FALSE] != 0) > 0L, ] <- NA_real_
  # without an energy nobody knows what the furnace does
  if (is.na(fit$coefficients[["q_kj_mol"]])) shares[] <- NA_real_
  stated <- if (is.null(e$stated)) 1 else sqrt(scale2)
  keep <- c(TRUE, any(e$structure$piece >= 0L), TRUE, !is.null(e$steps$share), noise > 0)
  out <- data.frame(
    component = unname(COMPONENT_WORDS), sd = c(sd[1L] * stated, sd[-1L], sqrt(noise)),
    conf.low = c(e$sd[1L, 2L] * stated, e$sd[-1L, 2L], sd_limit(e$steps, 0.975)),
    conf.high = c(e$sd[1L, 3L] * stated, e$sd[-1L, 3L], sd_limit(e$steps, 0.025)),
    unit = c("K", rep(fit$scale, 4L)),
    known = c(if (!is.null(e$stated)) "stated" else if (e$visible) "estimated" else "assumed",
              rep("estimated", 3L), "from replicates"),
    q_share = shares[1L, ], t50_share = shares[2L, ], reading_share = shares[3L, ])[keep, ]
  rownames(out) <- NULL
  structure(out, temp_c = temp_c, class = c("softanneal_components", "data.frame"))
}

# Chi-squared limits of the standard deviation of a reading.
sd_limit <- function(steps, tail) {
  if (steps$df_reading < 1L) return(NA_real_)
  steps$sd_reading * sqrt(steps$df_reading / stats::qchisq(tail, steps$df_reading))
}

# Gradients of ln t50 and of the hardness there, and dH/dT.
half_point <- function(fit, temp_c) {
  p <- length(fit$par)
  lost <- list(ln_time = rep(NA_real_, p), hardness = rep(NA_real_, p), slope = NA_real_)
  if (!is.null(strain_name(fit))) return(lost)
  row <- time_rows(fit, temp_c, 0.5, "softening", unname(fit$par), NULL)
  if (!is.finite(row[1L])) return(lost)
  time <- exp(row[1L])
  at <- function(by) { # by the exponent of `temp_c`, where each temperature has its own
    places <- fit_places(fit, temp_c)
    places[1L] <- inverse_temperature(temp_c + by, fit$temp_ref_c)
    .Call(C_sa_call_hardness, fit$settings$set$kind, log(time), places, unname(fit$par))
  }
  list(ln_time = row[1L, -1L], hardness = at(0)[1L, -1L],
       slope = (at(1e-3)[1L] - at(-1e-3)[1L]) / 2e-3)
}

# Variance of each row of gradients by component, the reading last.
variance_shares <- function(e, sd, rows) {
  out <- matrix(NA_real_, nrow(rows), 5L)
  ok <- which(rowSums(!is.finite(rows)) == 0L)
  if (!length(ok)) return(out)
  g <- rows[ok, e$free, drop = FALSE]
  r <- components_reml(e$problems[[1L]], sd, integer(4L), g)
  whole <- rowSums((g %*% r$cov) * g)
  out[ok, ] <- cbind(r$parts, pmax(whole - rowSums(r$parts), 0))
  out
}

#' @export
print.softanneal_components <- function(x, ...) {
  cat("Components of error\n\n")
  percent <- function(v) ifelse(is.na(v), "-", whole_percent(v))
  m <- cbind(SD = format_quantity(x$sd, 2L), Unit = x$unit,
             "95 % interval" = ifelse(is.na(x$conf.low), x$known,
                                      paste(format_quantity(x$conf.low, 2L), "to",
                                            format_quantity(x$conf.high, 2L))),
             "Q" = percent(x$q_share), "t50" = percent(x$t50_share),
             "New reading" = percent(x$reading_share))
  rownames(m) <- x$component
  print_table(m)
  cat("\n", paste0(strwrap(paste0(
    "Last three columns: fraction of the variance of the activation energy, of t50 ",
    "at ", format(attr(x, "temp_c")), " degrees Celsius, and of a new reading there on a new specimen."
  )), "\n"), sep = "")
  if (anyNA(x$q_share) || anyNA(x$t50_share)) {
    cat(strwrap(paste("Shares are left out where they lean on a parameter that the readings do not",
                      "determine, or on a strain.")), sep = "\n")
  }
  if ("assumed" %in% x$known) cat("The furnace temperature is assumed, not estimated.\n")
  invisible(x)
}

#' @rdname components_of_error
#' @param object Components of error.
#' @rawNamespace S3method(ggplot2::autoplot,softanneal_components)
autoplot.softanneal_components <- function(object, ...) {
  check_dots_empty(...)
  what <- c(q_share = "Activation energy", t50_share = "Time to half softening",
            reading_share = "New reading")
  d <- data.frame(component = factor(rep(object$component, 3L), rev(object$component)),
                  what = factor(rep(what, each = nrow(object)), what),
                  share = 100 * unlist(object[names(what)], use.names = FALSE))
  d$label <- ifelse(is.na(d$share), "not given", whole_percent(d$share / 100))
  d$share <- pmax(d$share, 0) # rounding below zero is no bar
  d$share[is.na(d$share)] <- 0
  ggplot2::ggplot(d, ggplot2::aes(.data[["share"]], .data[["component"]])) +
    ggplot2::geom_col(fill = group_colours(1), width = 0.7) +
    ggplot2::geom_text(ggplot2::aes(label = .data[["label"]]), hjust = -0.15, size = 3.2) +
    ggplot2::facet_wrap(ggplot2::vars(.data[["what"]]), labeller = ggplot2::label_wrap_gen(12)) +
    ggplot2::scale_x_continuous(limits = c(0, 165), breaks = c(0, 50, 100)) +
    ggplot2::labs(x = "Share of the variance (%)", y = NULL, title = "What an error is made of",
                  caption = caption_of(
                    paste0("Time to half softening and new reading: at ",
                           temperature_label(attr(object, "temp_c")), "."),
                    if (anyNA(object$q_share) || anyNA(object$t50_share)) {
                      "Not given: it leans on a parameter that the readings leave open, or on a strain."
                    },
                    if ("assumed" %in% object$known) "The furnace temperature is assumed, not estimated."),
                  alt = paste0("Bars of the share of each component in the variance of the activation ",
                               "energy (", paste(object$component, d$label[seq_len(nrow(object))],
                                                 collapse = ", "),
                               "), of a time to half softening and of a new reading.")) +
    plain_theme()
}

#' @export
plot.softanneal_components <- function(x, ...) {
  print(ggplot2::autoplot(x, ...))
  invisible(x)
}
