# Readings made ready for the solver: columns found, checked, converted and sorted, with the
# parameters, bounds and fixed values of the model. Everything a later refit needs travels in
# the list, as plain vectors.

SOFTENING_FORMULA <- hardness ~ time_min + temp_c
environment(SOFTENING_FORMULA) <- baseenv()
STRAIN_FORMULA <- hardness ~ time_min + temp_c + strain
environment(STRAIN_FORMULA) <- baseenv()

softening_data <- function(data, columns, scale, material, weights, na.action, temp_ref_c,
                           history = NULL, strain_ref = NULL, property = NULL, outside_table = "stop") {
  check_data(data, limits = !is.null(columns$limit))
  n <- nrow(data)
  log_s <- log_times(data, columns, history)
  time <- if (!is.null(log_s) && !columns$time %in% names(data)) log_s / 60 else {
    numeric_column(data, columns$time, unit = "min", lower = 0, na = TRUE,
                   remedy = "Times in the furnace are zero or more, in minutes.")
  }
  temp <- numeric_column(data, columns$temp, unit = "degree_C", lower = -ZERO_CELSIUS, open = TRUE,
                         na = TRUE, remedy = "Temperatures are in degrees Celsius, above -273.15.")
  value <- if (!is.null(property)) property_values(data, columns$hardness, property) else {
    numeric_column(data, columns$hardness, lower = 0, open = TRUE, na = TRUE,
                   remedy = "A hardness is above zero; check the reading.")
  }
  before <- is.na(temp) & !is.na(time) & time == 0 # as rolled: the temperature has no meaning
  weights <- check_weights(weights, n)
  strain <- if (!is.null(columns$strain)) strain_column(data, columns$strain)
  known <- list(time, temp, value)
  if (any(before)) known[[2L]][before] <- 0
  names(known) <- c(columns$time, columns$temp, columns$hardness)
  if (!is.null(columns$log_time)) known[[columns$log_time]] <- log_s
  if (!is.null(strain)) known[[columns$strain]] <- strain
  gone <- without_weight(missing_rows(known, n, na.action), weights)
  read_on <- if (is.null(property)) reading_scales(data, columns$scale, scale) else "as read"
  if (!is.null(strain) && columns$strain %in% REDUCTION_COLUMNS) {
    say("units", paste0("Column `", columns$strain, "` is a reduction in per cent: the fit and its answers ",
                        "have its effective strain, 2/sqrt(3) ln(100/(100 - reduction)), as `strain`."))
    columns$strain <- "strain"
  }
  specimen <- if (columns$specimen %in% names(data) || columns$specimen != "specimen") {
    any_column(data, columns$specimen)
  }
  if (is.null(history)) specimen <- pieces_of_lots(data, specimen, time, c(columns$operator, columns$strain))
  run <- label_column(data, columns$furnace, "furnace", "run")
  operator <- label_column(data, columns$operator, "operator")
  side <- if (!is.null(columns$limit)) limit_sides(data, columns$limit)
  if (!is.null(gone)) {
    keep <- -as.integer(gone)
    time <- time[keep]
    temp <- temp[keep]
    value <- value[keep]
    before <- before[keep]
    weights <- weights[keep]
    specimen <- specimen[keep]
    run <- run[keep]
    operator <- operator[keep]
    log_s <- log_s[keep]
    strain <- strain[keep]
    side <- side[keep]
    if (length(read_on) == n) read_on <- read_on[keep]
    if (length(time) == 0L) {
      abort("too_few", "no complete reading is left", arg = columns$hardness,
            remedy = "Check the table: every row misses a value.")
    }
  }
  side <- fit_sides(side, outside_table, value, read_on, scale, material)
  fitted_scale <- fit_scale(value, read_on, scale, material, gone, n, side)
  temp_k <- temp + ZERO_CELSIUS
  id <- if (is.null(specimen)) rep.int(1L, length(time)) else match(specimen, unique(specimen))
  d <- list(n = length(time), temp_k = temp_k, time_min = time, hardness = fitted_scale$hardness,
            weights = weights, specimen_id = id, order = NULL, ref_k = NULL,
            scale = if (is.null(property)) fitted_scale$scale else property[["unit"]],
            material = material, na.action = gone,
            specimen = specimen, as_read = value, scale_read = read_on, columns = columns,
            run = run, operator = operator, label_c = temp)
  d$property <- property
  if (any(side != 0L)) d$side <- side
  d$thickness_mm <- one_thickness(data)
  if (is.null(history)) {
    d$ref_k <- reference_temperature(temp_ref_c, temp_k, time)
  } else {
    rows <- if (is.null(gone)) seq_len(n) else seq_len(n)[-as.integer(gone)]
    step <- if (is.numeric(data[["step"]])) data[["step"]][rows]
    # the times of a bench page leave the heat-up out, which its log has
    timed <- columns$time %in% names(data) && !is.null(columns$log_time)
    d <- follow_history(d, history, log_s, temp_ref_c, rows, step, timed)
  }
  # as rolled is one condition, whatever temperature its rows name
  d$temp_k[if (is.null(history)) d$time_min == 0 else d$place == 0] <- d$ref_k
  if (!is.null(strain)) d <- with_strain(d, strain, strain_ref)
  # set temperatures and times that differ in rounding alone are one condition, in any order of rows
  for (key in if (is.null(history)) c("temp_k", "time_min") else "passed_min") {
    d[[key]] <- merge_near(d[[key]])
  }
  d$order <- condition_order(d)
  d
}

# Rows left out, with those of weight zero, which are as if they were not there; their number stays in
# the attribute `weightless`.
without_weight <- function(gone, weights) {
  zero <- setdiff(which(weights == 0), as.integer(gone))
  if (!length(zero)) return(gone)
  structure(sort(c(as.integer(gone), zero)), class = if (is.null(gone)) "exclude" else class(gone),
            weightless = length(zero))
}

# Values that are the same as the next lower one become that one. Twin: merge_near() in
# src/batch_readings.c.
merge_near <- function(x) {
  values <- sort(unique(x))
  near <- which(same_number(values[-1L], values[-length(values)]))
  if (!length(near)) return(x)
  merged <- values
  for (k in near) merged[k + 1L] <- merged[k]
  merged[match(x, values)]
}

# What makes a condition: temperature and time; along histories the number of the history
# (0: no anneal yet) and the minutes passed in it.
condition_keys <- function(d) {
  if (is.null(d$history)) list(d$temp_k, d$time_min) else list(d$place, d$passed_min)
}

condition_order <- function(d) {
  key <- condition_keys(d)
  if (!is.null(d$strain_ln)) {
    return(order(key[[1L]], key[[2L]], d$strain_ln, d$specimen_id, method = "radix"))
  }
  order(key[[1L]], key[[2L]], d$specimen_id, method = "radix")
}

# The readings as sa_call_softening() takes them.
solver_readings <- function(d) {
  key <- condition_keys(d)
  list(temp_k = key[[1L]], time = key[[2L]], hardness = d$hardness, weight = d$weights,
       specimen = d$specimen_id, order = d$order, history = d$history, strain = d$strain_ln,
       exponent_k = d$exponent_k)
}

# Some of the readings, in the order asked; `specimen_id` afresh where given.
take_readings <- function(d, take, specimen_id = d$specimen_id[take]) {
  for (field in c("temp_k", "time_min", "hardness", "weights", "place", "passed_min", "strain",
                  "strain_ln", "run", "operator", "label_c")) {
    if (!is.null(d[[field]])) d[[field]] <- d[[field]][take]
  }
  d$specimen_id <- specimen_id
  d$n <- length(take)
  d$order <- condition_order(d)
  d
}

reference_temperature <- function(temp_ref_c, temp_k, time) {
  if (!is.null(temp_ref_c)) {
    return(check_number(temp_ref_c, "temp_ref_c", -ZERO_CELSIUS, open = TRUE) + ZERO_CELSIUS)
  }
  after <- time > 0 & !is.na(temp_k)
  if (!any(after)) {
    abort("too_few", "there is no reading after an anneal", arg = "data",
          remedy = "Softening needs readings at times above zero.")
  }
  sum(after) / sum(1 / temp_k[after])
}

# The scale of each reading, as text; one value where all are alike.
reading_scales <- function(data, column, scale) {
  if (!column %in% names(data)) {
    if (scale == "as read") return("as read")
    abort("column", paste0("`data` has no column `", column, "` that names the hardness scale"),
          arg = column,
          remedy = paste0("Add it, for example data$", column, " <- \"HV\", name it with ",
                          "`reading_scale`, or fit the numbers with scale = \"as read\"."))
  }
  x <- as.character(data[[column]])
  if (anyNA(x)) {
    abort("missing", paste0("column `", column, "` must name a scale in every row"), arg = column,
          rows = which(is.na(x)), remedy = "Fill in the scale, such as HV, HRF or HR30T.")
  }
  if (all(x == x[1L])) x[1L] else x
}

# The scale of the fit; a dial named there is that of the readings, or that of the answer.
check_fit_scale <- function(scale) {
  dial <- if (is.character(scale) && length(scale) == 1L) known_scale(scale) else NA
  if (!is.na(dial) && !dial %in% c("HV", "as read") && !startsWith(dial, "HV")) {
    abort("argument", paste0("`scale` is the scale of the fit, 'HV' or 'as read', not '", scale, "'"),
          arg = "scale",
          remedy = paste0("Readings in ", dial, " say so in their column `scale` (or the one that ",
                          "`reading_scale` names) and are converted; scale = \"as read\" fits the numbers ",
                          "of the dial; time_to(fit, hardness =, scale = \"", dial, "\") answers in ", dial,
                          "."))
  }
  check_choice(scale, c("HV", "as read"), "scale")
}

# Hardness in the scale of the fit.
fit_scale <- function(value, read_on, scale, material, gone, n, side = NULL) {
  if (scale == "as read") {
    if (length(read_on) > 1L) {
      abort("scale", paste0("the readings are on more than one scale: ",
                            in_quotes(unique(read_on), " and ")), arg = "scale",
            remedy = "Use scale = \"HV\", or fit one scale at a time.")
    }
    return(list(hardness = value, scale = read_on))
  }
  if (identical(read_on, "HV")) return(list(hardness = value, scale = "HV"))
  hv <- to_vickers(value, read_on, material)$hv
  at <- which(side != 0L)
  scale_at <- rep_len(read_on, length(value))[at]
  if (length(at)) hv[at] <- limits_in_vickers(value[at], scale_at, material, side[at])
  bad <- which(is.na(hv))
  row_of <- function(k) if (is.null(gone)) k else seq_len(n)[-as.integer(gone)][k]
  if (length(bad)) {
    hv[bad] <- beyond_table(value, read_on, material, bad)
    near <- bad[!is.na(hv[bad])]
    bad <- setdiff(bad, near)
    if (length(near) && !length(bad)) {
      warn_continued(value[near], rep_len(read_on, length(value))[near], row_of(near), length(value),
                     material)
    }
  }
  if (length(bad)) {
    rows <- row_of(bad)
    abort("range", paste0("readings cannot be converted to HV: they lie outside the ", material,
                          " table, such as ", format(value[bad[1L]]), " ",
                          rep_len(read_on, length(value))[bad[1L]]),
          arg = "hardness", rows = rows,
          remedy = paste("Correct a slip of the pen; sound readings stay: fit with",
                         "outside_table = \"limit\" (at least, at most the end of the table), with",
                         "scale = \"as read\", or read these pieces on a scale that reaches so far.",
                         "Leaving them out biases the fit."))
  }
  list(hardness = hv, scale = "HV")
}

# Parameters of the model: kind for C, start, bounds, what is held and why.
softening_setup <- function(d, model, start, fixed, lower, upper) {
  known <- model_setup(model, !is.null(d$strain_ln), d$growth, exponent_names(d), isTRUE(d$soft_by_strain))
  terms <- known$terms
  p <- length(terms)
  after <- d$time_min > 0
  if (!any(after)) {
    abort("too_few", "no reading was taken after a time in the furnace", arg = "data",
          remedy = "Add readings after annealing; check the column of times.")
  }
  if (is.null(d$history)) {
    one_temperature <- same_number(max(d$temp_k[after]), min(d$temp_k[after]))
    log_time <- log(d$time_min[after])
  } else {
    one_temperature <- diff(range(d$clock$energy_slope)) <= 1e-12
    log_time <- d$clock$log_min
  }
  part <- term_rows(terms)
  low <- part$low
  high <- part$high
  value <- part$start
  rate <- part$rule == "times"
  low[rate] <- low[rate] - max(log_time)
  high[rate] <- high[rate] - min(log_time)
  value[rate] <- -sum(log_time) / length(log_time)
  hardest <- max(d$hardness)
  softest <- min(d$hardness)
  high <- high * ifelse(part$rule == "top", 10 * hardest, ifelse(part$rule == "softest", softest, 1))
  if (!is.null(d$property)) low[is_level(terms)] <- -hardest # the bound of a hardness is no bound of all
  value[1:2] <- c(hardest, softest)
  if (!is.null(d$strain_ln)) value[terms == "h_strain"] <- start_of_hardening(d)
  names(low) <- names(high) <- names(value) <- terms
  # bounds of nature and of the user are answers; the others are only the edge of the search
  natural <- c(part$natural | terms %in% names(lower), terms %in% names(upper))
  low <- named_values(lower, low, "lower")
  high <- named_values(upper, high, "upper")
  if (any(low >= high)) {
    abort("range", paste0("`lower` is not below `upper` for ",
                          in_quotes(terms[low >= high], " and ")), arg = "lower",
          remedy = "Correct the bounds, or fix the parameter with `fixed`.")
  }
  held <- integer(p)
  names(held) <- terms
  no_energy <- character()
  if (one_temperature) {
    no_energy <- setdiff(terms[is_energy(terms)], names(fixed))
    value[no_energy] <- 0
    held[no_energy] <- 1L
  }
  if (!is.null(start)) {
    start <- check_start(start)
    unknown <- setdiff(names(start), terms)
    absent <- setdiff(terms[held == 0L], c(names(start), names(fixed)))
    if (length(unknown) || length(absent)) {
      abort("argument", paste0("`start` must name the parameters ", in_quotes(terms, " and ")),
            arg = "start", remedy = "Name each once, or leave `start` out.")
    }
    value[names(start)] <- start
  }
  if (!is.null(fixed)) {
    value <- named_values(fixed, value, "fixed")
    held[names(fixed)] <- 1L
  }
  counts <- count_changes(d)
  check_enough(counts[["conditions"]], p - sum(held))
  list(kind = known$kind, terms = terms, start = as.double(value),
       lower = as.double(low), upper = as.double(high), natural = as.integer(natural),
       held = as.integer(held), no_energy = no_energy, use_start = !is.null(start),
       clusters_at_most = counts[["steps"]])
}

named_values <- function(x, into, arg) {
  if (is.null(x)) return(into)
  x <- check_start_like(x, arg)
  unknown <- setdiff(names(x), names(into))
  if (length(unknown)) {
    abort("argument", paste0("`", arg, "` names unknown parameters ", in_quotes(unknown, " and ")),
          arg = arg, remedy = paste0("The parameters are ", in_quotes(names(into), " and "), "."))
  }
  into[names(x)] <- x
  into
}

check_start_like <- function(x, arg) {
  if (!is.numeric(x) || is.null(names(x)) || anyNA(x) || anyNA(names(x))) {
    abort("argument", paste0("`", arg, "` must be a named numeric vector, not ", describe(x)),
          arg = arg, remedy = paste0("For example ", arg, " = c(n = 1)."))
  }
  x
}

# Numbers of conditions and of steps: sorted neighbours that differ in temperature or
# time, and those that differ in specimen too.
count_changes <- function(d) {
  o <- d$order
  n <- d$n
  if (n < 2L) return(c(conditions = n, steps = n))
  apart <- function(x) {
    a <- x[o]
    !same_number(a[-1L], a[-n])
  }
  key <- condition_keys(d)
  change <- apart(key[[1L]]) | apart(key[[2L]])
  if (!is.null(d$strain_ln)) change <- change | d$strain_ln[o][-1L] != d$strain_ln[o][-n]
  id <- d$specimen_id[o]
  1L + c(conditions = sum(change), steps = sum(change | id[-1L] != id[-n]))
}

check_enough <- function(m, estimated) {
  if (m < estimated) {
    abort("too_few", paste0("there are readings at ", m, " combinations of temperature and time ",
                            "for ", estimated, " parameters"), arg = "data",
          remedy = "Add steps, choose a simpler model, or fix parameters with `fixed`.")
  }
}
