# Answers from a posterior: the answer of each draw, and their quantiles. A draw whose curve never meets the
# target
# counts as infinitely long, or hot.

MOST_ROOTS <- 400L # draws whose temperature is searched, for models without a closed form

check_posterior_method <- function(method, all) {
  if (identical(method, all) || identical(method, "auto")) return(invisible())
  abort("model", "a posterior has one kind of interval, the quantiles of its draws", arg = "method",
        remedy = "Leave `method` out.")
}

# Target of each draw: that of a hardness in a scale of its own with the error of its conversion.
drawn_targets <- function(x, aim, n) {
  out <- matrix(aim$target, n, length(aim$target), byrow = TRUE)
  if (is.null(aim$u) || !any(aim$u > 0, na.rm = TRUE)) return(out)
  state <- begin_seed(x$seed)
  on.exit(end_seed(state))
  u <- ifelse(is.na(aim$u), 0, aim$u)
  pmax(out + outer(stats::rnorm(n), rep_len(u, ncol(out))), 1e-6)
}

# Medians and intervals of answers (rows) over the draws (columns), Inf where there is none.
answers_of_draws <- function(values, level, exact = identity) {
  values[is.na(values)] <- Inf
  tail <- (1 - level) / 2
  q <- function(p) apply(values, 1L, function(v) exact(stats::quantile(v, p, names = FALSE, type = 1)))
  sd <- apply(values, 1L, function(v) if (all(is.finite(v))) stats::sd(exact(v)) else NA_real_)
  list(middle = q(0.5), sd = sd, low = q(tail), high = q(1 - tail), never = rowMeans(!is.finite(values)))
}

never_notes <- function(never) {
  ifelse(never == 0, "", ifelse(never >= 0.5, NOT_REACHED, paste0(
    "not reached in ", ifelse(never < 0.01, "less than 1 %", whole_percent(never)), " of the draws")))
}

join_notes <- function(a, b) ifelse(nzchar(a) & nzchar(b), paste0(a, "; ", b), paste0(a, b))

# Answers (rows of `values`, over the draws `pick`) that go with parameters which are mostly the prior's. Of
# flat
# ones: they lean on the bounds where half the range moves an end or the middle of the answer by a tenth of
# its
# draws. Of believed ones: these explain more than half of the scatter of the ranks of the answer.
EXPLAINED <- 0.5
MOVED <- 0.1

leaning_notes <- function(x, values, pick) {
  open <- intersect(mostly_prior(posterior_table(x, x$level)), setdiff(x$terms, x$fixed))
  out <- character(nrow(values))
  if (!length(open)) return(out)
  draws <- x$draws[pick, open, drop = FALSE]
  flat <- setdiff(open, believed_terms(x$prior))
  half <- rowMeans(x$bounds)[match(flat, x$terms)]
  believed <- setdiff(open, flat)
  ranks <- if (length(believed)) apply(draws[, believed, drop = FALSE], 2L, rank)
  basis <- qr(cbind(rep(1, length(pick)), ranks))
  at <- c(0.025, 0.5, 0.975)
  for (i in seq_len(nrow(values))) {
    v <- rank(ifelse(is.na(values[i, ]), Inf, values[i, ])) / length(pick)
    if (length(unique(v)) < 2L) next
    on <- vapply(seq_along(flat), function(j) {
      lower <- draws[, flat[j]] <= half[j]
      !any(lower) || max(abs(stats::quantile(v[lower], at, names = FALSE) - at)) > MOVED
    }, NA)
    share <- 1 - sum(qr.resid(basis, v)^2) / sum((v - mean(v))^2)
    out[i] <- if (any(on)) {
      paste0("leans on the bounds of ", paste(flat[on], collapse = ", "), ", not determined")
    } else if (length(believed) && share > EXPLAINED) {
      paste0("mostly the prior's, of ", paste(believed, collapse = ", "))
    } else ""
  }
  out
}

believed_terms <- function(prior) {
  said <- c(prior$table$quantity[prior$table$form != "flat"], names(prior$joint$mean))
  union(said, if (is_rate_believed(prior)) "ln_k_ref")
}

ln_times_of_draws <- function(x, temp_c, targets, what, strain, pick) {
  par <- x$draws[pick, x$terms, drop = FALSE]
  vapply(seq_along(pick), function(k) {
    ln_time_at(x$fit, temp_c, targets(k), what, par[k, ], strain)
  }, numeric(length(temp_c)))
}

time_to_posterior <- function(x, hardness, softening, fraction, temp_c, level, strain, scale) {
  fit <- x$fit
  level <- check_level(level)
  aim <- check_target(hardness, softening, fraction, fit, scale)
  at <- fit$conditions
  read_at <- sort(unique(signif(at$temp_c[at$time_min > 0], 12)))
  temp_c <- if (is.null(temp_c)) read_at else check_temperature(temp_c, "temp_c")
  strain <- check_strain(fit, strain)
  grid <- answer_grid(fit, "temp_c", temp_c, aim$what, aim$target, strain)
  at_strain <- if (!is.null(strain)) grid[[strain_name(fit)]]
  pick <- seq_len(nrow(x$draws))
  aims <- drawn_targets(x, aim, length(pick))
  which_aim <- match(grid[[aim$what]], aim$target)
  ln_t <- matrix(ln_times_of_draws(x, grid$temp_c, function(k) aims[k, which_aim], aim$what, at_strain, pick),
                 nrow(grid))
  if ("q_kj_mol" %in% x$fixed && length(fit$settings$set$no_energy)) {
    ln_t[!same_temperature(grid$temp_c, fit$temp_ref_c), ] <- NA_real_
  }
  a <- answers_of_draws(ln_t, level, exp)
  if (!is.null(aim$scale)) grid$scale <- rep_len(aim$scale, nrow(grid))
  grid$time_min <- ifelse(is.finite(a$middle), a$middle, NA_real_)
  grid$std.error <- a$sd
  grid$conf.low <- a$low
  grid$conf.high <- a$high
  grid$method <- rep("posterior", nrow(grid))
  note <- never_notes(a$never)
  after <- at$time_min[at$time_min > 0]
  outside <- !nzchar(note) & is_outside(grid$temp_c, range(read_at))
  note[outside] <- "temperature outside the readings"
  long <- !nzchar(note) & grid$time_min > max(after)
  note[which(long)] <- "longer than any reading"
  note[which(!nzchar(note) & grid$time_min < min(after))] <- "before the first reading"
  grid$note <- join_notes(join_notes(leaning_notes(x, ln_t, pick), note), conflict_note(x))
  warn_no_answer(fit, grid, "time_min", "times", logical(nrow(grid)), scale)
  as_table(as_wanted(grid, aim))
}

temp_for_posterior <- function(x, time_min, hardness, softening, fraction, level, strain, scale) {
  fit <- x$fit
  if ("q_kj_mol" %in% x$fixed) check_two_temperatures(fit)
  check_one_exponent(fit)
  level <- check_level(level)
  aim <- check_target(hardness, softening, fraction, fit, scale)
  time_min <- check_numeric(time_min, "time_min", 0, open = TRUE)
  strain <- check_strain(fit, strain)
  grid <- answer_grid(fit, "time_min", time_min, aim$what, aim$target, strain)
  at_strain <- if (!is.null(strain)) grid[[strain_name(fit)]]
  closed <- !any(is_amplitude(x$terms)) # one clock: ln t is a straight line in 1/T
  pick <- some_draws(x, if (!closed) MOST_ROOTS)
  aims <- drawn_targets(x, aim, length(pick))
  which_aim <- match(grid[[aim$what]], aim$target)
  ln_time <- log(grid$time_min)
  if (closed) {
    rows <- rep(fit$temp_ref_c, nrow(grid))
    at_ref <- matrix(ln_times_of_draws(x, rows, function(k) aims[k, which_aim], aim$what, at_strain, pick),
                     nrow(grid))
    e <- sweep(at_ref - ln_time, 2L, x$draws[pick, "q_kj_mol"], `/`)
    temp <- celsius_at(e, fit$temp_ref_c)
    beyond <- !is.na(temp) & (temp < TEMPERATURES_SEARCHED[1L] | temp > TEMPERATURES_SEARCHED[2L])
    temp[beyond] <- NA_real_
  } else {
    par <- x$draws[pick, x$terms, drop = FALSE]
    temp <- vapply(seq_along(pick), function(k) {
      vapply(seq_len(nrow(grid)), function(i) {
        temperature_root(fit, ln_time[i], aims[k, which_aim[i]], aim$what, par[k, ], at_strain[i])
      }, 0)
    }, numeric(nrow(grid)))
    temp <- matrix(temp, nrow(grid))
  }
  a <- answers_of_draws(temp, level)
  if (!is.null(aim$scale)) grid$scale <- rep_len(aim$scale, nrow(grid))
  grid$temp_c <- ifelse(is.finite(a$middle), a$middle, NA_real_)
  grid$std.error <- a$sd
  grid$conf.low <- a$low
  grid$conf.high <- a$high
  grid$method <- rep("posterior", nrow(grid))
  note <- never_notes(a$never)
  read <- range(fit$conditions$temp_c[fit$conditions$time_min > 0])
  outside <- !nzchar(note) & is_outside(grid$temp_c, read)
  note[which(outside)] <- "temperature outside the readings"
  grid$note <- join_notes(join_notes(leaning_notes(x, temp, pick), note), conflict_note(x))
  warn_no_answer(fit, grid, "temp_c", "temperatures", logical(nrow(grid)), scale)
  as_table(as_wanted(grid, aim))
}

# Curve (median) and probability of the limits over a grid: each draw with its own errors.
WINDOW_DRAWS <- 400L

window_posterior <- function(x, grid, limits, reading, strain, u = c(0, 0)) {
  pick <- some_draws(x, WINDOW_DRAWS)
  curves <- posterior_curves(x, grid$temp_c, grid$time_min, if (!is.null(strain)) rep(strain, nrow(grid)),
                             pick)
  middle <- row_quantiles(curves, 0.5)
  below <- function(k, sd) stats::pnorm(sweep(limits[k] - curves, 2L, sqrt(sd^2 + u[k]^2), `/`))
  if (!reading) {
    p <- if (all(u == 0)) curves >= limits[1L] & curves <= limits[2L] else {
      below(2L, 0 * pick) - below(1L, 0 * pick)
    }
    return(list(fit = middle, probability = rowMeans(p)))
  }
  state <- begin_seed(x$seed)
  on.exit(end_seed(state))
  shift <- draws_of_sd(x, "sd_furnace_c", pick) * stats::rnorm(length(pick))
  curves <- posterior_curves(x, grid$temp_c, grid$time_min, if (!is.null(strain)) rep(strain, nrow(grid)),
                             pick, shift)
  own <- c("sd_specimen", "sd_step", "sd_operator", "sd_reading")
  sd <- sqrt(rowSums(vapply(own, function(s) draws_of_sd(x, s, pick)^2, numeric(length(pick)))))
  list(fit = middle, probability = rowMeans(below(2L, sd) - below(1L, sd)))
}
