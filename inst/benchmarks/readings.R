# Long tables of readings: how much longer the functions of this room take than one
# pass of base R over the same table (a grouped mean by rowsum), in one run on one machine.
# Run: Rscript inst/benchmarks/readings.R [rows]

library(softanneal)
rows <- as.numeric(c(commandArgs(TRUE), 1e6)[1L])
groups <- ceiling(rows / 5)
set.seed(1)
big <- data.frame(specimen = rep(sprintf("S%06d", seq_len(ceiling(groups / 10))), each = 50,
                                 length.out = rows),
                  temp_c = 330, time_min = rep(1:10, each = 5, length.out = rows),
                  hardness = round(rnorm(rows, 80, 1), 1), scale = "HRF",
                  reading = rep(1:5, length.out = rows))
seconds <- function(code) system.time(code)[["elapsed"]]
base <- seconds(rowsum(big$hardness, paste(big$specimen, big$time_min), reorder = FALSE))
each <- c(read = seconds(read_readings(big)), summarise = seconds(summarise_readings(big)),
          summarise_hv = seconds(summarise_readings(big, in_hv = TRUE)),
          outliers = seconds(find_outliers(big)),
          check = seconds(check_readings(big)))
print(data.frame(what = names(each), times_base = round(each / base, 2)), row.names = FALSE)
cat("base:", base, "s for", rows, "rows\n")
