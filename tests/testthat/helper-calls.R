# Recorded calls of the C entry points, and the same with one or two arguments turned to something else.

# Entry points of the package by name, as they are registered.
entry_points <- function() {
  getDLLRegisteredRoutines(getLoadedDLLs()[["softanneal"]], addNames = TRUE)$.Call
}

# What user-level functions do in C, on a few values; `p` holds the functions.
tiny_calls <- function(p) {
  bell <- bell_readings()
  small <- bell[bell$time_min %in% c(0, 4, 16, 64) & bell$temp_c %in% c(330, 370), ]
  open <- bell[bell$time_min %in% c(0, 16, 64) & bell$temp_c %in% c(290, 410), ]
  log <- data.frame(specimen = "A", time_s = c(0, 60, 600), temp_c = c(20, 370, 370))
  par <- c(h_worked = 180, h_soft = 75, ln_k_ref = -2.3, n = 1.5, q_kj_mol = 180)
  fit <- suppressWarnings(fit_softening(small, se = "model"))
  moved <- suppressWarnings(fit_softening(transform(small, hardness = hardness + 1), se = "model"))
  steps <- suppressWarnings(fit_softening(small))
  small$coil <- small$specimen
  plan <- plan_anneal(c(300, 330), c(4, 8, 16), plan_guess(recryst_1h_c = 330, draws = 2))
  fits <- suppressWarnings(fit_each(small, coil))
  lots <- suppressWarnings(fit_each(rbind(transform(small, coil = "a"), transform(small, coil = "b")), coil))
  drawn <- suppressWarnings(fit_posterior(steps, chains = 1, n_draws = 20, n_warmup = 100, seed = 1))
  list(
    fraction = function() p$jmak_fraction(c(0, 1, NA), 1, 2),
    time = function() p$jmak_time(c(0, 0.5, NA), 1, 2),
    rate = function() p$arrhenius_rate(c(300, NA), 1, 330, 150),
    convert = function() p$convert_hardness(c(80, 90), "HRB", "HV", interval = TRUE),
    labels = function() p$convert_hardness(c(80, 77), c("HRB", "HR15T"), "HV"),
    heat = function() p$heat_up(1, 400, until_min = 1, n_points = 3),
    equivalent = function() p$equivalent_time(log, 180, 370),
    parts = function() {
      known <- p$MODELS
      known$known <- NULL # asked anew
      p$register()
    },
    digest = function() p$secret_stream(as.raw(1:32), "group-01", 10407L),
    line = function() p$shape_line("austin_rickett", c(0, 0.5, 1)),
    soften = function() p$soften(log, par, temp_ref_c = 370),
    least_squares = function() p$fit_least_squares(function(x) x - c(1, 2), c(a = 0, b = 0)),
    jacobian = function() p$fit_least_squares(function(x) c(x - 1, x - 2), c(a = 0),
                                              jac = function(x) matrix(1, 2, 1)),
    softening = function() coef(suppressWarnings(p$fit_softening(small, se = "model"))),
    limits = function() {
      p$run_with_limits(c(steps$readings, list(side = rep(0:1, c(steps$nobs - 2L, 2L)))), steps$settings$set,
                        p$control_vector(NULL, "squares"), 0.95, FALSE, TRUE)$d$weights
    },
    limits_of_steps = function() {
      call <- get(".Call", p) # of the package, which may be the one that collects garbage
      call(p$C_sa_call_limits, list(c(100, 90), diag(2), 0:2),
           list(c(0L, 0L, 1L), 0:2 %% 2L, c(99, 101, 91), c(1, 1, 2)), list(numeric(3), numeric(3)))
    },
    time_to = function() p$time_to(fit, softening = 0.5, temp_c = 350),
    time_limits = function() {
      suppressWarnings(p$time_to(fit, softening = 0.5, temp_c = 350, method = "profile"))
    },
    band = function() suppressWarnings(p$curve_limits(fit, p$fit_places(fit, c(330, 350), NULL),
                                                      log(c(4, 8)), c(1, NA), 0.95, 1)),
    values = function() p$softening_values(fit, c(330, 350), c(4, 8)),
    each = function() as.data.frame(suppressWarnings(p$fit_each(small, coil, threads = 2))),
    shared = function() unclass(p$anova.softanneal_fits(lots, share = "n")),
    components = function() {
      coef(suppressWarnings(p$fit_softening(small, se = "components", u_temp_c = 1)))
    },
    components_open = function() {
      coef(suppressWarnings(p$fit_softening(open, se = "components", u_temp_c = 1)))
    },
    posterior = function() {
      suppressWarnings(p$fit_posterior(steps, chains = 1, n_draws = 20, n_warmup = 100, seed = 1))$draws
    },
    density = function() p$posterior_density(p$posterior_problem(steps, p$prior_softening()), numeric()),
    pool = function() p$pool_fits(list(fit, moved))$mean,
    next_step = function() {
      as.data.frame(suppressWarnings(p$plan_next(drawn, "q", temp_c = 350, n_readings = 2, n_draws = 3)))
    },
    each_values = function() {
      suppressWarnings(p$predict.softanneal_fits(fits, small[c(2, 9), ], se.fit = TRUE))
    },
    plan = function() p$improve_plan(plan, "q", temp_c = c(300, 330), time_min = c(4, 8, 16),
                                     n_specimens = 1, starts = 1)$improvement)
}

# All entries with arguments as the package gives them: list of list(name, args).
recorded_calls <- function(most = 4L) {
  copy <- copied_package()
  copy$seen <- list()
  copy$.Call <- function(...) {
    args <- list(...)
    name <- args[[1L]]$name
    if (sum(vapply(copy$seen, function(s) s$name == name, NA)) < most) {
      copy$seen[[length(copy$seen) + 1L]] <- list(name = name, args = args)
    }
    do.call(base::.Call, args, quote = TRUE)
  }
  for (call in tiny_calls(copy)) suppressMessages(suppressWarnings(call()))
  copy$seen
}

# Something else in place of a value. Sizes stay such that a loop or an allocation ends.
mutated_value <- function(x) {
  any <- list(NULL, list(), "a", NA, TRUE, 1L, -1L, 2147483647L, NA_integer_, 0, -1, 1.5, NaN, Inf, -Inf,
              1e300, numeric(), integer(), c(1, 2), 1:3, 1i, raw(2), list(1), quote(a), sum,
              matrix(0, 2, 3))
  if (length(x) == 0L || is.function(x) || is.language(x) || is.raw(x) || stats::runif(1L) < 0.35) {
    return(any[[sample(length(any), 1L)]])
  }
  at <- sample(length(x), 1L)
  switch(sample(10L, 1L), x[-at], rep(x, length.out = length(x) + sample(3L, 1L)), x[0L],
         if (is.list(x)) unname(rev(x)) else rev(x), as.list(x), {
    if (is.list(x)) x[at] <- list(mutated_value(x[[at]])) else if (is.double(x)) {
      x[at] <- sample(c(NA, NaN, Inf, -Inf, -1, 0, 1e9, -1e300, 0.5), 1L)
    } else if (is.integer(x)) {
      x[at] <- sample(c(NA, -1L, 0L, 2147483647L, -2147483647L, length(x), 7L), 1L)
    } else x[at] <- NA
    x
  }, if (is.double(x)) suppressWarnings(as.integer(x)) else if (is.numeric(x)) as.double(x) else NULL,
  `attributes<-`(x, NULL), {
    if (is.atomic(x) && length(x) > 1L) dim(x) <- sample(list(c(1L, length(x)), c(length(x), 1L)), 1L)[[1L]]
    x
  }, {
    # settings are read by name: one that is gone, twice there, or unknown
    if (!is.null(names(x))) names(x)[at] <- sample(c("", NA, "other", names(x)), 1L)
    x
  })
}

# One try: the place and the call. Lists are gone into, since their parts are looked at one by one.
mutated_call <- function(recorded) {
  one <- recorded[[sample(length(recorded), 1L)]]
  if (length(one$args) < 2L) return(one)
  for (round in seq_len(sample(2L, 1L))) {
    k <- 1L + sample(length(one$args) - 1L, 1L)
    into <- one$args[[k]]
    inner <- is.list(into) && length(into) && stats::runif(1L) < 0.8
    value <- if (inner) {
      j <- sample(length(into), 1L)
      `[<-`(into, j, list(mutated_value(into[[j]])))
    } else mutated_value(into)
    one$args[k] <- list(value)
  }
  one
}

# "result", "error" or "late" (stopped after a while); anything else ends the process. The limit may be met
# in the handler of an error too, where the machine stands still meanwhile: hence two of them.
call_outcome <- function(one, seconds = 5) {
  setTimeLimit(elapsed = seconds, transient = TRUE)
  on.exit(setTimeLimit())
  tryCatch(tryCatch({
    suppressMessages(suppressWarnings(do.call(base::.Call, one$args, quote = TRUE)))
    "result"
  }, error = function(e) if (grepl("elapsed time limit", conditionMessage(e))) "late" else "error"),
  error = function(e) "late")
}

# Every number of a call in turn, the first and the last of each vector, becomes something that a loop may
# never end with or a place may not be. `use` gets each such call; returns their count.
swept_calls <- function(recorded, kinds, use) {
  leaves <- function(x, at = integer()) {
    if (is.list(x)) return(unlist(lapply(seq_along(x), function(k) leaves(x[[k]], c(at, k))), FALSE))
    if (typeof(x) %in% kinds && length(x)) list(at)
  }
  count <- 0L
  for (one in recorded) {
    for (leaf in leaves(one$args[-1L])) {
      whole <- one$args[-1L][[leaf]]
      values <- if (is.integer(whole)) c(0L, -1L, 1L, 7L, length(whole), rev(whole)[1L], NA) else {
        c(Inf, -Inf, 1e300, 1e9, NaN, 0, -1)
      }
      for (at in unique(c(1L, length(whole)))) for (value in values) {
        args <- one$args[-1L]
        args[[leaf]][at] <- value
        count <- count + 1L
        use(list(name = one$name, args = c(one$args[1L], args)))
      }
    }
  }
  count
}
