# Temperature histories of accumulated anneals from a table of steps: every step is a heat-up
# from room temperature in a furnace that dips when its door is opened, a hold, and a cooling.

#' Temperature history of accumulated anneals
#'
#' Builds what a thermocouple on each specimen would have logged from the steps of a plan or of a
#' table of readings: each step starts with a specimen at room temperature put into the furnace and
#' ends with its cooling after it is taken out.
#'
#' `time_min` counts the time in the furnace, accumulated over the steps, as on the bench: a
#' step from 8 to 16 min lasts 8 min from the specimen going in to its coming out, whatever it
#' needs to get hot. Heat-up and cooling are those of [heat_up()] and [cool_down()], the door
#' dip that of [door_opening()]; points are thinned so that straight lines between them stay within
#' 0.05 degrees Celsius. Cooling is followed to within 1 degree Celsius of the room.
#'
#' Without `thickness_mm` the specimen takes the temperature of the furnace at once and loses it at
#' once: the history that is assumed when heat-up is ignored.
#'
#' @param steps Data frame of steps: specimen, furnace temperature and accumulated time. Several
#'   rows of the same step (readings) count once; rows at time zero (as rolled) are not steps.
#' @param thickness_mm Thickness of the specimens in mm: one, or one for each specimen in order of
#'   appearance; `NULL` for ideal steps.
#' @param ambient_c Room temperature in degrees Celsius.
#' @param dip_c Fall of the furnace temperature in degrees Celsius when the door is opened at
#'   the start of each step; 0 for none.
#' @param recover_min,open_s As in [door_opening()].
#' @param support,cool_support What the specimen lies on in the furnace and while it cools, see
#'   [heat_up()].
#' @param h_w_m2k,emissivity,alloy As in [heat_up()]; `cool_h_w_m2k` for the cooling.
#' @param cool_h_w_m2k Convection coefficient of the cooling in W/(m2 K), `NULL` for still air.
#' @param specimen,time,temp Columns of `steps` (bare or quoted): specimen, accumulated time in
#'   min, furnace temperature in degrees Celsius.
#' @param ... Must be empty.
#' @return A data frame with class `softanneal_history`: `specimen`, `time_s` (s from the start
#'   of the first step), `temp_c` (degrees Celsius), `step` (number) and `furnace_min`
#'   (accumulated time in the furnace in min), for [soften()], [equivalent_time()],
#'   [plot_history()] and the `history` argument of [fit_softening()].
#' @section Errors:
#'   `softanneal_error_range` for times that are negative, temperatures not above the room or
#'   above the solidus; `softanneal_error_duplicate` where one step has two temperatures;
#'   `softanneal_error_too_few` without any step.
#' @section Safety: `r CAUTION_LINE`
#' @seealso [heat_up()], [door_opening()]
#' @examples
#' steps <- expand.grid(time_min = c(4, 8, 16), temp_c = c(330, 410))
#' steps$specimen <- paste0("B", steps$temp_c)
#' log <- anneal_history(steps, thickness_mm = 0.95, dip_c = 9)
#' plot_history(log)
#' # what 16 min in the furnace are worth at temperature
#' equivalent_time(log, q_kj_mol = 180, temp_c = c(330, 410))
#' @export
anneal_history <- function(steps, thickness_mm = NULL, ..., ambient_c = 20, dip_c = 0,
                           recover_min = 3, open_s = 10, support = "block", cool_support = "block",
                           h_w_m2k = NULL, cool_h_w_m2k = NULL, emissivity = NULL,
                           alloy = "C26000", specimen = specimen, time = time_min, temp = temp_c) {
  check_dots_empty(...)
  ambient_c <- check_number(ambient_c, "ambient_c", -ZERO_CELSIUS)
  dip_c <- check_number(dip_c, "dip_c", 0)
  plan <- anneal_steps(steps, column_name(rlang::enquo(specimen)),
                       column_name(rlang::enquo(time)), column_name(rlang::enquo(temp)), ambient_c)
  pieces <- unique(plan$specimen)
  parts <- if (is.null(thickness_mm)) {
    lapply(seq_len(nrow(plan)), function(i) {
      data.frame(time_s = 60 * plan$hold_min[i] * c(0, 0, 1, 1),
                 temp_c = c(ambient_c, plan$temp_c[i])[c(1, 2, 2, 1)],
                 furnace_min = plan$hold_min[i] * c(0, 0, 1, 1))
    })
  } else {
    thickness_mm <- in_unit(thickness_mm, "mm", "thickness_mm", 0, open = TRUE)
    thickness <- common_length(thickness_mm = thickness_mm, specimen = pieces)$thickness_mm
    heated_steps(plan, thickness[match(plan$specimen, pieces)], ambient_c, dip_c, recover_min, open_s,
                 support, cool_support, h_w_m2k, cool_h_w_m2k, emissivity, alloy)
  }
  by_piece <- split(seq_len(nrow(plan)), match(plan$specimen, pieces))
  out <- lapply(by_piece, function(rows) chain_steps(plan, parts, rows))
  out <- do.call(rbind, out)
  rownames(out) <- NULL
  structure(out, class = c("softanneal_history", "data.frame"))
}

# One row per step, in order of specimen and time: specimen, step, temp_c, hold_min, from_min.
anneal_steps <- function(steps, specimen, time, temp, ambient_c) {
  check_data(steps, "steps")
  at <- numeric_column(steps, time, "steps", "min", 0, na = TRUE)
  celsius <- numeric_column(steps, temp, "steps", "degree_C", -ZERO_CELSIUS, open = TRUE, na = TRUE)
  name <- if (specimen %in% names(steps) || specimen != "specimen") {
    any_column(steps, specimen, "steps")
  } else rep("piece", length(at))
  bad <- which(is.na(at) | is.na(name) | (is.na(celsius) & !(at %in% 0)))
  if (length(bad)) {
    abort("missing", "every step needs specimen, time and temperature", arg = "steps", rows = bad,
          remedy = "Fill them in; only as-rolled rows (time 0) need no temperature.")
  }
  after <- which(at > 0)
  if (!length(after)) {
    abort("too_few", "`steps` holds no time above zero", arg = "steps",
          remedy = "Give accumulated times in the furnace in min.")
  }
  cold <- after[celsius[after] <= ambient_c]
  if (length(cold)) {
    abort("range", paste0("column `", temp, "` must be above the room temperature (",
                          format(ambient_c), ")"), arg = temp, rows = cold,
          remedy = "Give the temperature of the furnace.")
  }
  pieces <- unique(name[after])
  o <- after[order(match(name[after], pieces), at[after], method = "radix")]
  same <- c(FALSE, name[o][-1L] == name[o][-length(o)] & at[o][-1L] == at[o][-length(o)])
  clash <- which(same & c(FALSE, celsius[o][-1L] != celsius[o][-length(o)]))
  if (length(clash)) {
    abort("duplicate", "one step has two temperatures", arg = temp, rows = sort(o[clash]),
          remedy = "A specimen has one accumulated time: give each temperature its own specimen.")
  }
  o <- o[!same]
  id <- match(name[o], pieces)
  from <- ifelse(c(TRUE, diff(id) != 0), 0, c(0, at[o][-length(o)]))
  data.frame(specimen = name[o], step = stats::ave(id, id, FUN = seq_along), temp_c = celsius[o],
             from_min = from, hold_min = at[o] - from)
}

# Heat-up, hold and cooling of every step, all specimens of one furnace temperature at once.
heated_steps <- function(plan, thickness_mm, ambient_c, dip_c, recover_min, open_s, support,
                         cool_support, h_w_m2k, cool_h_w_m2k, emissivity, alloy) {
  parts <- vector("list", nrow(plan))
  for (rows in split(seq_len(nrow(plan)), plan$temp_c)) {
    celsius <- plan$temp_c[rows[1L]]
    furnace <- if (dip_c > 0) door_opening(celsius, dip_c, recover_min, open_s = open_s) else celsius
    points <- min(4000, max(200, ceiling(max(plan$hold_min[rows]) * 60 / 3)))
    hot <- heat_up(thickness_mm[rows], furnace, until_min = plan$hold_min[rows], start_c = ambient_c,
                   h_w_m2k = h_w_m2k, emissivity = emissivity, support = support,
                   alloy = alloy, specimen = rows, n_points = points)
    cold <- cool_down(thickness_mm[rows], start_c = hot$summary$end_c, ambient_c = ambient_c,
                      tolerance_c = 1, h_w_m2k = cool_h_w_m2k, emissivity = emissivity,
                      support = cool_support, alloy = alloy, specimen = rows, n_points = 600)
    up <- split(hot$history, factor(hot$history$specimen, rows))
    down <- split(cold$history, factor(cold$history$specimen, rows))
    for (k in seq_along(rows)) {
      hold <- plan$hold_min[rows[k]]
      one <- rbind(thin_history(up[[k]]$time_s, up[[k]]$temp_c),
                   shift_time(thin_history(down[[k]]$time_s, down[[k]]$temp_c), 60 * hold))
      one$furnace_min <- pmin(one$time_s / 60, hold)
      parts[[rows[k]]] <- one[!duplicated(one$time_s), ]
    }
  }
  parts
}

shift_time <- function(x, by) {
  x$time_s <- x$time_s + by
  x
}

# Points so close that chords stay within `tolerance`: a chord over a gap g misses a curve of
# curvature c by c g^2 / 8, so the density of points goes with the root of c. Corners of the
# furnace temperature count as curvature.
thin_history <- function(time_s, temp_c, tolerance = 0.05) {
  n <- length(time_s)
  if (n < 4L) return(data.frame(time_s = time_s, temp_c = temp_c))
  slope <- diff(temp_c) / diff(time_s)
  bend <- abs(diff(slope)) / (diff(time_s, lag = 2) / 2)
  bend <- c(bend[1L], bend, bend[n - 2L])
  room <- sqrt(pmax(bend[-1L], bend[-n]) / (8 * tolerance)) * diff(time_s)
  cell <- floor(1.5 * c(0, cumsum(room)))
  keep <- c(TRUE, diff(cell) > 0)
  keep[n] <- TRUE
  data.frame(time_s = time_s[keep], temp_c = temp_c[keep])
}

chain_steps <- function(plan, parts, rows) {
  start <- 0
  for (i in rows) {
    n <- nrow(parts[[i]])
    parts[[i]] <- data.frame(
      specimen = rep(plan$specimen[i], n), time_s = parts[[i]]$time_s + start,
      temp_c = parts[[i]]$temp_c, step = rep(plan$step[i], n),
      furnace_min = parts[[i]]$furnace_min + plan$from_min[i])
    start <- parts[[i]]$time_s[n]
  }
  do.call(rbind, parts[rows])
}

#' @export
print.softanneal_history <- function(x, ...) {
  if (!all(c("specimen", "time_s", "temp_c") %in% names(x))) return(NextMethod())
  pieces <- unique(x$specimen)
  cat("Temperature history of ", length(pieces), if (length(pieces) == 1L) " specimen" else " specimens",
      ", ", nrow(x), " points\n", sep = "")
  for (one in utils::head(as.character(pieces), 12L)) {
    own <- x[as.character(x$specimen) == one, ]
    cat("  ", one, ": ", if (!is.null(own$step)) paste0(max(own$step), " steps, "),
        in_degrees(format(max(own$temp_c), digits = 4)), " at most, ",
        format_quantity((max(own$time_s) - min(own$time_s)) / 60), " min",
        if (!is.null(own$furnace_min)) {
          paste0(" (", format_quantity(max(own$furnace_min)), " min in the furnace)")
        }, "\n", sep = "")
  }
  if (length(pieces) > 12L) cat("  and ", length(pieces) - 12L, " more\n", sep = "")
  invisible(x)
}

#' @export
as.data.frame.softanneal_history <- function(x, ...) structure(x, class = "data.frame")

#' @method autoplot softanneal_history
#' @rawNamespace S3method(ggplot2::autoplot,softanneal_history)
autoplot.softanneal_history <- function(object, ...) plot_history(as.data.frame(object), ...)

#' @export
plot.softanneal_history <- draw_picture
