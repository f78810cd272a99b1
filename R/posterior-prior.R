# What is believed before the readings: one row a quantity, as it was said, with its source. Numbers for
# the compiled density are made in posterior-problem.R.

# Ways to say a belief: names of the numbers, which are the first and second of a row. Twin of the order:
# sa_belief_kind in src/posterior.h, from 0.
PRIOR_FORMS <- list(fixed = "value", flat = c("lower", "upper"), normal = c("mean", "sd"),
                    lognormal = c("median", "factor"), "half-normal" = "scale")

# Standard deviations in the order of C, and their default scales in HV (K for the furnace), or as shares of
# the softening on other scales: common practice, no source; of the furnace: classes of furnaces with half
# widths of 3 to 10 K, divided by sqrt(3).
PRIOR_SDS <- c(sd_furnace_c = 3, sd_specimen = 5, sd_step = 3, sd_operator = 5, sd_reading = 5)
PRIOR_SHARES <- c(NA, 0.06, 0.04, 0.06, 0.06)

#' What is believed before the readings
#'
#' A prior for [fit_posterior()]: what is believed of each quantity, in numbers, with where it comes from.
#' What is not said is flat within the bounds of the model ([softening-models]), and standard deviations of
#' the errors are weakly held near zero.
#'
#' Each belief is a named vector:
#'
#' * `c(mean = 140, sd = 35)`: normal, within the bounds of the model;
#' * `c(median = 1.5, factor = 1.3)`: lognormal; two times in three between the median divided and
#'   multiplied by
#'   the factor;
#' * `c(lower = 55, upper = 90)`: anything between these, all alike;
#' * `c(scale = 5)`: half-normal, near zero, hardly above twice the scale;
#' * `c(value = 1)`: taken as known.
#'
#' `recryst_1h_c` is the temperature at which recrystallisation just reaches completion (0.99) in one hour,
#' as in
#' [plan_guess()]: the belief about how fast the metal softens. Rates themselves may be given at a
#' temperature:
#' `ln_k_ref = c(mean = -2, sd = 1, temp_c = 350)`.
#'
#' `from` takes estimates and covariance of what an earlier fit determined as a normal prior, at its own
#' reference
#' temperature; what [pool_fits()] returns serves for the next group, spread between groups included.
#'
#' `prior_brass()` starts from the values for cartridge brass in
#' `system.file("extdata", "plan_kinetics.csv", package = "softanneal")`; `print()` gives the source of each
#' and
#' how it was got. Other beliefs replace these. Its levels are in HV: for a fit on a Rockwell scale they are
#' converted, for a fit of another property refused.
#'
#' @param h_worked,h_soft Hardness as rolled and when soft, in the scale of the fit.
#' @param recryst_1h_c Temperature of complete recrystallisation in one hour, degrees Celsius.
#' @param q_kj_mol Activation energy in kJ/mol.
#' @param n Avrami exponent.
#' @param ... Beliefs of further parameters by their names in [softening-models]. For `prior_brass()`: any
#'   of
#'   the beliefs of `prior_softening()`.
#' @param sd_specimen,sd_step,sd_operator,sd_reading Standard deviations of the offset of a specimen, of the
#'   error
#'   that the readings of a step share, of an operator and of a reading, in the scale of the fit. By default
#'   half-normal with scales of 5, 3, 5 and 5 HV (on other scales 6, 4, 6 and 6 % of the softening).
#' @param sd_furnace_c Standard deviation of the error of the temperature of a furnace run in K; half-normal
#'   with scale 3 by default. A fit with `u_temp_c` brings its own.
#' @param from A fit of [fit_softening()], or what [pool_fits()] returned.
#' @param widen Factor on the standard deviations of `from`: an earlier batch is not this one.
#' @param object,x A prior.
#' @return An object of class `softanneal_prior`: `table` (a data frame with columns `quantity`, `form`,
#'   `a`,
#'   `b`, `unit`, `source`, `how_got`; also by `as.data.frame()`), `rate_temp_c` (of a belief of `ln_k_ref`)
#'   and
#'   `joint` (of `from`). `autoplot()` draws what is not flat.
#' @section Errors:
#'   `softanneal_error_argument` for an unknown quantity or form, or one quantity believed twice;
#'   `softanneal_error_range` for spreads that are not positive.
#' @source Weak priors of standard deviations: Gelman A (2006) Bayesian Analysis 1, 515.
#' @seealso [fit_posterior()], [pool_fits()]
#' @examples
#' prior_softening(q_kj_mol = c(mean = 150, sd = 30), n = c(median = 1.5, factor = 1.3))
#' prior_brass(h_soft = c(lower = 60, upper = 90))
#' @export
prior_softening <- function(h_worked = NULL, h_soft = NULL, recryst_1h_c = NULL, q_kj_mol = NULL, n = NULL,
                            ...,
                            sd_specimen = NULL, sd_furnace_c = NULL, sd_step = NULL, sd_operator = NULL,
                            sd_reading = NULL, from = NULL, widen = 1) {
  given <- list(h_worked = h_worked, h_soft = h_soft, recryst_1h_c = recryst_1h_c, q_kj_mol = q_kj_mol, n = n,
                ..., sd_furnace_c = sd_furnace_c, sd_specimen = sd_specimen, sd_step = sd_step,
                sd_operator = sd_operator, sd_reading = sd_reading)
  check_believed_names(names(given))
  given <- given[!vapply(given, is.null, NA)]
  widen <- check_number(widen, "widen", 0, open = TRUE)
  rows <- lapply(names(given), function(name) belief_row(name, given[[name]]))
  table <- do.call(rbind, c(rows, lapply(setdiff(names(PRIOR_SDS), names(given)), default_belief)))
  out <- list(table = table, rate_temp_c = rate_temperature(given[["ln_k_ref"]]),
              joint = if (!is.null(from)) joint_belief(from, widen))
  check_believed_once(out)
  structure(out, class = "softanneal_prior")
}

check_believed_names <- function(names) {
  known <- c(register()$terms$name, "recryst_1h_c", names(PRIOR_SDS))
  odd <- names[!base_term(names) %in% known]
  if (length(odd)) {
    odd[!nzchar(odd)] <- "(unnamed)"
    abort("argument", paste0("there is no quantity ", in_quotes(odd, " and ")), arg = odd[1L],
          remedy = paste0("Choose from ", in_quotes(known), "."))
  }
  twice <- names[duplicated(names)]
  if (length(twice)) twice_believed(twice)
}

twice_believed <- function(names) {
  abort("argument", paste0("more than one belief of ", in_quotes(unique(names), " and ")), arg = names[1L],
        remedy = "Say what is believed of each quantity once.")
}

# The rate is believed once: as itself, by the temperature for one hour, or from the earlier fit.
check_believed_once <- function(prior) {
  said <- c(prior$table$quantity, names(prior$joint$mean))
  twice <- unique(said[duplicated(said)])
  rate <- c("ln_k_ref", "recryst_1h_c")
  if (all(rate %in% said)) twice <- union(twice, rate)
  if (length(twice)) twice_believed(twice)
}

belief_form <- function(x, name) {
  x <- check_start_like(x, name)
  own <- names(x)
  if (name == "ln_k_ref") own <- setdiff(own, "temp_c")
  form <- names(PRIOR_FORMS)[vapply(PRIOR_FORMS, setequal, NA, own)]
  if (length(form)) return(form)
  abort("argument", paste0("`", name, "` must be one of the forms of a belief, not ",
                           in_quotes(names(x), " and ")),
        arg = name, remedy = paste0(
          "Write c(mean = , sd = ), c(median = , factor = ), c(lower = , upper = ), c(scale = ) or ",
          "c(value = )",
          if (name == "ln_k_ref") ", with temp_c = , the temperature it holds at", "."))
}

belief_row <- function(name, x, source = "given by the user", how_got = "given by the user") {
  form <- belief_form(x, name)
  v <- check_numeric(unname(x[PRIOR_FORMS[[form]]]), name)
  least <- switch(form, normal = , "half-normal" = 0, lognormal = 1, -Inf)
  bad <- v[length(v)] <= least || (form == "lognormal" && v[1L] <= 0) || (form == "flat" && v[1L] >= v[2L]) ||
    (name %in% names(PRIOR_SDS) && (v[1L] < 0 || form == "normal"))
  if (bad) {
    abort("range", paste0("`", name, "` cannot be ", form, " with ", paste(format(v), collapse = " and ")),
          arg = name, remedy = paste(
            "Spreads, scales and medians are above zero, factors above 1, lower limits below upper ones;",
            "a standard deviation is zero or more, and not normal."))
  }
  if (form %in% c("fixed", "half-normal")) v <- c(NA, v)
  data.frame(quantity = name, form = form, a = v[1L], b = v[2L], unit = belief_unit(name), source = source,
             how_got = how_got)
}

belief_unit <- function(name) {
  if (name == "recryst_1h_c") return("deg C")
  if (name == "sd_furnace_c") return("K")
  if (name %in% names(PRIOR_SDS)) return("scale of the fit")
  unit <- term_units(name, "scale of the fit")[[1L]]
  if (nzchar(unit)) unit else "-"
}

default_belief <- function(name) {
  data.frame(quantity = name, form = "half-normal", a = NA_real_, b = PRIOR_SDS[[name]],
             unit = if (name == "sd_furnace_c") "K" else "HV", source = "default",
             how_got = "common practice, no source")
}

rate_temperature <- function(x) {
  if (is.null(x)) return(NULL)
  if (!"temp_c" %in% names(x)) {
    abort("argument", "a belief of `ln_k_ref` must say at which temperature it holds", arg = "ln_k_ref",
          remedy = "Write c(mean = , sd = , temp_c = ), the temperature in degrees Celsius.")
  }
  if (belief_form(x, "ln_k_ref") != "normal") {
    abort("argument", "a belief of `ln_k_ref` at a temperature must have a mean and an sd", arg = "ln_k_ref",
          remedy = "Write c(mean = , sd = , temp_c = ).")
  }
  check_temperature(x[["temp_c"]], "temp_c")
}

# Mean and covariance of what is known already.
joint_belief <- function(from, widen) {
  if (inherits(from, "softanneal_pool")) {
    ref <- from$temp_ref_c
    mean <- from$mean
    cov <- from$new
    words <- paste0("a new group after ", count(nrow(from$groups), "group"))
  } else {
    check_softening(from, "from")
    known <- names(from$states)[from$states == "determined"]
    if (!length(known) || anyNA(from$vcov[known, known])) {
      abort("argument", "`from` has no parameter with a standard error", arg = "from",
            remedy = "Use a fit that determines a parameter, or say what is believed by hand.")
    }
    ref <- from$temp_ref_c
    mean <- from$coefficients[known]
    cov <- from$vcov[known, known, drop = FALSE]
    words <- paste0("earlier fit '", from$model, "' of ", count(from$nobs, "reading"))
  }
  list(mean = mean, cov = cov * widen^2, temp_ref_c = ref, widen = widen, words = words, model = from$model,
       scale = from$scale)
}

#' @rdname prior_softening
#' @export
prior_brass <- function(...) {
  table <- fact_table("plan_kinetics.csv")
  table <- table[table$material == "C26000", ]
  v <- table$value
  s <- table$sd
  usual <- lapply(seq_along(v), function(k) {
    if (!table$quantity[k] %in% c("q_kj_mol", "n")) return(c(mean = v[k], sd = s[k]))
    c(median = v[k], factor = exp(sqrt(log1p((s[k] / v[k])^2))))
  })
  names(usual) <- table$quantity
  given <- list(...)
  if (length(given) && is.null(names(given))) names(given) <- rep("", length(given))
  own <- setdiff(names(usual), names(given))
  if ("ln_k_ref" %in% names(given)) own <- setdiff(own, "recryst_1h_c")
  out <- do.call(prior_softening, c(usual[own], given))
  at <- match(out$table$quantity, own)
  row <- match(out$table$quantity, table$quantity)[!is.na(at)]
  out$table$source[!is.na(at)] <- table$source[row]
  out$table$how_got[!is.na(at)] <- table$how_got[row]
  out$table$unit[!is.na(at)] <- table$unit[row]
  out
}

check_prior <- function(prior) {
  if (is.null(prior)) return(prior_softening())
  if (inherits(prior, "softanneal_prior")) return(prior)
  abort("argument", paste0("`prior` must come from prior_softening() or prior_brass(), not ",
                           describe(prior)),
        arg = "prior")
}

belief_words <- function(form, a, b, unit = "") {
  q <- format_quantity
  unit <- ifelse(unit %in% c("-", "scale of the fit"), "", paste0(" ", unit))
  out <- character(length(form))
  fill_in <- function(which, text) out[form == which] <<- text[form == which]
  fill_in("fixed", paste0(q(b), unit, ", taken as known"))
  fill_in("flat", paste0(q(a), " to ", q(b), unit, ", all alike"))
  fill_in("normal", paste0(q(a), " ", plus_minus(), " ", q(b), unit))
  fill_in("lognormal", paste0(q(a), unit, ", within a factor of ", q(b)))
  fill_in("half-normal", paste0("near zero, scale ", q(b), unit))
  out
}

#' @export
print.softanneal_prior <- function(x, ...) {
  cat("Before the readings it is believed:\n\n")
  t <- x$table
  if (!is.null(x$joint)) {
    sd <- sqrt(diag(x$joint$cov))
    part <- data.frame(quantity = names(x$joint$mean), form = "normal", a = unname(x$joint$mean), b = sd,
                       unit = vapply(names(x$joint$mean), belief_unit, ""), source = x$joint$words,
                       how_got = "with its correlations")
    t <- rbind(part, t)
  }
  m <- cbind(Quantity = t$quantity, Belief = belief_words(t$form, t$a, t$b, t$unit))
  rownames(m) <- rep("", nrow(m))
  print(m, quote = FALSE, right = FALSE)
  if (!is.null(x$rate_temp_c)) {
    cat("\nln_k_ref holds at ", format(x$rate_temp_c), " degrees Celsius.\n", sep = "")
  }
  if (!is.null(x$joint) && x$joint$widen != 1) {
    cat("\nStandard deviations of the earlier fit times ", format(x$joint$widen), ".\n", sep = "")
  }
  cat("\n", paste0(strwrap("All other parameters: flat within the bounds of the model.", exdent = 2),
                   "\n"), sep = "")
  said <- t$source != "default" & t$source != "given by the user"
  words <- paste0(t$quantity, ": ", t$source, " (", t$how_got, ")")[said]
  if (length(words)) {
    cat("\nSources:\n", paste0(strwrap(words, width = 0.95 * getOption("width"), indent = 2, exdent = 4),
                               "\n"),
        sep = "")
  }
  invisible(x)
}

#' @export
format.softanneal_prior <- function(x, ...) {
  said <- c(names(x$joint$mean), x$table$quantity[x$table$source != "default"])
  paste0("<prior: ", if (length(said)) paste(said, collapse = ", ") else "flat within bounds", ">")
}

#' @export
as.data.frame.softanneal_prior <- function(x, row.names = NULL, optional = FALSE, ...) x$table
