# The recrystallisation temperature of readings of one time: of their curve, else between two neighbours; a
# limit where they do not show the level as rolled or soft.

recryst_of_readings <- function(data, fraction, time_min, level, u_temp_c, scale, material, property,
                                h_soft, columns) {
  fraction <- check_numeric(fraction, "fraction", 0, 1, open = TRUE)
  level <- check_level(level)
  check_data(data)
  if (is.null(time_min)) {
    read <- numeric_column(data, columns$time, unit = "min", na = TRUE)
    read <- different_times(read[!is.na(read) & read > 0])
    time_min <- if (length(read) == 1L) read else 60
  }
  time_min <- check_numeric(time_min, "time_min", 0, open = TRUE)
  m <- isochronal_means(data, time_min, level, columns, scale, material, property, h_soft)
  out <- isochronal_temperatures(m, fraction, level, u_temp_c)
  lost <- which(is.na(out$temp_c))
  if (length(lost)) {
    warn("outside", in_property(paste0(
      length(lost), " of ", nrow(out), " temperatures are NA; the column `note` gives the limit and its ",
      "reason (", in_rows(lost), ").", if (any(grepl(NO_SOFT_LEVEL, out$note, fixed = TRUE))) {
        "\nGive the hardness of the soft state as `h_soft`, or read pieces annealed hotter."
      }), m$fit), n = length(lost), rows = lost)
  }
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
    # an interval that is open says less than the two neighbours; one that leaves the temperatures read leans
    # on the shape of the law for a level that no piece shows
    read <- range(m$steps$temp_c[m$steps$time_min == t])
    known <- is.finite(of_curve$temp_c) & is.finite(of_curve$conf.low) & is.finite(of_curve$conf.high) &
      (!is.na(between$temp_c) | (of_curve$conf.low >= read[1L] & of_curve$conf.high <= read[2L]))
    between[known, ] <- of_curve[known, names(between)]
    between$method[known] <- "curve"
    between
  })
  out <- do.call(rbind, rows)
  rownames(out) <- NULL
  structure(out, fits = fits)
}

# A level is shown where two neighbouring temperatures agree, with the errors of their means, to this share
# of the whole fall, and where the fall is more than recovery leaves: this share of the hardness as rolled.
LEVEL_AGREES <- 0.15
LEAST_FALL <- 0.1
NO_SOFT_LEVEL <- "no soft level shown"

# Straight between the two means that the level lies between; a curve that falls all the way passes it
# somewhere between temperatures that are clear of it, which are the ends. A level that the pieces do not
# show lies at or beyond the last of them, and leaves one end open.
between_means <- function(m, time_min, softening) {
  at <- m$steps[m$steps$time_min == time_min, ]
  n <- nrow(at)
  rolled <- nrow(m$rolled) > 0L
  half <- function(x) ifelse(is.na(x$high), 0, x$high - x$hardness)
  h <- at$hardness
  own <- half(at)
  worked <- if (rolled) m$rolled$hardness else h[1L]
  soft <- m$h_soft %or% h[n]
  u_worked <- if (rolled) half(m$rolled) else own[1L]
  row <- data.frame(time_min = time_min, softening = softening, temp_c = NA_real_, std.error = NA_real_,
                    conf.low = NA_real_, conf.high = NA_real_, method = "between two means", note = "")
  fall <- sign(worked - soft)
  if (is.null(property_of(m$fit)) && fall <= 0 && (n > 1L || !is.null(m$h_soft))) {
    row$note <- "the hardness does not fall"
    return(row)
  }
  drop <- abs(worked - soft)
  shown <- function(i, j) { # two pieces at one level
    n > 1L && abs(h[i] - h[j]) + sqrt(own[i]^2 + own[j]^2) <= LEVEL_AGREES * drop
  }
  enough <- !is.null(property_of(m$fit)) || drop >= LEAST_FALL * worked
  soft_known <- !is.null(m$h_soft) || (shown(n, n - 1L) && enough)
  worked_known <- rolled || shown(1L, 2L)
  aim <- worked + softening * (soft - worked)
  error <- sqrt(((1 - softening) * u_worked)^2 + (softening * if (is.null(m$h_soft)) own[n] else 0)^2)
  # how far a level that is shown may still lie beyond the last piece
  beyond <- if (soft_known && is.null(m$h_soft)) softening * abs(h[n] - h[n - 1L]) else 0
  above <- fall * (h - aim)
  margin <- sqrt(own^2 + error^2)
  hard <- above > margin
  done <- above < -(margin + beyond)
  first <- match(FALSE, hard) # the first piece that is not clear of it
  last <- n + 1L - match(FALSE, rev(done))
  row$conf.low <- if (!worked_known || identical(first, 1L)) -Inf else
    at$temp_c[if (is.na(first)) n else first - 1L]
  row$conf.high <- if (!soft_known || identical(last, n)) Inf else
    at$temp_c[if (is.na(last)) 1L else last + 1L]
  k <- which(above[-n] > 0 & above[-1L] <= 0)
  if (length(k) && is.finite(row$conf.low) && is.finite(row$conf.high)) {
    row$temp_c <- at$temp_c[k[1L]] + diff(at$temp_c[k[1L] + 0:1]) * above[k[1L]] / -diff(above[k[1L] + 0:1])
    row$note <- paste(c("ends: temperatures read", if (length(k) > 1L) "the level is passed more than once",
                        if (!rolled) "coldest step taken as rolled"), collapse = "; ")
    return(row)
  }
  unlike <- if (n < 2L) "one temperature only" else if (abs(h[n] - h[n - 1L]) > LEVEL_AGREES * drop) {
    "the two hottest temperatures differ"
  } else if (enough) "the readings scatter too much" else "the hardness falls too little"
  why <- c(if (!worked_known) "no level as rolled shown",
           if (!soft_known) paste0(NO_SOFT_LEVEL, ": ", unlike))
  row$note <- open_notes("", as.matrix(row[c("conf.low", "conf.high")]), degree_c(), FALSE, FALSE, list(),
                         -Inf)
  if (length(why)) row$note <- paste0(sub(": no (upper|lower) limit from the readings", "", row$note), "; ",
                                      paste(why, collapse = "; "))
  row
}
