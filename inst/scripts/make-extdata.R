# Rebuilds the example data of the invented workshop in inst/extdata, bit for bit. Run from the
# top of the package:
#   Rscript inst/scripts/make-extdata.R
# True values stand here and on the help page example_data(). The published set of tungsten is
# not made here but carried over as it is.

if (!"softanneal" %in% loadedNamespaces()) pkgload::load_all(".", quiet = TRUE)
if (!exists("folder", inherits = FALSE)) folder <- "inst/extdata"

seed <- function(x) {
  set.seed(x, kind = "Mersenne-Twister", normal.kind = "Inversion", sample.kind = "Rejection")
}
# one line end on every system
save_csv <- function(x, name) {
  con <- file(file.path(folder, name), "wb")
  on.exit(close(con))
  utils::write.csv(x, con, row.names = FALSE, quote = FALSE, na = "")
}
pieces <- c("bell-A", "bell-B", "bell-C", "bell-D")

# Readings: levels in HV, half of the recrystallisation at 330 degrees Celsius in 12 min,
# exponent 1.6, 140 kJ/mol; scatter 1.5 HV between heat treatments and 1.5 HV between readings;
# the dial is read to 0.5. The first three readings of a step are HRF, the others HR30T.
steps_and_readings <- softanneal::bench_errors(step = 1.5, reading = 1.5, only = c("step", "reading"))
readings <- softanneal::simulate_readings(
  c(h_worked = 160, h_soft = 78, t50_rex_min = 12, n = 1.6, q_kj_mol = 140), temp_ref_c = 330,
  temp_c = c(290, 330, 370, 410), time_min = c(0, 4, 8, 16, 32, 64, 128), n_readings = 6,
  scale = rep(c("HRF", "HR30T"), each = 3), sd = steps_and_readings,
  resolution = 0.5, specimen = pieces, seed = 70302)
save_csv(as.data.frame(readings), "bellbrass_readings.csv")

# Rolling: four passes of two strips, spread w/w0 = (t0/t)^0.03, volume constant; read with
# micrometer (sd 0.005 mm), caliper (0.03 mm) and rule (0.3 mm), noted to 0.01, 0.1 and 0.5 mm.
seed(70301)
thickness <- c(1.60, 1.40, 1.22, 1.07, 0.95)
rolling <- do.call(rbind, lapply(c("strip-1", "strip-2"), function(strip) {
  width <- 25 * (thickness[1] / thickness)^0.03
  length <- 150 * thickness[1] * width[1] / (thickness * width)
  data.frame(specimen = strip, pass = 0:4,
             thickness_mm = round(thickness + rnorm(5, sd = 0.005), 2),
             width_mm = round(width + rnorm(5, sd = 0.03), 1),
             length_mm = round(2 * (length + rnorm(5, sd = 0.3))) / 2)
}))
save_csv(rolling, "bellbrass_rolling.csv")

# History: piece bell-B of 0.95 mm, oxidised (emissivity 0.6), 8 min in the furnace of 330
# degrees Celsius with a door dip of 9, then in air; logged every 10 s to 0.1 with sd 0.3.
seed(70303)
hot <- softanneal::heat_up(0.95, softanneal::door_opening(330), until_min = 8, emissivity = 0.6,
                           support = "free", specimen = "bell-B")
# the history goes on from the heating
log <- softanneal::cool_down(after = hot, until_min = 6, support = "free")$history
at <- seq(0, 840, 10)
save_csv(data.frame(specimen = "bell-B", time_s = at,
                    temp_c = round(approx(log$time_s, log$temp_c, at)$y +
                                     rnorm(length(at), sd = 0.3), 1)), "bellbrass_history.csv")

# Messy: a sheet as it comes from the bench. Wide, semicolons and decimal commas, a title line,
# units in the headers, spellings of the scale, a blank line, words in number cells, and blunders:
# an outlier, two steps written down in exchange, a warm piece, a forgotten reading.
messy <- softanneal::simulate_readings(
  c(h_worked = 160, h_soft = 78, t50_rex_min = 12, n = 1.6, q_kj_mol = 140), temp_ref_c = 330,
  temp_c = c(310, 350, 390), time_min = c(0, 5, 10, 20, 40, 80), n_readings = 5, scale = "HR30T",
  sd = steps_and_readings, blunders = c("outlier", "mislabel", "warm", "forgotten"),
  specimen = pieces[1:3], seed = 70309)
wide <- messy[messy$reading == 1, ]
box <- matrix(sub(".", ",", ifelse(is.na(messy$hardness), "", format(messy$hardness)),
                  fixed = TRUE), ncol = 5, byrow = TRUE)
box[9, 2] <- "n/a"
box[14, 4] <- paste0(box[14, 4], "?")
spelling <- rep_len(c("HR30TW", "hr 30 t", "HR30T"), nrow(wide))
lines <- paste(wide$specimen, wide$temp_c, wide$time_min, box[, 1], box[, 2], box[, 3], box[, 4],
               box[, 5], spelling, ifelse(is.na(wide$note), "", wide$note), sep = ";")
con <- file(file.path(folder, "bellbrass_messy.csv"), "wb")
writeLines(c("Larkfield Bell Works (invented), bench sheet 14;;;;;;;;;",
             "Piece;Furnace temp (C);Time (min);r1;r2;r3;r4;r5;Scale;Note",
             lines[1:6], ";;;;;;;;;", lines[-(1:6)]), con)
close(con)
