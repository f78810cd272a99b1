# Words for counts and lists, numbers as text, and the value of a missing argument: used by all.

count <- function(n, noun, plural = paste0(noun, "s")) {
  paste0(thousands(n), " ", if (n == 1) noun else plural)
}

# "A, B, C and 9 more"
listed <- function(x, most = 8L) {
  shown <- vapply(utils::head(x, most), format, "")
  more <- if (length(x) > most) paste0(" and ", length(x) - most, " more")
  paste0(paste(shown, collapse = ", "), more)
}

`%or%` <- function(x, y) if (is.null(x)) y else x

# The signs of temperature and of an interval, as far as the locale can show them: for what is printed.
# Results hold "deg C" and "+-", so that they do not depend on the locale.
can_show_signs <- function() any(unlist(l10n_info()[c("UTF-8", "Latin-1")]))

degree_c <- function() if (can_show_signs()) "\u00b0C" else "deg C"

plus_minus <- function() if (can_show_signs()) "\u00b1" else "+-"

in_degrees <- function(text) paste(text, degree_c())

# A value to the second digit of its standard error, or to `digits` significant ones.
format_by_error <- function(x, se, digits = 4L) {
  mapply(function(v, s) {
    if (is.na(v)) return("NA")
    if (is.na(s) || s <= 0) return(format(signif(v, digits), digits = digits))
    places <- max(0L, 1L - as.integer(floor(log10(s))))
    if (places > 12L) return(format(v, digits = digits))
    formatC(round(v, places), format = "f", digits = places)
  }, x, se, USE.NAMES = FALSE)
}

format_quantity <- function(x, digits = 3L) {
  ifelse(is.na(x), "NA", ifelse(is.infinite(x), ifelse(x > 0, "Inf", "-Inf"),
                                ifelse(x != 0 & (abs(x) < 1e-4 | abs(x) >= 1e7),
                                       formatC(x, digits = digits - 1L, format = "e"),
                                       formatC(signif(x, digits), format = "fg", width = 1L))))
}

# A share as per cent; what rounding leaves below zero is 0, not -0.
whole_percent <- function(share) {
  paste(formatC(round(100 * share) + 0, format = "f", digits = 0), "%")
}

plain_numbers <- function(x) vapply(x, function(v) format(v, scientific = FALSE, trim = TRUE), "")
