#' softanneal: softening and recrystallisation kinetics from hardness readings
#'
#' Analyses the hardness of cold-rolled sheet after annealing: readings are checked, scales converted,
#' softening and recrystallisation kinetics fitted, and the time or temperature for a wanted hardness
#' predicted with its confidence interval.
#'
#' Ten functions cover a whole experiment, in this order:
#'
#' | step | function |
#' |---|---|
#' | cold work of the sheet from its thickness | [cold_work()] |
#' | temperatures and times of the next anneals | [plan_anneal()] |
#' | readings from a file or a data frame | [read_readings()] |
#' | what looks wrong in them | [check_readings()] |
#' | the softening model, all temperatures at once | [fit_softening()] |
#' | which parameters are determined, and what limits the others | [identifiability()] |
#' | which model fits best | [compare_models()] |
#' | time to a hardness or softened fraction | [time_to()] |
#' | temperature for it in a given time | [temp_for()] |
#' | the report | [softening_report()] |
#' | a page to explore the fit, for any browser | [explore_page()] |
#'
#' Most results have a `plot()`. Temperatures are in degrees Celsius, times in
#' minutes, lengths in mm and activation energies in kJ/mol. Arguments whose names end in a unit (`temp_c`,
#' `time_min`) take values; `temp`, `time`, `hardness` and the like take columns, bare or quoted. In
#' functions `...` stands after the main arguments: options after it are given by name.
#'
#' @section Other functions by job:
#' * **Rolling**: [fit_hardening()], [nearest_temper()], [temper_limits()].
#' * **Hardness test and scales**: [choose_scale()], [minimum_thickness()], [indent_layout()],
#'   [convert_hardness()], [conversion_tables()], [estimate_strength()].
#' * **Furnace**: [heat_up()], [anneal_history()], [bench_sheet()], [cautions()], [improve_plan()].
#' * **Precision**: [summarise_readings()], [find_outliers()], [compare_baseline()],
#'   [compare_laboratories()], [uncertainty_budget()], [components_of_error()].
#' * **Kinetics without a fit**: [soften()], [jmak_fraction()], [equivalent_time()], [ramp_hold()].
#' * **Other fits**: [fit_each()] for many groups, [fit_recrystallisation()], [fit_arrhenius()],
#'   [fit_kissinger()], [fit_master_curve()], [fit_lifetime()], [fit_least_squares()].
#' * **Answers**: [process_window()], [recryst_temperature()], [rates()], [resample_fit()].
#' * **Plots**: [plot_arrhenius()], [plot_residuals()], [plot_hardness_map()] and others.
#' * **Grain size**: [grain_size()], [count_intercepts()], [fit_grain_growth()], [fit_hall_petch()].
#' * **Class**: [simulate_class()], [answer_key()], [mark_answers()], [lab_project()].
#'
#' @seealso `vignette("softanneal", package = "softanneal")` for a whole experiment; [softening-models] and
#'   [softening-errors] for what is fitted; [softanneal-conditions] for errors and warnings;
#'   [example_data()] for files to try.
#'
#' @section Safety:
#' A prediction is an estimate, not a release for use. Furnaces, hot metal, rolls
#' and saws hurt people: follow the local rules and the maker's instructions, and
#' work under qualified supervision.
#'
#' @keywords internal
#' @useDynLib softanneal, .registration = TRUE, .fixes = "C_"
#' @importFrom generics tidy glance augment
#' @importFrom stats anova coef confint deviance df.residual family fitted formula logLik nobs
#' @importFrom stats predict profile residuals sigma simulate vcov weights
"_PACKAGE"

#' @export
generics::tidy

#' @export
generics::glance

#' @export
generics::augment

# The pronoun of ggplot2::aes(), and the standard column names, defaults of the column
# arguments, which take names unevaluated. Nothing of rlang or ggplot2 is imported by name, so
# that neither is loaded before it is needed.
utils::globalVariables(c(
  ".data", "effective_strain", "grain_mm", "group", "hardness", "length_mm", "peak_c",
  "rate_k_min", "specimen", "strain", "temp_c", "thickness_mm", "time_min", "time_s", "width_mm"))

# plot() of every class with a plot: `plot.class <- draw_picture` beside its autoplot() method.
draw_picture <- function(x, ...) {
  print(ggplot2::autoplot(x, ...))
  invisible(x)
}
