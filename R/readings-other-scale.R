# Sets of readings (a group, a laboratory, several specimens) on another scale than their label says. All sets
# are compared at the same heat treatments, in HV by level_in_hv(), as logarithms of means; the state before
# the furnace is one treatment whatever the temperature.

SCALES_TRIED <- c("HRB", "HRF", "HR30T", "HR15T", "HV")
# Usual differences between sets, as parts of the hardness: read on one scale, and with those of conversion.
USUAL_BETWEEN <- 0.024
USUAL_CONVERTED <- 0.05
LEAST_AWAY <- 0.1 # a set that agrees within this is never suspected
MOST_LEFT_AWAY <- 0.25 # share of the mean square that the other scale may leave
# HRB and HR15T of hard brass are the same number and part as it softens, or the state before the furnace was
# not read; a furnace that is off lets curves part too, but no other scale puts those together.
LEAST_PARTING <- 0.25 # root mean square
MOST_LEFT_PARTING <- 0.1

# Columns whose values are compared as sets.
SET_COLUMNS <- c("group", "laboratory", "operator")

# Who read each row, and of which strip, for find_other_scale().
reading_sets <- function(data) {
  sets <- several_of(data, SET_COLUMNS)
  stock <- c(several_of(data, c("strip", STRAIN_COLUMNS)), lot_columns(data))
  list(sets = lapply(unclass(data)[sets], as.character),
       stock = if (length(stock)) do.call(paste, lapply(unname(unclass(data)[stock]), as.character)))
}

find_other_scale <- function(r) {
  rows <- which(!is.na(r$h) & r$h > 0)
  if (length(rows) < 4L) return(NULL)
  scale <- r$scale[rows]
  hv <- rep(0, length(rows))
  for (s in unique(scale)) hv[scale == s] <- level_in_hv(r$h[rows[scale == s]], s)$hv
  heated <- r$time[rows] > 0
  at <- group_rows(list(ifelse(heated, r$temp[rows], -1e6), r$time[rows],
                        if (is.null(r$stock)) rep("", length(rows)) else r$stock[rows]))
  x <- list(rows = rows, h = r$h[rows], hv = pmax(hv, 1), scale = scale, at = at$id,
            heated = heated[at$first],
            usual = if (length(unique(scale)) > 1L) USUAL_CONVERTED else USUAL_BETWEEN)
  found <- NULL
  told <- integer()
  for (name in names(r$sets)) {
    one <- far_sets(x, r$sets[[name]][rows])
    one <- Filter(\(f) !length(intersect(f$rows, told)), one)
    told <- c(told, unlist(lapply(one, `[[`, "rows")))
    found <- c(found, lapply(one, tell_far_set, name = name))
  }
  specimens <- far_sets(x, as.character(r$specimen[rows]), FALSE)
  c(unlist(found, recursive = FALSE), tell_far_specimens(specimens, told))
}

# Sets whose means lie far from those of the others: list of rows, value, scale that would explain it, and how
# far. `stock`: also those no scale explains.
far_sets <- function(x, set, stock = TRUE) {
  key <- group_rows(list(set, x$scale))
  m <- length(key$first)
  if (m < 2L || m * length(x$heated) > 1e6) return(NULL)
  cell <- (x$at - 1L) * m + key$id
  size <- m * length(x$heated)
  n <- tabulate(cell, size)
  means <- function(v) {
    sum <- rep(0, size)
    got <- rowsum(v, cell)
    sum[as.integer(rownames(got))] <- got
    matrix(log(sum / ifelse(n > 0, n, NA)), m)
  }
  y <- means(x$hv)
  shared <- colSums(!is.na(y)) > 1L
  if (!any(shared)) return(NULL)
  y <- y[, shared, drop = FALSE]
  heated <- x$heated[shared]
  out <- list()
  as_other <- NULL
  for (round in seq_len(max(1L, (m - 1L) %/% 2L))) {
    away <- away_from_others(y)
    level <- set_level(away, heated)
    at_once <- is_far(level, x$usual)
    far <- setdiff(which(at_once | (level$parting > LEAST_PARTING & level$n > 2L)),
                   vapply(out, `[[`, 0L, "set"))
    if (!length(far)) break
    if (is.null(as_other)) {
      as_other <- lapply(SCALES_TRIED, \(s) means(pmax(level_in_hv(x$h, s)$hv, 1))[, shared, drop = FALSE])
    }
    best <- NULL
    for (i in far) for (s in which(SCALES_TRIED != x$scale[key$first[i]])) {
      moved <- away[i, ] - y[i, ] + as_other[[s]][i, ]
      before <- mean(away[i, ]^2, na.rm = TRUE)
      after <- mean(moved^2, na.rm = TRUE)
      now <- set_level(matrix(moved, 1L), heated)
      most <- if (at_once[i]) MOST_LEFT_AWAY else MOST_LEFT_PARTING
      if (after > most * before || abs(now$by) > LEAST_AWAY) next
      z <- y
      z[i, ] <- as_other[[s]][i, ]
      spread <- sum((z - rep(colMeans(z, na.rm = TRUE), each = m))^2, na.rm = TRUE)
      if (is.null(best) || spread < best$spread) {
        best <- list(set = i, scale = SCALES_TRIED[s], spread = spread, after = sqrt(after), y = z)
      }
    }
    if (is.null(best)) {
      # other stock: the state before the furnace of at least three sets tells which
      far <- far[at_once[far] & level$before[far]]
      if (!stock || m < 3L || !length(far)) break
      best <- list(set = far[which.max(abs(level$by[far]))], y = y)
    }
    i <- best$set
    own <- x$rows[key$id == i]
    there <- !is.na(away[i, ])
    # the state before the furnace where it was read, or where they part most
    first <- if (at_once[i]) which(there)[order(heated[there])][1L] else which.max(abs(away[i, ]))
    others <- exp(mean(y[i, first] - away[i, first]))
    out[[length(out) + 1L]] <- list(
      set = i, rows = own, value = set[key$first[i]], label = x$scale[key$first[i]], scale = best$scale,
      by = exp(if (at_once[i]) level$by[i] else away[i, first]) - 1, after = best$after,
      steps = sum(there), read = exp(y[i, first]), others = others, before = !heated[first],
      parts = !at_once[i], sets = m)
    if (is.null(best$scale)) break
    y <- best$y
  }
  out
}

# Each mean less the median of the other sets' at the same treatment; of more than a dozen, less that of all.
away_from_others <- function(y) {
  m <- nrow(y)
  middle <- function(v) apply(v, 2L, stats::median, na.rm = TRUE)
  if (m > 12L) return(y - rep(middle(y), each = m))
  out <- y
  for (i in seq_len(m)) out[i, ] <- y[i, ] - middle(y[-i, , drop = FALSE])
  out
}

# How far each set is: by the state before the furnace where there is one, else by the median of all.
set_level <- function(away, heated) {
  mean_of <- function(v) if (any(!is.na(v))) mean(v, na.rm = TRUE) else NA_real_
  before <- apply(away[, !heated, drop = FALSE], 1L, mean_of)
  all <- apply(away, 1L, stats::median, na.rm = TRUE)
  list(by = ifelse(is.na(before), all, before), before = !is.na(before), n = rowSums(!is.na(away)),
       parting = sqrt(rowMeans(away^2, na.rm = TRUE)))
}

# As find_stock(): what is usual with the weight of 10 sets, with the others' own spread (by their median
# deviation, as several may be far), at 0.03 over all sets.
is_far <- function(level, usual) {
  by <- ifelse(level$before, level$by, NA)
  m <- sum(level$before)
  s <- if (m > 3L) stats::mad(by, na.rm = TRUE) else 0
  df <- if (m > 3L) m - 2 else 0
  sd <- sqrt((10 * usual^2 + df * s^2) / (10 + df)) * sqrt(m / max(m - 1, 1))
  limit <- stats::qt(0.03 / (2 * max(m, 1)), 10 + df, lower.tail = FALSE) * sd
  level$before & abs(by) > pmax(limit, LEAST_AWAY)
}

tell_far_set <- function(f, name) {
  what <- paste0(name, " ", f$value, " lies ", if (f$parts) "up to ", format(round(abs(100 * f$by))), " % ",
                 if (f$by < 0) "below" else "above", " the other ", name, "s at the same ",
                 count(f$steps, "heat treatment"), " (", if (f$before) "before the furnace " else "e.g. ",
                 format(round(f$read)), " HV, the others ", format(round(f$others)), " HV, as labelled)")
  if (is.null(f$scale)) {
    return(finding("warning", "other stock", f$rows, what,
                   "no other scale explains it: another strip or reduction, or a tester that is off",
                   paste0("Find out what this ", name, " read; fit it for itself if it is other stock.")))
  }
  finding("warning", "other scale", f$rows,
          paste0(what, "; as ", f$scale, " it would agree within ", format(ceiling(100 * f$after)), " %"),
          paste0("readings on ", f$scale, " were perhaps labelled ", f$label,
                 if (f$sets == 2L) "; of two sets either may be the wrong one"),
          paste0("Look at the sheet for the scale of this ", name, "; correct the column `scale`."))
}

# Several specimens on another scale hide each other from find_stock(); a single one is its finding.
tell_far_specimens <- function(far, told) {
  far <- Filter(\(f) !is.null(f$scale) && f$before && !length(intersect(f$rows, told)), far)
  if (!length(far)) return(NULL)
  far <- far[order(vapply(far, \(f) f$rows[1L], 0L))]
  kind <- vapply(far, \(f) paste(f$label, f$scale), "")
  unlist(lapply(unname(split(far, kind)), function(same) {
    if (length(same) < 2L) return(NULL)
    names <- vapply(same, `[[`, "", "value")
    read <- mean(vapply(same, `[[`, 0, "read"))
    f <- same[[1L]]
    finding("warning", "other scale", sort(unlist(lapply(same, `[[`, "rows"))),
            paste0("specimens ", listed(names, 6L), " read ", format(round(read)),
                   " HV before the furnace as labelled, the other specimens ", format(round(f$others)),
                   " HV; as ", f$scale, " they would agree"),
            paste0("readings on ", f$scale, " were perhaps labelled ", f$label),
            "Look at the sheet for the scale of these specimens; correct the column `scale`.")
  }), recursive = FALSE)
}
