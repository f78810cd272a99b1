# Deciding from a posterior: a guess for plans, what one more thing at the bench is worth, and which specimen
# tells
# two models apart. Variances are those of src/posterior_next.c.

# A guess whose draws are those of the posterior, and the information that the run begins with.
guess_of_posterior <- function(post, alloy, given, sd_prior, draws) {
  fit <- post$fit
  check_ungrouped(fit, growth_exponent = TRUE)
  if (length(given) || !is.null(sd_prior)) {
    abort("argument", paste0(in_quotes(c(names(given), if (!is.null(sd_prior)) "sd_prior"), " and "),
                             " given besides `fit`, which has it already"), arg = "fit",
          remedy = "Leave it out, or leave `fit` out.")
  }
  check_posterior_energy(post, "fit")
  par <- stats::coef(post)
  check_levels(par[["h_worked"]], par[["h_soft"]])
  moving <- stats::setNames(!post$terms %in% post$fixed, post$terms)
  pick <- some_draws(post, draws)
  sets <- post$draws[pick, post$terms, drop = FALSE]
  known <- matrix(0, length(par), length(par))
  known[moving, moving] <- solve(stats::cov(post$draws[, post$terms[moving], drop = FALSE]))
  unit <- unlist(fit$units)
  middle <- function(name) if (name %in% post$sds) stats::median(post$draws[, name]) else 0
  table <- data.frame(
    quantity = names(par), value = unname(par), sd = unname(apply(sets, 2L, stats::sd)),
    unit = ifelse(nzchar(unit), unit, "-"),
    source = paste0("posterior '", fit$model, "' of ", fit$nobs, " readings"),
    how_got = ifelse(moving, "draws", "fixed"))
  list(model = fit$model, kind = fit$settings$set$kind, par = par,
       draws = keep_falling(unname_rows(sets), par), table = table, temp_ref_c = fit$temp_ref_c,
       estimated = moving, sd_reading = middle("sd_reading"),
       sd_step = middle("sd_step"), scale = fit$scale, conversion = fit$material, origin = "fit",
       known = known[upper.tri(known, TRUE)],
       sd_draws = unname_rows(vapply(names(PRIOR_SDS), function(s) draws_of_sd(post, s, pick),
                                     numeric(length(pick)))),
       sds = c(sd_piece = middle("sd_specimen"), u_temp_c = middle("sd_furnace_c")))
}

unname_rows <- function(m) {
  rownames(m) <- NULL
  m
}

check_posterior_energy <- function(post, arg) {
  if ("q_kj_mol" %in% post$fixed && length(post$fit$settings$set$no_energy)) {
    abort("model", "the fit has one temperature, and nothing is believed of `q_kj_mol`", arg = arg,
          remedy = "Say what is believed of it in the prior.")
  }
}

check_posterior <- function(x, arg) {
  if (is_posterior(x)) return(invisible())
  abort("argument", paste0("`", arg, "` must come from fit_posterior(), not ", describe(x)), arg = arg)
}

# Information of the prior (parameters x parameters) where the posterior lies; flat ones as wide as in a
# guess.
prior_information <- function(x) {
  terms <- x$terms
  par <- stats::coef(x)
  out <- diag(1 / widest(par)^2, length(terms))
  add <- function(row, sd) out <<- out + tcrossprod(row) / sd^2
  t <- x$prior$table[x$prior$table$quantity %in% c(terms, "recryst_1h_c"), ]
  for (k in seq_len(nrow(t))) {
    q <- t$quantity[k]
    if (q == "recryst_1h_c") {
      at <- function(p) hour_draws(list(draws = t(p), terms = terms, fit = x$fit))
      h <- 1e-4 * pmax(abs(par), 1)
      row <- vapply(seq_along(par), function(j) {
        unname(at(replace(par, j, par[j] + h[j])) - at(replace(par, j, par[j] - h[j]))) / (2 * h[j])
      }, 0)
      add(row, t$b[k])
    } else if (t$form[k] %in% c("normal", "half-normal")) {
      at <- if (q == "ln_k_ref") x$prior$rate_temp_c else x$fit$temp_ref_c
      add(term_at(q, terms, at, x$fit$temp_ref_c), t$b[k])
    } else if (t$form[k] == "lognormal") {
      add(as.double(terms == q), par[[q]] * log(t$b[k]))
    }
  }
  j <- x$prior$joint
  if (!is.null(j)) {
    a <- vapply(names(j$mean), term_at, numeric(length(terms)), terms = terms, temp_c = j$temp_ref_c,
                ref_c = x$fit$temp_ref_c)
    out <- out + a %*% solve(j$cov, t(a))
  }
  out
}

#' What is worth most next
#'
#' What one more thing at the bench would narrow the interval of what is asked, averaged over a posterior:
#' one more
#' specimen at each temperature, one more step of each specimen, more readings of the last steps, or a
#' calibration of
#' the furnaces; with the minutes that each takes.
#'
#' For some draws of the posterior, with their standard deviations, the model is linear in the parameters, the
#' offsets of specimens and the errors of furnaces. The variance of what is asked is taken with the readings
#' there are, and with each choice; `width` is the expected width of the interval as a share of the present
#' one.
#' Beliefs of the prior count as they are. Errors of operators are not counted.
#'
#' | choice | what is done | minutes |
#' |---|---|---|
#' | specimen | a new one in its own run, times as at the nearest temperature | last time, work of each step |
#' | step | each specimen annealed on to twice its last time | added time, and work of the step |
#' | readings | as many readings again of the last step of each specimen | handling and readings |
#' | calibration | error of each furnace run so far, to `u_calibration_c` | `calibration_min` each |
#'
#' The work of a step is heat-up, handling and readings.
#'
#' A calibration helps only where the furnaces are still as they were in those runs.
#'
#' @param posterior A posterior of [fit_posterior()] at constant temperatures.
#' @param aim What is asked: activation energy, time to half softening, or time to `hardness`.
#' @param ... Must be empty.
#' @param at_c Temperatures of the aims `"t50"` and `"hardness"` in degrees Celsius; those of the readings by
#' default.
#' @param hardness Hardness of the aim `"hardness"`, in the scale of the fit.
#' @param temp_c Temperatures of a new specimen; by default those of the readings and the middles between
#' them.
#' @param alloy Metal as in [plan_guess()]: a `temp_c` at or above its solidus is refused.
#' @param n_readings Readings per step; by default the usual number of the data.
#' @param u_calibration_c Standard uncertainty of a furnace temperature after calibration in K.
#' @param calibration_min,heat_up_min,reading_min,handling_min Minutes that a calibration of one furnace run,
#' the
#'   heat-up of a step, a reading, and the handling of a specimen take (common practice, no source).
#' @param n_draws Draws of the posterior that are averaged over.
#' @return A data frame, most worth first: `choice`, `temp_c` (of a new specimen), `what`, `minutes`, `width`
#'   (expected width of the interval, as a share of the present one), `gain_per_h` (percent of the present
#'   width per
#'   hour).
#' @section Errors: `softanneal_error_argument`, `softanneal_error_model` (histories, groups),
#' `softanneal_error_range`
#'   for a hardness that no draw reaches.
#' @section Safety: `r CAUTION_DEFERENCE` `r CAUTION_ESTIMATE`
#' @source Chaloner K, Verdinelli I (1995) Statist. Sci. 10, 273 \doi{10.1214/ss/1177009939}.
#' @seealso [improve_plan()] for a whole run, [plan_apart()] to tell two models apart.
#' @examples
#' readings <- example_data("bellbrass_readings")
#' post <- fit_posterior(readings, prior = prior_brass(), seed = 1)
#' plan_next(post, "q")
#' @export
plan_next <- function(posterior, aim = c("q", "t50", "hardness"), ..., at_c = NULL, hardness = NULL,
                      temp_c = NULL, alloy = "C26000", n_readings = NULL, u_calibration_c = 0.5,
                      calibration_min = 30, heat_up_min = 5, reading_min = 0.5, handling_min = 1,
                      n_draws = 100) {
  check_dots_empty(...)
  check_posterior(posterior, "posterior")
  aim <- check_choice(aim, c("q", "t50", "hardness"), "aim")
  fit <- posterior$fit
  check_isothermal_posterior(posterior, "posterior")
  check_posterior_energy(posterior, "posterior")
  goal <- next_goal(posterior, aim, at_c, hardness)
  s <- fit$errors$steps
  read_c <- sort(unique(signif(s$key[s$time > 0] - ZERO_CELSIUS, 12)))
  temp_c <- if (is.null(temp_c)) {
    sort(c(read_c, (read_c[-1L] + read_c[-length(read_c)]) / 2))
  } else check_below_solidus(check_temperature(temp_c, "temp_c"), "temp_c", as_material(alloy))
  n_readings <- check_number(n_readings, "n_readings", 1, 1000, whole = TRUE, null = TRUE) %or%
    max(1, round(stats::median(s$weight)))
  minutes <- list(
    calibration = check_number(calibration_min, "calibration_min", 0, open = TRUE),
    heat = check_number(heat_up_min, "heat_up_min", 0),
    read = check_number(reading_min, "reading_min", 0, open = TRUE),
    handle = check_number(handling_min, "handling_min", 0))
  u <- check_number(u_calibration_c, "u_calibration_c", 0, open = TRUE)
  n_draws <- check_number(n_draws, "n_draws", 2, 1e5, whole = TRUE)
  choices <- next_choices(posterior, temp_c, n_readings, minutes, u)
  value <- value_next(posterior, choices, goal, n_draws)
  gain <- colMeans(value[, -1L, drop = FALSE] - value[, 1L]) / 2
  out <- choices$table
  out$width <- exp(gain)
  out$gain_per_h <- 100 * (1 - out$width) / (out$minutes / 60)
  out <- out[order(-out$gain_per_h), ]
  rownames(out) <- NULL
  as_table(out)
}

check_isothermal_posterior <- function(x, arg) {
  check_ungrouped(x$fit, arg, growth_exponent = TRUE)
  if (!is.null(x$fit$readings$history)) {
    abort("model", "this needs a posterior at constant temperatures", arg = arg,
          remedy = "Fit the readings without their histories.")
  }
}

next_goal <- function(x, aim, at_c, hardness) {
  timed <- aim != "q"
  if (!timed && !is.null(at_c)) {
    abort("argument", "`at_c` is not used when aim = 'q'", arg = "at_c",
          remedy = "Leave it out, or aim at 't50' or 'hardness'.")
  }
  if ((aim == "hardness") != !is.null(hardness)) {
    abort("argument", if (is.null(hardness)) "the aim 'hardness' needs `hardness`" else
      paste0("`hardness` is not used when aim = '", aim, "'"), arg = "hardness",
      remedy = "Give `hardness` with the aim 'hardness', and only with it.")
  }
  if (aim == "q" && "q_kj_mol" %in% x$fixed) {
    abort("argument", "q_kj_mol is fixed by the prior", arg = "aim", remedy = "Aim at something else.")
  }
  at <- x$fit$conditions
  if (timed && is.null(at_c)) at_c <- sort(unique(signif(at$temp_c[at$time_min > 0], 12)))
  list(code = match(aim, PLAN_AIMS) - 1L,
       coordinate = if (timed) {
         as.double(inverse_temperature(check_temperature(at_c, "at_c"), x$fit$temp_ref_c))
       } else numeric(),
       target = if (is.null(hardness)) 0.5 else check_number(hardness, "hardness", 0, open = TRUE))
}

# Steps of the fit and of each choice, as the kernel takes them, and the table of choices.
next_choices <- function(x, temp_c, n_readings, minutes, u) {
  s <- x$fit$errors$steps
  runs <- posterior_runs(s)
  piece <- match(s$piece, unique(s$piece)) - 1L
  pieces <- max(piece) + 1L
  read <- data.frame(temp_k = s$key, time = s$time, before = 0, after = s$weight, scale = s$scale,
                     piece = piece, run = runs$run, choice = 0L)
  step_min <- minutes$heat + minutes$handle + n_readings * minutes$read
  rows <- list(read)
  table <- NULL
  add <- function(choice, temp_c, what, min, steps = NULL) {
    table <<- rbind(table, data.frame(choice = choice, temp_c = temp_c, what = what, minutes = min))
    if (!is.null(steps)) rows[[length(rows) + 1L]] <<- cbind(steps, choice = nrow(table))
  }
  annealed <- read[read$time > 0, ]
  scale <- if (any(annealed$scale > 0)) sqrt(mean(annealed$scale^2)) else 1
  for (t in temp_c) {
    nearest <- annealed$temp_k[which.min(abs(annealed$temp_k - ZERO_CELSIUS - t))]
    time <- sort(unique(annealed$time[annealed$temp_k == nearest]))
    steps <- data.frame(temp_k = t + ZERO_CELSIUS, time = c(0, time), before = 0, after = n_readings,
                        scale = scale, piece = pieces, run = c(-1L, rep(length(runs$labels), length(time))))
    add("specimen", t, paste0("new specimen, ", paste(format_quantity(time), collapse = ", "), " min"),
        max(time) + length(time) * step_min + minutes$handle + n_readings * minutes$read, steps)
  }
  last <- do.call(rbind, lapply(split(annealed, annealed$piece), function(d) d[which.max(d$time), ]))
  last$choice <- NULL
  on <- last
  on$time <- 2 * last$time
  on$after <- n_readings
  add("step", NA, paste0("one more step of ", count(nrow(last), "specimen"), ", to twice the last time"),
      sum(last$time) + nrow(last) * step_min, on)
  again <- last
  again$before <- last$after
  again$after <- last$after + n_readings
  words <- paste0(n_readings, " more readings of the last step of ", count(nrow(last), "specimen"))
  add("readings", NA, words,
      nrow(last) * (minutes$handle + n_readings * minutes$read), again)
  if ("sd_furnace_c" %in% x$sds && length(runs$labels)) {
    add("calibration", NA, paste0("calibration of ", count(length(runs$labels), "furnace run"), " to ",
                                  format_quantity(u), " K"), length(runs$labels) * minutes$calibration)
  }
  list(steps = do.call(rbind, rows), table = table, pieces = pieces + 1L, runs = length(runs$labels) + 1L,
       calibrated = ifelse(table$choice == "calibration", u, 0))
}

value_next <- function(x, choices, goal, n_draws) {
  fit <- x$fit
  pick <- some_draws(x, n_draws)
  sd <- vapply(names(PRIOR_SDS), function(name) draws_of_sd(x, name, pick), numeric(length(pick)))
  sd[, "sd_step"] <- pmax(sd[, "sd_step"], 1e-6 * abs(fit$par[["h_worked"]]))
  known <- prior_information(x)
  s <- choices$steps
  at_start <- s$time == 0
  temp_k <- ifelse(at_start, fit$readings$ref_k, s$temp_k)
  out <- .Call(
    C_sa_call_next,
    list(kind = fit$settings$set$kind, draws = as.double(t(x$draws[pick, x$terms, drop = FALSE])),
         sd = as.double(t(sd)), estimated = as.integer(!x$terms %in% x$fixed),
         known = known[upper.tri(known, TRUE)]),
    list(coordinate = as.double(inverse_temperature(temp_k - ZERO_CELSIUS, fit$temp_ref_c)),
         ln_time = log(s$time), inverse = 1 / temp_k, before = as.double(s$before),
         after = as.double(s$after), scale = as.double(s$scale), piece = as.integer(s$piece),
         run = as.integer(s$run),
         choice = as.integer(s$choice), pieces = as.double(choices$pieces), runs = as.double(choices$runs),
         calibrated = as.double(choices$calibrated)), goal)
  value <- t(out$value)
  good <- stats::complete.cases(value) & is.finite(rowSums(value))
  if (out$status != 0L || !any(good)) {
    abort("range", "what is asked has no value at any draw of the posterior", arg = "hardness",
          remedy = "Ask for a hardness between the two levels, at temperatures near the readings.")
  }
  value[good, , drop = FALSE]
}
