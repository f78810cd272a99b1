# What the heat-up of the specimens does to a fit that takes the time in the furnace for time at temperature.

# First-order shift of the estimates: the hardness along the computed histories, less that of the fit at
# constant temperature, fitted by the same model. NULL where histories cannot be computed.
heat_up_shift <- function(fit, thickness_mm) {
  d <- fit$readings
  after <- which(d$time_min > 0)
  piece <- if (is.null(d$specimen)) d$time_min else as.character(d$specimen)
  temp_c <- d$temp_k - ZERO_CELSIUS
  rows <- data.frame(specimen = paste(piece, temp_c), temp_c = temp_c, time_min = d$time_min)
  steps <- unique(rows[after, ])
  log <- anneal_history(steps, thickness_mm = thickness_mm)
  hardness <- soften(log, fit)$hardness
  key <- function(x, time) paste(x$specimen, signif(time, 10))
  last <- !duplicated(key(log, log$furnace_min), fromLast = TRUE)
  lost <- numeric(d$n)
  lost[after] <- hardness[last][match(key(rows, d$time_min)[after], key(log, log$furnace_min)[last])] -
    softening_values(fit, temp_c[after], d$time_min[after])$fit
  free <- which(fit$states == "determined")
  jacobian <- fit$conditions$jacobian[fit$conditions$of_reading + 1L, free, drop = FALSE]
  w <- if (is.null(d$weights)) rep(1, d$n) else d$weights
  stats::setNames(stats::lm.wfit(jacobian, lost, w)$coefficients, names(free))
}

# Told where a parameter moves by more than this share of its standard error.
HEAT_UP_SHARE <- 0.1

heat_up_sentence <- function(fit, thickness_mm = NULL) {
  d <- fit$readings
  if (is.null(thickness_mm)) thickness_mm <- d$thickness_mm
  if (is.null(thickness_mm)) return(NULL)
  brass <- is.null(property_of(fit)) && is.null(d$side) && identical(d$material, "brass")
  if (!brass || !is.null(d$history) || is_grouped(fit) || !is.null(d$growth)) return(NULL)
  shift <- heat_up_shift(fit, thickness_mm)
  se <- sqrt(diag(fit$vcov))[fit$states == "determined"]
  seen <- which(abs(shift) > HEAT_UP_SHARE * se)
  if (!length(seen)) return(NULL)
  size <- paste0(names(seen), " about ", format_quantity(abs(shift[seen]), 2L),
                 ifelse(shift[seen] > 0, " too high (", " too low ("),
                 format_quantity(abs(shift[seen] / se[seen]), 2L), " standard errors)")
  paste0("Heat-up: if the times count from the furnace door, brass of ", format(thickness_mm),
         " mm warms up in them, and the fit takes ", listed(size),
         "; `history` with anneal_history() takes it away.")
}
