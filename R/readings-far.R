# Readings far from the others of their step, by the scatter seen in the other steps of the scale: with
# five readings a step's own sd cannot show more than 1.8 sd (Grubbs), and flags nothing at a level
# corrected for all steps.

find_far <- function(r, alpha) {
  far <- pooled_outliers(r$h, r$cell$id, length(r$cell$first), r$scale, alpha)
  far <- far[far$outlier, ]
  if (!NROW(far)) return(NULL)
  far <- far[order(far$row), ]
  most <- utils::head(order(-abs(far$statistic)), 3L)
  shown <- vapply(most, function(k) {
    i <- far$row[k]
    slip <- likely_slip(r$h[i], far$others[k], far$sd[k])
    paste0(r$specimen[i], ", ", format(r$temp[i]), " degrees Celsius, ", format(r$time[i]), " min",
           if (!is.null(r$reading) && !is.na(r$reading[i])) paste0(", reading ", r$reading[i]), ": ",
           format(r$h[i]), " where the others have ", format(far$others[k], digits = 3),
           if (nzchar(slip)) paste0("; ", slip))
  }, "")
  finding("warning", "outlier", far$row,
          paste0("reading far from the others of its step (",
                 paste(shown, collapse = "; "), if (nrow(far) > 3L) "; ...", ")"),
          paste0("t test against the scatter of the other steps, two-sided, alpha = ", format(alpha),
                 " over all readings together"),
          "Look at the indentation and the note; leave it out only for a cause you can name.")
}

# The likeliest slip of the pen behind a reading, named only where it explains the number far better than
# a reading that went astray for any other reason: ratio of the densities at the number found, the other
# reasons as a Cauchy distribution about the others with a half-width of 8 sd.
SLIP_RATIO <- 3

likely_slip <- function(value, others, sd) {
  text <- format(value, digits = 15L)
  digits <- strsplit(text, "", fixed = TRUE)[[1L]]
  numeral <- which(digits %in% 0:9)
  number <- function(d) suppressWarnings(as.numeric(paste(d, collapse = "")))
  swapped <- vapply(seq_len(length(numeral) - 1L), function(i) {
    d <- digits
    d[numeral[i + 0:1]] <- d[numeral[i + 1:0]]
    number(d)
  }, 0)
  typed <- unlist(lapply(numeral, function(i) vapply(0:9, function(v) {
    d <- digits
    d[i] <- as.character(v)
    number(d)
  }, 0)))
  # the true number was one of these; each slip may hit any of `ways` places
  kinds <- list("decimal point?" = list(x = c(value * 10, value / 10, value * 100), ways = 1),
                "digits exchanged?" = list(x = setdiff(swapped, value), ways = length(numeral)),
                "typed digit?" = list(x = setdiff(typed, value), ways = 9 * length(numeral)))
  sd <- max(sd, 1e-3 * abs(others), 1e-8)
  astray <- stats::dcauchy(value, others, 8 * sd)
  # a slip to another power of ten moves the number with it: densities per relative change
  ratio <- vapply(kinds, \(k) sum(stats::dnorm(k$x, others, sd)) / k$ways / astray, 0)
  ratio[["decimal point?"]] <- ratio[["decimal point?"]] * 4
  best <- which.max(ratio)
  if (ratio[[best]] < SLIP_RATIO) "" else names(kinds)[best]
}
