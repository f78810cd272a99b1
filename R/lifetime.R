# Times to an event at several temperatures, some of them only known to be longer than the last
# look (right-censored), by maximum likelihood: ln t = ln_t_ref + (Q/R)(1/T - 1/Tref) + scale W.
# Times in any unit, temperatures in degrees Celsius. The Newton steps are in R/lifetime-solve.R.

LIFETIME_LAWS <- c("lognormal", "weibull", "exponential")

#' Times to softening (or failure) with censoring
#'
#' Fits an Arrhenius law to times until an event, some right-censored at the end of the
#' test, by maximum likelihood.
#' \deqn{\ln t = \ln t_{ref} + \frac{Q}{R}\left(\frac{1}{T} - \frac{1}{T_{ref}}\right) +
#'   \sigma W}{ln t = ln_t_ref + (Q/R) (1/T - 1/Tref) + scale W}
#' with W standard normal (`"lognormal"`), or of the smallest extreme value (`"weibull"`; its shape
#' is `1/scale`; `"exponential"` has scale 1).
#'
#' A specimen that was not yet half soft at its last reading is not a missing value: it shows that
#' its time is longer. Left out, or taken as if the time had been reached, it makes softening look
#' too fast, at the low temperatures most, and Q too low. Here it enters as the probability
#' of outlasting its time (`event` `FALSE` or 0).
#'
#' `ln_t_ref` is the natural logarithm, in the unit of the times given, of the median for the
#' lognormal law and of the characteristic life (63.2 %) for the others, at the reference
#' temperature.
#'
#' If events were seen at one temperature only, the likelihood has no maximum in Q: censored
#' specimens that were colder give a lower limit of it, hotter ones an upper limit, and the fit
#' is given instead of a number with a standard error; the reference temperature is then that of
#' the events. With one temperature Q is `NA`.
#'
#' Standard errors come from the observed information; intervals use normal quantiles, as usual
#' for maximum likelihood (`df.residual()` is the number of values less parameters).
#'
#' @param data A data frame, one row per specimen (or a number of like specimens, see `weights`).
#' @param time Column of times, above zero, in any one unit; bare or quoted like all columns. Durations and
#'   class units are converted to the unit that ends the name of the column (`_h`, `_s`), else to minutes.
#' @param temp Column of temperatures in degrees Celsius.
#' @param event Column: whether the event came at that time: `TRUE`/`FALSE` or 1/0.
#'   `NULL` if it always came.
#' @param distribution Law of the scatter.
#' @param weights Column of numbers of like specimens in a row; `NULL` for one each.
#' @param temp_ref_c Reference temperature in degrees Celsius; by default that of the mean of 1/T
#'   over the specimens.
#' @param na.action As in [fit_least_squares()].
#' @param ... Must be empty.
#' @return An object of class `softanneal_fit_lifetime` over `softanneal_fit` with the coefficients
#'   `ln_t_ref`, `q_kj_mol` and `scale` (not for `"exponential"`), and the usual methods.
#'   `predict(fit, newdata, p = 0.5)` gives the time by which the share `p` has had the event
#'   with limits made on the logarithmic scale. `fitted()` is the median time, `residuals()`
#'   are ln(time/median) (`"standardized"`: divided by the scale; `"pearson"` also times the root of
#'   the weights); those of censored rows are lower limits. `deviance()` is minus twice the
#'   log-likelihood, and the likelihood is that of the times. `simulate()` draws uncensored
#'   times. `confint(method = "profile")` gives likelihood-ratio limits of Q. `anova()` compares
#'   `"exponential"` with `"weibull"` by the likelihood ratio.
#' @section Errors: `softanneal_error_range` (times not positive, `event` other than 0 and 1),
#'   `softanneal_error_too_few` (fewer different events than parameters), `softanneal_error_column`,
#'   `softanneal_error_argument`. Warnings of class `softanneal_warning_fit` name parameters that are not
#'   determined.
#' @source Meeker W Q, Escobar L A (1998) Statistical Methods for Reliability Data, chapters 17 and 19
#'   (model; Example 19.5 is a test of this function). Concavity of the likelihood in location/scale and
#'   1/scale: Olsen R J (1978) Econometrica 46, 1211 \doi{10.2307/1911445}; Burridge J (1981) J. R. Stat.
#'   Soc. B 43, 41. (Sources from memory.)
#' @seealso [fit_arrhenius()] for times without scatter or censoring, [time_to()]
#' @examples
#' # times to half softening of invented specimens; two had not softened when the test ended
#' pieces <- data.frame(temp_c = rep(c(290, 320, 350), each = 4),
#'                      time_min = c(151, 204, 240, 240, 38, 55, 61, 47, 13, 17, 11, 15),
#'                      reached = c(1, 1, 0, 0, rep(1, 8)))
#' fit <- fit_lifetime(pieces, event = reached)
#' fit
#' # what leaving them out would do
#' coef(fit_lifetime(pieces[pieces$reached == 1, ]))
#' predict(fit, data.frame(temp_c = 300), p = c(0.5, 0.9), interval = "confidence")
#' @order 1
#' @export
fit_lifetime <- function(data, time = time_min, temp = temp_c, event = NULL, ...,
                         distribution = c("lognormal", "weibull", "exponential"), weights = NULL,
                         temp_ref_c = NULL, na.action = stats::na.exclude) {
  check_dots_empty(...)
  call <- plain_call(match.call(), "fit_lifetime")
  distribution <- check_choice(distribution, LIFETIME_LAWS, "distribution")
  event_expr <- rlang::enquo(event)
  weight_expr <- rlang::enquo(weights)
  columns <- c(time = column_name(rlang::enquo(time)), temp = column_name(rlang::enquo(temp)),
               if (!is_null_column(event_expr)) c(event = column_name(event_expr)),
               if (!is_null_column(weight_expr)) c(weights = column_name(weight_expr)))
  check_data(data, groups = FALSE)
  d <- lifetime_data(data, columns, na.action)
  d$law <- distribution
  energy <- !one_temperature(d$temp)
  check_lifetimes(d, columns)
  d$ref <- if (is.null(temp_ref_c)) {
    1 / (sum(d$w / (d$temp + ZERO_CELSIUS)) / sum(d$w)) - ZERO_CELSIUS
  } else check_temperature(check_number(temp_ref_c, "temp_ref_c"), "temp_ref_c")
  # without a value of Q only the location at the temperature of the events is known
  if (energy && open_direction(d) != 0L) d$ref <- d$temp[d$event & d$w > 0][1L]
  # ln t rises with 1/T: minus the coordinate of rates
  d$e <- -inverse_temperature(d$temp, d$ref)
  lifetime_object(d, call, columns, energy)
}

lifetime_data <- function(data, columns, na.action) {
  n <- nrow(data)
  unit <- time_unit_by_name(columns[["time"]])
  time <- numeric_column(data, columns[["time"]], unit = unit, lower = 0, open = TRUE, na = TRUE,
                         remedy = "Times are above zero.")
  temp <- temperature_column(data, columns[["temp"]])
  event <- rep(1, n)
  if ("event" %in% names(columns)) {
    x <- any_column(data, columns[["event"]])
    event <- if (is.logical(x)) as.double(x) else {
      numeric_column(data, columns[["event"]], na = TRUE)
    }
    bad <- which(!is.na(event) & event != 0 & event != 1)
    if (length(bad)) {
      abort("range", paste0("column `", columns[["event"]], "` must be TRUE/FALSE or 1/0, not ",
                            format(event[bad[1L]])), arg = columns[["event"]], rows = bad,
            remedy = "1 where the event came, 0 where the test ended before.")
    }
  }
  w <- rep(1, n)
  if ("weights" %in% names(columns)) {
    w <- numeric_column(data, columns[["weights"]], lower = 0, na = TRUE,
                        remedy = "Numbers of like specimens are zero or more.")
  }
  values <- list(time, temp, event, w)
  names(values) <- c(columns[["time"]], columns[["temp"]],
                     if ("event" %in% names(columns)) columns[["event"]] else ".event",
                     if ("weights" %in% names(columns)) columns[["weights"]] else ".weights")
  gone <- missing_rows(values, n, na.action)
  keep <- setdiff(seq_len(n), as.integer(gone))
  list(y = log(time[keep]), temp = temp[keep], event = event[keep] == 1, w = w[keep], gone = gone)
}

# As many different events as parameters, or the scatter goes to zero and the likelihood has no
# maximum. Events at one temperature leave Q open, which is told elsewhere.
check_lifetimes <- function(d, columns) {
  seen <- d$event & d$w > 0
  events <- length(unique(paste(d$y, d$temp)[seen]))
  hot <- length(different_temperatures(d$temp[seen]))
  need <- if (d$law == "exponential") max(1L, min(hot, 2L)) else 1L + max(1L, min(hot, 2L))
  if (events < need) {
    abort("too_few", paste0("there are ", events, " different events where ", need,
                            " are needed"), arg = columns[["time"]],
          remedy = "Test longer or hotter, until the event comes to more specimens.")
  }
}

#' @export
header_lines.softanneal_fit_lifetime <- function(x) {
  c(paste0("Times to an event, ", x$distribution, " law, maximum likelihood"),
    paste0(format(x$nobs), " specimens (", format(x$events), " events, ", format(x$nobs - x$events),
           " censored)", if (length(x$na.action)) paste0("; ", length(x$na.action),
                                                         " rows left out: missing")),
    paste0("ln_t_ref: ln of the ", if (x$distribution == "lognormal") "median" else
      "characteristic life (63.2 %)", " at ", format(x$temp_ref_c, digits = 5),
      " degrees Celsius, unit of the data"))
}
