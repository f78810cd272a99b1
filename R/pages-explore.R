# The page on which a fit is explored: R writes the fit, its readings and the tables of conversion as
# data; all that moves is computed in the page by the compiled code of the package.

#' A page to explore a fit
#'
#' One HTML file, for lecture and office, that needs no R, no server and no network: temperature and time by
#' sliders or typed, softened share and hardness with interval, in HV and on the scale of the dial; the map of
#' hardness over temperature and time with the readings; n, k and Q movable against the readings; what each
#' reading contributes; two anneals one after the other, with a door opened in between; a history drawn by
#' hand.
#'
#' The numbers are those of [predict()][predict.softanneal_fit_softening] at the same place, by the same
#' compiled code. Outside the range of the data (temperatures, longest time) the map is grey and the
#' page says so. The file opens by a double click in any browser of the last years. It makes no request,
#' which its Content-Security-Policy forbids it, and stores nothing.
#'
#' @param fit A fit of [fit_softening()] with one exponent, without `strain`, of several temperatures. Where
#'   something is open, intervals are those of the likelihood, open ends are said (`at least`, `at most`), and
#'   there is no value where none is best, as by [predict()][predict.softanneal_fit_softening].
#' @param file Path of the page, ending in `.html`.
#' @param ... Must be empty.
#' @param title Title of the page.
#' @param dial Scale of the dial shown beside that of the fit, such as `"HRB"`; by default the commonest scale
#'   of the readings other than HV, else `"HRB"` where the table has it. The page offers the others too.
#' @param level Level of the intervals.
#' @param overwrite Whether a file that is there may be replaced.
#' @param open Whether to show the page, in the viewer of RStudio or the browser.
#' @return The path, invisibly.
#' @section What the page does:
#' * Interval of the curve, and of a new reading, as `predict(interval = "confidence")` and `"prediction"`
#'   give them; a fit along logs has that of the curve alone. The conversion to the dial adds no
#'   uncertainty, as in `predict(scale = )`.
#' * The sum of squares is that of [deviance()][stats::deviance]; with `se = "components"` the estimates
#'   weigh steps by their errors, so that a slightly smaller sum may stand elsewhere. The contribution of
#'   a reading is its share in that sum, its leverage that of the fitted curve (the sum over all is the
#'   number of parameters).
#' * Two anneals: the reduced times of the steps add up (Scheil, 1935); with recovery or hardening each
#'   process has its own, and the page follows the history itself. The sheet is taken to have the drawn
#'   temperature throughout. The same for a history drawn or typed by points.
#' @section Errors:
#'   `softanneal_error_model` for a fit with strains, exponents by temperature or one temperature only, or
#'   with something open and Huber loss; `softanneal_error_scale` for a dial without table;
#'   `softanneal_error_file` when the file is there already, has another ending, or cannot be written;
#'   `softanneal_error_package` without jsonlite.
#' @section Safety: `r CAUTION_DEFERENCE` `r CAUTION_ESTIMATE`
#' @references Scheil E (1935) Arch. Eisenhuettenwes. 8, 565.
#' @seealso [predict()][predict.softanneal_fit_softening], [autoplot.softanneal_fit_softening()] and
#'   [softening_report()] on paper.
#' @examples
#' fit <- fit_softening(example_data("bellbrass_readings"))
#' if (requireNamespace("jsonlite", quietly = TRUE)) {
#'   explore_page(fit, file.path(tempdir(), "explore.html"), overwrite = TRUE)
#' }
#' @export
explore_page <- function(fit, file, ..., title = "Softening explored", dial = NULL, level = 0.95,
                         overwrite = FALSE, open = FALSE) {
  check_dots_empty(...)
  check_softening(fit)
  if (!is.null(property_of(fit))) {
    abort("model", "the page explores fits of hardness, not of another property", arg = "fit",
          remedy = "Use predict(), time_to() and plot_hardness_map().")
  }
  file <- check_new_file(file, "html", overwrite)
  title <- check_string(title, "title")
  level <- check_level(level)
  open <- check_flag(open, "open")
  check_explorable(fit)
  need_package("jsonlite", "to write the page")
  hottest <- max(fit$conditions$temp_c)
  write_page(file, "explore", title, explore_data(fit, dial, level), overwrite,
             c("annealing", "furnace", "indenting"), temp_c = hottest + EXPLORED_BEYOND[["temp_c"]])
  if (open) show_page(file)
  invisible(file)
}

# How far the sliders reach beyond the data: degrees Celsius on either side, factors of the shortest and
# longest time.
EXPLORED_BEYOND <- c(temp_c = 50, time = 8)

# Most curves drawn over time; a reading between their temperatures takes the mark of the nearest.
MOST_CURVES <- 8L

check_explorable <- function(fit) {
  check_ungrouped(fit)
  if (has_open(fit) && !by_components(fit) && !has_likelihood(fit)) {
    abort("model", "something is open, and the fit has no likelihood to give intervals", arg = "fit",
          remedy = "Fit with loss = \"squares\", read more steps, or fix a known parameter (`fixed`).")
  }
  if (length(fit$settings$set$no_energy)) {
    abort("model", "the fit has one temperature and says nothing about others", arg = "fit",
          remedy = "Fit readings of several temperatures, or fix the activation energy.")
  }
}

explore_data <- function(fit, dial, level) {
  at <- fit$conditions
  after <- at$time_min > 0
  temp <- range(at$temp_c[after])
  time <- range(at$time_min[after])
  along <- !is.null(fit$readings$history)
  ends_c <- temp + c(-1, 1) * EXPLORED_BEYOND[["temp_c"]]
  temperatures <- sort(unique(round(at$temp_c[after], 6)))
  if (length(temperatures) > MOST_CURVES) {
    temperatures <- temperatures[round(seq(1, length(temperatures), length.out = MOST_CURVES))]
  }
  words <- parameter_label(names(fit$par), fit$scale)
  list(
    fit = page_fit(fit), level = level, along = along, likelihood = page_likelihood(fit, level),
    open_words = I(if (has_open(fit)) reader_words(fit_words(fit), fit) else character()),
    # a new reading and a curve along a history, where the mixture of components is not asked
    t = interval_t(fit, level), reading_variance = reading_variance(fit), cov_full = fit$cov_full,
    components = by_components(fit),
    range = list(temp_c = temp, time_min = time,
                 reach_c = c(max(10 * floor(ends_c[1L] / 10), -200), 10 * ceiling(ends_c[2L] / 10)),
                 reach_min = signif(time * c(1 / EXPLORED_BEYOND[["time"]], EXPLORED_BEYOND[["time"]]), 2L)),
    start = list(temp_c = round(stats::median(at$temp_c[after]))),
    model = model_words(fit$model), one_clock = sum(is_energy(names(fit$par))) == 1L,
    reach = explore_reach(fit), se = fit$se,
    parameters = list(term = I(names(fit$par)), label = I(words), meaning = I(unname(
      PARAMETER_MEANING[base_term(names(fit$par))])), state = I(unname(fit$states)),
                      limits = unname(fit$limits), held = I(unname(fit$settings$set$held))),
    temperatures = I(temperatures),
    colours = list(light = I(ramp_colours(length(temperatures), FALSE)),
                   dark = I(ramp_colours(length(temperatures), TRUE))),
    readings = explore_readings(fit), conditions = c(
      list(temp_c = I(at$temp_c), time_min = I(at$time_min), mean = I(at$mean), weight = I(at$weight)),
      lapply(limited_steps(fit), I)),
    squares = sum((fit$weights %or% 1) * fit$residuals^2), loss = fit$loss,
    weighted = !is.null(fit$weights),
    scales = explore_scales(fit, dial))
}

# Hottest and furthest of the readings, as predict() along a history counts what is outside.
explore_reach <- function(fit) {
  at <- fit$conditions
  after <- at$time_min > 0
  hottest <- if (is.null(at$place)) at$temp_c[after] else {
    hottest_before(list(points = fit$readings$history), at)[after]
  }
  e <- inverse_temperature(at$temp_c[after], fit$temp_ref_c)
  list(hottest_c = range(hottest),
       ln_theta = max(log(at$time_min[after]) + fit$par[["q_kj_mol"]] * e) + fit$par[["ln_k_ref"]])
}

# One row per reading: what it read, its condition, its leverage.
explore_readings <- function(fit) {
  d <- fit$readings
  list(of = I(fit$conditions$of_reading), hardness = I(d$hardness), leverage = I(leverage(fit)),
       weight = I(fit$weights %or% rep(1, d$n)),
       specimen = I(if (is.null(d$specimen)) rep("", d$n) else as.character(d$specimen)),
       as_read = I(d$as_read), scale_read = I(as.character(rep_len(d$scale_read, d$n))))
}

# The dial first; NULL where the fit has no scale of its own.
explore_scales <- function(fit, dial) {
  own <- fit$scale
  material <- fit$readings$material
  if (is.na(known_scale(own)) || !material %in% names(scale_tables)) {
    if (!is.null(dial)) {
      abort("scale", paste0("there is no table from '", own, "' of '", material, "' to another scale"),
            arg = "dial",
            remedy = "Fit with scale = \"HV\" and the `material` of a table, or leave `dial` out.")
    }
    return(NULL)
  }
  others <- scales_from(own, table_of(material))
  if (is.null(dial)) {
    read <- sort(table(fit$readings$scale_read), decreasing = TRUE)
    dial <- c(intersect(c(names(read), "HRB"), others), others)[1L]
  } else {
    dial <- check_scale(dial, "dial")
    if (!dial %in% others) {
      abort("scale", paste0("the ", material, " table has no conversion from ", own, " to ", dial),
            arg = "dial", remedy = paste0("Choose from ", in_quotes(others), "."))
    }
  }
  if (length(others)) {
    table <- table_of(material)
    pairs <- lapply(others, function(one) stats::setNames(scale_pair(own, one, table), c("x", "y")))
    list(dial = dial, names = I(c(dial, setdiff(others, dial))),
         table = list(pairs = stats::setNames(pairs, paste0(own, ">", others))))
  }
}

# Scales of the table to which the curve of a fit can be converted.
scales_from <- function(own, table) {
  Filter(function(scale) !is.null(scale_pair(own, scale, table)), setdiff(colnames(table$value), own))
}

# Points of the curve of a pair; NULL where the table has none.
scale_pair <- function(from, to, table) {
  at <- match(c(from, to), colnames(table$value))
  if (anyNA(at)) return(NULL)
  tryCatch(pair_points(table, at[1L], at[2L]), softanneal_error_scale = function(e) NULL)
}
