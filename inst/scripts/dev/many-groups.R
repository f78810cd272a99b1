# Readings of many groups in parquet files, for the checks by hand that need them; sourced by these.

# Writes `n` groups (columns coil, temp_c, time_min, scale, hardness) into files of `folder`, whose number is
# returned; one in a thousand was never annealed, so that results hold missing values.
write_many_groups <- function(folder, n, files = 20L) {
  dir.create(folder, recursive = TRUE)
  set.seed(1)
  rows <- expand.grid(reading = 1:2, time_min = c(0, 4, 8, 16, 32), temp_c = c(305, 335),
                      coil = seq_len(n / files), KEEP.OUT.ATTRS = FALSE)
  for (file in seq_len(files)) {
    draw <- function(low, high) stats::runif(n / files, low, high)[rows$coil]
    power <- draw(1, 2.5)
    rate <- log(2)^(1 / power) / draw(8, 20) *
      exp(-draw(100, 220) / 8.314462618e-3 * (1 / (rows$temp_c + 273.15) - 1 / 593.15))
    soft <- draw(70, 90)
    d <- data.frame(coil = sprintf("c%02d-%06d", file, rows$coil), temp_c = rows$temp_c,
                    time_min = ifelse(rows$coil %% 1000 == 0, 0, rows$time_min), scale = "HV")
    d$hardness <- soft + (draw(140, 180) - soft) * exp(-(rate * rows$time_min)^power) +
      stats::rnorm(nrow(d))
    nanoparquet::write_parquet(d, file.path(folder, sprintf("%02d.parquet", file)))
  }
  files
}
