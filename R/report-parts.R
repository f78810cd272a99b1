# Parts of reports for people: labels instead of column names, numbers on the right with the digits
# their errors allow, and one line that says what each parameter means.

report_estimates <- function(fit, level) {
  t <- estimate_table(fit, level)
  terms <- rownames(t)
  meaning <- unname(PARAMETER_MEANING[base_term(terms)])
  meaning[is.na(meaning)] <- ""
  reference <- base_term(terms) == "ln_k_ref"
  meaning[reference] <- sub("the reference temperature", temperature_label(fit$temp_ref_c),
                            meaning[reference])
  fixed <- fit$states == "fixed"
  out <- data.frame(Parameter = in_property(parameter_label(terms, fit$scale), fit),
                    Estimate = t[, "Estimate"],
                    se = ifelse(fixed, "fixed", t[, "Std. error"]),
                    interval = ifelse(fixed, "\u2013", t[, 4L]), Meaning = in_property(meaning, fit),
                    row.names = NULL)
  names(out)[3:4] <- c("Standard error", colnames(t)[4L])
  out
}

# Three digits, zeros at the end included, so that the numbers of a column look equally exact.
report_number <- function(x) {
  plain <- is.finite(x) & abs(x) >= 1e-4 & abs(x) < 1e7
  out <- ifelse(is.na(x), "\u2013", format_quantity(x))
  out[plain] <- sub("[.]$", "", formatC(signif(x[plain], 3L), digits = 3L, format = "fg", flag = "#",
                                        width = 1L))
  out
}

report_half <- function(half, level) {
  out <- data.frame(t = trimws(temperature_label(half$temp_c)), min = report_number(half$time_min),
                    interval = half_interval(half), note = half$note, row.names = NULL)
  names(out) <- c("Temperature", "Time (min)", paste(percent_text(level), "interval (min)"), "Note")
  out[c(TRUE, TRUE, TRUE, any(nzchar(half$note)))]
}

half_interval <- function(half) {
  low <- half$conf.low
  high <- half$conf.high
  none <- is.na(low) | is.na(high)
  ifelse(none, "not determined",
         ifelse(is.infinite(high), paste(report_number(low), "or more"),
                ifelse(low == 0, paste(report_number(high), "or less"),
                       paste(report_number(low), "to", report_number(high)))))
}

# Events of a bench page as a table, or a list of such tables by group; NULL for none.
report_events <- function(events, by_group = FALSE) {
  if (is.null(events)) return(NULL)
  if (by_group && !is.data.frame(events) && (is.list(events) || length(events) > 1L)) {
    name <- names(events)
    if (is.null(name) || anyNA(name) || !all(nzchar(name)) || anyDuplicated(name)) {
      abort("argument", "the events of several groups must be named by group, each once", arg = "events",
            remedy = "Give a list such as list(a = \"a-events.csv\"), or the events of one run.")
    }
    return(lapply(as.list(events), report_events))
  }
  if (!is.data.frame(events)) events <- read_history(check_path(events, "events"))
  if (!has_events(events)) {
    abort("argument", "`events` holds no events of a bench page", arg = "events",
          remedy = "Give the file of events that the page saved, or read_history() of it.")
  }
  event_table(events)
}

# What a report says of readings from a bench page; NULL for others.
report_bench <- function(data, events) {
  entered <- bench_entries(data)
  if (is.null(entered) && is.null(events)) return(NULL)
  when <- if (!is.null(entered)) range(entered[!is.na(entered)])
  late <- sum(grepl("(^|; )out .*late", events$note))
  fixed <- sum(grepl("corrected", events$note, fixed = TRUE))
  c(if (is.null(entered)) "The events are those of a bench page." else {
    paste0("The ", length(entered), " readings were entered on a bench page, from ", when[1L], " to ",
           when[2L], " by the clock of the device. The page records what was tapped and typed and when; it ",
           "does not see who did it, the furnace or the dial.")
  }, if (!is.null(events)) {
    paste0(count(nrow(events), "step"), " with events: ", late, " out late, ", fixed,
           " with a corrected time.")
  } else "Its file of events was not given: door times and late steps are not known here.")
}

report_event_rows <- function(events) {
  shown <- function(x) ifelse(is.na(x), "\u2013", x)
  data.frame(Specimen = events$specimen, Step = events$step, In = shown(events$in.),
             Shut = shown(events$shut), Out = shown(events$out), Cold = shown(events$cold),
             "In the furnace (min)" = report_number(events$furnace_min),
             "Door open (s)" = shown(as.character(round(events$door_s))), Remark = events$note,
             check.names = FALSE)
}

# The table of compare_models() for readers.
report_models <- function(m, scale = "HV") {
  out <- data.frame(
    Model = paste0(vapply(m$model, model_words, ""), " (", m$model, ")"), Parameters = m$parameters,
    sd = report_number(m$sigma), delta = formatC(m$delta, digits = 1L, format = "f", width = 1L),
    p = p_words(m$lack_of_fit.p.value),
    open = m$n_undetermined, Remark = reader_words(m$note))
  out[] <- lapply(out, function(v) ifelse(v %in% c("NA", NA), "\u2013", v))
  names(out)[3:6] <- c(paste0("Residual sd", unit_of_scale(scale)), "AICc above the best",
                       "Lack of fit", "Not determined")
  out
}

unit_of_scale <- function(scale) if (scale %in% c("as read", "")) "" else paste0(" (", scale, ")")

# Components of error with their shares in the variance of the answers; NULL for a fit without.
report_errors <- function(fit) {
  if (is.null(fit$errors)) return(NULL)
  e <- components_of_error(fit)
  share <- function(v) ifelse(is.na(v), "\u2013", whole_percent(v))
  unit <- ifelse(e$component == "furnace temperature", "K", sub("as read", "", e$unit, fixed = TRUE))
  out <- data.frame(
    Error = paste0(e$component, ifelse(e$known == "estimated" | e$known == "from replicates", "",
                                       paste0(" (", e$known, ")"))),
    sd = trimws(paste(format_quantity(e$sd, 2L), unit)),
    interval = ifelse(is.na(e$conf.low), "\u2013", paste(format_quantity(e$conf.low, 2L), "to",
                                                         format_quantity(e$conf.high, 2L))),
    q = share(e$q_share), half = share(e$t50_share), new = share(e$reading_share))
  names(out) <- c("Error", "Standard deviation", "95 % interval", "Activation energy",
                  paste(if (is.null(property_of(fit))) "Half softening at" else "Half change at",
                        trimws(temperature_label(attr(e, "temp_c")))),
                  "New reading")
  out
}

# The answer first, in sentences.
report_answer <- function(result) {
  fit <- result$fit
  h <- result$half_softening
  unit <- unit_after(fit$scale)
  worked <- worked_hardness(fit, check_strain(fit, NULL))
  strain <- strain_name(fit)
  reach <- half_interval(h)
  times <- paste0(ifelse(reach == "not determined", reach, ifelse(
    is.na(h$time_min), paste(reach, "min"),
    paste0(report_number(h$time_min), " min (", reach, ")"))), " at ",
    trimws(temperature_label(h$temp_c)),
    if (!is.null(strain)) paste(" and strain", format_quantity(h[[strain]])))
  in_property(c(paste0("Hardness falls from ", paste(format_quantity(worked), collapse = ", "), " to ",
           paste(format_quantity(soft_hardness(fit, check_strain(fit, NULL))), collapse = ", "), unit, "."),
    paste0("Half of the softening takes ", paste(times, collapse = "; "), ". In parentheses: ",
           percent_text(result$level), " intervals",
           if (is_misfit(fit)) ", which assume a curve that the readings contradict (see the remarks)", "."),
    reader_words(energy_sentence(fit, result$level))), fit)
}

lack_sentence <- function(fit) {
  l <- fit$lack_of_fit
  p <- l[["p.value"]] %or% l[["p_value"]]
  if (is.na(l$f)) return(NULL)
  paste0(if (p < 0.05) "The step means are off the curves by more than their readings scatter" else
    "The step means are off the curves by no more than their readings scatter",
    " (F = ", format_quantity(l$f), " on ", l$df_misfit, " and ", l$df_pure, " degrees of freedom, ",
    p_words(p), "). The test also reacts to errors that all readings of a step share.")
}

# A table of HTML: header cells with scope, numbers on the right, in a box that scrolls by itself
# on a narrow screen.
report_table <- function(x, caption, words = character()) {
  right <- !names(x) %in% words
  cells <- x
  cells[] <- lapply(x, function(v) markdown_text(as.character(v)))
  text <- knitr::kable(stats::setNames(cells, markdown_text(names(x))), "html", row.names = FALSE,
                       escape = FALSE, align = ifelse(right, "r", "l"),
                       caption = markdown_text(caption))
  text <- gsub("<th ", "<th scope=\"col\" ", text, fixed = TRUE)
  knitr::asis_output(paste0("\n<div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-label=\"",
                            htmltools::htmlEscape(caption, attribute = TRUE), "\">\n",
                            paste(text, collapse = "\n"), "\n</div>\n"))
}

# The four common models and the chosen one, whose fit is at hand: what compare_models() says of them.
report_comparison <- function(fit, data, ...) {
  models <- unique(c(usual_models(), fit$model))
  rows <- suppressMessages(lapply(models, function(model) {
    compare_row(model, data, cross_validate = FALSE, ..., fit = if (model == fit$model) fit)
  }), classes = "softanneal_message_units") # told by the fit
  by_aicc(do.call(rbind, rows))
}

# Names of parameters in sentences of a fit, as readers know them.
reader_words <- function(text, fit = NULL) {
  terms <- names(PARAMETER_WORDS)
  for (term in terms[order(-nchar(terms))]) {
    word <- PARAMETER_WORDS[[term]]
    if (!startsWith(word, "ln ")) word <- paste0(tolower(substr(word, 1L, 1L)), substring(word, 2L))
    text <- gsub(paste0("\\b", term, "\\b"), word, text, perl = TRUE)
  }
  if (is.null(fit)) text else in_property(text, fit)
}

# Names of quantities and columns as heads and labels in the templates; others lose their underscores.
COLUMN_WORDS <- c(k_per_min = "Rate", t50_min = "Time to half of the softening",
                  temp_c = "Temperature (\u00b0C)", time_min = "Time (min)",
                  ln_t50 = "ln time to half of the softening",
                  recryst_1h_c = "Temperature that recrystallises in 1 h", n_quantities = "Quantities",
                  temp_ref_c = "Reference temperature (\u00b0C)")

reader_label <- function(names) {
  words <- c(PARAMETER_WORDS, COLUMN_WORDS)[as.character(names)]
  plain <- gsub("_", " ", as.character(names), fixed = TRUE)
  plain <- paste0(toupper(substr(plain, 1L, 1L)), substring(plain, 2L))
  unname(ifelse(is.na(words), plain, words))
}
