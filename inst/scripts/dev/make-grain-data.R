# Makes the invented tables of the grain and recrystallisation pages: growth of grains and counted
# fractions of the Larkfield Bell Works, with the true values stated in those pages. Run in the
# package folder: Rscript inst/scripts/dev/make-grain-data.R

folder <- file.path("inst", "extdata")
set.seed(20, kind = "Mersenne-Twister", normal.kind = "Inversion", sample.kind = "Rejection")
gas <- 8.31446261815324

# growth: m = 2.6, Q = 118 kJ/mol, d0 = 0.009 mm, K = 6e-7 mm^2.6/min at 600 C; 5 % scatter
growth <- expand.grid(time_min = c(5, 15, 45, 135), temp_c = c(500, 550, 600, 650))
k <- 6e-7 * exp(-118000 / gas * (1 / (growth$temp_c + 273.15) - 1 / 873.15))
size <- (0.009^2.6 + k * growth$time_min)^(1 / 2.6)
growth <- data.frame(specimen = paste0("G", seq_len(nrow(growth))), temp_c = growth$temp_c,
                     time_min = growth$time_min,
                     grain_mm = signif(size * exp(rnorm(nrow(growth), sd = 0.05)), 3))
write.csv(growth, file.path(folder, "grain_bellbrass_growth.csv"), row.names = FALSE, quote = FALSE)

# fractions: n = 2.2, Q = 165 kJ/mol, k = 0.05 per min at 340 C; 60 points counted a specimen
counts <- expand.grid(time_min = c(3, 6, 12, 24, 48, 96), temp_c = c(310, 325, 340, 355))
k <- 0.05 * exp(-165000 / gas * (1 / (counts$temp_c + 273.15) - 1 / 613.15))
x <- 1 - exp(-(k * counts$time_min)^2.2)
counts <- data.frame(specimen = paste0("R", seq_len(nrow(counts))), temp_c = counts$temp_c,
                     time_min = counts$time_min,
                     fraction = round(rbinom(nrow(counts), 60, x) / 60, 4))
write.csv(counts, file.path(folder, "grain_bellbrass_fractions.csv"), row.names = FALSE,
          quote = FALSE)
