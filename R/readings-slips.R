# Labels, units and times of pieces compared with each other.
#
# Which times of half softening each piece allows, and slips of the pen that would put all pieces on one line
# against 1/T. All curves share their shape, h = soft + (worked - soft) 2^-((t/t50)^n); n and the soft level
# are those that fit all pieces best. What a piece says of its ln t50 is the rise of its sum of squares over a
# grid, in units of the scatter, flat where it softened before its first reading or not at all.

# Energies of recrystallisation a line may have, kJ/mol, and how unusual they are: 150 within a factor of 1.6.
SLIP_ENERGIES <- exp(seq(log(60), log(500), length.out = 40L))
SLIP_UNUSUAL <- (log(SLIP_ENERGIES / 150) / log(1.6))^2

SLIP_EXPONENTS <- c(0.6, 0.85, 1.2, 1.7, 2.4)
SLIP_LEVELS <- c(0, 0.06, 0.15, 0.3, 0.5) # soft level below the softest mean, in parts of the drop seen
SLIP_GRID <- 0.2 # of ln t50
# A furnace that is off, and a curve of another form than assumed, move ln t50 by about as much.
SLIP_MOVE <- 0.15
# Scatter of the means of steps that is never undercut, as a part of the drop.
LEAST_SCATTER <- 0.012

# Twice the loss of log-likelihood: a row for each ln t50 of the grid `at`, a column for each piece; NULL
# where the readings tell no times.
piece_evidence <- function(pieces) {
  levels <- piece_levels(pieces)
  if (is.null(levels)) return(NULL)
  worked <- levels$worked
  top <- levels$top
  softest <- levels$soft
  time <- lapply(pieces, \(p) log(p$time))
  ends <- range(unlist(time))
  at <- seq(ends[1L] - 3, ends[2L] + 3, SLIP_GRID)
  piece <- rep(seq_along(pieces), lengths(time))
  h <- unlist(lapply(pieces, `[[`, "hv"))
  gone <- outer(at, unlist(time), \(a, t) t - a)
  best <- NULL
  for (n in SLIP_EXPONENTS) {
    left <- 2^-exp(pmin(n * gone, 50)) # share of the drop left, grid by step
    for (level in SLIP_LEVELS) {
      soft <- softest - level * (top - softest)
      miss <- (rep(soft, each = length(at)) + left * rep(worked[piece] - soft, each = length(at)) -
                 rep(h, each = length(at)))^2
      square <- rowsum(t(miss), piece, reorder = FALSE)
      sum <- sum(apply(square, 1L, min))
      if (is.null(best) || sum < best$sum) best <- list(sum = sum, square = square)
    }
  }
  df <- max(length(h) - length(pieces) - 2, 1)
  drop <- top - softest
  # few steps know their scatter badly: together with 3 % of the drop on 4 degrees of freedom
  variance <- max((best$sum + 4 * (0.03 * drop)^2) / (df + 4), (LEAST_SCATTER * drop)^2)
  if (variance > (0.08 * drop)^2) return(NULL)
  loss <- t(best$square - apply(best$square, 1L, min)) / variance
  # the piece may be off by SLIP_MOVE
  move <- (outer(at, at, `-`) / SLIP_MOVE)^2
  for (k in seq_along(pieces)) loss[, k] <- apply(move + rep(loss[, k], each = length(at)), 1L, min)
  list(at = at, loss = loss)
}

# Least loss over all lines, ln t50 = a + E x, when the pieces were at `temp` and their times are off by
# `shift`.
line_loss <- function(evidence, temp, shift = 0) {
  x <- 1 / (8.314462618e-3 * (temp + ZERO_CELSIUS))
  x <- x - mean(x)
  at <- evidence$at
  n <- length(at)
  total <- matrix(0, n, length(SLIP_ENERGIES))
  shift <- rep_len(shift, length(temp))
  for (k in seq_along(temp)) {
    u <- outer(at, SLIP_ENERGIES * x[k], `+`) - shift[k]
    place <- pmin(pmax((u - at[1L]) / SLIP_GRID + 1, 1), n)
    low <- pmin(floor(place), n - 1)
    loss <- evidence$loss[, k]
    total <- total + loss[low] + (place - low) * (loss[low + 1L] - loss[low])
  }
  min(total + rep(SLIP_UNUSUAL, each = n))
}

# What could have been written wrongly: list of (pieces concerned, temperatures, shift of ln t, words).
possible_slips <- function(pieces) {
  k <- length(pieces)
  temp <- vapply(pieces, `[[`, 0, "temp")
  name <- vapply(pieces, `[[`, "", "name")
  slips <- list()
  add <- function(who, temp, shift, what, why) {
    slips[[length(slips) + 1L]] <<- list(who = who, temp = temp, shift = shift, what = what, why = why)
  }
  for (i in seq_len(k - 1L)) for (j in (i + 1L):k) if (temp[i] != temp[j]) {
    add(c(i, j), replace(temp, c(i, j), temp[c(j, i)]), numeric(k),
        paste0("labels of ", name[i], " (", format(temp[i]), " degrees Celsius) and ", name[j], " (",
               format(temp[j]), ") exchanged?"), "each softens as the other should")
  }
  for (i in seq_len(k)) {
    for (f in c(60, 1 / 60)) {
      add(i, temp, replace(numeric(k), i, log(f)),
          paste0("times of ", name[i], if (f > 1) " in hours?" else " in seconds?"),
          paste0("it softens as if its times were ", if (f > 1) "60 times as long" else "a sixtieth"))
    }
    for (unit in c("Kelvin", "Fahrenheit")) {
      c <- if (unit == "Kelvin") temp[i] - ZERO_CELSIUS else (temp[i] - 32) / 1.8
      if (c < 50) next
      add(i, replace(temp, i, c), numeric(k),
          paste0("temperature of ", name[i], " (", format(temp[i]), ") in ", unit, "?"),
          paste0("it softens as at ", format(round(c)), " degrees Celsius"))
    }
  }
  slips
}

# Of 60 simulated sound benches two lost more than 7; of 60 with exchanged labels half lost more than 300.
LEAST_LOSS <- 7.5
MOST_LEFT <- 9 # of the slip that was it: 2 of 60 leave more

find_slips <- function(pieces) {
  k <- length(pieces)
  if (k < 2L || k > 40L) return(NULL)
  temp <- vapply(pieces, `[[`, 0, "temp")
  evidence <- if (length(unique(temp)) > 1L) piece_evidence(pieces)
  loss <- if (is.null(evidence)) 0 else line_loss(evidence, temp)
  if (loss < LEAST_LOSS) return(far_temperature(pieces, temp, evidence))
  slips <- possible_slips(pieces)
  left <- vapply(slips, \(s) line_loss(evidence, s$temp, s$shift), 0)
  good <- which(left < pmin(0.4 * loss, loss - 0.7 * LEAST_LOSS, MOST_LEFT))
  if (!length(good)) return(far_temperature(pieces, temp, evidence))
  good <- good[order(left[good])]
  good <- utils::head(good[left[good] <= left[good[1L]] + 2], 3L)
  rows <- sort(unique(unlist(lapply(pieces[slips[[good[1L]]]$who], `[[`, "rows"))))
  finding("warning", "specimens", rows, paste(vapply(slips[good], `[[`, "", "what"), collapse = " Or: "),
          paste0("the times at which the specimens soften do not lie on one line against 1/T; ",
                 slips[[good[1L]]]$why),
          "Compare the labels of the specimens, the furnace and the sheet before anything is changed.")
}
