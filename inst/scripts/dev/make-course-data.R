# Makes the invented tables of the vignette `joining` and of inst/course, and carries over a published one.
# Larkfield Bell Works, brass: recrystallisation n = 1.6, Q = 140 kJ/mol, half of it in 12 min at 330 deg C;
# as-rolled 160 HV, soft 78 HV; recovery takes 16 HV of the grains that are not recrystallised, by
# 1 - exp(-t/2 min) at 330 deg C with the same Q, so hardness reaches its half earlier than the fraction. Run
# in the package folder with the package installed: Rscript inst/scripts/dev/make-course-data.R

library(softanneal)
seed <- function(x) {
  set.seed(x, kind = "Mersenne-Twister", normal.kind = "Inversion", sample.kind = "Rejection")
}
save_csv <- function(x, name) {
  con <- file(file.path("inst", "extdata", name), "wb")
  on.exit(close(con))
  utils::write.csv(x, con, row.names = FALSE, quote = grep("source", names(x)), na = "")
}
k_330 <- log(2)^(1 / 1.6) / 12
rate <- function(temp_c) arrhenius_rate(temp_c, k_330, 330, 140)

# one piece for each condition: readings, one tensile test, fractions by two methods
seed(41)
pieces <- expand.grid(time_min = c(2, 4, 8, 16, 32, 64), temp_c = c(310, 330, 350))
pieces <- rbind(data.frame(time_min = 0, temp_c = c(310, 330, 350)), pieces)
pieces$specimen <- sprintf("P%02d", seq_len(nrow(pieces)))
x <- jmak_fraction(pieces$time_min, rate(pieces$temp_c), 1.6)
recovered <- 16 * (1 - exp(-pieces$time_min * rate(pieces$temp_c) / k_330 / 2))
hv <- 78 * x + (160 - recovered) * (1 - x) + rnorm(nrow(pieces))
readings <- pieces[rep(seq_len(nrow(pieces)), each = 3), c("specimen", "temp_c", "time_min")]
readings$hardness <- round(rep(hv, each = 3) + rnorm(nrow(readings), sd = 1.2), 1)
readings$scale <- "HV"
save_csv(readings, "join_readings.csv")
save_csv(data.frame(specimen = pieces$specimen,
                    yield_mpa = round(-184 + 3.96 * hv + rnorm(length(hv), sd = 14)),
                    uts_mpa = round(130 + 2.55 * hv + rnorm(length(hv), sd = 9))), "join_tensile.csv")
anneal <- which(pieces$time_min > 0)
fraction <- function(sd) round(pmin(pmax(x[anneal] + rnorm(length(anneal), sd = sd), 0), 1), 3)
n <- length(anneal)
save_csv(data.frame(specimen = rep(pieces$specimen[anneal], 2), method = rep(c("EBSD", "XRD"), each = n),
                    fraction = c(fraction(0.02), fraction(0.07)), sd = rep(c(0.02, 0.07), each = n)),
         "join_fractions.csv")
soft <- which(x > 0.99)
grain_mm <- 0.012 * (1 + 0.08 * log(pieces$time_min[soft]))
save_csv(data.frame(specimen = rep(pieces$specimen[soft], each = 3), field = 1:3,
                    intersections = rpois(3 * length(soft), rep(500 / 200 / (grain_mm / 1.12), each = 3)),
                    line_mm = 500, magnification = 200), "join_counts.csv")

# calorimeter: the peak of dX/dt while the sample is heated at a constant rate, 0.4 K of scatter; two
# heating rates were noted in kelvin
peak_k <- function(k_per_min) {
  temp <- seq(500, 900, 0.05)
  theta <- cumsum(rate(temp - 273.15)) * 0.05 / k_per_min
  temp[which.max(rate(temp - 273.15) * theta^0.6 * exp(-theta^1.6))]
}
heated <- data.frame(rate_k_min = c(2.5, 5, 10, 20, 40))
heated$peak <- vapply(heated$rate_k_min, peak_k, 0) + rnorm(5, sd = 0.4)
heated$unit <- c("C", "C", "C", "K", "K")
heated$peak <- round(heated$peak - ifelse(heated$unit == "C", 273.15, 0), 1)
save_csv(heated, "join_dsc.csv")

# the file of a logger with clock times, from 8:00: two of the pieces of the first example of the vignette in
# steps of 2 and 4 min more, a point each 20 s, decimal commas, and a broken contact as 9999
logged <- expand.grid(time_min = c(2, 4, 8), temp_c = c(330, 350))
logged$specimen <- paste0("bell-", logged$temp_c)
logged <- anneal_history(logged, thickness_mm = 0.95)
clock <- seq(0, max(logged$time_s), 20)
channel <- function(name) {
  at <- logged$specimen == name
  sprintf("%.1f", approx(logged$time_s[at], logged$temp_c[at], clock, rule = 2, ties = min)$y)
}
rows <- paste(format(as.POSIXct("2026-11-30 08:00", tz = "UTC") + clock, "%d.%m.%Y;%H:%M:%S"),
              chartr(".", ",", channel("bell-330")), chartr(".", ",", channel("bell-350")), sep = ";")
rows[25] <- sub("[0-9,]+$", "9999,0", rows[25])
writeLines(c("Furnace 2, logger 17", "Date;Time;CH 1 (C);CH 2 (C)", rows), "inst/extdata/join_log.csv")

# hardness of strips after rolling: 58 HV annealed, saturation 172 HV, strain constant 0.55; 1.5 HV scatter
seed(42)
strain <- c(0, 0.05, 0.1, 0.2, 0.3, 0.45, 0.6, 0.8, 1)
save_csv(data.frame(effective_strain = strain,
                    hardness = round(172 - 114 * exp(-strain / 0.55) + rnorm(length(strain), sd = 1.5), 1),
                    scale = "HV"), "course_rolled.csv")
# the same brass annealed after three reductions: the rate goes with strain^2.2
work <- expand.grid(time_min = c(0, 4, 8, 16, 32, 64, 128), temp_c = c(310, 350), strain = c(0.35, 0.6, 1))
x <- jmak_fraction(work$time_min, rate(work$temp_c) * (work$strain / 0.6)^2.2, 1.6)
rolled <- 172 - 114 * exp(-work$strain / 0.55)
work$hardness <- round(78 * x + rolled * (1 - x) + rnorm(nrow(work), sd = 1.5), 1)
work$scale <- "HV"
work$specimen <- paste0("e", work$strain, "-", work$temp_c)
save_csv(work[c("specimen", "strain", "temp_c", "time_min", "hardness", "scale")], "course_strains.csv")
# published rates of rolled copper, the reciprocal of the time to half of the recrystallisation (row AR1 of
# worked_arrhenius.csv)
save_csv(data.frame(temp_c = c(135, 119, 113, 102, 88, 43),
                    rate_per_min = c(0.105, 0.044, 0.029, 0.0125, 0.0042, 0.000038),
                    source = paste("Decker B F, Harker D (1950) Trans. AIME 188, 887, as tabulated in",
                                   "Callister, Materials Science and Engineering (from memory)")),
         "course_copper_rates.csv")
