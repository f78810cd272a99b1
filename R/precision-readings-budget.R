# Uncertainty of the mean hardness of a step, or of the change between two steps: what the
# readings, the machine, the display, the conversion and the specimen add. GUM (JCGM 100),
# its example H.6 (Rockwell hardness) for the shape of the budget.

#' Uncertainty budget of a mean hardness or of a change
#'
#' The scatter of five readings is one part of the uncertainty of their mean, and often the
#' smaller one. This puts the parts together after the GUM (JCGM 100:2008): repeatability,
#' machine, resolution, specimen and conversion, with sensitivities, effective degrees of freedom
#' (Welch-Satterthwaite) and the expanded uncertainty.
#'
#' @section The parts:
#' | part | standard uncertainty | degrees of freedom |
#' |---|---|---|
#' | repeatability | sd / sqrt(n) of the readings | n - 1 |
#' | machine | `machine` / sqrt(3): error anywhere within the tolerance (GUM 4.3.7) | infinite |
#' | resolution | `resolution` / sqrt(12) (GUM F.2.2.1), once a mean as in GUM H.6 | infinite |
#' | specimen | `specimen_sd` | `specimen_df` |
#' | conversion | of [convert_hardness()], with `in_hv` | infinite |
#'
#' In a change (`reference` given) both means have parts of their own; the error of the machine
#' is common to both and cancels if `same_machine`: fully in the scale read, in HV up
#' to the difference of the slopes of the conversion. The errors of conversion at two levels count
#' as independent, which is cautious.
#'
#' @param x Readings of one step: a table with the columns below, or a numeric vector.
#' @param reference `NULL` for the uncertainty of the mean of `x`; readings of another step
#'   for that of the change, mean of `x` minus mean of `reference`.
#' @param in_hv `TRUE`: mean and budget in HV, by the conversion table of `material`.
#' @param material Conversion table, see [convert_hardness()].
#' @param machine Largest error of the machine (half width) in points of the scale. `NULL`: the
#'   tolerance of ASTM E18 Table A1.3 at this level (a value from memory) for Rockwell scales;
#'   others must be given. 0 leaves it out.
#' @param resolution Smallest step of the display; `NULL` takes that of the readings, as
#'   [find_outliers()] does.
#' @param repeatability_sd,repeatability_df Standard deviation of one reading known from
#'   many steps, and its degrees of freedom, instead of that of these few readings.
#' @param specimen_sd,specimen_df Standard deviation between specimens treated alike (points of the
#'   scale), if the result is to hold for any specimen; and its degrees of freedom.
#' @param same_machine For a change: both steps read on the same machine.
#' @param scale Hardness scale, if `x` and `reference` are numbers.
#' @inheritParams compare_baseline
#' @param level Level of the expanded uncertainty.
#' @return An object of class `softanneal_budget`, see [propagate_uncertainty()]; `table` has the
#'   further column `how` (where each part comes from), and the object `unit`.
#' @section Errors:
#'   `softanneal_error_too_few` for fewer readings than the parts need, `softanneal_error_scale`
#'   for unknown or mixed scales, `softanneal_error_argument` where `machine` must be stated or
#'   `scale` is needed, `softanneal_error_column`, `softanneal_error_missing`,
#'   `softanneal_error_range` for a negative uncertainty or a mean outside the conversion table.
#' @seealso [components_of_error()], [compare_baseline()], [convert_hardness()]
#' @examples
#' after <- c(78, 79, 77.5, 78.5, 78)
#' before <- c(92.0, 91.5, 92.5, 92.0, 91.0)
#' uncertainty_budget(after, scale = "HRF")
#' uncertainty_budget(after, before, scale = "HRF", in_hv = TRUE)
#' @export
uncertainty_budget <- function(x, reference = NULL, scale = NULL, in_hv = FALSE, material = "brass",
                               machine = NULL, resolution = NULL, repeatability_sd = NULL,
                               repeatability_df = Inf, specimen_sd = 0, specimen_df = Inf,
                               same_machine = TRUE, level = 0.95, hardness = hardness,
                               reading_scale = scale) {
  hardness <- column_name(rlang::enquo(hardness))
  reading_scale <- column_name(rlang::enquo(reading_scale))
  check_flag(in_hv, "in_hv")
  check_flag(same_machine, "same_machine")
  check_level(level)
  scale <- check_scale(scale)
  known <- list(machine = check_number(machine, "machine", 0, null = TRUE),
                resolution = check_number(resolution, "resolution", 0, null = TRUE),
                sd = check_number(repeatability_sd, "repeatability_sd", 0, null = TRUE),
                sd_df = check_df(repeatability_df, "repeatability_df"),
                specimen = check_number(specimen_sd, "specimen_sd", 0),
                specimen_df = check_df(specimen_df, "specimen_df"))
  sides <- list(now = one_state(x, hardness, reading_scale, scale, "x"))
  if (!is.null(reference)) {
    sides$before <- one_state(reference, hardness, reading_scale, scale, "reference")
  }
  args <- c(now = "x", before = "reference")
  for (side in names(sides)) {
    if (is.null(sides[[side]]$scale)) {
      abort("argument", "`scale` is needed", arg = "scale",
            remedy = "Name the scale of the readings, e.g. \"HRF\".")
    }
    sides[[side]]$x <- present(sides[[side]]$x, args[[side]],
                               if (is.null(repeatability_sd)) 2L else 1L)
    sides[[side]] <- c(sides[[side]], side_slope(sides[[side]], in_hv, material, args[[side]]))
  }
  if (length(sides) == 2L && !in_hv && sides$now$scale != sides$before$scale) {
    abort("scale", paste0("`x` is in '", sides$now$scale, "' and `reference` in '",
                          sides$before$scale, "'"),
          arg = "scale", remedy = "Use `in_hv = TRUE`.")
  }
  budget_of(sides, known, in_hv, same_machine, level)
}

check_df <- function(df, arg) if (identical(df, Inf)) Inf else check_number(df, arg, 0, open = TRUE)

# Mean in the unit of the result, slope of the conversion there and its uncertainty.
side_slope <- function(side, in_hv, material, arg) {
  mean <- mean(side$x)
  if (!in_hv) return(list(value = mean, slope = 1, conversion = 0))
  hv <- to_vickers(mean, side$scale, material)
  if (hv$flag != 0L) {
    abort("range", paste0("the mean of `", arg, "`, ", format(mean, digits = 4), " ", side$scale,
                          ", lies outside the conversion table for ", material), arg = arg,
          remedy = "Leave the result in the scale read: `in_hv = FALSE`.")
  }
  conversion <- convert_hardness(mean, side$scale, "HV", material, interval = TRUE)$std_uncertainty
  list(value = hv$hv, slope = hv$derivative, conversion = conversion)
}

budget_of <- function(sides, known, in_hv, same_machine, level) {
  sign <- c(now = 1, before = -1)
  parts <- list()
  add <- function(input, estimate, u, df, sensitivity, how) {
    parts[[length(parts) + 1L]] <<- list(input = input, estimate = estimate, u = u, df = df,
                                         sensitivity = sensitivity, how = how)
  }
  machines <- list()
  for (name in names(sides)) {
    side <- sides[[name]]
    of <- function(part) if (length(sides) == 1L) part else paste0(part, ", ", name)
    s <- side$slope * sign[[name]]
    n <- length(side$x)
    sd <- known$sd %or% stats::sd(side$x)
    add(of("repeatability"), mean(side$x), sd / sqrt(n),
        if (is.null(known$sd)) n - 1 else known$sd_df, s,
        paste0("sd ", format(signif(sd, 2)), " ", side$scale, if (!is.null(known$sd)) " (given)",
               " / sqrt(", n, ")"))
    step <- known$resolution %or% find_resolution(side$x)
    if (step > 0) {
      add(of("resolution"), 0, step / sqrt(12), Inf, s,
          paste0(format(step), " ", side$scale,
                 if (is.null(known$resolution)) " (seen in the readings)", " / sqrt(12)"))
    }
    if (known$specimen > 0) {
      add(of("specimen"), 0, known$specimen, known$specimen_df, s,
          paste0("sd between specimens, given, ", side$scale))
    }
    machines[[name]] <- c(machine_part(known$machine, side), list(sensitivity = s))
    if (side$conversion > 0) {
      add(of("conversion"), 0, side$conversion, Inf, sign[[name]],
          paste0(side$scale, " to HV, see `convert_hardness()`"))
    }
  }
  common <- length(sides) == 2L && same_machine && sides$now$scale == sides$before$scale
  if (common) {
    widest <- machines[[which.max(c(machines$now$u, machines$before$u))]]
    add("machine", 0, widest$u, Inf, machines$now$sensitivity + machines$before$sensitivity,
        paste0(widest$how, "; common to both"))
  } else {
    for (name in names(machines)) {
      add(if (length(sides) == 1L) "machine" else paste0("machine, ", name), 0, machines[[name]]$u,
          Inf,
          machines[[name]]$sensitivity, machines[[name]]$how)
    }
  }
  column <- function(name) vapply(parts, `[[`, if (name %in% c("input", "how")) "" else 0, name)
  value <- sum(vapply(names(sides), function(name) sign[[name]] * sides[[name]]$value, 0))
  out <- combine_uncertainty(value, column("input"), column("estimate"), column("u"), column("df"),
                             column("sensitivity"),
                             NULL, level, TRUE, unit = if (in_hv) "HV" else sides$now$scale,
                             title = paste0(if (length(sides) == 2L) "change of ", "mean hardness"))
  out$table$how <- column("how")
  out
}

machine_part <- function(machine, side) {
  if (!is.null(machine)) {
    return(list(u = machine / sqrt(3), how = paste0("+-", format(machine), " ", side$scale,
                                                    " (given) / sqrt(3)")))
  }
  found <- machine_tolerance(side$scale, mean(side$x))
  if (is.null(found)) {
    abort("argument", paste0("`machine` must be stated: there is no tolerance for ",
                             format(mean(side$x), digits = 3), " ",
                             side$scale), arg = "machine",
          remedy = "Give its largest error from the last verification, or 0 to leave it out.")
  }
  list(u = found$error / sqrt(3),
       how = paste0("+-", format(found$error), " ", side$scale, ", ASTM E18 Table A1.3",
                    if (found$memory) " (value from memory)", " / sqrt(3)"))
}
