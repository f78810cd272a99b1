# Rate laws of annealing for vectors: recrystallised fraction, the time to it, and the
# Arrhenius rate. Computed in src/kinetics.c; here arguments are checked and recycled.

# Molar gas constant, J/(mol K), exact (CODATA 2018). Twin: SA_GAS_CONSTANT in src/status.h.
GAS_CONSTANT <- 8.31446261815324

# Recrystallised fraction that counts as complete in the one-hour temperature of a metal.
COMPLETE <- 0.99

# Coordinate e in mol/kJ: ln k = ln k_ref + Q e. Twin: sa_inverse_temperature() in
# src/kinetics.c.
inverse_temperature <- function(temp_c, temp_ref_c) {
  -1000 * (1 / (temp_c + ZERO_CELSIUS) - 1 / (temp_ref_c + ZERO_CELSIUS)) / GAS_CONSTANT
}

#' Recrystallised fraction at a time, and the time to a fraction
#'
#' The law of Johnson, Mehl, Avrami and Kolmogorov (JMAK) at constant temperature,
#' \deqn{X = 1 - \exp(-(k t - \theta_0)^n)}{X = 1 - exp(-(k t - theta0)^n)}
#' and its inverse.
#'
#' Books write the law in two forms. Here `form = "rate"` has k inside the power,
#' \eqn{\exp(-(k t)^n)}{exp(-(k t)^n)}, so that k is a rate in 1/time and does not change its
#' unit with n. With `form = "constant"` it is \eqn{\exp(-k t^n)}{exp(-k t^n)}, as in many
#' textbooks; k then has the unit 1/time^n. The two are related by
#' k(constant) = k(rate)^n.
#'
#' @param time Time at temperature, zero or more, in any unit of time; with the `"rate"` form
#'   `k` is in its inverse (minutes and 1/min elsewhere in this package).
#' @param fraction Recrystallised fraction, from 0 to below 1.
#' @param k Rate (form `"rate"`, 1/time) or constant (form `"constant"`, 1/time^n), positive.
#' @param n Avrami exponent, positive, no unit.
#' @param theta0 Incubation: reduced time `k * time` that passes before the first grain forms;
#'   zero or more, no unit. Only with form `"rate"`.
#' @param form `"rate"` for exp(-(k t)^n), `"constant"` for exp(-k t^n).
#' @return A numeric vector as long as the longest argument (others of length 1 are repeated):
#'   fractions between 0 and 1, or times in the unit of `1/k`. `NA` where an argument is `NA`.
#' @section Errors:
#'   `softanneal_error_argument` for a wrong type or length, `softanneal_error_range` for a
#'   value outside its domain; see [softanneal-conditions].
#' @source Kolmogorov A N (1937) Izv. Akad. Nauk SSSR, Ser. Mat. 3, 355. Johnson W A, Mehl R F
#'   (1939) Trans. AIME 135, 416. Avrami M (1939) J. Chem. Phys. 7, 1103
#'   \doi{10.1063/1.1750380}.
#' @seealso [arrhenius_rate()] for k at a temperature, [fit_softening()] to estimate all of
#'   these from hardness readings.
#' @examples
#' # A worked example: exponent 5, 30 % recrystallised after 100 min. The rate follows from
#' # the time a unit rate would need, and the rest from the rate.
#' k <- jmak_time(0.30, k = 1, n = 5) / 100
#' half <- jmak_time(0.50, k = k, n = 5)
#' c(t50_min = half, rate_per_min = 1 / half)
#' jmak_fraction(c(0, 50, 100, 150, 200), k = k, n = 5)
#' @export
jmak_fraction <- function(time, k, n, theta0 = 0, form = c("rate", "constant")) {
  form <- check_choice(form, c("rate", "constant"), "form")
  check_incubation_form(theta0, form)
  x <- common_length(time = check_numeric(time, "time", 0, na = TRUE),
                     k = check_numeric(k, "k", 0, open = TRUE, na = TRUE),
                     n = check_numeric(n, "n", 0, open = TRUE, na = TRUE),
                     theta0 = check_numeric(theta0, "theta0", 0, na = TRUE), spread = FALSE)
  .Call(C_sa_call_jmak_fraction, x$time, x$k, x$n, x$theta0, as.integer(form == "constant"))
}

#' @rdname jmak_fraction
#' @export
jmak_time <- function(fraction, k, n, theta0 = 0, form = c("rate", "constant")) {
  form <- check_choice(form, c("rate", "constant"), "form")
  check_incubation_form(theta0, form)
  fraction <- check_numeric(fraction, "fraction", 0, 1, na = TRUE)
  if (any(fraction == 1, na.rm = TRUE)) {
    abort("range", "`fraction` must be below 1", arg = "fraction",
          rows = which(fraction == 1),
          remedy = "The law needs infinite time for all of it; ask for 0.99 or 0.999.")
  }
  x <- common_length(fraction = fraction,
                     k = check_numeric(k, "k", 0, open = TRUE, na = TRUE),
                     n = check_numeric(n, "n", 0, open = TRUE, na = TRUE),
                     theta0 = check_numeric(theta0, "theta0", 0, na = TRUE), spread = FALSE)
  .Call(C_sa_call_jmak_time, x$fraction, x$k, x$n, x$theta0, as.integer(form == "constant"))
}

check_incubation_form <- function(theta0, form) {
  if (form == "constant" && !identical(theta0, 0)) {
    abort("argument", "`theta0` has no meaning with `form = \"constant\"`", arg = "theta0",
          remedy = "Use `form = \"rate\"`; incubation is counted in k * time.")
  }
}

#' Rate at a temperature by the law of Arrhenius
#'
#' \deqn{k(T) = k_{ref} \exp\left(-\frac{Q}{R}\left(\frac{1}{T} - \frac{1}{T_{ref}}\right)
#'   \right)}{k(T) = k_ref exp(-(Q/R) (1/T - 1/T_ref))}
#' with temperatures in K inside and R = 8.314462618 J/(mol K). Writing the law about a
#' reference temperature inside the range of the data keeps k_ref and Q nearly uncorrelated
#' in a fit; it is the same law as k0 exp(-Q/RT).
#'
#' @param temp_c Temperature in degrees Celsius, above absolute zero.
#' @param k_ref Rate at `temp_ref_c`, positive, in any unit; the result has the same.
#' @param temp_ref_c Reference temperature in degrees Celsius.
#' @param q_kj_mol Activation energy in kJ/mol, zero or more.
#' @return A numeric vector of rates in the unit of `k_ref`; `NA` where an argument is `NA`.
#' @inheritSection jmak_fraction Errors
#' @source Arrhenius S (1889) Z. phys. Chem. 4, 226 \doi{10.1515/zpch-1889-0416}. Gas constant: CODATA
#'   2018.
#' @seealso [fit_arrhenius()] to estimate Q from rates at several temperatures.
#' @examples
#' # How much faster does a process of 150 kJ/mol run at 350 than at 330 degrees Celsius?
#' arrhenius_rate(350, k_ref = 1, temp_ref_c = 330, q_kj_mol = 150)
#' @export
arrhenius_rate <- function(temp_c, k_ref, temp_ref_c, q_kj_mol) {
  x <- common_length(temp_c = check_temperature(temp_c, "temp_c", na = TRUE),
                     k_ref = check_numeric(k_ref, "k_ref", 0, open = TRUE, na = TRUE),
                     temp_ref_c = check_temperature(temp_ref_c, "temp_ref_c", na = TRUE),
                     q_kj_mol = check_numeric(q_kj_mol, "q_kj_mol", 0, na = TRUE), spread = FALSE)
  .Call(C_sa_call_arrhenius, x$temp_c, x$k_ref, x$temp_ref_c, x$q_kj_mol)
}

check_temperature <- function(x, arg, na = FALSE) {
  check_numeric(x, arg, -ZERO_CELSIUS, open = TRUE, na = na,
                remedy = "Temperatures are in degrees Celsius, above -273.15.")
}
