# Readings just beyond the end of a conversion table. A bench reads 94.5 HRB where the table ends at 93.5: the
# reading is sound, and leaving it out would bias the fit. Fits continue the table by its last slope, and say
# so; convert_hardness() does not.

# How far, in points of the scale read, and over how many points the slope of the end is taken.
BEYOND_POINTS <- 2
SLOPE_POINTS <- 4

# HV of the readings in rows `at`, NA where they lie farther out than BEYOND_POINTS or have no table.
beyond_table <- function(x, scale, material, at) {
  out <- rep(NA_real_, length(at))
  scale <- rep_len(as.character(scale), length(x))[at]
  x <- x[at]
  table <- table_of(material)
  for (one in unique(scale)) {
    rows <- which(scale == one)
    curve <- scale_pairs(one, "HV", table, material)$curves[[1L]]
    if (is.null(curve)) next
    out[rows] <- continued(curve[[1L]], curve[[2L]], x[rows])
  }
  out
}

continued <- function(from, to, x) {
  n <- length(from)
  slope <- function(end, inner) {
    diff(stats::approx(from, to, c(inner, end))$y) / (end - inner)
  }
  low <- to[1L] + (x - from[1L]) * slope(from[1L], min(from[1L] + SLOPE_POINTS, from[n]))
  high <- to[n] + (x - from[n]) * slope(from[n], max(from[n] - SLOPE_POINTS, from[1L]))
  ifelse(x < from[1L] & x >= from[1L] - BEYOND_POINTS & low > 0, low,
         ifelse(x > from[n] & x <= from[n] + BEYOND_POINTS, high, NA_real_))
}

# One warning for readings that were converted beyond their table.
warn_continued <- function(value, scale, rows, total, material) {
  warn("assumption", paste0(
    count(length(rows), "reading"), " of ", total, ", such as ", format(value[1L]), " ", scale[1L],
    ", lie up to ", BEYOND_POINTS, " points beyond the ", material, " table and are converted by its ",
    "last slope (", in_rows(rows), "). They stay in the fit; better read such pieces on a scale that ",
    "reaches so far, or fit with outside_table = \"limit\" (at least, at most the end of the table) or ",
    "scale = \"as read\"."), n = length(rows), rows = rows)
}
