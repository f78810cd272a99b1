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

# Names of more than 18 letters without the words that all begin or end with, else by letters and a key, of
# which a caption holds a dozen.
short_names <- function(names, most = 18L) {
  long <- nchar(names) > most
  if (!any(long)) return(list(short = names, key = NULL))
  for (end in c("end", "begin")) {
    part <- without_shared(names, end == "end")
    if (nzchar(part$shared) && all(nchar(part$short) <= most) && !anyDuplicated(part$short)) {
      return(list(short = part$short, key = paste0("All names ", end, " with '", part$shared, "'.")))
    }
  }
  short <- names
  short[long] <- paste0("P", seq_len(sum(long)))
  clash <- short[long] %in% names[!long]
  short[long][clash] <- paste0(short[long][clash], "*")
  key <- paste(short[long], "=", names[long])
  if (length(key) > 12L) {
    key <- c(key[1:11], paste("and", length(key) - 11L, "more in the order of the groups"))
  }
  list(short = short, key = paste0("Names: ", paste(key, collapse = "; "), "."))
}

# Names without the words at their end (or beginning) that all have; one word at least stays.
without_shared <- function(names, at_end) {
  turned <- function(w) if (at_end) rev(w) else w
  words <- lapply(strsplit(names, " ", fixed = TRUE), turned)
  shared <- 0L
  while (length(names) > 1L && all(lengths(words) > shared + 1L) &&
         length(unique(vapply(words, `[`, "", shared + 1L))) == 1L) shared <- shared + 1L
  joined <- function(w) paste(turned(w), collapse = " ")
  list(short = vapply(words, function(w) joined(utils::tail(w, length(w) - shared)), ""),
       shared = joined(utils::head(words[[1L]], shared)))
}

# Lines of a caption; NULL without any.
caption_of <- function(...) {
  parts <- c(...)
  if (length(parts)) paste(parts, collapse = "\n")
}

# p-values as they are written: never as zero.
p_words <- function(p) {
  ifelse(is.na(p), "\u2013", ifelse(p < 0.001, "p < 0.001", paste("p =", format_quantity(p, 2L))))
}
