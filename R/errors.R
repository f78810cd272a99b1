# The help page of the description of errors; fit-errors*.R compute it.

#' Errors of hardness readings
#'
#' A hardness reading after an anneal differs from the curve for several reasons. `fit_softening(se =
#' "components")` describes them together; the other standard errors leave some of them out.
#'
#' \deqn{y = H(T + d_{run}, t) + b_{specimen} + o_{operator} + s_{step} + e}{y = H(T + d_run, t) +
#'   b_specimen + o_operator + s_step + e}
#'
#' | part | unit | shared by | shows where |
#' |---|---|---|---|
#' | d, error of the furnace temperature | K | all specimens of a run | the curve is steep; all rates move, each by its own energy |
#' | b, offset of a specimen | hardness | all steps of a specimen | everywhere alike, as rolled too |
#' | o, operator | hardness | all readings of a person | everywhere alike |
#' | s, step | hardness | all readings of a step | everywhere alike |
#' | e, reading | hardness | nothing | between the readings of a step |
#'
#' **Which standard error covers what.** `"model"`: independent readings only, right where nothing but e
#' scatters. `"steps"` and `"cluster"`: e and s. `"components"`: all of them. With one
#' specimen at each temperature and a furnace off by 1 or 2 degrees, 95 % intervals of the activation
#' energy by `"cluster"` cover about 70 to 80 %, by `"steps"` 40 to 70 %; by `"components"` 92 to 98 %
#' (`vignette("errors", package = "softanneal")` has the table, which `inst/benchmarks/coverage-errors.R`
#' prints). The price: where only steps scatter, its interval of Q is about 2.4 times as wide with four
#' specimens, and 1.4 times with eight, since four rates cannot show that the furnace was right. More
#' specimens at more temperatures are the cure, not more readings.
#'
#' **Estimates** are generalised least squares with the covariance of these errors, the model
#' linearised at the conditional mode of each furnace error; the standard deviations by REML, that
#' of a reading from the repeat readings alone. The estimates differ a little from least squares.
#'
#' **Intervals.** With few specimens the standard deviations are poorly known, and one estimated as zero
#' does not prove zero. They are therefore averaged over weak priors (half-Cauchy with the scale 2 K
#' for the furnace, and 2 HV, or 2.5 % of the softening where that is more, for specimen, step and
#' operator), weighted by the restricted likelihood; the interval holds the quantiles of the resulting
#' mixture of normal distributions. `std.error` is half the central 68.27 % interval. Whether the furnace
#' errs once for a specimen or at each insertion is averaged over too, half and half before the data; where
#' the furnace's error cannot be seen at all, the wider interval of the two counts.
#'
#' **Runs.** Specimens of one furnace run share its error. Name the run in a column `furnace` or `run`;
#' without it specimens of one set temperature count as one run, as the print states. A furnace set to
#' several temperatures (5 K or more apart) errs at each of them anew: each counts as a run. Two specimens
#' in two runs at one temperature, taken as one run, or the reverse, give wrong intervals.
#'
#' **What the readings cannot show.** With fewer than three runs any pair of rates lies on a line, and
#' the error of the furnace is invisible. Then `u_temp_c`, its standard uncertainty from the
#' calibration, decides the interval of Q; taken as known to 50 % unless `u_temp_exact = TRUE`.
#' Without it 2 K (half-normal) is assumed, and the print shows by how much 1 degree at each run moves the
#' estimates. An offset common to all runs is never visible: 1 degree changes ln k by about 0.05.
#'
#' **Half-seen curves.** Where a parameter has only a limit, or softening was over at the first reading of a
#' temperature and the profile ends much farther out than the interval above, all limits come from
#' profiles with the covariance fixed, cut where the interval above ends.
#'
#' @source Lindstrom M J, Bates D M (1990) Biometrics 46, 673 \doi{10.2307/2532087} (modes). Patterson H
#'   D, Thompson R (1971) Biometrika 58, 545 \doi{10.1093/biomet/58.3.545} (REML). Gelman A (2006)
#'   Bayesian Analysis 1, 515 \doi{10.1214/06-BA117A} (priors). Searle S R, Casella G, McCulloch C E
#'   (1992) Variance Components \doi{10.1002/9780470316856}.
#' @seealso [fit_softening()], [softening-inference], [components_of_error()], [predict-fit].
#' @name softening-errors
#' @examples
#' readings <- example_data("bellbrass_readings")
#' fit <- fit_softening(readings)
#' fit
#' tidy(fit, effects = "ran_pars", conf.int = TRUE)
NULL
