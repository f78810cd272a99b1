# Whether the curve has the shape of the readings; errors of specimens and furnaces do not set it off.

# Level at which a fit says that its curve does not describe the readings.
MISFIT_LEVEL <- 0.001

MISFIT <- "The curve does not describe the readings"

# F test of what the step means have in common off the curve, as two sine waves of the softened fraction
# (Ramsey's test of specification, with the parameters, an offset of each specimen and an error of each
# furnace temperature taken out before), with the root mean square of this misfit over that expected from the
# scatter, which is the root of F. NA where it cannot be made.
misfit_test <- function(fit) {
  none <- c(p = NA_real_, times = NA_real_)
  s <- fit$errors$steps
  at <- fit$conditions
  if (is.null(s) || is.null(at$jacobian) || !is.null(fit$readings$limits)) return(none)
  par <- fit$par
  curve <- rep(NA_real_, nrow(at$jacobian))
  curve[at$of_reading + 1L] <- fit$fitted.values
  curve <- curve[s$condition]
  jacobian <- at$jacobian[s$condition, fit$states != "fixed", drop = FALSE]
  rates <- at$jacobian[s$condition, grepl("^ln_k", names(par)), drop = FALSE]
  softened <- pmin(pmax((par[["h_worked"]] - curve) / (par[["h_worked"]] - par[["h_soft"]]), 0), 1)
  each <- function(id) outer(id, unique(id), "==") + 0
  runs <- lapply(seq_len(ncol(rates)), function(k) each(s$run) * rates[, k])
  base <- do.call(cbind, c(list(jacobian, each(s$piece), s$share), runs))
  w <- 1 / sqrt(fit$errors$sd["step", "estimate"]^2 + fit$sigma^2 / s$weight)
  y <- (s$mean - curve) * w
  waves <- cbind(sin(pi * softened), sin(2 * pi * softened))
  if (!all(is.finite(base), is.finite(waves), is.finite(y))) return(none)
  without <- qr(base * w)
  with <- qr(cbind(base, waves) * w)
  df <- c(with$rank - without$rank, length(y) - with$rank)
  if (df[1L] < 1L || df[2L] < 3L) return(none)
  left <- c(sum(qr.resid(without, y)^2), sum(qr.resid(with, y)^2))
  f <- (left[1L] - left[2L]) / df[1L] / (left[2L] / df[2L])
  c(p = stats::pf(f, df[1L], df[2L], lower.tail = FALSE), times = sqrt(max(f, 0)))
}

misfit_p <- function(fit) misfit_test(fit)[["p"]]

is_misfit <- function(fit) {
  inherits(fit, "softanneal_fit_softening") && isTRUE(misfit_p(fit) < MISFIT_LEVEL)
}

misfit_words <- function(fit) {
  if (!is_misfit(fit)) return(NULL)
  test <- misfit_test(fit)
  paste0(MISFIT, ": the step means leave it in the same way at all temperatures (", p_words(test[["p"]]),
         "), ", format_quantity(test[["times"]], 2L), " times as far as scatter explains. All intervals ",
         "assume the curve; to cover the misfit they would be about ", format_quantity(test[["times"]], 2L),
         " times as wide. Try compare_models().")
}

misfit_notes <- function(note, fit, answer) {
  if (!is_misfit(fit)) return(note)
  words <- paste0("the curve does not describe the readings, and the interval assumes it: about ",
                  format_quantity(misfit_test(fit)[["times"]], 2L), " times as wide would cover the misfit")
  add <- which(!is.na(answer))
  note[add] <- ifelse(nzchar(note[add]), paste0(note[add], "; ", words), words)
  note
}
