# Contact sheets of the plots, to look at: easy and hard data, drawn for a journal column, a page and a
# projector. Needs the package installed.
#   Rscript inst/scripts/dev/gallery.R [FOLDER]

suppressMessages({
  library(softanneal)
  library(ggplot2)
})
folder <- c(commandArgs(TRUE), "gallery")[1]
dir.create(folder, showWarnings = FALSE, recursive = TRUE)
quiet <- function(x) suppressWarnings(suppressMessages(x))
bell <- example_data("bellbrass_readings")
nine <- quiet(simulate_readings(temp_c = seq(280, 440, 20), seed = 3))
half <- bell[bell$temp_c >= 370, ]
tungsten <- quiet(read_readings(system.file("extdata", "tungsten_isothermal.csv",
                                            package = "softanneal"), specimen = "plate"))
fits <- list(easy = fit_softening(bell), nine = quiet(fit_softening(nine)),
             half = quiet(fit_softening(half)), tungsten = quiet(fit_softening(tungsten)))
plots <- list()
for (k in names(fits)) {
  f <- fits[[k]]
  draw <- function(code) tryCatch(quiet(code), softanneal_error = function(e) NULL)
  plots[[paste0(k, "-curves")]] <- draw(autoplot(f))
  plots[[paste0(k, "-avrami")]] <- draw(plot_avrami(f))
  plots[[paste0(k, "-arrhenius")]] <- draw(plot_arrhenius(f))
  plots[[paste0(k, "-residuals")]] <- draw(plot_residuals(f))
  plots[[paste0(k, "-collapse")]] <- draw(plot_collapse(f))
  plots[[paste0(k, "-map")]] <- draw(plot_hardness_map(f))
  plots[[paste0(k, "-determined")]] <- draw(autoplot(identifiability(f)))
}
plots$window <- autoplot(process_window(fits$easy, c(95, 125), temp_c = c(250, 450),
                                        time_min = c(1, 1000), n_points = 41))
plots$readings <- autoplot(bell)
plan <- quiet(plan_anneal(c(300, 350), c(5, 10, 20, 40, 80), session_min = 150))
plots$timetable <- autoplot(plan)
plots$expected <- autoplot(plan, what = "expected")
log <- rbind(door_opening(410, dip_c = 9, specimen = "small dip"),
             door_opening(410, dip_c = 40, specimen = "large dip"))
plots$history <- plot_history(log, target_c = 410, tolerance_c = 5)
plots$log <- plot_furnace_log(log, 410, tolerance_c = 5)
many <- do.call(rbind, lapply(1:40, function(i) {
  transform(as.data.frame(bell), coil = sprintf("coil %02d of the long campaign", i),
            time_min = time_min * exp(sin(2 * i)))
}))
plots$groups <- plot_groups(fit_each(many, by = coil))
plots$sketch <- plot_grain_sketch(2, seed = 1)
plots$tables <- autoplot(conversion_tables("brass"))

sizes <- list(column = c(3.4, 2.6), page = c(7, 5), projector = c(13.3, 7.5))
for (name in names(sizes)) {
  size <- sizes[[name]]
  grDevices::png(file.path(folder, paste0(name, "-%02d.png")), 3 * size[1], 3 * size[2], "in",
                 res = if (name == "column") 130 else if (name == "page") 75 else 45)
  for (page in split(names(plots), (seq_along(plots) - 1) %/% 9)) {
    grid::grid.newpage()
    for (k in seq_along(page)) {
      cell <- grid::viewport(x = ((k - 1) %% 3 + 0.5) / 3, y = 1 - ((k - 1) %/% 3 + 0.5) / 3,
                             width = 1 / 3, height = 1 / 3)
      print(plots[[page[k]]], newpage = FALSE, vp = cell)
    }
  }
  grDevices::dev.off()
}
cat(length(plots), "plots in three sizes in", folder, "\n")
