# The time of a step besides its hold: minutes lost while the specimen heats up, and those until it is
# cold again.

# Heat-up and cooling times of each temperature.
allowances <- function(temp_c, guess, set) {
  alloy <- guess$alloy
  size <- set[c("thickness_mm", "width_mm", "length_mm", "tolerance_c", "ambient_c")]
  out <- data.frame(temp_c = temp_c,
                    homologous = (temp_c + ZERO_CELSIUS) / (alloy$solidus_c + ZERO_CELSIUS))
  n <- length(temp_c)
  cold <- which(temp_c <= size$ambient_c)
  if (length(cold)) {
    abort("range", paste0("`temp_c` (", in_degrees(format(temp_c[cold[1L]])), ") is not above the room (",
                          in_degrees(format(size$ambient_c)), ")"), arg = "temp_c",
          remedy = "Annealing needs a furnace hotter than the room; check the unit.")
  }
  if (is.null(set$heat_up_min)) {
    lost <- minutes_lost(temp_c, guess, set)
    out$heat_up_min <- pmax(round(4 * lost$usual) / 4, 0.25)
    out$heat_up_low_min <- lost$low
    out$heat_up_high_min <- lost$high
  } else {
    given <- check_numeric(set$heat_up_min, "heat_up_min", 0)
    out$heat_up_min <- common_length(temp_c = temp_c, heat_up_min = given)$heat_up_min
    out$heat_up_low_min <- out$heat_up_high_min <- out$heat_up_min
  }
  if (!is.null(set$cool_min)) {
    out$cool_min <- rep(check_number(set$cool_min, "cool_min", 0), n)
  } else if (set$cooling == "water") {
    out$cool_min <- rep(WATER_COOLING, n)
  } else {
    out$cool_min <- pmax(ceiling(cooling_of(temp_c, guess, set)$summary$time_min), 1)
  }
  if (anyNA(out$heat_up_min) || anyNA(out$cool_min)) {
    abort("range", "heating or cooling of the specimens cannot be computed", arg = "thickness_mm",
          remedy = "Check the sizes of the specimens, or give `heat_up_min` and `cool_min`.")
  }
  out
}

cooling_of <- function(temp_c, guess, set) {
  cool_down(set$thickness_mm, start_c = temp_c, ambient_c = set$ambient_c,
            tolerance_c = set$tolerance_c, support = if (set$cooling == "block") "block" else "free",
            width_mm = set$width_mm, length_mm = set$length_mm, alloy = guess$alloy)
}

# Minutes in the furnace that do not count: clock time of the heat-up less its equivalent time at
# the temperature of the furnace, and less that of the cooling, at the activation energy of the
# guess. All times of the lumped model go with its time constant, and so does their range.
minutes_lost <- function(temp_c, guess, set) {
  hot <- heat_up(set$thickness_mm, furnace_c = temp_c, start_c = set$ambient_c, tolerance_c = 0.1,
                 support = set$support, width_mm = set$width_mm, length_mm = set$length_mm,
                 alloy = guess$alloy)
  q <- guess$par[["q_kj_mol"]]
  worth <- function(run) {
    parts <- split(run$history, factor(run$history$specimen, unique(run$history$specimen)))
    vapply(seq_along(temp_c), function(k) {
      if (nrow(parts[[k]]) < 2L || anyNA(parts[[k]][c("time_s", "temp_c")]) ||
          any(diff(parts[[k]]$time_s) <= 0)) return(c(NA, NA)) # the kernel could not follow it
      parts[[k]]$specimen <- NULL
      c(max(parts[[k]]$time_s) / 60, equivalent_time(parts[[k]], q, temp_c[k])$equivalent_min)
    }, numeric(2L))
  }
  heating <- worth(hot)
  gained <- if (set$cooling == "water") 0 else worth(cooling_of(temp_c, guess, set))[2L, ]
  usual <- heating[1L, ] - heating[2L, ]
  data.frame(usual = usual - gained,
             low = pmax(usual * hot$summary$time_low_min / hot$summary$time_min - gained, 0),
             high = usual * hot$summary$time_high_min / hot$summary$time_min - gained)
}
