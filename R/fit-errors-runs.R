# Which steps share one error of the furnace temperature, and what is stated of it.

# Furnace run of each step. As rolled a specimen has met no furnace: its steps join any run of it.
error_runs <- function(d, first, time, piece, key) {
  after <- time > 0
  temp <- paste0(format(signif(d$label_c[first], 10), trim = TRUE), " C")
  named <- if (is.null(d$run)) temp else as.character(d$run[first])
  label <- if (is.null(d$run)) temp else at_settings(named, d$label_c[first], after)
  run <- match(label, unique(label[after]))
  lost <- which(!after)
  own <- match(piece[lost], piece[after])
  run[lost] <- run[after][own]
  alone <- is.na(run)
  run[alone] <- length(unique(label[after])) + seq_len(sum(alone))
  labels <- unique(label[after])
  scale <- rep(1, length(first))
  if (!is.null(d$u_temp)) scale <- stated_scale(d$u_temp, label, named, d$specimen[first], after)
  list(run = run, insertion = match(paste(run, time), unique(paste(run, time))), labels = labels,
       assumed = is.null(d$run), scale = scale)
}

# A furnace set anew errs anew: temperatures under one label that are farther apart than those measured in
# one setting are runs of their own.
SETTING_APART_K <- 5
at_settings <- function(label, temp_c, after) {
  for (own in split(which(after), label[after])) {
    each <- sort(unique(temp_c[own]))
    setting <- cumsum(c(TRUE, diff(each) > SETTING_APART_K - 1e-6))
    if (max(setting) == 1L) next
    at <- vapply(split(each, setting), mean, 0)[setting[match(temp_c[own], each)]]
    label[own] <- paste0(label[own], " at ", format(signif(at, 4), trim = TRUE, drop0trailing = TRUE), " C")
  }
  label
}

# Stated standard uncertainty of each step: one number, or named by furnace run, furnace or specimen.
stated_scale <- function(u, run, furnace, specimen, after) {
  if (length(u) == 1L && is.null(names(u))) return(rep(as.double(u), length(run)))
  out <- rep(NA_real_, length(run))
  for (label in list(run, furnace, sub(" C$", "", run), as.character(specimen))) {
    if (length(label)) out <- ifelse(is.na(out), u[label], out)
  }
  if (anyNA(out[after])) {
    abort("argument", paste0("`u_temp_c` names no value for ",
                             in_quotes(unique(run[after][is.na(out[after])]))),
          arg = "u_temp_c", remedy = "Name each furnace run or each specimen, or give one number.")
  }
  out[!after] <- 1
  unname(out)
}

check_u_temp <- function(u) {
  if (is.null(u)) return(NULL)
  names <- names(u)
  u <- check_numeric(u, "u_temp_c", 0, 100, remedy = paste0(
    "Give the standard uncertainty of the furnace temperature in K (the expanded uncertainty U of a ",
    "calibration certificate divided by its k)."))
  if (!length(u) || (length(u) > 1L && is.null(names))) {
    abort("argument", "several values of `u_temp_c` must be named", arg = "u_temp_c",
          remedy = "Name them by furnace run or by specimen.")
  }
  names(u) <- names
  u
}
