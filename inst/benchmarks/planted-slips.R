# Slips planted in simulated benches, and how many check_readings() finds; and findings on sound benches.
# Rscript inst/benchmarks/planted-slips.R [BENCHES [SEED [SCATTER]]]: SCATTER multiplies the standard
# deviations of bench_errors(). A bench: 3 to 5 temperatures from 280 to 420 degrees Celsius, at least 20 K
# apart, one piece each, 6 or 7 steps that double, 3, 5 or 6 readings on HV, HRF, HR30T or HRB with a dial of
# 0.5 or 1, and a brass of its own: Q 110 to 200 kJ/mol, n 0.8 to 2, half soft at 330 degrees Celsius in 5 to
# 60 min.
library(softanneal)
given <- as.numeric(commandArgs(TRUE))
benches <- if (length(given)) given[1L] else 200
seed <- if (length(given) > 1L) given[2L] else 1
scatter <- if (length(given) > 2L) given[3L] else 1

draw_bench <- function(readings = sample(c(3, 5, 6), 1L)) {
  repeat {
    temp <- sort(sample(seq(280, 420, 10), sample(3:5, 1L)))
    if (min(diff(temp)) >= 20) break
  }
  simulate_readings(
    c(h_worked = stats::runif(1, 150, 170), h_soft = stats::runif(1, 75, 90),
      t50_rex_min = exp(stats::runif(1, log(5), log(60))), n = stats::runif(1, 0.8, 2),
      q_kj_mol = stats::runif(1, 110, 200)),
    temp_c = temp, time_min = c(0, sample(2:5, 1L) * 2^(0:sample(5:6, 1L))), n_readings = readings,
    scale = sample(c("HV", "HRF", "HR30T", "HRB"), 1L), sd = scatter * bench_errors(),
    resolution = sample(c(0.5, 1), 1L))
}

one_piece <- function(d) d$specimen == sample(unique(d$specimen), 1L)
SLIPS <- list(
  "hours for minutes in one piece" = function(d) {
    own <- one_piece(d)
    transform(d, time_min = ifelse(own, time_min / 60, time_min))
  },
  "steps not added up in one piece" = function(d) {
    own <- one_piece(d)
    total <- sort(unique(d$time_min))
    transform(d, time_min = ifelse(own, c(0, diff(total))[match(time_min, total)], time_min))
  },
  "labels of two temperatures exchanged" = function(d) {
    temp <- sort(unique(d$temp_c))
    two <- sample(length(temp), 2L)
    transform(d, temp_c = replace(temp, two, temp[rev(two)])[match(temp_c, temp)])
  },
  "one piece of other stock (12 % softer or harder)" = function(d) {
    # cold worked less or more: its hardness before the furnace, and with it the whole drop
    own <- one_piece(d)
    hv <- suppressWarnings(convert_hardness(d$hardness, d$scale, "HV"))
    hv <- hv * sample(c(0.88, 1.12), 1L)
    back <- suppressWarnings(convert_hardness(hv, "HV", d$scale[1L]))
    d$hardness[own] <- round(back[own] * 2) / 2
    d[!is.na(d$hardness), ]
  },
  "HRB labelled HV in one piece" = function(d) {
    own <- one_piece(d)
    hv <- suppressWarnings(convert_hardness(d$hardness, d$scale, "HV"))
    d$hardness <- ifelse(own, round(2 * suppressWarnings(convert_hardness(hv, "HV", "HRB"))) / 2, round(hv))
    d$scale <- "HV"
    d[!is.na(d$hardness), ]
  },
  "Kelvin for Celsius in one piece" = function(d) {
    own <- one_piece(d)
    transform(d, temp_c = ifelse(own, temp_c + 273, temp_c))
  },
  "Fahrenheit for Celsius in one piece" = function(d) {
    own <- one_piece(d)
    transform(d, temp_c = ifelse(own, temp_c * 1.8 + 32, temp_c))
  },
  "Kelvin for Celsius in all" = function(d) transform(d, temp_c = temp_c + 273),
  "Fahrenheit for Celsius in all" = function(d) transform(d, temp_c = temp_c * 1.8 + 32))
ACROSS <- c("times", "specimens", "temperatures", "other stock", "other scale")

found <- function(d, checks) any(check_readings(d)$check %in% checks)
# a bench that reads beyond its conversion table is drawn anew
try_bench <- function(...) {
  repeat {
    d <- tryCatch(draw_bench(...), softanneal_error = function(e) NULL)
    if (!is.null(d)) return(as.data.frame(d))
  }
}
set.seed(seed)
clean <- replicate(benches, try_bench(), simplify = FALSE)
show <- function(what, rate) cat(sprintf("%-52s %5.1f %%\n", what, 100 * mean(rate)))
cat(benches, "benches, seed", seed, "scatter", scatter, "\n")
alarm <- vapply(clean, \(d) any(check_readings(d)$check %in% ACROSS), NA)
show("clean: any of these findings", alarm)
for (one in ACROSS) show(paste0("  clean: ", one), vapply(clean, found, NA, one))
for (slip in names(SLIPS)) show(slip, vapply(clean, \(d) found(SLIPS[[slip]](d), ACROSS), NA))
for (n in c(3, 5, 6)) {
  own <- replicate(benches, try_bench(n), simplify = FALSE)
  show(paste("clean: outlier,", n, "readings"), vapply(own, found, NA, "outlier"))
  show(paste("clean: duplicate, not numbered,", n, "readings"),
       vapply(own, \(d) found(d[names(d) != "reading"], "duplicate"), NA))
  show(paste("one reading 8 sd off,", n, "readings"), vapply(own, function(d) {
    at <- sample(nrow(d), 1L)
    # sd of one reading here, in points: from steps of the same piece
    within <- stats::aggregate(hardness ~ specimen + time_min, d, stats::var)$hardness
    d$hardness[at] <- d$hardness[at] + sample(c(-8, 8), 1L) * sqrt(mean(within, na.rm = TRUE))
    f <- check_readings(d)
    any(vapply(f$rows[f$check == "outlier"], \(r) at %in% r, NA))
  }, NA))
}
