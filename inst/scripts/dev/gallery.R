# Contact sheets of all plots, to look at: easy and hard data (nine temperatures, one, strains, histories,
# open parameters, long names, 40 groups), drawn for a journal column, a page and a projector, or under
# other themes. Needs the package installed.
#   Rscript inst/scripts/dev/gallery.R [FOLDER [SIZE ...]]   SIZE: column, page, projector, bw or dark

suppressMessages({
  library(softanneal)
  library(ggplot2)
})
folder <- c(commandArgs(TRUE), "gallery")[1]
dir.create(folder, showWarnings = FALSE, recursive = TRUE)
quiet <- function(x) suppressWarnings(suppressMessages(x))
data_of <- function(file) read.csv(system.file("extdata", file, package = "softanneal"))
plots <- list()
# a plot that the data do not allow is refused by the package and left out
add <- function(name, code) {
  p <- tryCatch(quiet(code), softanneal_error = function(e) {
    message(name, ": ", conditionMessage(e))
    NULL
  })
  if (!is.null(p)) plots[[name]] <<- p
}
bell <- example_data("bellbrass_readings")
nine <- simulate_readings(temp_c = seq(280, 440, 20), seed = 3)
# the names of the pieces are longer than any legend or panel likes
long <- bell
long$specimen <- paste(long$specimen, "of the long strip from the far end of coil 7, second day")
strains <- do.call(rbind, lapply(c(0.3, 0.6, 0.9), function(e) {
  d <- as.data.frame(simulate_readings(seed = 10 * e))
  d$time_min <- d$time_min * (0.6 / e)^2
  d$specimen <- paste(d$specimen, e)
  transform(d, strain = e)
}))
history <- do.call(rbind, lapply(c(A = 300, B = 340), function(t) {
  data.frame(temp_c = t - (t - 20) * exp(-seq(0, 80, 1)), time_s = 60 * seq(0, 80, 1))
}))
history$specimen <- rep(c("A", "B"), each = 81)
along <- data.frame(specimen = rep(c("A", "B"), each = 7), temp_c = rep(c(300, 340), each = 7),
                    log_time = rep(c(0, 120, 300, 600, 1200, 2400, 4800), 2), scale = "HV",
                    hardness = c(160, 159, 155, 150, 140, 120, 95, 160, 145, 120, 95, 82, 80, 79))
along$time_min <- along$log_time / 60
# the end of a dial: what lies above 150 HV was read as at least 150
limited <- simulate_readings(temp_c = c(300, 330, 360, 390), scale = "HV", resolution = 0.1, seed = 4)
limited <- transform(as.data.frame(limited), limit = ifelse(hardness > 150 & time_min > 0, "at least", NA),
                     hardness = ifelse(time_min > 0, pmin(hardness, 150), hardness))
fits <- quiet(list(
  limits = fit_softening(limited),
  easy = fit_softening(bell), nine = fit_softening(nine),
  half = fit_softening(bell[bell$temp_c >= 370, ]), one = fit_softening(bell[bell$temp_c == 330, ]),
  rich = fit_softening(bell, model = "recovery_jmak"), fixed = fit_softening(bell, fixed = c(n = 1.6)),
  strains = fit_softening(strains, strain = strain),
  history = fit_softening(along, history = history, log_time = log_time),
  tungsten = fit_softening(read_readings(system.file("extdata", "tungsten_isothermal.csv",
                                                     package = "softanneal"), specimen = "plate"))))
for (k in names(fits)) {
  f <- fits[[k]]
  add(paste0(k, "-curves"), autoplot(f))
  add(paste0(k, "-avrami"), plot_avrami(f))
  add(paste0(k, "-arrhenius"), plot_arrhenius(f))
  add(paste0(k, "-residuals"), plot_residuals(f))
  add(paste0(k, "-residual-map"), plot_residual_map(f))
  add(paste0(k, "-collapse"), plot_collapse(f))
  add(paste0(k, "-map"), plot_hardness_map(f, strain = if (k == "strains") 0.6))
  add(paste0(k, "-determined"), autoplot(identifiability(f)))
  add(paste0(k, "-components"), autoplot(components_of_error(f)))
}
add("prediction", autoplot(fits$easy, band = "prediction", log_time = FALSE))
wide <- list(temp_c = c(250, 450), time_min = c(1, 1000))
add("window", autoplot(process_window(fits$easy, c(95, 125), temp_c = wide$temp_c,
                                      time_min = wide$time_min, n_points = 41)))
add("window-half", autoplot(process_window(fits$half, c(95, 125), temp_c = wide$temp_c,
                                           time_min = wide$time_min, n_points = 31)))
add("profile", autoplot(profile(fits$easy)))
add("bootstrap", autoplot(resample_fit(fits$fixed, n_resamples = 40, seed = 1)))
add("readings", autoplot(bell))
add("readings-nine", autoplot(nine))
add("readings-long", autoplot(long))
add("steps", autoplot(summarise_readings(bell)))
plan <- quiet(plan_anneal(c(300, 350), c(5, 10, 20, 40, 80), session_min = 150))
many_steps <- quiet(plan_anneal(seq(280, 440, 20), c(4, 8, 16, 32, 64, 128), session_min = 480))
add("timetable", autoplot(plan))
add("timetable-nine", autoplot(many_steps))
add("expected", autoplot(plan, what = "expected"))
add("expected-nine", autoplot(many_steps, what = "expected"))
add("layout", autoplot(plan$layout))
log <- rbind(door_opening(410, dip_c = 9, specimen = "small dip"),
             door_opening(410, dip_c = 40, specimen = "large dip"))
add("history", plot_history(log, target_c = 410, tolerance_c = 5))
add("log", plot_furnace_log(log, 410, tolerance_c = 5))
six <- do.call(rbind, lapply(1:6, function(i) {
  door_opening(400, dip_c = 5 * i, specimen = paste("a long name of a strip, furnace", i))
}))
add("history-six", plot_history(six, target_c = 400, tolerance_c = 5))
add("log-six", plot_furnace_log(six, 400, tolerance_c = 5))
add("heat", autoplot(heat_up(c(0.95, 1.6), furnace_c = 410, specimen = c("0.95 mm", "1.60 mm"))))
add("soften", autoplot(soften(history, fits$easy)))
add("isochronal", plot_isochronal(fits$easy, time_min = c(10, 60)))
many <- do.call(rbind, lapply(1:40, function(i) {
  transform(as.data.frame(bell), coil = sprintf("coil %02d of the long campaign", i),
            time_min = time_min * exp(sin(2 * i)))
}))
some <- fit_each(many, by = coil)
add("groups", plot_groups(some))
add("each", autoplot(some))
odd <- transform(many[many$coil < "coil 04", ], coil = paste(substr(coil, 6, 7), letters[1:3][
  as.integer(substr(coil, 6, 7))], "and a name that ends in another way", substr(coil, 6, 7)))
add("groups-names", plot_groups(fit_each(odd, by = coil)))
add("sketch", plot_grain_sketch(2, seed = 1))
add("sketch-many", plot_grain_sketch(3.3, fraction = c(0.1, 0.3, 0.5, 0.7, 0.9), seed = 1))
add("tables", autoplot(conversion_tables("brass")))
rolled <- c(92.0, 91.5, 92.5, 92.0, 91.0)
add("baseline", autoplot(compare_baseline(c(78, 79, 77.5, 78.5, 78), rolled, scale = "HRF")))
rings <- data.frame(group = rep(paste("bench", 1:3), each = 4), specimen = "ring",
                    hardness = c(61, 60.5, 61.5, 61, 62, 62.5, 62, 63, 60, 61.5, 61, 60.5))
add("laboratories", autoplot(compare_laboratories(rings)))
add("budget", autoplot(uncertainty_budget(c(78, 79, 77.5, 78.5, 78), rolled, scale = "HRF",
                                          in_hv = TRUE)))
add("rolling", autoplot(cold_work(example_data("bellbrass_rolling"))))
brass <- data.frame(strength_ksi = c(54, 62, 76, 86, 94),
                    effective_strain = 2 / sqrt(3) * -log(1 - c(11, 21, 37, 50, 60) / 100))
add("hardening", autoplot(fit_hardening(brass, hardness = strength_ksi)))
add("hall-petch", autoplot(fit_hall_petch(data.frame(grain_mm = c(0.028, 0.02, 0.01),
                                                     yield_mpa = c(300, 322, 385)),
                                          hardness = yield_mpa, unit = "MPa")))
growth <- data_of("grain_bellbrass_growth.csv")
add("grain-growth", autoplot(fit_grain_growth(growth, weights = 1 / growth$grain_mm^2)))
add("fractions", autoplot(fit_recrystallisation(data_of("grain_bellbrass_fractions.csv"))))
creep <- data_of("master_creep.csv")
creep$log_stress <- log10(creep$stress)
add("master", autoplot(fit_master_curve(creep, log_stress, time = time_h, time_unit = "h")))
pieces <- data.frame(temp_c = rep(c(290, 320, 350), each = 4), reached = c(1, 1, 0, 0, rep(1, 8)),
                     time_min = c(151, 204, 240, 240, 38, 55, 61, 47, 13, 17, 11, 15))
add("lifetime", autoplot(fit_lifetime(pieces, event = reached)))
add("kissinger", autoplot(fit_kissinger(data.frame(
  rate_k_min = c(2.5, 5, 10, 20, 40), peak_c = c(140.98, 151.07, 161.63, 172.72, 184.38)))))

# resistance of a part that loses strength, hardness after one time at several temperatures, and a
# ggplot of the user
cold <- data.frame(specimen = rep(c("R1", "R2", "R3"), each = 6), temp_c = rep(c(290, 320, 350), each = 6),
                   time_min = rep(c(0, 4, 10, 25, 60, 150), 3))
cold$rho <- 7.1 - 0.9 * (1 - exp(-(cold$time_min / rep(c(90, 25, 8), each = 6))^1.4)) + 0.01 * sin(1:18)
add("property", autoplot(fit_softening(cold, hardness = rho, property = "Resistivity (10^-8 ohm m)")))
add("property-avrami", plot_avrami(fit_softening(cold, hardness = rho,
                                                 property = "Resistivity (10^-8 ohm m)")))
add("isochronal-readings", plot_isochronal(bell, c(8, 32)))
add("isochronal-nine", plot_isochronal(nine, c(4, 16, 64), fit = fits$nine))
add("rates", autoplot(rates(fits$nine)))
add("prior", autoplot(prior_brass()))
post <- quiet(fit_posterior(bell, prior = prior_brass(), chains = 2, n_draws = 300, n_warmup = 200, seed = 1))
add("posterior", autoplot(post))
add("posterior-rich", autoplot(fit_posterior(bell, "recovery_jmak", prior = prior_brass(), chains = 2,
                                             n_draws = 200, n_warmup = 200, seed = 1)))
pool <- quiet(pool_fits(some, terms = c("n", "q_kj_mol")))
add("pool", autoplot(pool))
add("pool-funnel", autoplot(pool, type = "funnel"))
add("layer", ggplot(nine, aes(time_min, hardness, temp_c = temp_c, specimen = specimen,
                              colour = factor(temp_c))) +
      geom_point() + geom_softening(reading_scale = nine$scale[1]) + scale_x_log10() +
      scale_colour_temperature() + theme_softanneal())

sizes <- list(column = c(3.4, 2.6), page = c(7, 5), projector = c(13.3, 7.5), bw = c(7, 5), dark = c(7, 5))
dots <- c(column = 130, page = 75, projector = 45, bw = 60, dark = 60)
wished <- commandArgs(TRUE)[-1]
for (name in if (length(wished)) wished else names(sizes)) {
  size <- sizes[[name]]
  other <- switch(name, bw = theme_bw(), dark = theme_dark())
  grDevices::png(file.path(folder, paste0(name, "-%02d.png")), 3 * size[1], 3 * size[2], "in",
                 res = dots[[name]])
  for (page in split(names(plots), (seq_along(plots) - 1) %/% 9)) {
    grid::grid.newpage()
    for (k in seq_along(page)) {
      cell <- grid::viewport(x = ((k - 1) %% 3 + 0.5) / 3, y = 1 - ((k - 1) %/% 3 + 0.5) / 3,
                             width = 1 / 3, height = 1 / 3)
      p <- plots[[page[k]]]
      print(if (is.null(other)) p else p + other, newpage = FALSE, vp = cell)
    }
    cat(name, ": ", paste(page, collapse = ", "), "\n", sep = "")
  }
  grDevices::dev.off()
}
cat(length(plots), "plots in", folder, "with ggplot2", format(packageVersion("ggplot2")), "\n")
