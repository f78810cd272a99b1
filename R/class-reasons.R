# The mark of one number and its reason. Order: right, other unit or method, earlier mistake,
# wrong. Comparisons of rates and times are on the logarithm, as in the key.

# Agreement of a number with another it may have been computed from: rounding on the way.
ROUNDED <- 0.02

# value, mark and reason for the rows of one group.
mark_group <- function(key, given, design) {
  material <- if (is.null(design)) "brass" else design$bench$material
  model <- if (is.null(design)) "jmak" else design$truth$model
  n <- nrow(key)
  out <- data.frame(value = given$value, mark = rep(NA_character_, n), reason = NA_character_)
  other <- which(!is.na(given$scale) & given$scale != "HV" & !is.na(given$number))
  for (i in other) out$value[i] <- hv_or_na(given$number[i], given$scale[i], material)
  set <- function(i, mark, reason) {
    out$mark[i] <<- MARKS[[mark]]
    out$reason[i] <<- reason
  }
  for (i in order(match(key$quantity, WORKING_ORDER))) {
    if (is.na(given$number[i])) {
      set(i, "none", not_read(given$reported[i], given$why[i]))
      next
    }
    at <- key[i, ]
    x <- out$value[i]
    if (is.na(x)) {
      set(i, "wrong", paste("outside the conversion table from", given$scale[i]))
      next
    }
    change <- function(v) {
      if (i %in% other) hv_each(v, given$scale[i], material) else v * given$factor[i]
    }
    fits <- fit_test(given$number[i], given$digits[i], at)
    distance <- errors_from(x, at$value, at)
    if (min(distance, errors_from(x, at$reference, at), na.rm = TRUE) <= 0.25) {
      set(i, "right", "agrees with the key")
      next
    }
    by_rounding <- fits$rounded(change)
    if (by_rounding == "right") {
      set(i, "right", "agrees with the key to the digits reported")
      next
    }
    if (x >= at$lower && x <= at$upper) {
      set(i, "within", paste0("within ", format(signif(distance, 2)), " standard errors"))
      next
    }
    reason <- unit_mistake(x, at, key, material, fits)
    if (!is.null(reason) && !given$doubt[i]) {
      set(i, "unit", reason)
      next
    }
    as_given <- rounds_to(at$as_given, given$number[i], digits_of(given$digits[i]), change, at)
    reason <- earlier_mistake(i, x, key, out, model, as_given == "right")
    if (!is.null(reason)) {
      set(i, "consistent", reason)
    } else {
      set(i, "wrong", paste0(if (by_rounding == "coarse") "rounded too coarsely, ",
                             how_far(x, at)))
    }
    if (given$doubt[i]) {
      set(i, "none", paste0("to be looked at: '", given$reported[i], "' may be read in two ways"))
      out$value[i] <- NA_real_
    }
  }
  out
}

# Why an answer has no number.
not_read <- function(reported, why) {
  if (is.na(reported)) return("nothing reported")
  if (!is.na(why)) return(paste0("to be looked at: ", why))
  if (!grepl("[0-9]", reported)) return(paste0("'", reported, "' is not a number"))
  paste0("to be looked at: '", reported, "' is not one plain number")
}

# Tests of one number reported, for any `change` of it to the unit of the key: whether it rounds
# to the key ("right", "coarse", "no"), and whether it then lies inside the tolerance or rounds.
fit_test <- function(number, digits, at) {
  ways <- digits_of(digits)
  rounded <- function(change) {
    found <- vapply(c(at$value, at$reference), rounds_to, "", number, ways, change, at)
    if (any(found == "right")) "right" else if (any(found == "coarse")) "coarse" else "no"
  }
  list(number = number, rounded = rounded,
       inside = function(change) inside(change(number), at) || rounded(change) == "right")
}

# How many standard errors of the key lie between two values.
errors_from <- function(x, value, at) {
  log <- at$quantity %in% c("k_per_min", "t50_min")
  if (log && (is.na(x) || x <= 0)) return(Inf)
  abs(if (log) log(x / value) else x - value) / at$std.error
}

hv_each <- function(x, scale, material) {
  vapply(x, hv_or_na, 0, scale = scale, material = material)
}

inside <- function(x, at) !is.na(x) && x >= at$lower && x <= at$upper

how_far <- function(x, at) {
  if (at$value > 0 && (x <= 0 || x > 3 * at$value || x < at$value / 3)) {
    return(if (x <= 0) "not above zero" else
      paste0(if (x > at$value) "too large" else "too small", " by the factor ",
             format_quantity(max(x / at$value, at$value / x), 2L)))
  }
  distance <- errors_from(x, at$value, at)
  paste0(if (x > at$value) "too large" else "too small", " by ", format_quantity(distance, 2L),
         " standard errors")
}

hv_or_na <- function(x, scale, material) {
  tryCatch(convert_hardness(x, scale, "HV", material),
           softanneal_warning_outside = function(w) NA_real_,
           softanneal_error_scale = function(e) NA_real_)
}

# The reason if the digits are right in another unit or convention, or NULL. `fits` tells of a
# change of the number reported whether its result is right.
unit_mistake <- function(x, at, key, material, fits) {
  if (at$quantity %in% c("h_worked", "h_soft")) {
    return(dial_mistake(at, material, fits))
  }
  if (fits$number == 0) return(NULL)
  if (at$quantity == "q_kj_mol" && fits$inside(function(v) -v)) return("the sign of the slope was kept")
  ways <- unit_ways(at, key, x / fits$number)
  room <- room_for_ways(vapply(ways, `[[`, 0, "place"), at)
  far <- vapply(ways, function(way) {
    v <- if (is.null(way$change)) x else way$change(if (way$of_value) x else fits$number)
    away <- abs(log(abs(v) / way$target))
    ok <- if (is.null(way$change)) {
      # known as well as the true Q
      abs(x / way$target - 1) < max(0.1, 2 * at$std.error / at$value)
    } else if (way$of_value) inside(v, at) else inside(v, at) || fits$rounded(way$change) == "right"
    if (ok && (away <= room || (!way$of_value && fits$rounded(way$change) == "right"))) away else Inf
  }, 0)
  if (length(far) && any(is.finite(far))) ways[[which.min(far)]]$reason
}

# A hardness in another scale, so near that a wrong one seldom is by chance.
dial_mistake <- function(at, material, fits) {
  scales <- c("HRF", "HR30T", "HRB", "HR15T", "HR45T")
  dial <- vapply(scales, function(scale) {
    tryCatch(suppressWarnings(convert_hardness(at$value, "HV", scale, material)),
             softanneal_error = function(e) NA_real_)
  }, 0)
  room <- room_for_ways(log(abs(dial / at$value))[is.finite(dial)], at)
  for (scale in scales) {
    to_hv <- function(v) hv_each(v, scale, material)
    hv <- to_hv(fits$number)
    if (is.na(hv)) next
    if ((inside(hv, at) && abs(log(hv / at$value)) <= room) || fits$rounded(to_hv) == "right") {
      return(paste("right if read in", scale, "- not converted to HV"))
    }
  }
}

# What may have been done to a right number: how to undo it (`change`, of the number reported or of its
# value), what should come out (`target`), and where such a number lies, ln(value / key) (`place`).
# `given`: factor of the unit it was reported in.
unit_ways <- function(at, key, given) {
  way <- function(reason, factor, sign = identity) {
    list(reason = reason, change = function(v) sign(v) * factor, of_value = FALSE, target = at$value,
         place = log(abs(given / factor)))
  }
  units <- ANSWER_UNITS[[at$quantity]]
  units <- units[abs(log(abs(given) / units)) > 1e-9]
  ways <- lapply(names(units), function(u) way(paste("right if read in", u), units[[u]]))
  if (at$quantity == "k_per_min") {
    n <- key$value[key$quantity == "n"]
    ways <- c(ways, list(list(
      reason = "the constant of exp(-k t^n), in 1/min^n, in place of that of exp(-(k t)^n)",
      change = function(v) if (v > 0) v^(1 / n) else NA_real_, of_value = TRUE, target = at$value,
      place = (n - 1) * log(at$value))))
  }
  if (at$quantity == "q_kj_mol") {
    ways <- c(ways, list(
      way("the slope Q/R in K, R is missing", GAS_CONSTANT / 1000, abs),
      way("the slope Q/R in 1000 K, R is missing", GAS_CONSTANT, abs),
      way("from a decadic logarithm, the factor 2.303 is missing", log(10))))
    rates <- key[key$quantity == "k_per_min", ]
    if (nrow(rates) > 1L) {
      # the Q of 1/(deg C) is far from that of 1/K
      celsius <- slope_energy(log(rates$value), 1 / rates$temp_c)
      if (celsius > 0) {
        ways <- c(ways, list(list(reason = "temperatures in deg C in place of K in 1/T", change = NULL,
                                  of_value = TRUE, target = celsius, place = log(celsius / at$value))))
      }
    }
  }
  ways
}

# How near, on the logarithm, a number must come to one of the places to be called so: so near that of
# numbers that are plainly wrong one in twenty does by chance. Plain errors are a factor of two, with the
# tails of Cauchy. Where the key itself is known within a factor of ten only, that is very near.
PLAIN_ERROR <- log(2)
BY_CHANCE <- 0.05

room_for_ways <- function(place, at) {
  tolerance <- max(0, abs(log(at$upper / at$value)), if (at$lower > 0) abs(log(at$lower / at$value)))
  wrong <- 2 * stats::pcauchy(-tolerance, scale = PLAIN_ERROR)
  BY_CHANCE * wrong / (2 * sum(stats::dcauchy(place, scale = PLAIN_ERROR)))
}

# Q in kJ/mol from logarithms of rates over an inverse temperature.
slope_energy <- function(ln_rate, inverse) {
  -GAS_CONSTANT / 1000 * stats::cov(inverse, ln_rate) / stats::var(inverse)
}

# The reason if the number follows from the group's own earlier ones, or NULL. `out` holds the
# values and the marks given so far; `rounds` tells whether the number is the one of the readings
# as they are, rounded.
earlier_mistake <- function(i, x, key, out, model, rounds) {
  at <- key[i, ]
  plain <- is_plain_model(model) # then half of the softening is half of the recrystallisation
  near <- function(value) length(value) == 1L && !is.na(value) && abs(x / value - 1) <= ROUNDED
  not_right <- function(rows) any(out$mark[rows] %in% MARKS[c("unit", "consistent", "wrong")])
  row <- function(quantity) which(key$quantity == quantity & !is.na(out$value) & out$value > 0)
  here <- function(rows) rows[abs(key$temp_c[rows] - at$temp_c) < 1e-6]
  if (plain && at$quantity %in% c("k_per_min", "t50_min")) {
    n <- row("n")
    from <- here(row(setdiff(c("k_per_min", "t50_min"), at$quantity)))
    if (length(n) && length(from)) {
      # k t_half is a number that n alone decides, either way round
      value <- theta_at(model, 0.5, out$value[n]) / out$value[from]
      used <- if (at$quantity == "k_per_min") n else c(n, from)
      if (not_right(used) && near(value)) {
        return(paste("follows from the group's own n and",
                     if (at$quantity == "k_per_min") "t50" else "k"))
      }
    }
  }
  if (at$quantity == "q_kj_mol") {
    for (quantity in c("k_per_min", if (plain) "t50_min")) {
      rows <- row(quantity)
      if (length(rows) < 2L || !not_right(rows)) next
      ln_rate <- log(out$value[rows]) * if (quantity == "t50_min") -1 else 1
      if (near(slope_energy(ln_rate, 1 / (key$temp_c[rows] + ZERO_CELSIUS)))) {
        return(paste("follows from the group's own", if (quantity == "t50_min") "t50"
                     else "k"))
      }
    }
  }
  if (!is.na(at$as_given) && (rounds || errors_from(x, at$as_given, at) <= 0.25) &&
      errors_from(at$as_given, at$reference, at) > 0.25) {
    return("what the readings give with the blunders of the bench left in")
  }
  NULL
}
