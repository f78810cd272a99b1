# Several cold reductions in one fit, an exponent of its own for each temperature, and grain
# growth: columns, parameters and places. Strain enters as ln(strain / reference); a place is a row
# of coordinate of temperature, that logarithm, and the number of the exponent from 0 (as C takes it).

EXPONENT_CHOICES <- c("shared", "by temperature")

exponent_names <- function(d) {
  if (is.null(d$exponent_k)) return(NULL)
  paste0("n_", format(signif(d$exponent_k - ZERO_CELSIUS, 6), trim = TRUE, drop0trailing = TRUE))
}

# Strains of the readings, checked; missing ones are found with the other columns.
strain_column <- function(data, column) {
  strain <- numeric_column(data, column, lower = 0, open = TRUE, na = TRUE, remedy = paste(
    "Strains of cold work are above zero; metal that was not worked does not recrystallise,",
    "so leave such rows out."))
  share <- which(strain < 1)
  if (column %in% REDUCTION_COLUMNS) {
    if (length(share) && length(share) == sum(!is.na(strain))) {
      abort("range", paste0("column `", column, "` holds ", format(strain[share[1L]]),
                            " and nothing of 1 % or more; a fraction?"), arg = column, rows = share,
            remedy = "Give the reduction of the thickness in per cent.")
    }
    return(effective_strain_of(strain, column))
  }
  if (named_reduction(column) && length(share)) {
    abort("column", paste0("column `", column, "` holds ", format(strain[share[1L]]),
                           ", which may be a share, a strain or per cent"), arg = column, rows = share,
          remedy = "Call it `reduction_pct` and give per cent, or `strain` and give the strain.")
  }
  ask_percent(strain, paste0("column `", column, "` holds"), column)
}

# Columns of the thickness reduction in per cent: their effective strain is fitted (plane strain, as in
# cold_work()).
REDUCTION_COLUMNS <- c("reduction_pct", "cold_work_pct")

effective_strain_of <- function(reduction_pct, column) {
  bad <- which(reduction_pct >= 100)
  if (length(bad)) {
    abort("range", paste0("column `", column, "` must be below 100 %, not ", format(reduction_pct[bad[1L]])),
          arg = column, rows = bad, remedy = "Give the reduction of the thickness in per cent.")
  }
  -2 / sqrt(3) * log1p(-reduction_pct / 100)
}

# A strain of 6 is a reduction by 99.5 per cent: more is per cent, and asked.
ask_percent <- function(strain, subject, arg) {
  percent <- which(strain > 6)
  if (!length(percent)) return(strain)
  first <- strain[percent[1L]]
  abort("range", paste0(subject, " ", format(first), ", which is no strain; ", format(first), " %?"),
        arg = arg, rows = if (length(strain) > 1L) percent,
        remedy = paste0("Give the effective strain, 2 / sqrt(3) * log(100 / (100 - reduction_pct))",
                        if (first < 100) paste0(", ", format(effective_strain_of(first, arg), digits = 3),
                                                " for ", format(first), " %"),
                        ", or name a column `reduction_pct`; see `cold_work()`."))
}

# Strains of new data: the column of the fit, or a reduction in per cent in its place.
strain_of_newdata <- function(fit, newdata) {
  name <- strain_name(fit)
  if (is.null(name)) return(NULL)
  given <- intersect(REDUCTION_COLUMNS, names(newdata))
  if (name %in% names(newdata) || !length(given)) {
    strain <- numeric_column(newdata, name, "newdata", lower = 0, open = TRUE, na = TRUE,
                             remedy = "Give the strain of cold work, above zero.")
    return(ask_percent(strain, paste0("column `", name, "` of `newdata` holds"), name))
  }
  strain_column(newdata, given[1L])
}

# Adds strain to the readings. Strains are told apart to ten digits.
with_strain <- function(d, strain, strain_ref) {
  strain <- signif(strain, 10)
  after <- d$time_min > 0
  groups <- unique(strain[after])
  if (length(groups) < 2L) {
    abort("too_few", "all readings after an anneal have one strain", arg = d$columns$strain,
          remedy = "Leave `strain` out, or add readings of another cold reduction.")
  }
  slight <- which(strain < 0.05)
  if (length(slight)) {
    warn("assumption", paste0(
      length(slight), " of ", d$n, " readings have strains below 0.05: so little cold work ",
      "lies near the minimum strain for recrystallisation, where the power law fails."),
      n = length(slight), rows = slight)
  }
  strain_ref <- check_number(strain_ref, "strain_ref", 0, open = TRUE, null = TRUE)
  d$strain_ref <- if (is.null(strain_ref)) exp(mean(log(groups))) else strain_ref
  d$strain <- strain
  d$strain_ln <- log(strain / d$strain_ref)
  d
}

# Adds the temperatures that have their own exponent.
with_exponents <- function(d) {
  temps <- different_temperatures(d$temp_k[d$time_min > 0])
  if (length(temps) < 2L) {
    abort("too_few", "all readings after an anneal are at one temperature", arg = "n_by",
          remedy = "Use n_by = \"shared\".")
  }
  if (length(temps) > most_exponents()) {
    abort("argument", paste0("there are ", length(temps), " temperatures, more than the ",
                             most_exponents(), " exponents a fit can have"), arg = "n_by",
          remedy = "Use n_by = \"shared\", or fit fewer temperatures.")
  }
  d$exponent_k <- temps
  d
}

# Adds the exponent of grain growth, NULL for none.
with_growth <- function(d, growth_exponent) {
  if (is.null(growth_exponent)) return(d)
  d$growth <- check_number(growth_exponent, "growth_exponent", 2, 4, whole = TRUE)
  d
}

check_groups_at_all <- function(strain, n_by, history) {
  if (is.null(history) || (!strain && n_by == "shared")) return(invisible())
  arg <- if (strain) "strain" else "n_by"
  abort("argument", paste0("`", arg, "` cannot be combined with `history`"), arg = arg,
        remedy = "Fit along histories one reduction at a time and with one exponent.")
}

# Start of the exponent of worked hardness: line of the logarithm of the hardest reading of each
# strain (before the anneal, where there is one).
start_of_hardening <- function(d) {
  before <- d$time_min == 0
  use <- if (length(unique(d$strain_ln[before])) > 1L) before else rep(TRUE, d$n)
  top <- tapply(d$hardness[use], d$strain_ln[use], max)
  x <- as.double(names(top))
  slope <- stats::lm.fit(cbind(1, x), log(as.double(top)))$coefficients[[2L]]
  min(max(slope, 0), 2)
}

is_grouped <- function(fit) !is.null(fit$readings$strain_ln) || !is.null(fit$readings$exponent_k)

# Places for C: a vector of coordinates for an ordinary fit, else a matrix; NA where there is no
# exponent for the temperature.
fit_places <- function(fit, temp_c, strain = NULL) {
  e <- as.double(inverse_temperature(temp_c, fit$temp_ref_c))
  d <- fit$readings
  if (!is_grouped(fit)) return(e)
  n <- length(e)
  x <- if (is.null(d$strain_ln)) numeric(n) else log(rep_len(as.double(strain), n) / d$strain_ref)
  which_n <- if (is.null(d$exponent_k)) numeric(n) else {
    known <- d$exponent_k - ZERO_CELSIUS
    vapply(temp_c, function(t) {
      k <- which(abs(known - t) <= 1e-6)
      if (length(k)) k[1L] - 1 else NA_real_
    }, 0)
  }
  matrix(c(e, x, which_n), n, 3L)
}

place_rows <- function(place, rows) {
  if (is.matrix(place)) place[rows, , drop = FALSE] else place[rows]
}

known_places <- function(place) {
  if (is.matrix(place)) !is.na(rowSums(place)) else !is.na(place)
}

# Columns ln(strain / reference) and exponent for sa_call_meeting_interval().
group_part <- function(place) {
  if (is.matrix(place)) place[, 2:3, drop = FALSE] else matrix(0, length(place), 2L)
}

# Strains asked for: all that were read by default; NULL for a fit without strain.
check_strain <- function(fit, strain, one = FALSE) {
  d <- fit$readings
  if (is.null(d$strain)) {
    if (!is.null(strain)) {
      abort("argument", "the fit has no strain", arg = "strain",
            remedy = "Leave `strain` out, or name its column in fit_softening().")
    }
    return(NULL)
  }
  if (is.null(strain)) {
    if (one) {
      abort("argument", "the fit covers several strains, and `strain` is missing", arg = "strain",
            remedy = "Give the strain of the cold work in question.")
    }
    return(read_strains(fit))
  }
  ask_percent(check_numeric(strain, "strain", 0, open = TRUE, length = if (one) 1L), "`strain` is", "strain")
}

read_strains <- function(fit) {
  d <- fit$readings
  sort(unique(d$strain[d$time_min > 0]))
}

# A call that needs one curve for all temperatures and one set of parameters; where `growth` is
# TRUE, without grain growth.
check_ungrouped <- function(fit, arg = "fit", growth_exponent = FALSE) {
  if (is_grouped(fit)) {
    abort("model", "this needs a fit of one cold reduction with one exponent", arg = arg,
          remedy = "Fit without `strain` and with n_by = \"shared\".")
  }
  if (growth_exponent && !is.null(fit$readings$growth)) {
    abort("model", "this needs a fit without grain growth", arg = arg,
          remedy = "Fit without `growth_exponent`, to readings before the grains grow.")
  }
}

check_one_exponent <- function(fit, arg = "fit") {
  if (!is.null(fit$readings$exponent_k)) {
    abort("model", "a fit with an exponent for each temperature cannot predict between them",
          arg = arg, remedy = "Fit with n_by = \"shared\".")
  }
}

# Hardness before the anneal at a strain.
worked_hardness <- function(fit, strain = NULL) {
  if (is.null(strain)) return(fit$par[["h_worked"]])
  fit$par[["h_worked"]] * (strain / fit$readings$strain_ref)^fit$par[["h_strain"]]
}

# Hardness when soft at a strain.
soft_hardness <- function(fit, strain = NULL) {
  if (is.null(strain) || !"h_soft_strain" %in% names(fit$par)) return(fit$par[["h_soft"]])
  fit$par[["h_soft"]] * (strain / fit$readings$strain_ref)^fit$par[["h_soft_strain"]]
}

# The name of the column of strains in the readings, in newdata and in answers.
strain_name <- function(fit) fit$readings$columns$strain

strain_label <- function(strain, all = strain) {
  text <- function(x) paste("Strain", format(signif(x, 4), trim = TRUE, drop0trailing = TRUE))
  factor(vapply(strain, text, ""), unique(vapply(sort(unique(all)), text, "")))
}

# What print() says of groups.
group_sentences <- function(fit) {
  d <- fit$readings
  c(if (!is.null(d$strain)) {
    paste0("Cold work: strains ",
           paste(format(signif(read_strains(fit), 3), trim = TRUE), collapse = ", "),
           "; ln_k_ref and h_worked hold at strain ", format(signif(d$strain_ref, 3)))
  }, if (!is.null(d$growth)) {
    paste0("Recrystallised metal softens further by grain growth, exponent m = ", d$growth)
  }, if (!is.null(d$exponent_k)) "Exponent n of its own for each temperature")
}

# The thickness of the sheet, where the table has one for all rows.
one_thickness <- function(data) {
  x <- data[["thickness_mm"]]
  x <- if (is.numeric(x) && !is.object(x)) unique(x[!is.na(x)])
  if (length(x) == 1L && is.finite(x) && x > 0) as.double(x)
}
