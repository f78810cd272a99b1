# The draws behind simulate_readings() and simulate_class(): effects first, always in the same
# order and number, then blunders. Effects of size zero are drawn too, so that a switch
# changes nothing but its own effect; those of furnaces and clocks, where there are any, come last.

BLUNDERS <- c("outlier", "mislabel", "warm", "forgotten")

# Blunders as counts named by kind.
check_blunders <- function(blunders) {
  if (!(is.null(blunders) || is.vector(blunders) || is.table(blunders)) || is.expression(blunders) ||
        anyNA(blunders)) {
    abort("argument", paste0("`blunders` must name blunders or count them by name, not ",
                             describe(blunders)), arg = "blunders",
          remedy = paste0("Choose from ", in_quotes(BLUNDERS), "."))
  }
  if (is.character(blunders)) blunders <- table(blunders)
  counts <- stats::setNames(integer(length(BLUNDERS)), BLUNDERS)
  if (length(blunders) == 0L) return(counts)
  unknown <- if (is.null(names(blunders))) "(unnamed)" else setdiff(names(blunders), BLUNDERS)
  if (length(unknown)) {
    abort("argument", paste0("`blunders` names unknown kinds ", in_quotes(unknown, " and ")),
          arg = "blunders",
          remedy = paste0("Choose from ", in_quotes(BLUNDERS), "."))
  }
  number <- check_numeric(as.vector(unclass(blunders)), "blunders", 0, 1000)
  if (any(number != round(number))) {
    abort("argument", "`blunders` must be counts", arg = "blunders", remedy = "Give whole numbers.")
  }
  counts[names(blunders)] <- as.integer(number)
  counts
}

# list(data, clean, true_hv, blunders): the table, its hardness without blunders, the true value of each
# row, and the table of blunders.
draw_readings <- function(truth, bench) {
  steps <- bench$steps
  sd <- bench$sd
  n <- length(bench$row)
  piece <- match(steps$specimen, unique(steps$specimen))
  scale_id <- match(bench$scale, unique(bench$scale))
  step_hv <- true_hardness(truth, steps$temp_c, steps$time_min)[, 1L]
  by_piece <- stats::rnorm(max(piece)) * sd[["specimen"]]
  by_step <- stats::rnorm(nrow(steps)) * sd[["step"]]
  by_scale <- stats::rnorm(max(scale_id)) * sd[["machine"]]
  by_operator <- stats::rnorm(max(1L, length(bench$operators))) * sd[["operator"]]
  scatter <- by_piece[piece][bench$row] + by_step[bench$row] + stats::rnorm(n) * sd[["reading"]]
  hv <- moved_hardness(truth, steps, sd, step_hv)[bench$row] + scatter
  offset <- by_scale[scale_id] + if (is.null(bench$operator)) 0 else by_operator[bench$operator]
  clean <- on_dial(hv, offset, bench)
  slipped <- draw_blunders(hv, step_hv, offset, clean, bench)
  data <- data.frame(steps[bench$row, STEP_COLUMNS], reading = bench$reading, hardness = slipped$hardness,
                     scale = bench$scale, row.names = NULL)
  if (!is.null(bench$operators)) data$operator <- bench$operators[bench$operator]
  if (bench$blunders[["warm"]] > 0L) data$note <- slipped$note
  list(data = data, clean = clean, true_hv = step_hv[bench$row], blunders = slipped$table)
}

STEP_COLUMNS <- c("specimen", "temp_c", "step", "time_min")

# Hardness of the steps in furnaces that are off, each step a little longer or shorter than meant; without
# such errors nothing is drawn.
moved_hardness <- function(truth, steps, sd, step_hv) {
  if (sd[["temp_c"]] == 0 && sd[["time_min"]] == 0) return(step_hv)
  run <- match(steps$furnace, unique(steps$furnace))
  off_c <- stats::rnorm(max(run)) * sd[["temp_c"]]
  late <- ifelse(steps$time_min > 0, stats::rnorm(nrow(steps)) * sd[["time_min"]], 0)
  late <- stats::ave(late, steps$specimen, FUN = cumsum)
  true_hardness(truth, pmax(steps$temp_c + off_c[run], 1 - ZERO_CELSIUS),
                pmax(steps$time_min + late, 0))[, 1L]
}

# What the dial shows for a hardness in HV.
on_dial <- function(hv, offset, bench) {
  if (any(hv <= 0)) {
    abort("range", "a drawn hardness is not above 0 HV", arg = "parameters",
          remedy = "Raise the hardness levels or lower the scatter.")
  }
  shown <- tryCatch(convert_hardness(hv, "HV", bench$scale, bench$material),
                    softanneal_warning_outside = function(w) {
                      abort("range", paste0("a drawn hardness (", format(min(hv), digits = 4),
                                            " to ", format(max(hv), digits = 4),
                                            " HV) is outside the ", bench$material, " table"),
                            arg = "parameters",
                            remedy = "Change hardness levels, scatter or scale.")
                    })
  shown <- shown + offset
  if (bench$resolution > 0) shown <- round(shown / bench$resolution) * bench$resolution
  if (any(shown < 0 | shown > scale_top(bench$scale))) {
    abort("range", "a drawn hardness is outside its scale", arg = "scale",
          remedy = "Choose another scale for this hardness.")
  }
  shown
}

draw_blunders <- function(hv, step_hv, offset, clean, bench) {
  steps <- bench$steps
  note <- rep(NA_character_, length(hv))
  free <- rep(TRUE, nrow(steps))
  list_of <- list()
  add <- function(blunder, step, reading, what) {
    list_of[[length(list_of) + 1L]] <<- data.frame(
      blunder = blunder, specimen = steps$specimen[step], temp_c = steps$temp_c[step],
      time_min = steps$time_min[step], reading = reading, what = what)
    free[step] <<- FALSE
  }
  times <- function(kind) seq_len(bench$blunders[[kind]])
  for (k in times("outlier")) {
    step <- choose_one(which(free), "outlier")
    at <- which(bench$row == step)
    row <- at[choose_one(seq_along(at), "outlier")]
    middle <- (max(step_hv) + min(step_hv)) / 2
    size <- stats::runif(1, 8, 14) * max(bench$sd[["reading"]], 1)
    change <- if (hv[row] > middle) -size else size
    hv[row] <- hv[row] + change
    add("outlier", step, bench$reading[row], paste0("reading off by ", sprintf("%+.0f", change),
                                                    " HV"))
  }
  for (k in times("warm")) {
    step <- choose_one(which(free & steps$time_min > 0), "warm")
    size <- stats::runif(1, 4, 7)
    at <- bench$row == step
    hv[at] <- hv[at] - size
    note[at] <- "still warm when read"
    add("warm", step, NA_integer_, paste0("read warm, ", sprintf("%.0f", size), " HV too soft"))
  }
  changed <- bench$blunders[["outlier"]] + bench$blunders[["warm"]] > 0L
  hardness <- if (changed) on_dial(hv, offset, bench) else clean
  for (k in times("mislabel")) {
    step <- choose_one(exchangeable(steps, step_hv, free), "mislabel")
    first <- which(bench$row == step)
    second <- which(bench$row == step + 1L)
    hardness[c(first, second)] <- hardness[c(second, first)]
    add("mislabel", step, NA_integer_, paste0("swapped with ",
                                              format(steps$time_min[step + 1L]), " min"))
    free[step + 1L] <- FALSE
  }
  for (k in times("forgotten")) {
    step <- choose_one(which(free), "forgotten")
    at <- which(bench$row == step)
    row <- at[choose_one(seq_along(at), "forgotten")]
    hardness[row] <- NA_real_
    add("forgotten", step, bench$reading[row], "reading not written down")
  }
  none <- data.frame(blunder = character(), specimen = character(), temp_c = double(),
                     time_min = double(), reading = integer(), what = character())
  list(hardness = hardness, note = note, table = do.call(rbind, c(list(none), list_of)))
}

# Steps whose exchange with the next one of the same specimen shows: a tenth of the whole
# softening between them.
exchangeable <- function(steps, step_hv, free) {
  last <- nrow(steps)
  if (last < 2L) return(integer())
  i <- seq_len(last - 1L)
  big <- abs(diff(step_hv)) > 0.1 * (max(step_hv) - min(step_hv))
  which(steps$specimen[i] == steps$specimen[i + 1L] & free[i] & free[i + 1L] & big)
}

choose_one <- function(from, blunder) {
  if (!length(from)) {
    abort("too_few", paste0("there is no step left for the blunder '", blunder, "'"), arg = "blunders",
          remedy = "Ask for fewer blunders, or add steps.")
  }
  from[sample.int(length(from), 1L)]
}
