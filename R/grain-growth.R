# Normal grain growth after recrystallisation, d^m = d0^m + K t with K of Arrhenius form. Grain
# sizes in mm, times in min, temperatures in degrees Celsius, so K is in mm^m/min. The law
# holds for equiaxed grains well below the thickness of the sheet.

#' Grain growth at temperature
#'
#' Grain size after a time at temperature, and the time to a grain size, by
#' \deqn{d^m = d_0^m + K t,\quad K = K_{ref} \exp\left(-\frac{Q}{R}\left(\frac{1}{T} -
#'   \frac{1}{T_{ref}}\right)\right) = K_0 e^{-Q/RT}}{d^m = d0^m + K t,
#'   K = k_ref exp(-(Q/R) (1/T - 1/T_ref)) = k0 exp(-Q/(R T))}
#'
#' For one temperature only give `k_ref`, the constant at that temperature. For any temperature
#' give either `k_ref`, `temp_ref_c` and `q_kj_mol`, or `k0` and `q_kj_mol`, with `temp_c`.
#' The ideal exponent of curvature-driven growth is 2; real metals show 2 to 5 and more. Growth
#' slows down when grains reach the thickness of the sheet, and where particles or solutes pin
#' the boundaries, which the law leaves out.
#'
#' @param time_min Time at temperature in min, zero or more, after recrystallisation.
#' @param grain_mm Grain size wanted, in mm; at least `d0_mm`.
#' @param d0_mm Grain size at time zero in mm; zero or more.
#' @param k_ref Growth constant in mm^m/min at `temp_ref_c`, or at the one temperature.
#' @param m Grain growth exponent, 1 or more, no unit.
#' @param temp_c Temperature in degrees Celsius.
#' @param temp_ref_c Reference temperature in degrees Celsius.
#' @param q_kj_mol Activation energy in kJ/mol, zero or more.
#' @param k0 Growth constant at infinite temperature in mm^m/min, instead of `k_ref`.
#' @return `grain_growth()`: grain sizes in mm. `grain_growth_time()`: times in min. As long as the
#'   longest argument (others of length 1 are repeated); `NA` where an argument is `NA`.
#' @section Errors: `softanneal_error_argument` for a wrong type, length or combination,
#'   `softanneal_error_range` for a value outside its domain, and for a `grain_mm` below `d0_mm`.
#' @source Beck P A, Kremer J C, Demer L J, Holzworth M L (1948) Trans. AIME 175, 372. Burke J E (1949)
#'   Trans. AIME 180, 73 (brass). Burke J E, Turnbull D (1952) Prog. Met. Phys. 3, 220
#'   \doi{10.1016/0502-8205(52)90009-9}. (Sources from memory.)
#' @seealso [fit_grain_growth()], [grain_size()]
#' @examples
#' # worked example: 8.2e-3 mm grows to 2.7e-2 mm in 12.5 min at 500 degrees Celsius, m = 2
#' k <- (2.7e-2^2 - 8.2e-3^2) / 12.5
#' grain_growth(100, d0_mm = 8.2e-3, k_ref = k)
#' grain_growth_time(0.05, d0_mm = 8.2e-3, k_ref = k)
#' # the same at other temperatures, with an activation energy
#' grain_growth(60, d0_mm = 0.01, k_ref = k, temp_c = c(450, 500, 550), temp_ref_c = 500,
#'              q_kj_mol = 120)
#' @export
grain_growth <- function(time_min, d0_mm, k_ref = NULL, m = 2, temp_c = NULL, temp_ref_c = NULL,
                         q_kj_mol = NULL, k0 = NULL) {
  time_min <- check_numeric(time_min, "time_min", 0, na = TRUE)
  x <- growth_arguments(list(time_min = time_min), d0_mm, k_ref, m, temp_c, temp_ref_c, q_kj_mol,
                        k0)
  grown(x$time_min, x$d0_mm, x$k, x$m)
}

#' @rdname grain_growth
#' @export
grain_growth_time <- function(grain_mm, d0_mm, k_ref = NULL, m = 2, temp_c = NULL,
                              temp_ref_c = NULL, q_kj_mol = NULL, k0 = NULL) {
  grain_mm <- check_numeric(grain_mm, "grain_mm", 0, open = TRUE, na = TRUE)
  x <- growth_arguments(list(grain_mm = grain_mm), d0_mm, k_ref, m, temp_c, temp_ref_c, q_kj_mol,
                        k0)
  small <- which(x$grain_mm < x$d0_mm)
  if (length(small)) {
    abort("range", "`grain_mm` is below `d0_mm`", arg = "grain_mm", rows = small,
          remedy = "Grains do not shrink; ask for a larger size.")
  }
  # d^m - d0^m without loss of figures where d is close to d0
  x$grain_mm^x$m * -expm1(x$m * (log(x$d0_mm) - log(x$grain_mm))) / x$k
}

# d0 (1 + K t/d0^m)^(1/m); from nothing, or where d0^m is below the rounding of K t, (K t)^(1/m).
grown <- function(time_min, d0_mm, k, m) {
  growth <- k * time_min / d0_mm^m
  from_grain <- d0_mm * exp(log1p(growth) / m)
  nothing <- which(d0_mm == 0 | growth > 1e20)
  from_grain[nothing] <- ((k * time_min)^(1 / m))[nothing]
  still <- which(time_min == 0) # 0/0 where d0^m is too small for a number
  from_grain[still] <- d0_mm[still]
  from_grain
}

growth_arguments <- function(first, d0_mm, k_ref, m, temp_c, temp_ref_c, q_kj_mol, k0) {
  has <- !vapply(list(k_ref = k_ref, temp_c = temp_c, temp_ref_c = temp_ref_c, q_kj_mol = q_kj_mol,
                      k0 = k0), is.null, NA)
  sets <- list("k_ref", c("k_ref", "temp_c", "temp_ref_c", "q_kj_mol"),
               c("temp_c", "q_kj_mol", "k0"))
  given <- names(has)[has]
  if (!any(vapply(sets, setequal, NA, given))) {
    abort("argument", paste0("these arguments do not give a growth constant: ",
                             if (length(given)) in_quotes(given, " and ") else "none"),
          arg = given, remedy = paste("Give `k_ref` for one temperature; or `temp_c`, `k_ref`,",
                                      "`temp_ref_c`, `q_kj_mol`; or `temp_c`, `k0`, `q_kj_mol`."))
  }
  arg <- if (has[["k0"]]) "k0" else "k_ref"
  x <- c(first, list(d0_mm = check_numeric(d0_mm, "d0_mm", 0, na = TRUE),
                     k = check_numeric(if (has[["k0"]]) k0 else k_ref, arg, 0, open = TRUE,
                                       na = TRUE),
                     m = check_numeric(m, "m", 1, na = TRUE)))
  if (has[["temp_c"]]) {
    x$temp_c <- check_temperature(temp_c, "temp_c", na = TRUE)
    x$q <- check_numeric(q_kj_mol, "q_kj_mol", 0, na = TRUE)
    x$per_kelvin <- if (has[["k0"]]) 0 else {
      1 / (check_temperature(temp_ref_c, "temp_ref_c", na = TRUE) + ZERO_CELSIUS)
    }
  }
  x <- do.call(common_length, x)
  if (has[["temp_c"]]) {
    x$k <- x$k * exp(-1000 * x$q / GAS_CONSTANT * (1 / (x$temp_c + ZERO_CELSIUS) - x$per_kelvin))
  }
  x
}
