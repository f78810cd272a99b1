# A hardness softer than the best curve ever gets, where the interval of the soft level goes on below it:
# other curves, as good within the interval, still reach it. The answer then has one end, from which on they
# do, and none on the other side, since the best curve never does.

BY_BEST <- "not reached by the best curve"

# That end for the rows whose answer is missing (`lost`), NA elsewhere: ln t (`moved` "time"; at `temp_c`), or
# the temperature in degrees C (at `log_time`).
unreached_ends <- function(fit, lost, target, what, moved, level, temp_c, log_time, strain = NULL) {
  out <- rep(NA_real_, length(lost))
  set <- fit$settings$set
  soft <- fit$par[["h_soft"]]
  drop <- fit$par[["h_worked"]] - soft
  if (what != "hardness" || !any(lost) || fit$states[["h_soft"]] == "fixed" || !(drop > 0) ||
        !is.null(fit$readings$growth) || !has_likelihood(fit)) {
    return(out)
  }
  aside <- target - 0.05 * drop # a soft level at which the target is well within reach
  least <- if (is_open(fit)[2L]) fit$limits["h_soft", 1L] else {
    stats::confint(fit, "h_soft", level = level)[1L]
  }
  for (k in which(lost & target <= soft & target > least & aside > set$lower[2L])) {
    f <- fit
    f$settings$set$upper[2L] <- target[k] - 0.02 * drop
    f$par[["h_soft"]] <- aside[k]
    at <- if (moved == "time") temp_c[k] else {
      temperature_root(f, log_time[k], target[k], what, f$par, strain[k])
    }
    ln_time <- if (moved == "time") time_rows(f, at, target[k], what, f$par, strain[k])[, 1L] else log_time[k]
    if (is.na(at) || is.na(ln_time)) next
    end <- meeting_limits(f, fit_places(f, at, strain[k]), ln_time, target[k], what, moved, NA_real_, level)
    out[k] <- if (moved == "time") end[1L] else celsius_at(end[1L], fit$temp_ref_c)
  }
  out
}

# Whether curves as good as the best one stay above the target for ever: the interval of an open soft level
# reaches to it. The answer then has no upper end.
may_stay_above <- function(fit, target, what, level) {
  none <- logical(length(target))
  side <- sign(fit$par[["h_worked"]] - fit$par[["h_soft"]])
  if (what != "hardness" || !is_open(fit)[2L] || !is.null(fit$readings$growth) || !needs_likelihood(fit) ||
        sum(base_term(names(fit$par)) == "h_soft") > 1L || any(names(fit$par) == "h_soft_strain")) {
    return(none)
  }
  end <- if (isTRUE(all.equal(level, fit$level))) fit$limits["h_soft", ] else {
    stats::confint(fit, "h_soft", level = level, method = "profile")
  }
  end <- end[if (side > 0) 2L else 1L]
  if (is.na(end)) return(none)
  (side * (end - target) >= 0) %in% TRUE
}
