# The guess of the kinetics that a plan starts from: a set of parameters as they might be,
# drawn around a usual value. Defaults per metal with source: inst/extdata/plan_kinetics.csv.
# Temperatures in deg C, times in min, energies in kJ/mol, levels in the scale of the guess.

GUESS_QUANTITIES <- c("recryst_1h_c", "q_kj_mol", "n", "h_worked", "h_soft")

#' A guess of the kinetics, with its spread
#'
#' What is believed before the run about how fast a metal softens: one value and a standard
#' deviation for each quantity, or a fit of an earlier run. [plan_anneal()] predicts from it and
#' [improve_plan()] averages over it.
#'
#' For a metal of the table the values come from
#' `system.file("extdata", "plan_kinetics.csv", package = "softanneal")`, with their source and
#' how each was got. They are guesses: for brass the one-hour temperature and Q rest on a single
#' published observation (33 % cold work, recrystallised in 8 s at 580 degrees Celsius) and the range of Q
#' of copper. Give your own where they are known better, above all after a first run.
#'
#' The temperature at which recrystallisation just reaches completion in one hour (definition in
#' Callister, *Materials Science and Engineering*, ch. 7; complete is taken as a fraction of
#' 0.99) fixes the rate: `k * 60 min = (-ln 0.01)^(1/n)` at that temperature. It is drawn from a
#' normal distribution, as the levels are ([recryst_temperature()] takes half within one hour by default, and
#' this temperature with `fraction = 0.99`); Q and n from lognormal ones. The draws come in
#' pairs that mirror each other, so that their middle is the guess itself.
#'
#' A fit of [fit_softening()] brings its own values, covariance, model and errors. Where a
#' parameter is not determined by its readings, the spread is that of the information of those
#' readings and a very wide limit (Q 1000 kJ/mol, ln k 10, n 5, levels the whole softening); Q of
#' a fit at one temperature is taken from the table.
#'
#' A posterior of [fit_posterior()] brings its draws, and the medians of its standard deviations. What is
#' known
#' before the run then counts as information: [improve_plan()] seeks what adds most to it.
#'
#' @param alloy Metal of [thermal_material()], by name (`"C26000"` or `"brass"`, `"copper"` ...) or object;
#'   its solidus limits the plan.
#' @param fit A fit of [fit_softening()], a posterior of [fit_posterior()], or `NULL`. With a fit the five
#' values may not be given.
#' @param ... Must be empty.
#' @param recryst_1h_c Temperature of complete recrystallisation in one hour in degrees Celsius.
#' @param q_kj_mol Activation energy in kJ/mol.
#' @param n Avrami exponent.
#' @param h_worked,h_soft Hardness before and after, on the scale of the guess (HV).
#' @param sd_prior Named vector of standard deviations of any of these five quantities, in their
#'   units, instead of those of the table; zero or more.
#' @param sd_reading Standard deviation of one reading within a step, in HV (with a fit: in its
#'   scale); default that of the fit, or of [bench_errors()] (2).
#' @param sd_step Standard deviation that all readings of a step share, in HV; default that of the
#'   fit, or of [bench_errors()] (1).
#' @param sd_piece Standard deviation of the offset of a specimen, which all its steps share, in HV;
#'   default that of [bench_errors()] (3).
#' @param u_temp_c Standard uncertainty of the temperature of a furnace in K, one error for all
#'   specimens at one temperature; default that of [bench_errors()] (2). `0` for this or for `sd_piece`
#'   leaves the term out.
#' @param draws Number of parameter sets drawn, an even number.
#' @param seed Seed of the draws; `.Random.seed` is restored.
#' @return An object of class `softanneal_guess`, a list with `par` (parameters of the model as in
#'   [fit_softening()], at `temp_ref_c`), `draws` (matrix, one row per set), `table` (a data frame
#'   with columns `quantity`, `value`, `sd`, `unit`, `source`, `how_got`), `estimated` (logical:
#'   parameters the run has to find), `sd_reading`, `sd_step`, `sd_piece`, `u_temp_c`, `scale`,
#'   `alloy` and `model`.
#'   `as.data.frame()` gives the table.
#' @section Errors:
#'   `softanneal_error_range` for values that are not positive, negative spreads, `h_worked` not
#'   above `h_soft`, or a one-hour temperature at or above the solidus;
#'   `softanneal_error_argument` for a metal without defaults when a value or spread is missing.
#' @source Sources of the values stand in the table. Draws in mirrored pairs: Hammersley J M,
#'   Morton K W (1956) Proc. Camb. Phil. Soc. 52, 449.
#' @seealso [plan_anneal()], [improve_plan()], [softening-models]
#' @examples
#' plan_guess("C26000")
#' plan_guess("C26000", recryst_1h_c = 320, sd_prior = c(recryst_1h_c = 15))$par
#' as.data.frame(plan_guess("copper"))[c("quantity", "value", "sd", "how_got")]
#' @export
plan_guess <- function(alloy = "C26000", fit = NULL, ..., recryst_1h_c = NULL,
                       q_kj_mol = NULL, n = NULL, h_worked = NULL, h_soft = NULL, sd_prior = NULL,
                       sd_reading = NULL, sd_step = NULL, sd_piece = NULL, u_temp_c = NULL, draws = 64,
                       seed = 1) {
  check_dots_empty(...)
  alloy <- as_material(alloy)
  draws <- check_number(draws, "draws", 2, 1e5, whole = TRUE)
  if (draws %% 2 != 0) {
    abort("argument", "`draws` must be an even number", arg = "draws",
          remedy = "The draws come in mirrored pairs.")
  }
  given <- list(
    recryst_1h_c = check_number(recryst_1h_c, "recryst_1h_c", -ZERO_CELSIUS, open = TRUE, null = TRUE),
    q_kj_mol = check_number(q_kj_mol, "q_kj_mol", 0, open = TRUE, null = TRUE),
    n = check_number(n, "n", 0, open = TRUE, null = TRUE),
    h_worked = check_number(h_worked, "h_worked", 0, open = TRUE, null = TRUE),
    h_soft = check_number(h_soft, "h_soft", 0, open = TRUE, null = TRUE))
  sd_reading <- check_number(sd_reading, "sd_reading", 0, null = TRUE)
  sd_step <- check_number(sd_step, "sd_step", 0, null = TRUE)
  sd_piece <- check_number(sd_piece, "sd_piece", 0, null = TRUE)
  u_temp_c <- check_number(u_temp_c, "u_temp_c", 0, null = TRUE)
  given <- given[!vapply(given, is.null, NA)]
  state <- begin_seed(check_number(seed, "seed", whole = TRUE))
  on.exit(end_seed(state), add = TRUE)
  guess <- if (is.null(fit)) guess_of_metal(alloy, given, sd_prior, draws) else {
    (if (is_posterior(fit)) guess_of_posterior else guess_of_fit)(fit, alloy, given, sd_prior, draws)
  }
  own <- guess$sds
  guess$sds <- NULL
  if (!is.null(guess$sd_draws)) {
    stated <- list(sd_reading = sd_reading, sd_step = sd_step, sd_specimen = sd_piece,
                   sd_furnace_c = u_temp_c)
    for (s in names(Filter(length, stated))) guess$sd_draws[, s] <- stated[[s]]
  }
  guess$sd_reading <- if (!is.null(sd_reading)) sd_reading else guess$sd_reading
  guess$sd_step <- if (!is.null(sd_step)) sd_step else guess$sd_step
  if (guess$sd_reading == 0 && guess$sd_step == 0) {
    abort("range", "`sd_reading` and `sd_step` are both zero", arg = "sd_reading",
          remedy = "Readings without error need no plan; give one of them.")
  }
  # a fit shows neither in its scatter about the curve: one specimen per temperature hides them
  guess$sd_piece <- sd_piece %or% own[["sd_piece"]] %or% BENCH_SD[["specimen"]]
  guess$u_temp_c <- u_temp_c %or% own[["u_temp_c"]] %or% BENCH_SD[["temp_c"]]
  guess$alloy <- alloy
  structure(guess, class = "softanneal_guess")
}

guess_of_metal <- function(alloy, given, sd_prior, draws) {
  table <- fact_table("plan_kinetics.csv")
  table <- table[table$material == alloy$material, -1L]
  if (!nrow(table)) {
    table <- data.frame(quantity = GUESS_QUANTITIES, value = NA_real_, sd = NA_real_,
                        unit = c("deg C", "kJ/mol", "-", "HV", "HV"), source = NA_character_,
                        how_got = NA_character_)
  }
  table <- table[match(GUESS_QUANTITIES, table$quantity), ]
  rownames(table) <- NULL
  sd_prior <- check_spread(sd_prior)
  changed <- match(names(given), table$quantity)
  table$value[changed] <- unlist(given)
  table$source[changed] <- "given by the user"
  table$how_got[changed] <- "given by the user"
  spread <- match(names(sd_prior), table$quantity)
  table$sd[spread] <- sd_prior
  table$how_got[spread] <- paste0(ifelse(is.na(table$how_got[spread]), "",
                                         paste0(table$how_got[spread], "; ")), "spread given")
  if (anyNA(table$value) || anyNA(table$sd)) {
    lost <- table$quantity[is.na(table$value) | is.na(table$sd)]
    abort("argument", paste0("there is no default for ", in_quotes(lost, " and "), " of ",
                             alloy$material), arg = lost[1L],
          remedy = "Give the values, and their spreads with `sd_prior`.")
  }
  v <- stats::setNames(table$value, table$quantity)
  s <- stats::setNames(table$sd, table$quantity)
  check_levels(v[["h_worked"]], v[["h_soft"]])
  check_below_solidus(v[["recryst_1h_c"]], "recryst_1h_c", alloy)
  z <- mirrored_normals(draws, 5L)
  lognormal <- function(term, z) {
    width <- sqrt(log1p((s[[term]] / v[[term]])^2))
    v[[term]] * exp(width * z)
  }
  one_hour <- pmax(v[["recryst_1h_c"]] + s[["recryst_1h_c"]] * z[, 1L], -ZERO_CELSIUS + 50)
  q <- lognormal("q_kj_mol", z[, 2L])
  n <- lognormal("n", z[, 3L])
  sets <- cbind(h_worked = v[["h_worked"]] + s[["h_worked"]] * z[, 4L],
                h_soft = v[["h_soft"]] + s[["h_soft"]] * z[, 5L],
                ln_k_ref = rate_of_hour(n) + q * inverse_temperature(v[["recryst_1h_c"]], one_hour),
                n = n, q_kj_mol = q)
  par <- c(h_worked = v[["h_worked"]], h_soft = v[["h_soft"]],
           ln_k_ref = rate_of_hour(v[["n"]]), n = v[["n"]], q_kj_mol = v[["q_kj_mol"]])
  list(model = "jmak", kind = model_code("jmak"), par = par, draws = keep_falling(sets, par), table = table,
       temp_ref_c = v[["recryst_1h_c"]], estimated = stats::setNames(rep(TRUE, 5L), names(par)),
       sd_reading = BENCH_SD[["reading"]], sd_step = BENCH_SD[["step"]], scale = "HV",
       conversion = conversion_of(alloy$material), origin = "values and spreads")
}

# ln k in 1/min at the temperature where recrystallisation is complete in 60 min.
rate_of_hour <- function(n) log(theta_at("jmak", COMPLETE, n)) - log(60)

# Name of the hardness conversion table for a metal, NA where there is none.
conversion_of <- function(alloy) {
  known <- c(C26000 = "brass", copper = "copper", "aluminium 1100" = "aluminium",
             "carbon steel" = "steel")
  if (alloy %in% names(known)) known[[alloy]] else NA_character_
}

check_spread <- function(sd) {
  if (is.null(sd)) return(stats::setNames(numeric(), character()))
  sd <- check_start_like(sd, "sd_prior")
  unknown <- setdiff(names(sd), GUESS_QUANTITIES)
  if (length(unknown)) {
    abort("argument", paste0("`sd_prior` names unknown quantities ", in_quotes(unknown, " and ")),
          arg = "sd_prior", remedy = paste0("Choose from ", in_quotes(GUESS_QUANTITIES), "."))
  }
  stats::setNames(check_numeric(sd, "sd_prior", 0), names(sd))
}

check_levels <- function(worked, soft) {
  if (worked <= soft) {
    abort("range", paste0("`h_worked` (", format(worked), ") is not above `h_soft` (",
                          format(soft), ")"), arg = "h_worked",
          remedy = "Give the hardness of the rolled sheet first.")
  }
}

mirrored_normals <- function(draws, p) {
  z <- matrix(stats::rnorm(draws / 2 * p), ncol = p)
  rbind(z, -z)
}

# A draw whose levels (nearly) meet has no softening: it keeps a twentieth of the drop.
keep_falling <- function(sets, par) {
  least <- 0.05 * (par[["h_worked"]] - par[["h_soft"]])
  sets[, "h_soft"] <- pmax(sets[, "h_soft"], 0.05 * par[["h_soft"]])
  sets[, "h_worked"] <- pmax(sets[, "h_worked"], sets[, "h_soft"] + least)
  sets
}

# Widest limits of what a parameter can be: half widths that keep the information regular.
widest <- function(par) {
  drop <- abs(par[["h_worked"]] - par[["h_soft"]])
  c(level = drop, amplitude = drop, rate = 10, exponent = 5, energy = 1000,
    delay = 10)[term_role(names(par))]
}

guess_of_fit <- function(fit, alloy, given, sd_prior, draws) {
  if (!inherits(fit, "softanneal_fit_softening")) {
    abort("argument", paste0("`fit` must come from fit_softening(), not ", describe(fit)),
          arg = "fit")
  }
  check_ungrouped(fit, growth_exponent = TRUE)
  if (length(given) || !is.null(sd_prior)) {
    abort("argument", paste0(in_quotes(c(names(given), if (!is.null(sd_prior)) "sd_prior"), " and "),
                             " given besides `fit`, which has it already"), arg = "fit",
          remedy = "Leave it out, or leave `fit` out.")
  }
  par <- fit$par
  check_levels(par[["h_worked"]], par[["h_soft"]])
  moving <- fit$states != "fixed"
  errors <- error_components(fit)
  cov <- fit$cov_full
  if (!all(fit$states %in% c("determined", "fixed")) || anyNA(cov)) {
    # what the readings of the fit say, within the widest limits
    at <- fit$conditions
    jacobian <- at$jacobian[, moving, drop = FALSE]
    w <- at$weight / (errors$reading^2 + errors$step^2 * at$weight)
    cov <- matrix(0, length(par), length(par))
    cov[moving, moving] <- solve(crossprod(jacobian * w, jacobian) +
                                   diag(1 / widest(par)[moving]^2, sum(moving)))
  }
  # energies, exponents and amplitudes stay positive: their logarithms are drawn
  positive <- term_role(names(par)) %in% c("exponent", "energy") & par > 0
  by <- ifelse(positive, par, 1)
  cov <- cov / outer(by, by)
  root <- eigen(cov, symmetric = TRUE)
  root <- root$vectors %*% diag(sqrt(pmax(root$values, 0)), length(par))
  shift <- mirrored_normals(draws, length(par)) %*% t(root)
  shift[, positive] <- pmin(pmax(shift[, positive], -2), 2)
  sets <- sweep(shift, 2L, ifelse(positive, 0, par), `+`)
  sets[, positive] <- sweep(exp(shift[, positive, drop = FALSE]), 2L, par[positive], `*`)
  colnames(sets) <- names(par)
  least <- term_role(names(par)) %in% c("delay", "amplitude")
  sets[, least] <- pmax(sets[, least], 0)
  blind <- fit$settings$set$no_energy
  if (length(blind)) {
    known <- guess_of_metal(alloy, list(), NULL, draws)
    par[blind] <- known$par[["q_kj_mol"]]
    sets[, blind] <- known$draws[, "q_kj_mol"]
    moving[blind] <- TRUE
  }
  spread <- apply(sets, 2L, stats::sd)
  unit <- unlist(fit$units)
  table <- data.frame(
    quantity = names(par), value = unname(par), sd = unname(spread),
    unit = ifelse(nzchar(unit), unit, "-"),
    source = paste0("softening fit '", fit$model, "' of ", fit$nobs, " readings"),
    how_got = ifelse(names(par) %in% blind, "default of the metal", unname(fit$states)))
  list(model = fit$model, kind = fit$settings$set$kind, par = par,
       draws = keep_falling(sets, par), table = table, temp_ref_c = fit$temp_ref_c,
       estimated = moving, sd_reading = errors$reading, sd_step = errors$step, scale = fit$scale,
       conversion = fit$material, origin = "fit")
}

check_guess <- function(guess) {
  if (inherits(guess, "softanneal_guess")) return(guess)
  if (inherits(guess, "softanneal_fit_softening") || is_posterior(guess)) return(plan_guess(fit = guess))
  abort("argument", paste0("`guess` must come from plan_guess(), fit_softening() or fit_posterior(), not ",
                           describe(guess)), arg = "guess")
}

# Hardness at conditions: one row per draw, the guess itself first.
guess_hardness <- function(guess, temp_c, time_min) {
  e <- inverse_temperature(temp_c, guess$temp_ref_c)
  sets <- rbind(guess$par, guess$draws)
  out <- apply(sets, 1L, function(b) {
    .Call(C_sa_call_hardness, guess$kind, log(as.double(time_min)), as.double(e),
          as.double(b))[, 1L]
  })
  matrix(out, nrow(sets), length(temp_c), byrow = TRUE)
}

# Softened fraction, as guess_hardness().
guess_share <- function(guess, temp_c, time_min) {
  sets <- rbind(guess$par, guess$draws)
  h <- guess_hardness(guess, temp_c, time_min)
  (sets[, "h_worked"] - h) / (sets[, "h_worked"] - sets[, "h_soft"])
}

# Time in min to a softened fraction: one row per draw, the guess itself first.
guess_time <- function(guess, temp_c, share) {
  e <- inverse_temperature(temp_c, guess$temp_ref_c)
  sets <- rbind(guess$par, guess$draws)
  out <- apply(sets, 1L, function(b) {
    exp(.Call(C_sa_call_time_to, guess$kind, as.double(e), rep(share, length(e)), 1L,
              as.double(b))[, 1L])
  })
  matrix(out, nrow(sets), length(temp_c), byrow = TRUE)
}

#' @param x A guess.
#' @rdname plan_guess
#' @export
format.softanneal_guess <- function(x, ...) {
  t <- x$table
  # rates and the reference temperature mean little on their own
  digits <- ifelse(t$quantity == "n", 3L, 4L)
  unit <- ifelse(t$unit == "-", "", paste0(" ", t$unit))
  c(paste0("Guess of the kinetics of ", x$alloy$material, " (model '", x$model, "', ",
           nrow(x$draws), " draws)"),
    sprintf("  %-13s %s %s %s%s", t$quantity,
            mapply(\(v, d) format(signif(v, d)), t$value, digits), plus_minus(),
            format_quantity(t$sd, 2L), sub("deg C", degree_c(), unit, fixed = TRUE)),
    if (x$origin == "fit") {
      paste0("  rates in 1/min at ", in_degrees(format(x$temp_ref_c, digits = 5)))
    },
    paste0("  error of a reading ", format_quantity(x$sd_reading), ", of a step ",
           format_quantity(x$sd_step), if (!is.null(x$sd_piece)) {
             paste0(", of a specimen ", format_quantity(x$sd_piece))
           }, " ", x$scale, if (!is.null(x$u_temp_c)) {
             paste0("; of a furnace ", format_quantity(x$u_temp_c), " K")
           }))
}

#' @rdname plan_guess
#' @export
print.softanneal_guess <- function(x, ...) {
  writeLines(format(x))
  writeLines(strwrap("A guess with its spread; `as.data.frame()` shows where each value is from.",
                     indent = 2, exdent = 2))
  invisible(x)
}

#' @param row.names,optional Ignored.
#' @rdname plan_guess
#' @export
as.data.frame.softanneal_guess <- function(x, row.names = NULL, optional = FALSE, ...) x$table
