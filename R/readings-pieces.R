# Pieces compared with each other: stock, labels, units. Each piece passes a share of the softening at
# some time; against 1/T these times lie on a line (Arrhenius). Where they do not, and one slip
# of the pen would put them on it, the slip is named. Times in min, ln of times in nats; hardness in HV by
# level_in_hv().

find_pieces <- function(r) {
  part <- group_rows(list(paste(r$scale), own_part(r)))
  found <- NULL
  for (k in seq_along(part$first)) {
    pieces <- piece_curves(r, which(part$id == k & !is.na(r$h)))
    if (length(pieces) < 2L) next
    stock <- find_stock(pieces)
    found <- c(found, stock, find_slips(pieces[setdiff(seq_along(pieces), attr(stock, "piece"))]))
  }
  # each piece and slip once, whichever scales it was read on
  found[!duplicated(vapply(found, `[[`, "", "what"))]
}

# Groups, laboratories and reductions are compared within.
own_part <- function(r) if (is.null(r$part)) rep("", r$n) else r$part

# One curve for each piece and temperature: means of its steps. All are converted in one go, since fits ask
# for it each time.
piece_curves <- function(r, rows) {
  scale <- r$scale[rows[1L]]
  heated <- rows[r$time[rows] > 0 & !is.na(r$temp[rows])]
  before <- rows[r$time[rows] == 0]
  if (!length(heated)) return(NULL)
  own <- group_rows(list(r$specimen[heated], r$temp[heated]))
  as_rolled <- split(r$h[before], as.character(r$specimen[before]))
  curves <- lapply(split(heated, own$id), function(i) {
    of_step <- split(r$h[i], r$time[i])
    name <- as.character(r$specimen[i[1L]])
    read <- as_rolled[[name]]
    list(name = name, temp = r$temp[i[1L]], rows = i, scale = scale, time = as.double(names(of_step)),
         hv = vapply(of_step, mean, 0, USE.NAMES = FALSE), read = if (length(read)) mean(read) else NA_real_)
  })
  read <- vapply(curves, `[[`, 0, "read", USE.NAMES = FALSE)
  means <- c(unlist(lapply(curves, `[[`, "hv"), use.names = FALSE), read)
  means[!is.na(means)] <- level_in_hv(means[!is.na(means)], scale)$hv
  end <- unname(cumsum(lengths(lapply(curves, `[[`, "hv"))))
  for (k in seq_along(curves)) {
    curves[[k]]$hv <- means[seq(end[k] - length(curves[[k]]$hv) + 1L, end[k])]
    curves[[k]]$worked <- means[end[length(end)] + k]
  }
  curves
}

# A piece whose hardness before the furnace is far from that of the others. The scatter between pieces is
# taken from the others, together with what is usual (2.4 % of the hardness, weight of 10 pieces). At the
# level 0.03 nine of ten pieces that are 12 % off are found; of sound benches fewer than one of 100 are
# suspected, and 5 where everything scatters 1.5 times as much.
find_stock <- function(pieces) {
  worked <- vapply(pieces, `[[`, 0, "worked")
  there <- which(!is.na(worked) & !duplicated(vapply(pieces, `[[`, "", "name")))
  if (length(there) < 3L) return(NULL)
  x <- worked[there]
  m <- length(x)
  away <- vapply(seq_len(m), \(i) x[i] - mean(x[-i]), 0)
  sd <- vapply(seq_len(m), function(i) {
    sqrt((10 * (0.024 * mean(x[-i]))^2 + (m - 2) * stats::var(x[-i])) / (10 + m - 2))
  }, 0)
  t <- abs(away) / (sd * sqrt(m / (m - 1)))
  i <- which.max(t)
  if (t[i] <= stats::qt(0.03 / (2 * m), 10 + m - 2, lower.tail = FALSE)) return(NULL)
  piece <- pieces[[there[i]]]
  others <- mean(x[-i])
  other_scale <- Filter(function(s) {
    read <- level_in_hv(piece$read, s)$hv
    abs(read / others - 1) < 0.1 && abs(read - others) < 0.3 * abs(away[i])
  }, setdiff(c("HRB", "HRF", "HR30T", "HR15T", "HV"), piece$scale))
  text <- paste0(piece$name, " was ", format(piece$read, digits = 3), " ", piece$scale,
                 " before the furnace, the other specimens ",
                 format(mean(vapply(pieces[there[-i]], `[[`, 0, "read")), digits = 3))
  out <- if (length(other_scale)) {
    finding("warning", "other scale", piece$rows, paste0(text, "; as ", other_scale[1L], " it would agree"),
            paste0("readings on ", other_scale[1L], " were perhaps labelled ", piece$scale),
            "Look at the sheet for the scale of this specimen; correct the column `scale`.")
  } else {
    finding("warning", "other stock", piece$rows, text,
            "a specimen from another strip, reduction or end of the strip softens along another curve",
            "Find out where this specimen came from; fit it for itself if it is other stock.")
  }
  structure(out, piece = there[i])
}

# Hardness before the furnace of each piece, where it was not read the usual one (`top`), and the softest of
# all; NULL where nothing softens.
piece_levels <- function(pieces) {
  worked <- vapply(pieces, `[[`, 0, "worked")
  top <- if (all(is.na(worked))) max(vapply(pieces, \(p) max(p$hv), 0)) else
    stats::median(worked, na.rm = TRUE)
  soft <- min(vapply(pieces, \(p) min(p$hv), 0))
  if (top - soft < 0.05 * abs(top)) return(NULL)
  list(worked = replace(worked, is.na(worked), top), top = top, soft = soft)
}

# ln of the times at which each piece has passed a share of the softening, for several shares, with `side`:
# 0 seen, -1 passed before the first reading, 1 not passed at the last.
passing_times <- function(pieces) {
  levels <- piece_levels(pieces)
  if (is.null(levels)) return(NULL)
  worked <- levels$worked
  top <- levels$top
  soft <- levels$soft
  # steps that do not fall more than they scatter tell no times
  rough <- Map(function(p, w) {
    h <- c(w, p$hv)
    (h + stats::isoreg(-h)$yf)^2
  }, pieces, worked)
  if (sqrt(mean(unlist(rough))) > 0.05 * (top - soft)) return(NULL)
  at <- lapply(c(0.5, 0.3, 0.7, 0.85), function(share) {
    cross <- Map(function(p, w) crossing(p, w, w - share * (top - soft)), pieces, worked)
    list(ln = vapply(cross, `[[`, 0, 1L), side = vapply(cross, `[[`, 0, 2L))
  })
  at[vapply(at, \(a) any(a$side == 0), NA)]
}

crossing <- function(piece, worked, level) {
  falling <- if (length(piece$hv) > 1L) -stats::isoreg(-piece$hv)$yf else piece$hv
  passed <- which(falling <= level)
  if (!length(passed)) return(c(log(max(piece$time)), 1))
  j <- passed[1L]
  if (j == 1L) return(c(log(piece$time[1L]), -1))
  share <- (falling[j - 1L] - level) / (falling[j - 1L] - falling[j])
  c(log(piece$time[j - 1L]) + share * log(piece$time[j] / piece$time[j - 1L]), 0)
}

# One temperature far from all others, which in Kelvin or Fahrenheit would stand among them; a single
# anneal far hotter, for the soft state, is meant so. Where the curves say something of it they must not speak
# against the other unit.
far_temperature <- function(pieces, temp, evidence = NULL) {
  if (length(unique(temp)) < 3L) return(NULL)
  temp <- unname(temp)
  i <- which.max(temp)
  others <- range(temp[-i])
  width <- max(diff(others), if (is.null(evidence)) 20 else 80)
  far <- if (is.null(evidence)) 2 * width else max(100, 0.75 * width)
  if (temp[i] - others[2L] < far || length(pieces[[i]]$time) < 3L) return(NULL)
  c <- c(Kelvin = temp[i] - ZERO_CELSIUS, Fahrenheit = (temp[i] - 32) / 1.8)
  unit <- names(c)[c > others[1L] - 0.75 * width & c < others[2L] + 0.75 * width]
  if (!is.null(evidence)) {
    most <- line_loss(evidence, temp) + 2
    unit <- Filter(function(u) line_loss(evidence, replace(temp, i, c[[u]])) <= most, unit)
  }
  if (!length(unit)) return(NULL)
  finding("warning", "specimens", pieces[[i]]$rows,
          paste0("temperature of ", pieces[[i]]$name, " (", format(temp[i]), ") in ",
                 paste(unit, collapse = " or "), "?"),
          paste0("the others are at ", format(others[1L]), " to ", format(others[2L]), "; ",
                 paste0(round(c[unit]), " degrees Celsius", collapse = " or "), " would stand among them"),
          "Compare with the sheet and the furnace.")
}

# What a fit says of its pieces, once. `d` as from softening_data().
tell_odd_pieces <- function(d, data) {
  n <- d$n
  if (n > 20000L || !is.null(d$history)) return(invisible())
  known <- if (is.null(d$specimen)) paste("specimen at", format(d$label_c)) else as.character(d$specimen)
  part <- part_of_rows(data)
  if (!is.null(d$na.action)) part <- part[-as.integer(d$na.action)]
  scale <- known_scale(rep_len(d$scale_read, n))
  if (anyNA(scale)) return(invisible())
  r <- list(n = n, h = d$as_read, specimen = own_pieces_of(data, known, d$time_min, d$na.action),
            temp = d$label_c, time = d$time_min,
            scale = scale, part = part, material = rep_len(table_names(d$material), n))
  sets <- reading_sets(data)
  if (!is.null(d$na.action)) sets <- lapply(sets, keep_rows, gone = as.integer(d$na.action))
  r[c("sets", "stock")] <- sets
  found <- c(find_schedules(r), find_pieces(r), find_temperature_unit(r), find_other_scale(r))
  if (!length(found)) return(invisible())
  rows <- found[[1L]]$rows
  if (!is.null(d$na.action)) rows <- seq_len(nrow(data))[-as.integer(d$na.action)][rows]
  what <- paste(vapply(found, `[[`, "", "what"), collapse = "; ")
  warn("assumption", paste0("Check before this fit is used: ", sub("([^?])$", "\\1.", what),
                            " check_readings() gives the reasons."),
       n = length(rows), rows = rows)
}

own_pieces_of <- function(data, known, time, gone) {
  own_pieces(if (is.null(gone)) data else data[-as.integer(gone), , drop = FALSE], known, time)
}

keep_rows <- function(x, gone) if (is.list(x)) lapply(x, `[`, -gone) else x[-gone]
