# What the fits of the grain and master-curve files share: column names, tables of new
# conditions, an activation energy that one temperature leaves open, warnings beyond the data.

check_free_names <- function(columns, terms) {
  clash <- intersect(columns, terms)
  if (length(clash)) {
    abort("column", paste0("column ", in_quotes(clash, " and "), " has the name of a parameter"),
          arg = clash[1L], remedy = "Rename it.")
  }
  twice <- unique(columns[duplicated(columns)])
  if (length(twice)) {
    abort("argument", paste0("column ", in_quotes(twice, " and "), " is named for two purposes"),
          arg = twice[1L], remedy = "Name a different column for each.")
  }
}

temperature_column <- function(data, column, arg = "data") {
  numeric_column(data, column, arg, "degree_C", -ZERO_CELSIUS, open = TRUE, na = TRUE,
                 remedy = "Temperatures are in degrees Celsius, above -273.15.")
}

time_column <- function(data, column, arg = "data", unit = "min", open = FALSE) {
  numeric_column(data, column, arg, unit, 0, open = open, na = TRUE,
                 remedy = paste0("Times are ", if (open) "above zero" else "zero or more", ", in ",
                                 if (unit == "h") "hours." else "minutes."))
}

mean_inverse_temperature <- function(temp_c, temp_ref_c) {
  if (!is.null(temp_ref_c)) return(check_temperature(check_number(temp_ref_c, "temp_ref_c"),
                                                     "temp_ref_c"))
  1 / mean(1 / (temp_c + ZERO_CELSIUS)) - ZERO_CELSIUS
}

one_temperature <- function(temp_c) length(unique(signif(temp_c, 12))) < 2L

# ln k = ln_k_ref + q_kj_mol e in the temperature column, as an expression; without the energy
# for one temperature. Twin: inverse_temperature() in R/kinetics.R.
rate_expression <- function(temp, temp_ref_c, energy = TRUE, rate = quote(ln_k_ref)) {
  if (!energy) return(rate)
  bquote(.(rate) - q_kj_mol * .(1000 / GAS_CONSTANT) *
           (1 / (.(as.name(temp)) + .(ZERO_CELSIUS)) - .(1 / (temp_ref_c + ZERO_CELSIUS))))
}

# Fits without telling yet; the caller completes the object and then calls warn_fit().
# The weights go in as they are: no column of the data may take their name.
quiet_fit <- function(..., weights = NULL) {
  suppressWarnings(rlang::inject(fit_least_squares(..., weights = !!weights)),
                   classes = "softanneal_warning_fit")
}

# Adds the activation energy that readings at one temperature leave open.
add_open_energy <- function(fit, term = "q_kj_mol") {
  p <- length(fit$coefficients)
  name <- c(names(fit$coefficients), term)
  widen <- function(m, by) {
    out <- matrix(by, p + 1L, p + 1L, dimnames = list(name, name))
    out[seq_len(p), seq_len(p)] <- m
    out
  }
  fit$vcov <- widen(fit$vcov, NA_real_)
  fit$cov_unscaled <- widen(fit$cov_unscaled, 0)
  fit$coefficients <- stats::setNames(c(fit$coefficients, NA_real_), name)
  fit$states <- stats::setNames(c(fit$states, "fixed"), name)
  if (!is.null(fit$conditions)) fit$conditions$jacobian <- cbind(fit$conditions$jacobian, 0)
  fit
}

# Rows of new conditions at a temperature other than the only one fitted.
other_temperature <- function(object, temp_c) {
  if (!is.na(object$coefficients[["q_kj_mol"]])) return(rep(FALSE, length(temp_c)))
  !is.na(temp_c) & !same_temperature(temp_c, object$temp_ref_c)
}

# A prediction with some rows taken out: NA and one warning that says why.
blank_prediction <- function(out, rows, why) {
  if (!any(rows)) return(out)
  bare <- function(x) {
    if (is.matrix(x)) x[rows, ] <- NA_real_ else x[rows] <- NA_real_
    x
  }
  if (is.list(out)) out[c("fit", "se.fit")] <- lapply(out[c("fit", "se.fit")], bare)
  else out <- bare(out)
  warn("outside", paste0(sum(rows), " of ", length(rows), " predictions are NA: ", why, " (",
                         in_rows(which(rows)), ")."), n = sum(rows), rows = which(rows))
  out
}

# One warning for new values outside the range of the data. `values` and `ranges` are named
# lists alike; names are shown to the reader.
warn_beyond <- function(values, ranges) {
  beyond <- Map(function(x, r) !is.na(x) & is_outside(x, r), values, ranges)
  outside <- which(Reduce(`|`, beyond))
  if (length(outside)) {
    seen <- vapply(names(ranges), \(name) paste0(sub("deg C", degree_c(), name, fixed = TRUE), " ",
                                                 format(ranges[[name]][1L], digits = 4),
                                                 " to ", format(ranges[[name]][2L], digits = 4)),
                                                 "")
    warn("extrapolation", paste0(length(outside), " of ", length(values[[1L]]),
                                 " conditions are outside the range of the data (",
                                 paste(seen, collapse = ", "),
                                 "; ", in_rows(outside), ")."), n = length(outside), rows = outside)
  }
}

# New conditions as plain columns in the units of the fit. `readers` is a named list of
# functions (data, column, arg) that check and convert one column.
plain_newdata <- function(newdata, columns, readers) {
  check_data(newdata, "newdata", rows = FALSE)
  out <- Map(function(column, read) read(newdata, column, "newdata"), columns, readers)
  as.data.frame(stats::setNames(out, columns), optional = TRUE)
}

# "0.0231 (se 0.0012)" for captions and headers.
with_error <- function(value, se, unit = "") {
  paste0(format_by_error(value, se), if (!is.na(se)) paste0(" \u00b1 ", format_by_error(se, se)),
         if (nzchar(unit)) paste0(" ", unit))
}
