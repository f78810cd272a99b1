# Simulated data for a class: every group its own true values about those of the class, its own stream of
# random numbers, and a draw that passes the class checks. One whole number makes all of it again;
# the data carry neither the true values nor that number.

# Standard deviations by which the true values of the groups differ: HV for hardness, relative for others.
CLASS_SD <- c(h_worked = 4, h_soft = 2, t50_rex_min = 0.15, n = 0.05, q_kj_mol = 0.05)

# Draws tried for one group before giving up.
MOST_DRAWS <- 100L

#' The experiment of a simulated class
#'
#' Sets down what [simulate_class()] and [answer_key()] draw: the true values of the class, how much those
#' of the groups differ, schedule, scatter and blunders. Keep it with the seed, apart from
#' the data of the class.
#'
#' The true values of a group are those of the class plus a normal difference for hardness levels and times
#' the exponential of a normal difference for the others, so that these stay positive.
#'
#' @param parameters,model,temp_ref_c True values of the class, as in [simulate_readings()].
#' @param ... Must be empty.
#' @param sd_groups Named standard deviations between the true values of groups: of `h_worked`,
#'   `h_soft`, `dh_rec` and `dh_hard` in HV; relative ones for `t50_rex_min` and the rates (`ln_k_ref`
#'   and the like: 0.1 is 10 % of the rate), `n`,
#'   `q_kj_mol` and the other parameters. Parameters that are not named do not differ.
#' @param temp_c,time_min,n_readings,scale,sd,resolution As in [simulate_readings()].
#' @param operators,specimen,schedule,material As in [simulate_readings()].
#' @param blunders As in [simulate_readings()]; they fall on each group in other places.
#' @param tolerance Half width of what counts as right, in standard errors of the estimator.
#' @return An object of class `softanneal_class_design`: a list for the two functions above.
#' @section Errors: As in [simulate_readings()], and `softanneal_error_argument` for a spread of
#'   unknown parameters.
#' @seealso [simulate_class()]
#' @examples
#' class_design(blunders = c("outlier", "forgotten"), temp_c = c(310, 340, 370))
#' @export
class_design <- function(parameters = WORKSHOP_TRUTH, ..., model = "jmak", temp_ref_c = 330,
                         sd_groups = CLASS_SD, temp_c = c(290, 330, 370, 410),
                         time_min = c(0, 4, 8, 16, 32, 64, 128), n_readings = 6, scale = "HR30T",
                         sd = bench_errors(), resolution = 0.5, operators = NULL,
                         blunders = NULL, specimen = NULL, schedule = NULL, material = "brass",
                         tolerance = 2) {
  check_dots_empty(...)
  truth <- true_model(parameters, model, temp_ref_c)
  bench <- bench_settings(temp_c, time_min, n_readings, scale, sd, resolution, operators, blunders,
                          specimen, schedule, material)
  # NULL: all groups share the values of the class
  sd_groups <- if (length(sd_groups)) check_start_like(sd_groups, "sd_groups") else
    stats::setNames(numeric(), character())
  names(sd_groups)[names(sd_groups) == "t50_rex_min"] <- "ln_k_ref"
  unknown <- setdiff(names(sd_groups), names(truth$par))
  if (length(unknown) || anyDuplicated(names(sd_groups))) {
    abort("argument", paste0("`sd_groups` must name each once some of ",
                             in_quotes(names(truth$par), " and ")), arg = "sd_groups",
          remedy = "Name parameters of the class.")
  }
  check_numeric(sd_groups, "sd_groups", 0)
  structure(list(truth = truth, sd_groups = sd_groups, bench = bench,
                 tolerance = check_number(tolerance, "tolerance", 0, open = TRUE)),
            class = "softanneal_class_design")
}

#' Simulated data for a class
#'
#' Draws the readings of every group of a class. Each group has its own true values, so that no two
#' groups have the same answers, and its own data, which can be drawn alone.
#'
#' **Random numbers.** A whole number in `seed` starts a generator of L'Ecuyer; group k uses its k-th
#' stream, and repeated draws of a group the sub-streams of that ([parallel::nextRNGStream()]).
#' With a key of [class_secret()] in place of the number the stream of each group starts at a digest of key
#' and group. A group is therefore the same whether drawn alone or with the class, in any order, on any
#' platform. `.Random.seed` is restored.
#'
#' **Teachable draws.** A draw is used if [fit_softening()], applied to the readings without
#' blunders, converges, determines every parameter (Q among them), and gives every quantity of the
#' answer key within its tolerance. Otherwise the group is drawn again, true values included, at
#' most 100 times. So a group that works cleanly is never marked wrong for bad luck; the price is
#' that extreme scatter is rarer than in real readings.
#'
#' **The data carry no true values.** The result holds neither true values nor seed nor design.
#' Keep both for [answer_key()], which needs them.
#'
#' @param n_groups Number of groups.
#' @param seed A key of [class_secret()], for readings that are marked; or one whole number, which
#'   students can find by trying.
#' @param ... Arguments of [class_design()], such as `blunders` or `temp_c`.
#' @param groups Numbers of the groups to draw; all by default.
#' @param design A [class_design()], instead of `...`.
#' @return A table of class `softanneal_class` over `softanneal_readings`: the columns of
#'   [simulate_readings()] after a column `group` (`"group-01"`, ...).
#' @section Errors: `softanneal_error_argument` for numbers of groups that do not fit and those of
#'   [class_design()]; `softanneal_error_too_few` when no draw of a group is teachable, with the
#'   reason of the last one.
#' @section Safety: `r CAUTION_DEFERENCE` `r CAUTION_ESTIMATE`
#' @source L'Ecuyer P (1999) Operations Research 47, 159 \doi{10.1287/opre.47.1.159}; streams as in
#'   L'Ecuyer P, Simard R, Chen E J, Kelton W D (2002) Operations Research 50, 1073
#'   \doi{10.1287/opre.50.6.1073.358}.
#' @seealso [write_class()] for one file per group, [answer_key()] and [mark_answers()].
#' @examples
#' class <- simulate_class(3, seed = 20, blunders = "outlier")
#' class
#' alone <- simulate_class(3, seed = 20, blunders = "outlier", groups = 2)
#' all(alone$hardness == class$hardness[class$group == "group-02"])
#' fit_softening(alone)
#' @export
simulate_class <- function(n_groups, seed, ..., groups = seq_len(n_groups), design = NULL) {
  design <- use_design(design, ...)
  drawn <- draw_class(n_groups, seed, groups, design)
  tables <- lapply(drawn, function(g) data.frame(group = rep(g$group, nrow(g$data)), g$data))
  out <- do.call(rbind, tables)
  class(out) <- c("softanneal_class", "softanneal_readings", "data.frame")
  label_columns(out)
}

use_design <- function(design, ...) {
  if (is.null(design)) return(class_design(...))
  check_dots_empty(...)
  check_design(design)
}

check_design <- function(design) {
  if (!inherits(design, "softanneal_class_design")) {
    abort("argument", paste0("`design` must come from class_design(), not ", describe(design)),
          arg = "design")
  }
  design
}

# One list per group: group, data, clean hardness, blunders, truth, draws, and what the reference
# analysis gives.
draw_class <- function(n_groups, seed, groups, design) {
  n_groups <- check_number(n_groups, "n_groups", 1, 9999, whole = TRUE)
  seed <- check_class_seed(seed)
  groups <- check_numeric(groups, "groups", 1, n_groups)
  if (!length(groups) || any(groups != round(groups)) || anyDuplicated(groups)) {
    abort("argument", "`groups` must be different whole numbers", arg = "groups",
          remedy = paste0("Choose from 1 to ", n_groups, "."))
  }
  state <- keep_random()
  on.exit(restore_random(state), add = TRUE)
  set.seed(if (is.raw(seed)) 1L else seed, kind = "L'Ecuyer-CMRG",
           normal.kind = "Inversion", sample.kind = "Rejection")
  stream <- get(".Random.seed", envir = globalenv())
  out <- vector("list", length(groups))
  for (k in seq_len(max(groups))) {
    at <- match(k, groups)
    if (!is.raw(seed)) {
      stream <- parallel::nextRNGStream(stream)
    } else if (!is.na(at)) {
      stream <- secret_stream(seed, class_group(k), stream[1L])
    }
    if (!is.na(at)) out[[at]] <- draw_group(k, stream, design)
  }
  out
}

class_group <- function(k) sprintf("group-%02d", as.integer(k))

# The number of a group, given as such or by its name.
class_number <- function(group, arg = "group") {
  if (is.character(group) && length(group) == 1L && grepl("^(group-)?[0-9]{1,4}$", group)) {
    group <- as.numeric(sub("group-", "", group, fixed = TRUE))
  }
  check_number(group, arg, 1, 9999, whole = TRUE, remedy = "Groups are 1, 2, ..., or \"group-01\" and so on.")
}

draw_group <- function(k, stream, design) {
  group <- class_group(k)
  reason <- ""
  for (draw in seq_len(MOST_DRAWS)) {
    assign(".Random.seed", stream, envir = globalenv())
    stream <- parallel::nextRNGSubStream(stream)
    truth <- draw_truth(design)
    drawn <- tryCatch(draw_readings(truth, design$bench), softanneal_error_range = function(e) e)
    if (inherits(drawn, "error")) {
      reason <- conditionMessage(drawn)
      next
    }
    key <- key_quantities(truth, design)
    clean <- replace(drawn$data, "hardness", list(drawn$clean))
    analysis <- analyse_group(clean, key, truth, design)
    reason <- analysis$reason
    if (is.null(reason)) {
      key$reference <- analysis$value
      key$as_given <- if (nrow(drawn$blunders)) {
        analyse_group(drawn$data, key, truth, design)$value
      } else analysis$value
      return(c(drawn, list(group = group, truth = truth, draws = draw, key = key)))
    }
  }
  abort("too_few", paste0("no draw of ", group, " (", MOST_DRAWS, " tried) passed the class checks: ",
                          sub("[.]$", "", reason)), arg = "design",
        remedy = paste("Change schedule, standard deviations or true values; more temperatures or",
                       "shorter times help Q."))
}

draw_truth <- function(design) {
  truth <- design$truth
  terms <- names(truth$par)
  z <- stats::setNames(stats::rnorm(length(terms)), terms)
  sd <- stats::setNames(numeric(length(terms)), terms)
  sd[names(design$sd_groups)] <- design$sd_groups
  # the logarithm of a rate takes a relative difference by adding it
  added <- is_level(terms) | is_amplitude(terms) | is_rate(terms)
  truth$par <- ifelse(added, truth$par + sd * z, truth$par * exp(sd * z))
  names(truth$par) <- terms
  truth
}

# The reference analysis of one group: value of each key quantity, and the reason why the
# readings do not pass the class checks (NULL if they do).
analyse_group <- function(data, key, truth, design, se = "cluster") {
  nothing <- rep(NA_real_, nrow(key))
  data <- data[!is.na(data$hardness), ]
  # what a fit warns of is looked at below, in its states; the blunders of a bench are drawn on purpose
  fit <- tryCatch(suppressWarnings(fit_softening(data, model = truth$model, se = se,
                                                 material = design$bench$material),
                                   classes = c("softanneal_warning_fit", "softanneal_warning_assumption")),
                  softanneal_error = function(e) e)
  if (inherits(fit, "error")) return(list(value = nothing, reason = conditionMessage(fit)))
  if (!fit$convergence$converged) return(list(value = nothing, reason = "the fit ends early"))
  open <- names(fit$states)[fit$states != "determined"]
  if (length(open)) {
    return(list(value = nothing,
                reason = paste0("the readings do not determine ", in_quotes(open, " and "))))
  }
  value <- quantities_of(list(kind = fit$settings$set$kind, par = fit$par,
                              temp_ref_c = fit$temp_ref_c), key)$value
  off <- which(is.na(value) | value < key$lower | value > key$upper)
  list(value = value,
       reason = if (length(off)) paste0("a clean analysis gives ", key$quantity[off[1L]],
                                        " outside its tolerance"))
}

#' @export
print.softanneal_class <- function(x, ...) {
  if (!"group" %in% names(x)) return(NextMethod())
  n <- table(x$group)
  cat("Class data: ", count(nrow(x), "reading"), " of ", count(length(n), "group"), " (",
      listed(names(n), 4L), ")\n", sep = "")
  class(x) <- setdiff(class(x), "softanneal_class")
  print(x, ...)
  cat("The answer key is made from seed and design: answer_key().\n")
  invisible(x)
}

#' @export
print.softanneal_class_design <- function(x, ...) {
  cat(format(x), sep = "\n")
  invisible(x)
}

#' @export
format.softanneal_class_design <- function(x, ...) {
  b <- x$bench
  truth <- c(x$truth$par, temp_ref_c = x$truth$temp_ref_c)
  blunders <- b$blunders[b$blunders > 0L]
  c(paste0("Class design, model '", x$truth$model, "' (keep apart from the class data)"),
    paste0("  true      ", paste(names(truth), format_quantity(truth, 4L), collapse = ", ")),
    paste0("  sd groups ", if (length(x$sd_groups)) {
      paste(names(x$sd_groups), format_quantity(x$sd_groups), collapse = ", ")
    } else "none"),
    paste0("  schedule  ", count(nrow(b$steps), "step"), " of ",
           count(length(unique(b$steps$specimen)), "piece"), " at ",
           in_degrees(listed(sort(unique(b$steps$temp_c)))), ", ", max(b$reading), " readings per step in ",
           listed(unique(b$scale))),
    paste0("  blunders     ", if (length(blunders)) paste(blunders, names(blunders), collapse = ", ") else
      "none"),
    paste0("  tolerance ", format(x$tolerance), " standard errors of the estimator"))
}
