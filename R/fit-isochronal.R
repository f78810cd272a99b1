# Hardness over temperature after one time, from readings alone: means of the steps, the curve of one time.
# ln(-ln(1 - X)) of the law is a straight line in 1/T there, n (ln k_ref + ln t) - n Q e: n and Q show in
# their product alone, and with n = 1 the curve is the same, at that time.

# Means of the steps at times in `time_min`, and as rolled: `steps` and `rolled` with mean, n, standard error
# and interval from the pooled scatter of the readings of a step; `df` of that scatter; `fit` as words about a
# property need it; `h_soft` as it was given.
isochronal_means <- function(data, time_min, level, columns, scale = "HV", material = "brass",
                             property = NULL, h_soft = NULL) {
  check_data(data, groups = FALSE)
  property <- check_property(property, !identical(scale, "HV"))
  scale <- if (is.null(property)) check_fit_scale(scale) else "as read"
  d <- softening_data(data, c(columns, furnace = "furnace", operator = "operator"), scale, material, NULL,
                      stats::na.exclude, NULL, property = property)
  after <- d$time_min > 0
  read <- different_times(d$time_min[after])
  if (is.null(time_min)) time_min <- common_times(d$temp_k[after], d$time_min[after], read)
  own <- vapply(time_min, \(t) read[which(same_number(read, t))][1L], 0)
  if (anyNA(own)) {
    abort("range", paste0("no reading was taken after ", format_quantity(time_min[is.na(own)][1L]), " min"),
          arg = "time_min", remedy = paste0("There are readings after ",
                                            paste(format_quantity(read), collapse = ", "), " min."))
  }
  key <- group_rows(list(ifelse(after, signif(d$temp_k, 10), 0), ifelse(after, d$time_min, 0)))
  first <- key$first
  n <- tabulate(key$id, length(first))
  mean <- rowsum(d$hardness, key$id)[, 1L] / n
  df <- d$n - length(first)
  sd <- if (df > 0L) sqrt(sum((d$hardness - mean[key$id])^2) / df) else NA_real_
  half <- if (df > 0L) stats::qt(0.5 + level / 2, df) * sd / sqrt(n) else rep(NA_real_, length(n))
  all <- data.frame(temp_c = d$temp_k[first] - ZERO_CELSIUS, time_min = d$time_min[first],
                    hardness = unname(mean), n = n, low = unname(mean) - half, high = unname(mean) + half)
  steps <- all[all$time_min > 0 & all$time_min %in% own, ]
  steps <- steps[order(steps$time_min, steps$temp_c), ]
  rolled <- all[all$time_min == 0, ]
  h_soft <- check_number(h_soft, "h_soft", 0, open = is.null(property), null = TRUE)
  if (is.null(property) && !is.null(h_soft) && h_soft >= max(mean)) {
    abort("range", paste0("`h_soft` (", format(h_soft), ") is not below the hardness read, ",
                          format(max(mean), digits = 4), " ", d$scale), arg = "h_soft",
          remedy = "Give the hardness of the soft state in the scale of the answer, see `scale`.")
  }
  kept <- if (is.null(d$na.action)) data else data[-as.integer(d$na.action), , drop = FALSE]
  kept[[columns$time]] <- d$time_min # durations are converted once
  ends <- c(h_worked = c(rolled$hardness, steps$hardness)[1L], h_soft = utils::tail(steps$hardness, 1L))
  as_named <- stats::setNames(columns, sub("^scale$", "reading_scale", names(columns)))
  list(steps = steps, rolled = rolled, time_min = own, data = kept, h_soft = h_soft,
       time = d$time_min,
       call = c(as_named, material = material, if (is.null(property)) list(scale = scale) else {
         list(property = property_title(list(readings = d["property"])))
       }), fit = list(scale = d$scale, readings = d["property"], par = ends))
}

different_times <- function(time_min) sort(unique(merge_near(time_min)))

# The times read at most temperatures; the longest of those, up to seven.
common_times <- function(temp_k, time_min, read) {
  temps <- vapply(read, \(t) length(unique(signif(temp_k[same_number(time_min, t)], 10))), 0L)
  utils::tail(read[temps == max(temps)], 7L)
}

# The curve of the readings of one time, NULL where there are fewer temperatures than it has parameters.
isochronal_fit <- function(m, time_min, u_temp_c = NULL) {
  own <- m$time == 0 | m$time == time_min
  part <- m$data[own, , drop = FALSE]
  args <- c(list(quote(part), fixed = c(n = 1, h_soft = m$h_soft), u_temp_c = u_temp_c), m$call)
  suppressMessages(suppressWarnings(
    tryCatch(do.call(fit_softening, args), softanneal_error_too_few = function(e) NULL),
    classes = "softanneal_warning"), classes = "softanneal_message")
}
