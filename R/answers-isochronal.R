# The recrystallisation temperature of readings of one time: of their curve, else between two neighbours.

recryst_of_readings <- function(data, fraction, time_min, level, u_temp_c, scale, material, property) {
  fraction <- check_numeric(fraction, "fraction", 0, 1, open = TRUE)
  level <- check_level(level)
  check_data(data)
  if (is.null(time_min)) {
    read <- numeric_column(data, "time_min", unit = "min", na = TRUE)
    read <- different_times(read[!is.na(read) & read > 0])
    time_min <- if (length(read) == 1L) read else 60
  }
  time_min <- check_numeric(time_min, "time_min", 0, open = TRUE)
  m <- isochronal_means(data, time_min, level, scale, material, property)
  out <- isochronal_temperatures(m, fraction, level, u_temp_c)
  warn_no_answer(list(scale = ""), out, "temp_c", "temperatures", logical(nrow(out)), "")
  attr(out, "fits") <- NULL
  as_table(out)
}

# One row for each time and softened share.
isochronal_temperatures <- function(m, softening, level, u_temp_c = NULL) {
  fits <- lapply(m$time_min, \(t) isochronal_fit(m, t, u_temp_c))
  rows <- lapply(seq_along(m$time_min), function(j) {
    t <- m$time_min[j]
    of_curve <- if (!is.null(fits[[j]])) {
      suppressWarnings(temp_for(fits[[j]], t, softening = softening, level = level),
                       classes = "softanneal_warning_outside")
    }
    between <- do.call(rbind, lapply(softening, \(s) between_means(m, t, s)))
    if (is.null(of_curve)) return(between)
    # an interval that is open says less than the two neighbours
    known <- is.finite(of_curve$temp_c) & is.finite(of_curve$conf.low) & is.finite(of_curve$conf.high)
    between[known, ] <- of_curve[known, names(between)]
    between$method[known] <- "curve"
    between
  })
  out <- do.call(rbind, rows)
  rownames(out) <- NULL
  structure(out, fits = fits)
}

# Straight between the two means that the level lies between; a curve that falls all the way passes it
# somewhere between their temperatures, which are the ends.
between_means <- function(m, time_min, softening) {
  at <- m$steps[m$steps$time_min == time_min, ]
  h <- at$hardness
  n <- length(h)
  rolled <- nrow(m$rolled) > 0L
  worked <- if (rolled) m$rolled$hardness else h[1L]
  aim <- worked + softening * (h[n] - worked)
  before <- (h - aim) * sign(worked - h[n]) > 0
  k <- which(before[-n] & !before[-1L])
  row <- data.frame(time_min = time_min, softening = softening, temp_c = NA_real_, std.error = NA_real_,
                    conf.low = NA_real_, conf.high = NA_real_, method = "between two means",
                    note = if (n < 2L) "one temperature only" else "target not reached")
  rises <- is.null(property_of(m$fit)) && n > 1L && h[n] >= worked
  if (rises) row$note <- "the hardness does not fall"
  if (!length(k) || rises) return(row)
  row$temp_c <- at$temp_c[k[1L]] + diff(at$temp_c[k[1L] + 0:1]) * (h[k[1L]] - aim) / -diff(h[k[1L] + 0:1])
  row$conf.low <- at$temp_c[k[1L]]
  row$conf.high <- at$temp_c[utils::tail(k, 1L) + 1L]
  row$note <- paste(c("ends: temperatures read, errors left out",
                      if (length(k) > 1L) "the level is passed more than once",
                      if (!rolled) "coldest step taken as rolled"), collapse = "; ")
  row
}
