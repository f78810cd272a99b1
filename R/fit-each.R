# One softening fit per group, for any number of groups, in one compiled call (src/batch.c). R finds
# the columns, the groups and the settings; a group that cannot be fitted is a row with its
# reason. Chunks go wherever the user's future::plan() sends them (R/fit-each-chunks.R).

# Words of the warning for each status but "ok".
GROUP_REASONS <- c(
  "open" = "with a parameter that the readings do not determine",
  "one temperature" = "at one temperature: no activation energy can be estimated",
  "no softening" = "whose readings a constant hardness explains as well",
  "not converged" = "stopped at the iteration limit",
  "too few" = "with fewer steps than parameters",
  "no anneal" = "without a reading after time zero",
  "bad value" = paste("with a reading that cannot be (negative time, temperature below absolute",
                      "zero, hardness zero or less, an infinite value)"),
  "outside table" = "with a reading outside the conversion table",
  "failed" = "where the model cannot be evaluated within its bounds")

# The same of these fits, which may be of another property.
group_reasons <- function(x) {
  words <- if (is.null(property_of(x))) GROUP_REASONS else {
    sub("hardness zero or less", "hardness below zero", GROUP_REASONS, fixed = TRUE)
  }
  stats::setNames(in_property(words, x), names(GROUP_REASONS))
}

# Level of the F test that calls readings constant.
CONSTANT_LEVEL <- 0.999

#' Softening kinetics of many groups
#'
#' Fits the model of [fit_softening()] to each group of readings (coil, heat, strip, student) on
#' its own, all in one compiled call: thousands of fits take a fraction of a second, a million
#' groups a matter of seconds to minutes. No starting values are needed, and a group that
#' cannot be fitted is a row of the result with its reason, never an error for all.
#'
#' The minimum, the standard errors and the states of parameters are those of [fit_softening()] with the
#' same `se`. Errors that all readings of a specimen or of a furnace run share are not counted here: where
#' groups have few specimens and furnaces, intervals are too narrow, and `fit_softening()` of one group, which
#' counts them by default, is the one to believe.
#'
#' The plain model `"jmak"` starts from the double-logarithmic line of each group; only where the
#' result is not converged, on a bound, nearly singular, or misfits the group's own scatter is the
#' full set of starts searched. The other models always search it.
#'
#' | status | meaning | estimates |
#' |---|---|---|
#' | `ok` | all parameters fixed by the readings | yes |
#' | `open` | some parameter has only a limit, lies on a bound, or is not determined | yes |
#' | `one temperature` | nothing is known about activation energies | the others |
#' | `no softening` | a constant hardness fits as well (F test at level 0.001) | yes, without meaning |
#' | `not converged` | iteration limit | yes, where it stopped |
#' | `too few` | fewer combinations of temperature and time than parameters | no |
#' | `no anneal` | no reading after time zero | no |
#' | `bad value` | negative time, below absolute zero, hardness zero or less, infinite value; row given | no |
#' | `outside table` | a reading cannot be converted to HV; its row is given | no |
#' | `failed` | the model cannot be evaluated within its bounds | no |
#'
#' **Many cores, many machines.** Nothing is parallel unless asked for. `threads` shares the groups
#' among threads of this process (where R was built with OpenMP; capped by the environment
#' variable `OMP_THREAD_LIMIT`; one in a forked child). With a [future::plan()] set by you
#' (`multisession`, `cluster` over ssh, a batch queue by future.batchtools) whole chunks of groups
#' travel to its workers. Progress of chunks is signalled through progressr, if you ask for it
#' there. The numbers are the same, to the last digit, for any order of rows, any
#' `chunk_size`, any number of workers and threads. No random numbers are used.
#'
#' **Reference temperature.** By default each group's rate stands at the mean of 1/T of its own
#' readings (column `temp_ref_c`), as in [fit_softening()]. To compare `ln_k_ref` between groups
#' give one `temp_ref_c` for all.
#'
#' @inheritParams fit_softening
#' @param property Another property than hardness, as in [fit_softening()].
#' @param model Which model, by the names of [fit_softening()], where they are explained.
#' @param se Standard errors, as explained in [fit_softening()]: `"cluster"` and `"steps"` from the
#'   scatter of whole steps, `"model"` from that of readings.
#' @param data A data frame of readings of all groups, one row per reading, in any order.
#' @param by Key columns: one name, bare or quoted, or several as `c(mill, coil)`. Without a
#'   missing value. May be left out for a table grouped by `dplyr::group_by()`.
#' @param weights Case weights, one for each row: a column (bare or quoted), an expression in columns of
#'   `data` (they come before variables of the session), or numbers; `NULL` for equal.
#' @param material Conversion table of Rockwell readings (see [conversion_tables()]), or the column (bare or
#'   quoted) that names it, one metal in a group: brass and copper in one call. Without it a column
#'   `material` counts, if there is one. `C26000`, `CuZn30`, `aluminium 1100` and `carbon steel` are
#'   understood.
#' @param temp_ref_c Reference temperature of the rates in degrees Celsius for all groups; by
#'   default that of the mean of 1/T of each group.
#' @param level Level of the intervals that classify a parameter as not determined.
#' @param threads Threads of this process (default 1): at most as many as processors are found
#'   and as can start, the latter with a message.
#' @param chunk_size Most groups in one call; by default all at once, or some calls for each worker
#'   of the plan.
#' @return An object of class `softanneal_fits`: one entry per group, in the order of the keys. Use
#'   `as.data.frame()` (one row per group: keys, `status`, estimates, `se_` standard errors, `undetermined`
#'   (parameters without standard error), `sigma`, `nobs`, `missing`, `n_steps`, `temp_ref_c`),
#'   [tidy()] (one row per group and parameter), [glance()] (one row per group), [summary()], [coef()],
#'   [predict()], [augment()], [ggplot2::autoplot()], `[` to pick groups and `[[` or `$` for the full fit
#'   of one; see [fits-tables]. [time_to()], [temp_for()], [recryst_temperature()] and [process_window()]
#'   answer for all groups at once; plots of one fit, such as [plot_avrami()], give a list, one per group.
#'   One warning of class `softanneal_warning_fit` counts and names groups that are not `ok`; its
#'   field `status` holds the counts. Rows with a missing value are left out, with one warning
#'   of class `softanneal_warning_missing`.
#' @section Errors:
#'   Only what concerns all groups: `softanneal_error_column`, `softanneal_error_scale`,
#'   `softanneal_error_missing` (a missing key), `softanneal_error_argument`,
#'   `softanneal_error_too_few` (no rows), `softanneal_error_workers` (a worker of the plan was lost).
#' @source Model and inference as in [fit_softening()]; damped normal equations: Marquardt D W (1963) J.
#'   Soc. Indust. Appl. Math. 11, 431 \doi{10.1137/0111030}.
#' @seealso [fit_archive()] for data larger than memory; [anova()][share] for parameters in
#'   common; [fits-methods].
#' @examples
#' readings <- example_data("bellbrass_readings")
#' two <- rbind(cbind(coil = "A", as.data.frame(readings)),
#'              cbind(coil = "B", subset(as.data.frame(readings), time_min < 64)))
#' fits <- fit_each(two, by = coil)
#' fits
#' tidy(fits, conf.int = TRUE)
#' time_to(fits, hardness = 100, temp_c = c(330, 350))
#' predict(fits, data.frame(coil = c("A", "B"), temp_c = 330, time_min = 10))
#' @export
fit_each <- function(data, by,
                     model = "jmak",
                     scale = c("HV", "as read"), se = c("cluster", "model", "steps"), ...,
                     time = time_min, temp = temp_c, hardness = hardness, reading_scale = scale,
                     specimen = specimen, weights = NULL, material = "brass", fixed = NULL,
                     lower = NULL, upper = NULL, temp_ref_c = NULL, level = 0.95, control = NULL,
                     threads = 1L, chunk_size = NULL, property = NULL) {
  check_dots_empty(...)
  property <- check_property(property, !missing(scale))
  if (!is.null(property)) scale <- "as read"
  call <- plain_call(match.call(), "fit_each")
  keys <- keys_or_groups(rlang::enquo(by), data) %or% key_names(rlang::enquo(by))
  columns <- list(time = column_name(rlang::enquo(time)), temp = column_name(rlang::enquo(temp)),
                  hardness = column_name(rlang::enquo(hardness)),
                  scale = column_name(rlang::enquo(reading_scale)),
                  specimen = column_name(rlang::enquo(specimen)))
  metal <- material_of_rows(data, rlang::enquo(material), !missing(material))
  columns$material <- metal$column
  set <- each_settings(model, scale, if (missing(se)) NULL else se, fixed, lower, upper,
                       temp_ref_c, level, control, metal$name[1L])
  set$property <- property
  threads <- threads_allowed(check_number(threads, "threads", 1, 1024, whole = TRUE))
  chunk_size <- check_number(chunk_size, "chunk_size", 1, whole = TRUE, null = TRUE)
  weights <- weights_in(rlang::enquo(weights), data)
  d <- each_data(data, keys, columns, set, weights, metal)
  tell_pooled_each(data, keys, unlist(columns))
  set$scale <- d$scale
  r <- run_chunks(d, set, threads, chunk_size)
  fits <- new_fits(r, d$keys, set, columns, kept_readings(data, d, columns), d$material)
  if (any(group_count(fits, "missing") > 0L)) warn_missing_rows(d, columns)
  fits$call <- call
  refuse_rising_terms(fits)
  warn_fits(fits)
  fits
}

# Everything the compiled call needs beside the readings; plain values that travel to workers.
each_settings <- function(model, scale, se, fixed, lower, upper, temp_ref_c, level, control,
                          material) {
  model <- check_model_name(model)
  terms <- model_terms(model)
  automatic <- is.null(se)
  se <- if (automatic) "cluster" else check_choice(se, c("cluster", "model", "steps"), "se")
  none <- stats::setNames(rep(NaN, length(terms)), terms)
  low <- named_values(lower, none, "lower")
  high <- named_values(upper, none, "upper")
  crossed <- which(low >= high)
  if (length(crossed)) {
    abort("range", paste0("`lower` is not below `upper` for ",
                          in_quotes(terms[crossed], " and ")), arg = "lower",
          remedy = "Correct the bounds, or fix the parameter with `fixed`.")
  }
  natural <- cbind(term_rows(terms)$natural | terms %in% names(lower), terms %in% names(upper))
  held <- terms %in% names(fixed)
  if (!is.null(temp_ref_c)) {
    temp_ref_c <- check_number(temp_ref_c, "temp_ref_c", -ZERO_CELSIUS, open = TRUE)
  }
  list(model = model, kind = model_code(model), terms = terms,
       scale = check_fit_scale(scale), se = se, automatic = automatic,
       level = check_level(level), material = material,
       ref_k = if (is.null(temp_ref_c)) NaN else temp_ref_c + ZERO_CELSIUS,
       start = unname(named_values(fixed, replace(none, TRUE, 0), "fixed")), held = held,
       lower = unname(low), upper = unname(high), natural = as.vector(natural),
       use_start = FALSE, infer = TRUE, control = control_vector(control, "squares"))
}

# The compiled call for some of the groups: all matrices have one column per group.
run_batch <- function(d, set, threads, groups = NULL) {
  first <- d$first
  size <- d$size
  if (!is.null(groups)) {
    first <- first[groups]
    size <- size[groups]
  }
  df <- seq_len(min(max(size, 1L), 10000L))
  # beyond the table the last entry serves: at 10,000 degrees of freedom t is within 2e-4 of its
  # limit, and these quantiles only decide what is looked at more closely
  set$t_quantile <- stats::qt(0.5 + set$level / 2, df)
  set$any_value <- isTRUE(set$any_value) || !is.null(set$property)
  set$f_quantile <- stats::qf(CONSTANT_LEVEL, max(1, length(set$terms) - sum(set$held) - 1), df)
  columns <- list(temp_c = d$temp_c, time_min = d$time_min, hardness = d$hardness,
                  weights = d$weights, specimen = d$specimen, order = d$order)
  r <- .Call(C_sa_call_batch, columns, list(first = first, size = size), set,
             as.integer(threads))
  if (is.null(r)) rlang::interrupt()
  r
}

# From the compiled results to the object; limits only of groups that have some.
new_fits <- function(r, keys, set, columns, readings = NULL, material = NULL) {
  by <- group_count(r, "by_treatment") == 1L
  df <- group_count(r, "used") - group_count(r, "estimated")
  df[by] <- (group_count(r, "treatments") - group_count(r, "estimated"))[by]
  with_limits <- which((.colSums(r$state > 1L, nrow(r$state), ncol(r$state)) > 0 |
                          .colSums(!is.nan(r$limit), nrow(r$limit), ncol(r$limit)) > 0) &
                         group_count(r, "status") < register()$fitted_statuses)
  fits <- list(keys = keys, par = r$par, cov = r$cov, state = r$state, counts = r$counts, sums = r$sums,
               df_interval = df, with_limits = with_limits,
               limits = r$limit[, with_limits, drop = FALSE], set = set, columns = columns,
               readings = readings, version = PACKAGE_VERSION)
  fits$material <- material # of each group, where there are several
  structure(fits, class = "softanneal_fits")
}

# One row of the matrices of counts and sums. The rows carry no names, which would be a copy.
group_count <- function(x, name) x$counts[match(name, register()$group_counts), ]

group_sum <- function(x, name) x$sums[match(name, register()$group_sums), ]

group_statuses <- function() register()$group_statuses

group_status <- function(x) group_statuses()[group_count(x, "status") + 1L]

# Name of groups for messages: their keys, joined.
group_labels <- function(x, which = seq_len(nrow(x$keys))) {
  do.call(paste, c(lapply(x$keys, function(k) format_key(k[which])), sep = " / "))
}

format_key <- function(k) {
  if (is.numeric(k)) format(k, trim = TRUE, digits = 15) else as.character(k)
}

# One warning for all groups that are not ok.
warn_fits <- function(x) {
  status <- group_status(x)
  odd <- status != "ok"
  rise <- group_rise_words(x)
  if (!any(odd)) {
    if (length(rise)) warn("fit", rise, n = length(rising_groups(x)))
    return(invisible(x))
  }
  kinds <- intersect(group_statuses(), unique(status[odd]))
  lines <- vapply(kinds, function(kind) status_line(x, which(status == kind), kind), "")
  warn("fit", paste0(sum(odd), " of ", length(status), " groups have no complete answer:\n",
                     paste(c(lines, rise), collapse = "\n")), n = sum(odd),
       status = table(factor(status, group_statuses())))
}

# Groups whose fitted hardness rises on annealing: another quantity, or steps mixed up.
rising_groups <- function(x) {
  if (!is.null(property_of(x))) return(integer())
  unname(which(fits_fitted(x) & x$par[2L, ] > x$par[1L, ]))
}

group_rise_words <- function(x) {
  which <- rising_groups(x)
  if (!length(which)) return(NULL)
  paste0("The fitted hardness rises on annealing in ", count(length(which), "group"), ": ",
         listed(group_labels(x, which), 6L), ". That is no softening: look for mixed-up steps.")
}

status_line <- function(x, which, kind, most = 3L) {
  shown <- utils::head(which, most)
  names <- group_labels(x, shown)
  row <- group_count(x, "row")[shown]
  names <- ifelse(row > 0L, paste0(names, " (row ", row, ")"), names)
  more <- length(which) - length(shown)
  paste0("  ", kind, ", ", length(which), " ", group_reasons(x)[[kind]], ": ",
         paste(names, collapse = ", "), if (more > 0L) paste0(" and ", more, " more"))
}
