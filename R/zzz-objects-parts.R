# What parts of a sound object have to do with each other: a number that is computed from others in the
# object, a row or a column for each of something else, an order. Types and lengths stand in
# object_fields.csv.gz; here is what a table of types cannot say. A claim that fails, or cannot be
# looked at, refuses the object by the name of the field. All of it holds by the way the object is made,
# whatever its data, so that no sound object is refused.

agree <- function(a, b) {
  a <- as.double(a)
  b <- as.double(b)
  length(a) == length(b) && all(is.na(a) == is.na(b)) &&
    all(a == b | abs(a - b) <= 1e-8 * pmax(abs(a), abs(b)), na.rm = TRUE)
}

has_columns <- function(x, names) is.data.frame(x) && all(names %in% names(x))

in_order <- function(...) {
  x <- list(...)
  all(vapply(seq_along(x)[-1L], function(k) {
    all(x[[k - 1L]] <= x[[k]] + 1e-8 * abs(x[[k]]), na.rm = TRUE)
  }, NA))
}

is_share_level <- function(x) is.numeric(x) && length(x) == 1L && !is.na(x) && x > 0 && x < 1

# `value` is NULL where the attribute or column was taken out with others.
gone_or <- function(value, sound) is.null(value) || sound

one_text <- function(x) is.character(x) && length(x) == 1L

parts_of_fit <- function(x, must) {
  terms <- names(x$coefficients)
  k <- length(x$coefficients)
  must("coefficients", is.numeric(x$coefficients) && k > 0L && !is.null(terms), "must be named numbers")
  must("vcov", is.matrix(x$vcov) && is.numeric(x$vcov) && all(dim(x$vcov) == k),
       "must have a row and a column for each of `coefficients`")
  must("vcov", all(diag(x$vcov) >= 0, na.rm = TRUE), "must not hold a variance below zero")
  must("states", is.character(x$states) && length(x$states) == k,
       "must have one word for each of `coefficients`")
  one_number <- function(v) is.numeric(v) && length(v) == 1L
  for (field in c("sigma", "df.residual", "df_interval", "nobs", "deviance")) {
    must(field, one_number(x[[field]]), "must be one number")
    must(field, is.na(x[[field]]) || x[[field]] >= 0 || field == "deviance", "must not be below zero")
  }
  for (field in intersect(c("temp_ref_c", "level"), names(x))) {
    must(field, one_number(x[[field]]), "must be one number")
  }
  for (field in c("call", "formula")) {
    must(field, gone_or(x[[field]], is.language(x[[field]])), "must be a call or a formula")
  }
  scaled <- x$cov_unscaled
  must("cov_unscaled", gone_or(scaled, is.matrix(scaled) && all(dim(scaled) == k)),
       "must have a row and a column for each of `coefficients`")
  n <- length(x$residuals)
  must("residuals", is.numeric(x$residuals) && gone_or(x$fitted.values, length(x$fitted.values) == n),
       "must have the length of `fitted.values`")
  must("weights", gone_or(x$weights, is.numeric(x$weights) && length(x$weights) == n),
       "must have the length of `residuals`")
  must("limits", gone_or(x$limits, is.matrix(x$limits) && nrow(x$limits) == k && ncol(x$limits) == 2L),
       "must have a row of two for each of `coefficients`")
  must("estimated", one_number(x$estimated), "must be one number")
  must("units", gone_or(x$units, all(vapply(x$units, one_text, NA))), "must be a text for each parameter")
  must("na.action", gone_or(x$na.action, inherits(x$na.action, c("omit", "exclude"))),
       "must name rows left out")
  must("convergence", is.list(x$convergence) && is.logical(x$convergence$converged),
       "must say whether it converged")
}

# Fits by least squares; those by maximum likelihood have no such covariance.
parts_of_squares <- function(x, must) must("cov_unscaled", is.matrix(x$cov_unscaled), "is missing")

parts_of_softening <- function(x, must) {
  k <- length(x$coefficients)
  must("cov_full", is.numeric(x$cov_full) && identical(dim(x$cov_full), c(k, k)),
       "must have a row and a column for each of `coefficients`")
  must("loss", one_text(x$loss), "must be one text")
  six <- function(v) length(v) == 6L && all(lengths(v) == 1L) && is.numeric(unlist(v))
  must("lack_of_fit", six(x$lack_of_fit), "must hold six numbers")
  parts_of_squares(x, must)
  must("material", identical(x$material, x$readings$material), "must be that of `readings`")
}

parts_of_fits <- function(x, must) {
  groups <- ncol(x$par)
  terms <- length(x$set$terms)
  must("keys", nrow(x$keys) == groups, "must have a row for each column of `par`")
  must("par", is.numeric(x$par) && nrow(x$par) == terms, "must have a row for each of `set$terms`")
  must("cov", is.numeric(x$cov) && ncol(x$cov) == groups && nrow(x$cov) == terms * (terms + 1L) / 2L,
       "must have a column for each group")
  must("state", is.numeric(x$state) && ncol(x$state) == groups && nrow(x$state) == terms,
       "must have the size of `par`")
  must("counts", is.numeric(x$counts) && ncol(x$counts) == groups &&
         nrow(x$counts) == length(register()$group_counts), "must have a column for each group")
  must("sums", is.numeric(x$sums) && ncol(x$sums) == groups && nrow(x$sums) == length(register()$group_sums),
       "must have a column for each group")
  must("with_limits", length(x$with_limits) == ncol(x$limits) && all(x$with_limits %in% seq_len(groups)),
       "must name the group of each column of `limits`")
  must("limits", is.numeric(x$limits) && nrow(x$limits) == 2L * terms,
       "must have two rows for each of `set$terms`")
  kept <- x$readings
  must("readings", gone_or(kept, length(kept$size) == groups && sum(kept$size) == nrow(kept$columns)),
       "must hold the readings of each group")
}

parts_of_plan <- function(x, must) {
  s <- x$steps
  must("steps", all(s$temp_c %in% x$temperatures$temp_c), "must name temperatures of `temperatures`")
  must("steps", in_order(0, s$step) && in_order(0, s$time_min), "must not hold steps and times below zero")
  must("guess", ncol(x$guess$draws) == length(x$guess$par), "must have a column of `draws` for each of `par`")
}

parts_of_budget <- function(x, must) {
  must("expanded", agree(x$expanded, x$coverage * x$std_uncertainty),
       "is not `coverage` times `std_uncertainty`")
  must("level", is_share_level(x$level), "must lie between 0 and 1")
  df <- if (is.na(x$df)) Inf else x$df
  must("coverage", agree(x$coverage, stats::qt((1 + x$level) / 2, df)) ||
         agree(x$coverage, stats::qt((1 + x$level) / 2, max(floor(df + 1e-9), 1))),
       "is not the factor of `level` and `df`")
  must("table", has_columns(x$table, c("input", "sensitivity", "std_uncertainty", "contribution", "share")) &&
         agree(x$table$contribution, x$table$sensitivity * x$table$std_uncertainty),
       "must hold contributions that are sensitivity times uncertainty")
  must("table", anyNA(x$table$share) || agree(sum(x$table$share), 1) &&
         agree(sum(x$table$contribution^2), x$std_uncertainty^2), "must add up to `std_uncertainty`")
}

parts_of_comparison <- function(x, must) {
  must("level", is_share_level(x$level), "must lie between 0 and 1")
  least <- 1e-8 * max(abs(x$means), abs(x$conf.int))
  must("estimate", abs(x$means[[1L]] - x$means[[2L]] - x$estimate) <= least,
       "is not the difference of `means`")
  half <- stats::qt((1 + x$level) / 2, x$df) * x$std.error
  must("conf.int", all(abs(x$conf.int - x$estimate - c(-1, 1) * half) <= least),
       "is not the interval of `std.error`, `df` and `level`")
  must("verdict", x$verdict %in% c("unchanged", "changed", "cannot tell"), "is no verdict of this package")
  must("p.value", x$p.value >= 0 && x$p.value <= 1, "must lie between 0 and 1")
  must("n", all(x$n >= 1), "must count readings")
}

parts_of_resample <- function(x, must) {
  must("estimates", is.numeric(x$estimates) && !is.null(colnames(x$estimates)),
       "must have a named column for each parameter")
  must("estimates", nrow(x$estimates) == x$n_resamples, "must have `n_resamples` rows")
  must("failed", x$failed == sum(is.na(x$estimates[, 1L])), "must count the rows without estimates")
  must("type", x$type %in% c("parametric", "residual", "case"), "is no type of this package")
}

parts_of_design <- function(x, must) {
  must("truth", is.list(x$truth) && !anyDuplicated(names(x$truth)) && one_text(x$truth$model),
       "must hold a law")
  b <- x$bench
  must("truth", is.numeric(x$truth$par) && !is.null(names(x$truth$par)), "must hold named numbers `par`")
  must("sd_groups", all(names(x$sd_groups) %in% names(x$truth$par)) && all(x$sd_groups >= 0),
       "must name parameters of `truth`")
  must("bench", has_columns(b$steps, c("specimen", "temp_c", "time_min")) &&
         all(b$row %in% seq_len(nrow(b$steps))),
       "must hold steps, and the step of each reading")
  must("bench", length(b$scale) == length(b$row) && is.character(b$scale),
       "must hold the scale of each reading")
  must("bench", all(names(b$sd) %in% names(BENCH_SD)) && is.numeric(b$sd) && all(b$sd >= 0),
       "must hold the standard deviations of a bench")
  must("bench", gone_or(b$operator, length(b$operator) == length(b$row)),
       "must hold the operator of each reading")
  must("tolerance", x$tolerance > 0, "must be above zero")
}

parts_of_recrystallisation <- function(x, must) {
  parts_of_squares(x, must)
  must("method", one_text(x$method), "must be one text")
}

parts_of_guess <- function(x, must) {
  must("origin", one_text(x$origin), "must be one text")
  for (field in grep("^sd_", names(x), value = TRUE)) {
    must(field, is.numeric(x[[field]]) && length(x[[field]]) == 1L, "must be one number")
  }
  must("par", is.numeric(x$par) && !is.null(names(x$par)), "must be named numbers")
  must("draws", is.numeric(x$draws) && ncol(x$draws) == length(x$par), "must have a column for each of `par`")
  must("table", has_columns(x$table, c("quantity", "value", "sd", "unit")),
       "must hold quantities, values and spreads")
}

parts_of_heat <- function(x, must) {
  must("history", has_columns(x$history, c("specimen", "time_s", "temp_c")), "must hold temperatures in time")
  must("summary", has_columns(x$summary, c("specimen", "time_min", "end_c")),
       "must hold the time of each piece")
  must("piece", nrow(x$piece) == nrow(x$summary), "must have the rows of `summary`")
  must("alloy", gone_or(x$alloy, inherits(x$alloy, "softanneal_material")), "must be a material")
}

parts_of_count <- function(x, must) {
  must("summary", has_columns(x$summary, c("fields", "mean", "number")) && nrow(x$summary) == 1L,
       "must be one row")
  must("fields", x$summary$fields == nrow(x$fields) && agree(x$summary$mean, mean(x$fields$value)),
       "must be the fields whose mean is in `summary`")
  must("level", is_share_level(x$level), "must lie between 0 and 1")
}

parts_of_rates <- function(x, must) {
  must("level", is_share_level(x$level), "must lie between 0 and 1")
  must("exponent", x$exponent %in% c("shared", "own"), "is neither 'shared' nor 'own'")
  must("line", "line" %in% names(x) && gone_or(x$line, inherits(x$line, "softanneal_fit")), "must be a fit")
  r <- x$rates
  must("rates", in_order(r$conf.low, r$k_per_min, r$conf.high) && agree(r$k_per_min, exp(r$ln_k)),
       "must hold rates within their intervals")
  must("activation", has_columns(x$activation, c("route", "q_kj_mol")) && nrow(x$activation) == 2L,
       "must hold the energy by both routes")
}

parts_of_laboratories <- function(x, must) {
  must("level", is_share_level(x$level), "must lie between 0 and 1")
  must("alpha", is_share_level(x$alpha), "must lie between 0 and 1")
  must("precision", setequal(x$precision$material, x$cells$material), "must have the materials of `cells`")
  must("precision", in_order(0, x$precision$s_r, x$precision$s_R),
       "must hold a reproducibility not below the repeatability")
}

parts_of_layout <- function(x, must) {
  for (field in c("capacity", "width_mm", "length_mm", "margin_mm")) {
    must(field, is.numeric(x[[field]]) && length(x[[field]]) == 1L && x[[field]] >= 0, "must be one number")
  }
  p <- x$positions
  must("positions", all(p$position_mm >= x$margin_mm & p$position_mm <= x$length_mm &
                          p$across_mm >= 0 & p$across_mm <= x$width_mm, na.rm = TRUE),
                          "must lie on the strip")
  must("fits", x$fits == !anyNA(p$position_mm), "must say whether every reading has a place")
}

parts_of_archive <- function(x, must) {
  for (field in c("out_dir", "format", "version")) must(field, one_text(x[[field]]), "must be one text")
  must("format", x$format %in% RESULT_FORMATS, "is no format of this package")
  must("keys", is.character(x$keys) && length(x$keys) > 0L, "must name columns")
  m <- x$manifest
  must("manifest", has_columns(m, c("part", "rows", "groups", "ok", "fitted")) && !anyDuplicated(m$part) &&
         in_order(0, m$groups) && in_order(m$fitted, m$groups) && in_order(m$ok, m$groups),
       "must list each part once, with its rows and groups")
  must("not_done", is.numeric(x$not_done) && !any(x$not_done %in% m$part),
       "must name parts that are not in `manifest`")
}

# Tables: rows and columns may have been taken out, so what is there is looked at.
parts_of_identifiability <- function(x, must) {
  must("conf.low", gone_or(x$conf.low, in_order(x$conf.low, x$conf.high)), "must not lie above `conf.high`")
  must("estimate", gone_or(x$estimate, is.numeric(x$estimate)), "must be numbers")
  for (field in c("term", "state")) must(field, gone_or(x[[field]], is.character(x[[field]])), "must be text")
  must("level", gone_or(attr(x, "level"), is_share_level(attr(x, "level"))), "must lie between 0 and 1")
  must("scale", gone_or(attr(x, "scale"), one_text(attr(x, "scale"))), "must be one text")
  singular <- attr(x, "singular")
  must("singular", gone_or(singular, is.numeric(singular) && !is.unsorted(rev(singular))),
       "must be numbers that fall")
}

parts_of_history <- function(x, must) {
  for (field in c("time_s", "temp_c")) {
    clock <- field == "time_s" && inherits(x[[field]], "POSIXct")
    must(field, gone_or(x[[field]], clock || is.numeric(x[[field]])), "must be numbers")
  }
  must("temp_c", in_order(-ZERO_CELSIUS, x$temp_c), "must not lie below absolute zero")
}

parts_of_window <- function(x, must) {
  limits <- attr(x, "limits")
  must("limits", gone_or(limits, is.numeric(limits) && length(limits) == 2L && limits[1L] < limits[2L]),
       "must be two numbers that rise")
  read <- attr(x, "read")
  two <- function(v) is.numeric(v) && length(v) == 2L
  must("read", gone_or(read, is.list(read) && two(read$temp_c) && two(read$time_min)),
       "must hold the ranges of temperature and time")
  must("wanted", gone_or(attr(x, "wanted"), is_share_level(attr(x, "wanted"))), "must lie between 0 and 1")
  must("target", gone_or(attr(x, "target"), attr(x, "target") %in% c("reading", "curve")),
       "is neither 'reading' nor 'curve'")
  must("probability", in_order(0, x$probability, 1), "must lie between 0 and 1")
  for (side in c("temp_c", "time_min")) {
    must(side, gone_or(x[[side]], all(diff(unique(x[[side]])) > 0)), "must rise")
  }
}

parts_of_marks <- function(x, must) {
  best <- attr(x, "best")
  must("best", gone_or(best, is.numeric(best) && length(best) == 1L && best >= 0), "must be one number")
}

PARTS_LOOKED_AT <- list(
  softanneal_fit = parts_of_fit, softanneal_fits = parts_of_fits, softanneal_plan = parts_of_plan,
  softanneal_budget = parts_of_budget, softanneal_comparison = parts_of_comparison,
  softanneal_resample = parts_of_resample, softanneal_class_design = parts_of_design,
  softanneal_guess = parts_of_guess, softanneal_heat = parts_of_heat, softanneal_grain_count = parts_of_count,
  softanneal_rates = parts_of_rates, softanneal_laboratories = parts_of_laboratories,
  softanneal_layout = parts_of_layout, softanneal_archive = parts_of_archive,
  softanneal_identifiability = parts_of_identifiability, softanneal_history = parts_of_history,
  softanneal_window = parts_of_window, softanneal_fit_softening = parts_of_softening,
  softanneal_marks = parts_of_marks, softanneal_fit_recrystallisation = parts_of_recrystallisation)
PARTS_LOOKED_AT[paste0("softanneal_fit_", c(
  "least_squares", "arrhenius", "grain_growth", "hall_petch", "hardening", "kissinger",
  "master_curve"))] <- list(parts_of_squares)

look_at_parts <- function(x, refuse) {
  must <- function(field, sound, what) {
    if (!isTRUE(tryCatch(sound, error = function(e) FALSE, warning = function(w) FALSE))) refuse(field, what)
  }
  looks <- PARTS_LOOKED_AT[intersect(class(x), names(PARTS_LOOKED_AT))]
  x <- unclass(x)
  withCallingHandlers(for (look in looks) look(x, must), error = function(e) {
    if (!inherits(e, "softanneal_error")) refuse("(all)", "has parts that do not belong together")
  })
}
