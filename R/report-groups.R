# The report of several groups: each fitted for itself with its own components of error, one table and one
# plot that compare them, and the curves of each.

GROUP_FILES <- c("coefficients.csv", "half_softening.csv", "groups.png", "report.html")

# Most groups whose curves are in the page; the tables hold all.
CURVES_SHOWN <- 40L

# Rows, labels and keys of the groups.
groups_for_report <- function(data, by) {
  for (name in by) key_column(data, name)
  keys <- lapply(stats::setNames(nm = by), function(name) data[[name]])
  group <- group_rows(keys)
  list(id = group$id, keys = as.data.frame(lapply(keys, `[`, group$first), optional = TRUE),
       labels = do.call(paste, c(lapply(keys, function(k) format_key(k[group$first])), sep = " / ")))
}

# What the appendix says of the runs at a bench: one part for each table of events (or the one run), `said`
# and `events`, named by group where there are several. NULL where nothing came from a bench page.
bench_for_report <- function(data, group, events) {
  if (is.null(events) || is.data.frame(events)) {
    said <- report_bench(data, events)
    return(if (!is.null(said)) list(list(said = said, events = events)))
  }
  odd <- setdiff(names(events), group$labels)
  if (length(odd)) {
    abort("argument", paste0("`events` names ", in_quotes(odd[1L]), ", and no group is called so"),
          arg = "events", remedy = paste0("Groups: ", in_quotes(utils::head(group$labels, 10L)), "."))
  }
  parts <- lapply(seq_along(group$labels), function(g) {
    own <- events[[group$labels[g]]]
    said <- report_bench(data[group$id == g, , drop = FALSE], own)
    if (!is.null(said)) list(said = said, events = own)
  })
  names(parts) <- group$labels
  Filter(Negate(is.null), parts)
}

# `ask`: the fit of one part of the data. NULL for a group without a fit, with its reason.
fits_for_report <- function(data, group, ask) {
  labels <- group$labels
  remark <- rep("", length(labels))
  fits <- lapply(seq_along(labels), function(g) {
    part <- data[group$id == g, , drop = FALSE]
    tryCatch(
      suppressWarnings(ask(part), classes = c("softanneal_warning_fit", "softanneal_warning_assumption")),
      softanneal_error_argument = function(e) rlang::cnd_signal(e),
      softanneal_error = function(e) {
        remark[g] <<- sub("[.]$", "", conditionMessage(e))
        NULL
      })
  })
  if (all(vapply(fits, is.null, NA))) {
    abort("too_few", paste0("no group can be fitted; ", labels[1L], ": ", remark[1L]), arg = "by",
          remedy = "Fit one group alone by fit_softening() to see why.")
  }
  list(fits = fits, labels = labels, remark = remark, keys = group$keys)
}

# One row per group: time to half of the softening at one temperature, energy, with intervals.
compare_groups <- function(found, temp_c, level) {
  fits <- found$fits
  temp_c <- temp_c %or% round(stats::median(unlist(lapply(fits, `[[`, "temp_ref_c"))))
  rows <- lapply(seq_along(fits), function(g) {
    fit <- fits[[g]]
    if (is.null(fit)) {
      return(data.frame(readings = NA, time = NA, time_low = NA, time_high = NA, q = NA, q_low = NA,
                        q_high = NA, sigma = NA, remark = found$remark[g]))
    }
    half <- suppressWarnings(time_to(fit, temp_c = temp_c, strain = middle_strain(fit), level = level),
                             classes = c("softanneal_warning_outside", "softanneal_warning_extrapolation"))
    known <- fit$states[["q_kj_mol"]] %in% c("determined", "fixed")
    q <- confint.softanneal_fit(fit, "q_kj_mol", level = level)
    remark <- c(if (nzchar(half$note)) half$note, if (!known) state_sentence(fit, "q_kj_mol"))
    data.frame(readings = fit$nobs, time = half$time_min, time_low = half$conf.low,
               time_high = half$conf.high,
               q = if (known) fit$coefficients[["q_kj_mol"]] else NA_real_, q_low = q[1L], q_high = q[2L],
               sigma = fit$sigma, remark = paste(remark, collapse = "; "))
  })
  list(table = do.call(rbind, rows), temp_c = temp_c)
}

# Groups with strains are compared at one of them, the one in the middle.
middle_strain <- function(fit) {
  strain <- check_strain(fit, NULL)
  if (!is.null(strain)) strain[(length(strain) + 1L) %/% 2L]
}

report_of_groups <- function(data, by, ask, out_dir, title, level, events, doubts) {
  group <- groups_for_report(data, by)
  bench <- bench_for_report(data, group, events)
  found <- fits_for_report(data, group, ask)
  compared <- compare_groups(found, NULL, level)
  known <- which(!vapply(found$fits, is.null, NA))
  with_keys <- function(tables) {
    rows <- vapply(tables, nrow, 0L)
    table <- bind_rows(lapply(tables, plain_frame))
    keys <- key_columns(found$keys, names(table))[rep(known, rows), , drop = FALSE]
    cbind(keys, table, row.names = NULL)
  }
  result <- list(
    fits = found$fits, labels = found$labels, by = by, comparison = compared$table,
    temp_c = compared$temp_c, level = level, title = title, bench = bench,
    findings = doubts(group),
    half_softening = with_keys(lapply(found$fits[known], function(fit) {
      suppressWarnings(time_to(fit, level = level), classes = "softanneal_warning_outside")
    })))
  make_folder(out_dir)
  work <- tempfile("softanneal-report-")
  dir.create(work)
  on.exit(unlink(work, recursive = TRUE), add = TRUE)
  write_table(with_keys(lapply(found$fits[known], tidy, conf.int = TRUE, conf.level = level)),
              file.path(work, GROUP_FILES[1L]))
  write_table(result$half_softening, file.path(work, GROUP_FILES[2L]))
  plots <- list(groups.png = tryCatch(
    groups_picture(compared$table, found$labels, paste(by, collapse = " / "), compared$temp_c, level,
                   words = \(text) in_property(text, found$fits[[known[1L]]])),
    softanneal_error_too_few = function(e) {
      empty_picture("Comparison of groups", "No group has a time to half softening or an energy.")
    }))
  for (g in utils::head(known, CURVES_SHOWN)) {
    plots[[curve_file(g)]] <- autoplot.softanneal_fit_softening(found$fits[[g]], level = level) +
      ggplot2::labs(title = found$labels[g])
  }
  render_report(result, work, save_plots(plots, work), "groups.Rmd")
  result$files <- move_results(work, out_dir, GROUP_FILES)
  lost <- setdiff(seq_along(found$fits), known)
  if (length(lost)) {
    warn("fit", paste0(length(lost), " of ", count(length(found$fits), "group"), " have no fit: ",
                       paste0(found$labels[lost], " (", found$remark[lost], ")", collapse = "; "), "."),
         n = length(lost))
  }
  structure(result, class = "softanneal_report")
}

curve_file <- function(g) sprintf("curves-%03d.png", g)

# The table of comparison for readers.
report_groups_table <- function(result) {
  d <- result$comparison
  fitted <- !is.na(d$readings)
  reach <- function(low, high) {
    ifelse(fitted, half_interval(data.frame(conf.low = low, conf.high = high)), "\u2013")
  }
  out <- data.frame(
    Group = result$labels, Readings = ifelse(fitted, d$readings, "\u2013"),
    time = report_number(d$time), time_reach = reach(d$time_low, d$time_high),
    q = report_number(d$q), q_reach = reach(d$q_low, d$q_high),
    sigma = report_number(d$sigma), Remark = reader_words(d$remark))
  interval <- paste(percent_text(result$level), "interval")
  half <- if (is.null(property_of_groups(result))) "Half softening at" else "Half change at"
  names(out)[3:7] <- c(paste(half, trimws(temperature_label(result$temp_c)), "(min)"),
                       interval, "Activation energy (kJ/mol)", paste0(interval, " "), "Residual sd")
  out[c(rep(TRUE, 7L), any(nzchar(d$remark)))]
}

# The property of the first group with a fit.
property_of_groups <- function(result) {
  fits <- Filter(Negate(is.null), result$fits)
  if (length(fits)) property_of(fits[[1L]])
}

format_groups_report <- function(x) {
  d <- x$comparison
  fitted <- !is.na(d$readings)
  reach <- ifelse(is.na(d$time_low), "", paste0(" (", range_text(d$time_low, d$time_high), ")"))
  c(x$title,
    paste0("  ", count(nrow(d), "group"), " by ", paste(x$by, collapse = ", "), ", ", sum(fitted), " fitted"),
    paste0("  Half of the ", if (is.null(property_of_groups(x))) "softening" else "change", " at ",
           in_degrees(format(x$temp_c)), " (min; ", format(100 * x$level),
           " % interval) and activation energy (kJ/mol):"),
    paste0("    ", format(x$labels), "  ", ifelse(fitted, paste0(
      answer_text(d$time), reach, ";  Q ",
      ifelse(is.na(d$q), "not determined", format_quantity(d$q))), d$remark)),
    paste0("  ", strwrap(CAUTION_LINE, width = 76)))
}
