# Hardness that rises with annealing: two steps written in exchange, or readings on another specimen.

# Neighbouring steps of a specimen at one temperature and scale whose mean rises by more than scatter
# explains: that of the readings, and that of the other steps about falling curves. Each scale for
# itself.
find_rises <- function(r, alpha) {
  first <- r$cell$first
  cell <- group_statistics(r$h, r$cell$id, length(first))
  use <- which(r$time[first] > 0 & cell$n > 0L & !is.na(r$temp[first]))
  if (length(use) < 2L) return(NULL)
  at <- first[use]
  steps <- data.frame(cell = use, row = at, scale = r$scale[at], time = r$time[at],
                      series = group_rows(list(r$specimen[at], r$temp[at], r$scale[at]))$id,
                      mean = cell$mean[use], n = cell$n[use], sd = cell$sd[use])
  steps <- steps[order(steps$series, steps$time), ]
  resolution <- find_resolution(r$h)
  risen <- do.call(rbind, lapply(split(steps, steps$scale), risen_pairs, alpha, resolution))
  if (!NROW(risen)) return(NULL)
  worst <- risen[which.max(risen$later - risen$earlier), ]
  i <- steps$row[match(worst$from, steps$cell)]
  j <- steps$row[match(worst$to, steps$cell)]
  finding("warning", "rise", which(r$cell$id %in% c(risen$from, risen$to)),
          paste0("harder after more annealing (", r$specimen[i], ", ", format(r$temp[i]),
                 " degrees Celsius: ", format(worst$earlier, digits = 4), " after ",
                 format(r$time[i]), " min, ", format(worst$later, digits = 4), " after ",
                 format(r$time[j]), " min)"),
          paste("annealing softens: two steps were perhaps written in exchange, or read on another",
                "specimen; only a slight rise at a low temperature is real"),
          "Compare with the sheet and the labels of the specimens; swap steps only if these confirm it.")
}

# Pairs of one scale: cells and means, by two-sided t tests at alpha over all pairs (Bonferroni).
risen_pairs <- function(steps, alpha, resolution) {
  i <- which(diff(steps$series) == 0L)
  rise <- steps$mean[i + 1L] - steps$mean[i]
  if (!any(rise > 0)) return(NULL)
  level <- 1 - alpha / (2 * length(i))
  df <- sum(steps$n - 1L)
  square <- if (df > 0L) sum((steps$n - 1L) * steps$sd^2, na.rm = TRUE) / df else 0
  se <- sqrt(max(square, resolution^2 / 12) * (1 / steps$n[i] + 1 / steps$n[i + 1L]))
  i <- i[rise > 0 & rise > stats::qt(level, if (df > 0L) df else Inf) * se]
  if (!length(i)) return(NULL)
  series <- split(steps$mean, steps$series)
  about <- vapply(series, about_falling, c(square = 0, df = 0))
  told <- vapply(i, function(j) {
    own <- as.character(steps$series[j])
    pair <- j + 0:1 - match(steps$series[j], steps$series) + 1L
    others <- rowSums(about) - about[, own] + about_falling(series[[own]][-pair])
    if (others[["df"]] == 0) return(TRUE)
    step_se <- sqrt(2 * others[["square"]] / others[["df"]])
    # below 4 degrees of freedom t would let nothing through
    steps$mean[j + 1L] - steps$mean[j] > stats::qt(level, max(others[["df"]], 4)) * step_se
  }, NA)
  i <- i[told]
  data.frame(from = steps$cell[i], to = steps$cell[i + 1L], earlier = steps$mean[i],
             later = steps$mean[i + 1L])
}

# Sum of squares of step means about the falling curve nearest to them, and its degrees of freedom
# (steps less levels): their quotient estimates the variance of a step (Robertson, Wright and
# Dykstra 1988, Order Restricted Statistical Inference).
about_falling <- function(mean) {
  if (length(mean) < 2L || all(diff(mean) < 0)) return(c(square = 0, df = 0))
  falling <- -stats::isoreg(-mean)$yf
  c(square = sum((mean - falling)^2), df = length(mean) - length(unique(falling)))
}
