# How fast a sheet or strip takes the temperature of its surroundings: lumped capacitance
# with convection (or contact with a block) and radiation, integrated in src/heat.c. Valid
# while the temperature is even through the thickness (Biot number below 0.1; checked).
# Bench units outside (mm, deg C, min), SI inside. Incropera and DeWitt, ch. 5.

# Twin: SA_STEFAN_BOLTZMANN in src/heat.h. W/(m2 K4), CODATA 2018, exact.
STEFAN_BOLTZMANN <- 5.670374419e-8

# Usual value and range in W/(m2 K). Air: free convection in gases 2-25, Incropera and DeWitt,
# Table 1.1 (value from memory). Block: 0.026 W/(m K) of still air over a gap of 0.1 mm
# (0.03 to 0.5 mm) between a sheet that is not quite flat and the block; own estimate.
AIR_COEFFICIENT <- c(usual = 10, low = 2, high = 25)
BLOCK_COEFFICIENT <- c(usual = 260, low = 52, high = 870)

#' How fast a specimen heats up or cools down
#'
#' Temperature of a sheet or strip put into a furnace or taken out of it, the time until it is
#' within a few degrees of its surroundings, and how far that time can be trusted.
#'
#' The specimen is taken as even in temperature (lumped capacitance):
#' `density * c(T) * V * dT/dt = h A (T_around - T) + emissivity * sigma * A (T_around^4 - T^4)`,
#' a small grey body in a large enclosure (Incropera and DeWitt, *Fundamentals of Heat and Mass
#' Transfer*, ch. 5). With `support = "block"` one face exchanges heat with a steel block, which
#' is taken as much heavier than the specimen and keeps its temperature, the other face and the
#' edges with the air. The equation is integrated in C with a step-size control of 1e-10.
#'
#' The model is valid while the Biot number is below about 0.1 (Cengel; Incropera and DeWitt).
#' It is `(h + 4 emissivity sigma T_max^3) L / k` with `L = V/A` of a free specimen, and the full
#' thickness of one resting on a block; above 0.1 a warning of class
#' `softanneal_warning_assumption` is given: the centre is colder than the surface.
#'
#' Coefficients in still air are known to a factor of three at best, and the emissivity of brass
#' runs from 0.03 (polished) to 0.6 (oxidised). What is left at `NULL` is computed with a usual
#' value and again with both ends of its range: `time_low_min` and `time_high_min`. Defaults: air
#' 10 (2 to 25) W/(m2 K), the range from Incropera and DeWitt, Table 1.1 (value from memory);
#' block 260 (52 to 870) W/(m2 K), an air gap of 0.1 (0.5 to 0.03) mm (own estimate, no source);
#' emissivity as in [thermal_material()]. With a fan `h` is 25 to 250 W/(m2 K).
#'
#' Common practice, no source: a few degrees of specimen temperature shift a hardness reading,
#' so wait until the specimen is at room temperature before indenting. Rockwell tests are done at
#' 10 to 35 degrees Celsius (ISO 6508-1, 7.1, value from memory).
#'
#' @param thickness_mm Thickness of the sheet in mm; one, or one per specimen. All numeric
#'   arguments but `n_points` may have one value per specimen.
#' @param furnace_c Furnace temperature in degrees Celsius; or a history of it, a data frame with columns
#'   `time_s` and `temp_c` such as [door_opening()] gives, constant after its last row.
#' @param until_min Length of the history in min; `NULL` for a fifth longer than the time to the
#'   band.
#' @param start_c Temperature of the specimen at the start in degrees Celsius.
#' @param tolerance_c The band: the time is counted until the specimen stays within this many degrees
#'   Celsius of the last furnace temperature (or the room).
#' @param h_w_m2k Convection coefficient in W/(m2 K), or `NULL` for still air.
#' @param emissivity Emissivity of the surface, 0 to 1, or `NULL` for the usual one.
#' @param support `"block"`: flat on a steel block at the temperature of the furnace or room; `"free"`:
#'   hung or on a grid, all faces exposed. The same default as in [plan_anneal()] and
#'   [anneal_history()].
#' @param h_block_w_m2k Contact coefficient to the block in W/(m2 K), or `NULL`.
#' @param width_mm,length_mm Size of the specimen in mm; `Inf` leaves its edges out.
#' @param alloy A metal of [thermal_material()], by name or object.
#' @param specimen Names of the specimens; numbered when `NULL`.
#' @param n_points Number of points of each history.
#' @return An object of class `softanneal_heat`, a list with
#'   * `summary`, a data frame with one row per specimen: `specimen`, `thickness_mm`, `start_c`,
#'     `target_c`, `tolerance_c` (degrees Celsius), `time_min`, `time_low_min`, `time_high_min` (min until
#'     within the band), `end_c` (degrees Celsius at the end of the history), `time_constant_s` (s, at the
#'     target), `biot`;
#'   * `history`, a data frame with columns `specimen`, `time_s` (s), `temp_c` (degrees Celsius) and
#'     `around_c` (degrees Celsius of furnace or room): rows for any function that takes a history;
#'   * `alloy`, `support` and `piece` (sizes and coefficients).
#'
#'   `as.data.frame()` gives the history.
#' @details Errors: `softanneal_error_range` for temperatures at or above the solidus, sizes or
#'   properties that are not positive, a furnace not hotter than the specimen (room not colder), times
#'   that do not rise; `softanneal_error_argument` where neither `h_w_m2k`, the block nor the
#'   emissivity lets heat through, or the emissivity of an unknown metal is missing.
#' @section Safety: `r CAUTION_LINE`
#' @seealso [door_opening()], [plot_history()], [cautions()]
#' @examples
#' strip <- heat_up(c(0.95, 1.6), furnace_c = 410, specimen = c("0.95 mm", "1.60 mm"))
#' strip
#' head(as.data.frame(strip))
#' heat_up(3, furnace_c = 400, tolerance_c = 2, h_w_m2k = 60, emissivity = 0,
#'         alloy = thermal_material("C26000", heat_j_kgk = 380))$summary$time_min
#' @order 1
#' @export
heat_up <- function(thickness_mm, furnace_c, until_min = NULL, start_c = 20, tolerance_c = 2,
                    h_w_m2k = NULL, emissivity = NULL, support = c("block", "free"),
                    h_block_w_m2k = NULL, width_mm = Inf, length_mm = Inf,
                    alloy = "C26000", specimen = NULL, n_points = 200) {
  alloy <- as_material(alloy)
  around <- if (is.data.frame(furnace_c)) {
    if (!"time_s" %in% names(furnace_c) || !"temp_c" %in% names(furnace_c)) {
      any_column(furnace_c, if ("time_s" %in% names(furnace_c)) "temp_c" else "time_s", "furnace_c")
    }
    history_rows(furnace_c, arg = "furnace_c", strict = TRUE)[c("time_s", "temp_c")]
  } else {
    list(time_s = 0, temp_c = in_unit(furnace_c, "degC", "furnace_c", -ZERO_CELSIUS))
  }
  check_below_solidus(around$temp_c, "furnace_c", alloy)
  if (!is.data.frame(furnace_c)) {
    check_warmer(around$temp_c, start_c, "furnace_c", "start_c", "cool_down()")
  }
  run_heating(thickness_mm, around, is.data.frame(furnace_c), until_min, start_c, tolerance_c,
              h_w_m2k, emissivity, check_choice(support, c("block", "free"), "support"),
              h_block_w_m2k, width_mm, length_mm, alloy, specimen, n_points, NULL)
}

#' @param ambient_c Temperature of the room (and of the block) in degrees Celsius.
#' @param after The result of `heat_up()`: its specimens, with their sizes and material,
#'   are taken on from where their histories end, and the cooling is added to those histories.
#'   `thickness_mm`, `start_c`, sizes, `alloy` and `specimen` are then not to be given.
#' @rdname heat_up
#' @examples
#' cool_down(0.95, start_c = 410)
#' whole <- cool_down(after = heat_up(0.95, furnace_c = 410, until_min = 16))
#' range(whole$history$temp_c)
#' @export
cool_down <- function(thickness_mm, start_c, ambient_c = 20, until_min = NULL, tolerance_c = 2,
                      h_w_m2k = NULL, emissivity = NULL, support = c("block", "free"),
                      h_block_w_m2k = NULL, width_mm = Inf, length_mm = Inf,
                      alloy = "C26000", specimen = NULL, n_points = 200, after = NULL) {
  if (!is.null(after)) {
    if (!inherits(after, "softanneal_heat")) {
      abort("argument", paste0("`after` must be the result of heat_up(), not ", describe(after)),
            arg = "after")
    }
    named <- c(thickness_mm = missing(thickness_mm), start_c = missing(start_c),
               width_mm = missing(width_mm), length_mm = missing(length_mm),
               alloy = missing(alloy), specimen = missing(specimen))
    if (!all(named)) {
      abort("argument", paste0(in_quotes(names(named)[!named], " and "),
                               " given besides `after`, which has it already"), arg = "after",
            remedy = "Leave it out, or leave `after` out.")
    }
    thickness_mm <- after$piece$thickness_mm
    width_mm <- after$piece$width_mm
    length_mm <- after$piece$length_mm
    alloy <- after$alloy
    specimen <- after$summary$specimen
    start_c <- after$summary$end_c
  }
  alloy <- as_material(alloy)
  ambient_c <- in_unit(ambient_c, "degC", "ambient_c", -ZERO_CELSIUS)
  start_c <- in_unit(start_c, "degC", "start_c", -ZERO_CELSIUS)
  check_below_solidus(start_c, "start_c", alloy)
  check_warmer(start_c, ambient_c, "start_c", "ambient_c", "heat_up()")
  run_heating(thickness_mm, list(time_s = 0, temp_c = ambient_c), FALSE, until_min, start_c, tolerance_c,
              h_w_m2k, emissivity, check_choice(support, c("block", "free"), "support"),
              h_block_w_m2k, width_mm, length_mm, alloy, specimen, n_points, after)
}

check_warmer <- function(warm, cold, warm_arg, cold_arg, other) {
  cold <- in_unit(cold, "degC", cold_arg, -ZERO_CELSIUS)
  both <- common_length(warm = warm, cold = cold)
  bad <- which(both$warm <= both$cold)
  if (length(bad)) {
    abort("range", paste0("`", warm_arg, "` (", format(both$warm[bad[1L]]),
                          " ", degree_c(), ") is not above `", cold_arg, "` (", format(both$cold[bad[1L]]),
                          " ", degree_c(), ")"), arg = warm_arg, rows = if (length(both$warm) > 1L) bad,
          remedy = paste0("Correct it, or use ", other, "."))
  }
}

# A positive size or coefficient; Inf is allowed for the sizes of a sheet without edges.
size_or_inf <- function(x, arg) {
  if (inherits(x, "units")) x <- plain_units(x, "mm", arg)
  if (!is.numeric(x)) check_numeric(x, arg)
  endless <- !is.na(x) & x == Inf
  x[!endless] <- check_numeric(x[!endless], arg, 0, open = TRUE)
  as.double(x)
}

# usual, low and high of a coefficient: the value given, or the default with its range.
with_range <- function(x, default, n) {
  if (is.null(x)) return(lapply(as.list(default), rep_len, length.out = n))
  x <- rep_len(x, n)
  list(usual = x, low = x, high = x)
}

check_coefficient <- function(x, arg, upper = Inf) {
  if (is.null(x)) NULL else check_numeric(x, arg, 0, upper)
}

run_heating <- function(thickness_mm, around, is_history, until_min, start_c, tolerance_c, h_w_m2k,
                        emissivity, support, h_block_w_m2k, width_mm, length_mm, alloy,
                        specimen, n_points, after) {
  given <- list(
    thickness_mm = in_unit(thickness_mm, "mm", "thickness_mm", 0, open = TRUE),
    start_c = in_unit(start_c, "degC", "start_c", -ZERO_CELSIUS),
    tolerance_c = check_numeric(tolerance_c, "tolerance_c", 0.01),
    width_mm = size_or_inf(width_mm, "width_mm"),
    length_mm = size_or_inf(length_mm, "length_mm"))
  if (!is_history) given$around_c <- around$temp_c
  if (!is.null(until_min)) {
    given$until_min <- in_unit(until_min, "min", "until_min", 0, 1e8, open = TRUE)
  }
  given$h_w_m2k <- check_coefficient(h_w_m2k, "h_w_m2k")
  given$emissivity <- check_coefficient(emissivity, "emissivity", 1)
  given$h_block_w_m2k <- check_coefficient(h_block_w_m2k, "h_block_w_m2k")
  given <- do.call(common_length, given)
  check_below_solidus(given$start_c, "start_c", alloy)
  n <- length(given$thickness_mm)
  specimen <- specimen_names(specimen, n)
  if (support == "free" && !is.null(h_block_w_m2k)) {
    abort("argument", "`h_block_w_m2k` is given, but nothing rests on a block",
          arg = "h_block_w_m2k", remedy = "Say `support = \"block\"`.")
  }
  n_points <- check_number(n_points, "n_points", 2, 1e6, whole = TRUE)
  surface <- unlist(alloy[c("emissivity", "emissivity_low", "emissivity_high")])
  if (is.null(emissivity) && anyNA(surface)) {
    abort("argument", paste0("no emissivity is known for ", alloy$material), arg = "emissivity",
          remedy = "Give `emissivity` (0.03 polished to 0.8 oxidised).")
  }
  names(surface) <- c("usual", "low", "high")
  coefficients <- list(
    air = with_range(given$h_w_m2k, AIR_COEFFICIENT, n),
    emissivity = with_range(given$emissivity, surface, n),
    block = with_range(given$h_block_w_m2k, BLOCK_COEFFICIENT, n))
  pieces <- lapply(c(usual = "usual", low = "low", high = "high"), \(which) {
    piece_matrix(given, lapply(coefficients, `[[`, which), support, alloy)
  })
  dead <- which(rowSums(pieces$usual[, c("h_a", "h_b", "emissivity_a", "emissivity_b"),
                                     drop = FALSE]) == 0)
  if (length(dead)) {
    abort("argument", "coefficient and emissivity are both zero: no heat gets through",
          arg = "h_w_m2k", rows = if (n > 1L) dead, remedy = "Give one above zero.")
  }
  around_c <- if (is_history) rep(list(around$temp_c), n) else as.list(given$around_c)
  target_c <- vapply(around_c, \(x) x[length(x)], 0)
  hottest <- pmax(given$start_c, vapply(around_c, max, 0))
  check_heat_positive(alloy, c(given$start_c, unlist(around_c)))
  setting <- list(n = n, knot_s = rep(list(around$time_s), n), around_c = around_c,
                  start_c = given$start_c, target_c = target_c, tolerance_c = given$tolerance_c)
  runs <- lapply(pieces, run_kernel, setting)
  times <- lapply(runs, \(run) run$time_within / 60)
  end_s <- if (is.null(given$until_min)) 1.2 * 60 * times$usual else 60 * given$until_min
  # at once within the band: show at least a minute
  end_s[!is.na(end_s) & end_s <= 0] <- 60
  end_s[is.na(end_s)] <- 3600
  shown <- lapply(seq_len(n), \(i) {
    knots <- setting$knot_s[[i]]
    sort(unique(c(seq(0, end_s[i], length.out = n_points), knots[knots >= 0 & knots <= end_s[i]])))
  })
  track <- run_kernel(pieces$usual, setting, end_s, shown)
  biot <- biot_number(pieces$usual, given$thickness_mm, hottest, support, alloy)
  summary <- data.frame(
    specimen = specimen, thickness_mm = given$thickness_mm, start_c = given$start_c,
    target_c = target_c, tolerance_c = given$tolerance_c, time_min = times$usual,
    time_low_min = times$high, time_high_min = times$low, end_c = track$end_temp - ZERO_CELSIUS,
    time_constant_s = time_constant(pieces$usual, target_c, alloy), biot = biot)
  history <- data.frame(
    specimen = rep(specimen, lengths(shown)), time_s = as.double(unlist(shown)),
    temp_c = track$temp - ZERO_CELSIUS,
    around_c = as.double(unlist(Map(around_at, setting$knot_s, around_c, shown))))
  tell_failures(c(runs, list(track)), n)
  tell_assumptions(summary)
  piece <- data.frame(
    specimen = specimen, thickness_mm = given$thickness_mm, width_mm = given$width_mm,
    length_mm = given$length_mm, h_w_m2k = coefficients$air$usual,
    emissivity = coefficients$emissivity$usual,
    h_block_w_m2k = if (support == "block") coefficients$block$usual else rep_len(NA_real_, n))
  structure(list(summary = summary, history = join_histories(after, history), alloy = alloy,
                 support = support, piece = piece, cooling = any(target_c < given$start_c)),
            class = "softanneal_heat")
}

specimen_names <- function(specimen, n) {
  if (is.null(specimen)) return(if (n == 0L) character() else paste("piece", seq_len(n)))
  specimen <- check_names(specimen, "specimen")
  if (length(specimen) != n || anyNA(specimen) || anyDuplicated(specimen)) {
    abort("argument", paste0("`specimen` must name each of the ", n, " specimens once"),
          arg = "specimen", remedy = "Give as many different names as specimens.")
  }
  specimen
}

# Rows for src/glue_heat.c: areas per volume (1/m), coefficients, properties. Group a is the
# lower face, group b the upper face and the edges.
piece_matrix <- function(given, coefficients, support, alloy) {
  thickness <- given$thickness_mm / 1000
  edges <- 2 / (given$width_mm / 1000) + 2 / (given$length_mm / 1000)
  on_block <- support == "block"
  cbind(area_a = 1 / thickness, area_b = 1 / thickness + edges,
        h_a = if (on_block) coefficients$block else coefficients$air, h_b = coefficients$air,
        emissivity_a = if (on_block) 0 * coefficients$air else coefficients$emissivity,
        emissivity_b = coefficients$emissivity,
        density = rep_len(alloy$density_kg_m3, length(edges)),
        heat = rep_len(alloy$heat_j_kgk, length(edges)),
        heat_slope = rep_len(alloy$heat_slope_j_kgk2, length(edges)),
        heat_k = rep_len(alloy$heat_at_c + ZERO_CELSIUS, length(edges)))
}

# One call of the kernel. Without end_s each run ends when its question is answered.
run_kernel <- function(pieces, setting, end_s = rep(Inf, setting$n),
                       shown = rep(list(numeric()), setting$n)) {
  requests <- cbind(setting$start_c + ZERO_CELSIUS, end_s, setting$target_c + ZERO_CELSIUS,
                    setting$tolerance_c)
  storage.mode(requests) <- "double"
  around_k <- as.double(unlist(setting$around_c)) + ZERO_CELSIUS
  first <- \(parts) as.integer(c(0, cumsum(lengths(parts))))
  out <- .Call(C_sa_call_heat, pieces, requests,
               list(time_s = as.double(unlist(setting$knot_s)), above_k = around_k, below_k = around_k),
               first(setting$knot_s),
               as.double(unlist(shown)), first(shown))
  failed <- out$status != 0L
  out$time_within[failed] <- out$end_temp[failed] <- NA_real_
  out
}

tell_failures <- function(runs, n) {
  failed <- which(Reduce(`|`, lapply(runs, \(run) run$status != 0L)))
  if (length(failed)) {
    warn("outside", paste0(
      "The temperature of ", length(failed), " of ", n, " specimens (", in_rows(failed), ") could ",
      "not be integrated: NA. Coefficients and times are too far apart in size."),
      n = length(failed), rows = failed)
  }
}

# Surroundings at times s, as in begin_stretch() of src/heat.c.
around_at <- function(time_s, around_c, s) {
  if (length(time_s) == 1L) return(rep(around_c, length(s)))
  stats::approx(time_s, around_c, s, rule = 2)$y
}

surface_coefficient <- function(h, emissivity, temp_c) {
  h + 4 * emissivity * STEFAN_BOLTZMANN * (temp_c + ZERO_CELSIUS)^3
}
