# The timetable of an annealing run: who needs furnace, tongs and hardness machine when. Times in
# min on one axis that runs through the sessions, each session_min long, one after the other.
#
# Each piece repeats: into the furnace, out after heat-up and hold, cool, read. Of all next
# operations the one that can start first is booked, until none is left (list scheduling). A
# piece that is in the furnace must come out on time, so both its door events are booked at once.

# Which furnace serves which temperature, and in which order: the temperature with the most
# furnace time goes to the furnace with the least (longest processing time first, Graham R L
# (1969) SIAM J. Appl. Math. 17, 416); each furnace then climbs, since it cools slowly.
assign_furnaces <- function(temp_c, minutes, furnaces) {
  load <- tapply(minutes, factor(temp_c, unique(temp_c)), max)
  temps <- unique(temp_c)
  of_temp <- integer(length(temps))
  filled <- numeric(furnaces)
  for (k in order(-load, temps)) {
    f <- which.min(filled)
    of_temp[k] <- f
    filled[f] <- filled[f] + load[k]
  }
  # the furnace with the lowest temperature is number 1
  first <- tapply(temps, of_temp, min)
  of_temp <- match(of_temp, as.integer(names(sort(first))))
  of_temp[match(temp_c, temps)]
}

# Earliest start from `ready` at which all `needs` (data frame: resource, from, length, relative
# to the start) are free in `booked`, and the whole `span` lies in one session after its warm-up.
earliest_start <- function(ready, needs, booked, span, warm_up, session_min) {
  t <- ceiling(ready - 1e-9)
  repeat {
    was <- t
    session <- floor(t / session_min + 1e-9)
    t <- max(t, session * session_min + warm_up)
    if (t + span > (session + 1) * session_min + 1e-9) {
      t <- (session + 1) * session_min + warm_up
    }
    for (k in seq_len(nrow(needs))) {
      b <- booked[booked$resource == needs$resource[k], , drop = FALSE]
      from <- t + needs$from[k]
      clash <- b$from < from + needs$length[k] - 1e-9 & b$to > from + 1e-9
      if (any(clash)) t <- ceiling(max(t, max(b$to[clash]) - needs$from[k]) - 1e-9)
    }
    if (t == was) return(t)
  }
}

# `pieces`: data frame specimen, temp_c, furnace. `steps`: rows piece (index), step (0 for the
# reading before), hold_min, heat_up_min, cool_min. `set`: session_min, warm_up, change_min,
# handling_min, reading_min (of a step), people. Adds in_min, out_min, cold_min, read_min,
# end_min on the common axis; NA where a treatment is longer than a session.
book_steps <- function(pieces, steps, set) {
  n <- nrow(pieces)
  steps[c("in_min", "out_min", "cold_min", "read_min", "end_min")] <- NA_real_
  booked <- data.frame(resource = character(), from = numeric(), to = numeric())
  rows_of <- split(seq_len(nrow(steps)), factor(steps$piece, seq_len(n)))
  blocks <- furnace_blocks(pieces)
  next_row <- rep(1L, n)
  heated <- logical(nrow(steps)) # in and out booked, not yet read
  ready <- numeric(n)
  left <- vapply(rows_of, \(r) sum(steps$hold_min[r]), 0)
  reader <- if (set$people == 1) c("machine", "person") else "machine"
  repeat {
    best <- NULL
    for (i in seq_len(n)) {
      if (next_row[i] > length(rows_of[[i]])) next
      row <- rows_of[[i]][next_row[i]]
      operation <- if (steps$step[row] == 0L || heated[row]) {
        reading_operation(ready[i], reader, booked, set)
      } else {
        heating_operation(ready[i], steps[row, ], blocks, pieces[i, ], booked, set)
      }
      if (is.null(operation)) next
      better <- is.null(best) || operation$start < best$start ||
        (operation$start == best$start && left[i] > left[best$piece])
      if (better) best <- c(operation, list(piece = i, row = row))
    }
    if (is.null(best)) break
    i <- best$piece
    row <- best$row
    if (best$start == Inf) { # longer than a session: this piece ends here
      next_row[i] <- length(rows_of[[i]]) + 1L
      blocks <- leave_block(blocks, i, ready[i])
      next
    }
    booked <- rbind(booked, data.frame(resource = best$needs$resource,
                                       from = best$start + best$needs$from,
                                       to = best$start + best$needs$from + best$needs$length))
    if (best$kind == "read") {
      steps$read_min[row] <- best$start
      steps$end_min[row] <- ready[i] <- best$start + set$reading_min
      next_row[i] <- next_row[i] + 1L
    } else {
      steps$in_min[row] <- best$start
      steps$out_min[row] <- best$start + steps$heat_up_min[row] + steps$hold_min[row]
      steps$cold_min[row] <- ready[i] <- steps$out_min[row] + steps$cool_min[row]
      left[i] <- left[i] - steps$hold_min[row]
      heated[row] <- TRUE
      if (row == max(rows_of[[i]])) blocks <- leave_block(blocks, i, steps$out_min[row])
    }
  }
  steps
}

# Temperatures of each furnace in rising order; a block opens when the one before has emptied.
furnace_blocks <- function(pieces) {
  blocks <- unique(pieces[c("furnace", "temp_c")])
  blocks <- blocks[order(blocks$furnace, blocks$temp_c), , drop = FALSE]
  rownames(blocks) <- NULL
  blocks$opens <- ifelse(duplicated(blocks$furnace), NA, 0)
  blocks$emptied <- 0
  blocks$waiting <- lapply(seq_len(nrow(blocks)), \(k) {
    which(pieces$furnace == blocks$furnace[k] & pieces$temp_c == blocks$temp_c[k])
  })
  blocks
}

leave_block <- function(blocks, piece, at) {
  k <- which(vapply(blocks$waiting, \(w) piece %in% w, NA))
  if (!length(k)) return(blocks)
  blocks$waiting[[k]] <- setdiff(blocks$waiting[[k]], piece)
  blocks$emptied[k] <- max(blocks$emptied[k], at)
  after <- k + 1L
  if (!length(blocks$waiting[[k]]) && after <= nrow(blocks) &&
      blocks$furnace[after] == blocks$furnace[k]) {
    blocks$opens[after] <- blocks$emptied[k]
    blocks$emptied[after] <- blocks$emptied[k]
  }
  blocks
}

reading_operation <- function(ready, reader, booked, set) {
  needs <- data.frame(resource = reader, from = 0, length = set$reading_min)
  start <- if (set$reading_min > set$session_min) Inf else {
    earliest_start(ready, needs, booked, set$reading_min, 0, set$session_min)
  }
  list(kind = "read", start = start, needs = needs)
}

# NULL while the furnace is at another temperature.
heating_operation <- function(ready, step, blocks, piece, booked, set) {
  k <- which(blocks$furnace == piece$furnace & blocks$temp_c == piece$temp_c)
  opens <- blocks$opens[k]
  if (is.na(opens)) return(NULL)
  in_furnace <- step$heat_up_min + step$hold_min
  span <- in_furnace + max(step$cool_min, set$handling_min)
  needs <- data.frame(resource = "person", from = c(0, in_furnace), length = set$handling_min)
  if (span + set$warm_up > set$session_min) {
    return(list(kind = "heat", start = Inf, needs = needs))
  }
  first <- k == 1L || blocks$furnace[k - 1L] != blocks$furnace[k]
  if (!first) {
    # a new temperature is set when the last piece is out, or before the next session begins
    session <- floor(opens / set$session_min + 1e-9)
    opens <- min(opens + set$change_min, (session + 1) * set$session_min)
  }
  list(kind = "heat", needs = needs,
       start = earliest_start(max(ready, opens), needs, booked, span, set$warm_up,
                              set$session_min))
}
