# Clock durations in the cells of a time column: hours, minutes and seconds, or what a header such as
# "time (h:mm)" says. Results in min.

# What the unit of a header says of its clock: "h:m", "m:s", "h:m:s"; NULL for no clock.
clock_of_header <- function(unit) {
  part <- c(h = "(h{1,2}|hours?|hrs?|std|stunden)", m = "(m{1,2}|mins?|minutes?|minuten)",
            s = "(s{1,2}|secs?|seconds?|sek|sekunden)")
  for (clock in c("h:m", "m:s", "h:m:s")) {
    shape <- paste(part[strsplit(clock, ":", fixed = TRUE)[[1L]]], collapse = " ?: ?")
    if (grepl(paste0("^", shape, "$"), unit)) return(clock)
  }
  NULL
}

# Minutes of the cells that are a clock, NA for others. Without a clock in the header only three parts
# tell what they are. A spreadsheet keeps 0:04 as a time of 30 or 31 December 1899, which is h:mm:ss.
clock_minutes <- function(text, clock = NULL) {
  if (identical(clock, "h:m") || identical(clock, "h:m:s")) {
    text <- sub("^1899-12-3[01] ", "", text)
  }
  out <- rep(NA_real_, length(text))
  three <- grep("^[0-9]{1,3}:[0-5][0-9]:[0-5][0-9]$", text)
  two <- if (!is.null(clock) && clock != "h:m:s") grep("^[0-9]{1,4}:[0-5][0-9]$", text)
  sums <- function(at, weight) {
    vapply(strsplit(text[at], ":", fixed = TRUE), \(p) sum(as.numeric(p) * weight), 0)
  }
  out[three] <- sums(three, c(60, 1, 1 / 60))
  out[two] <- sums(two, if (identical(clock, "h:m")) c(60, 1) else c(1, 1 / 60))
  out
}

# Numbers in a column whose header announces a clock may be of either unit.
refuse_numbers_beside_clock <- function(number, text, name, clock, place) {
  plain <- which(!is.na(number) & number != 0)
  if (!length(plain)) return(invisible())
  abort("column", paste0("column `", name, "` is a clock by its header, and holds '", text[plain[1L]], "'"),
        arg = name, rows = plain, cells = text[plain], where = place_text(place, plain),
        remedy = paste0("Write these cells as ",
                        c("h:m" = "h:mm", "m:s" = "mm:ss", "h:m:s" = "h:mm:ss")[[clock]],
                        ", or all of them as numbers under a header such as time (min)."))
}
