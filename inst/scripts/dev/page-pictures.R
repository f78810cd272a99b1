# Pictures of the pages for the vignette `bench`, from a run in Chromium (page-pictures.js): the bench page
# with a specimen in the furnace and a doubtful reading, its curves, a piece under the tester of the practice
# page, and the page to explore the fit. Package
# installed; needs node, npm and Chromium.
#   Rscript inst/scripts/dev/page-pictures.R [MODULES]

library(softanneal)
args <- commandArgs(TRUE)
here <- dirname(sub("^--file=", "", grep("^--file=", commandArgs(), value = TRUE)))
to <- normalizePath(file.path(here, "..", "..", "..", "vignettes"))
work <- tempfile("pictures-")
dir.create(work)
browser <- Sys.which(c("chromium", "chromium-browser", "google-chrome"))
browser <- browser[nzchar(browser)][1L]
modules <- if (length(args)) args[1L] else {
  if (system2("npm", c("install", "--silent", "--no-audit", "--no-fund", "--prefix", shQuote(work),
                       "puppeteer-core@22")) != 0L) stop("npm could not install what is needed")
  file.path(work, "node_modules")
}
plan <- plan_anneal(c(330, 360), c(2, 4, 8, 16, 32), plan_guess(recryst_1h_c = 350), n_readings = 3,
                    scale = "HRF", furnaces = 2, session_min = 900)
bench_page(plan, file.path(work, "bench.html"), title = "Larkfield run 3")
explore_page(fit_softening(example_data("bellbrass_readings")), file.path(work, "explore.html"),
             title = "Bell brass explored")
practice_page(class_design(temp_c = c(310, 340, 370), time_min = c(0, 4, 16, 64)), 7,
              file.path(work, "practice.html"), seed = 20)

# a run until now: P330 is read after its third step, P360 is in the furnace for its fourth
par <- c(h_worked = 158, h_soft = 76, ln_k_ref = -1.6, n = 1.5, q_kj_mol = 150)
s <- plan$steps[order(plan$steps$specimen, plan$steps$step), ]
s <- s[s$step <= ifelse(s$temp_c == 330, 3, 4), ]
now <- as.numeric(Sys.time())
stamp <- function(x) format(as.POSIXct(x, origin = "1970-01-01", tz = "UTC"), "%Y-%m-%dT%H:%M:%SZ")
id <- function(k) sprintf("n%012x", k)
clock <- 0
events <- readings <- NULL
for (k in seq_len(nrow(s))) {
  if (s$step[k] == 0) clock <- now - 6000
  last <- s$step[k] == 4
  if (s$step[k] > 0) {
    at <- clock + c(0, 14, 60 * s$furnace_min[k], 60 * (s$furnace_min[k] + s$cool_min[k]))
    if (last) at <- now - 60 * (s$furnace_min[k] - 3) + c(0, 14)
    events <- rbind(events, data.frame(
      specimen = s$specimen[k], time = stamp(at), temp_c = 20,
      event = paste(c("in", "shut", "out", "cold")[seq_along(at)], s$step[k]), entered = stamp(at),
      note = "", entry = id(1000 + 10 * k + seq_along(at))))
    clock <- max(at) + 120
  }
  if (last) next
  hv <- if (s$step[k] == 0) par[["h_worked"]] else {
    soften(data.frame(time_s = c(0, 60 * s$time_min[k]), temp_c = s$temp_c[k]), par, model = "jmak",
           temp_ref_c = 350)$hardness[2L]
  }
  x <- round(2 * convert_hardness(hv + c(-1.2, 0.9, 0.3), "HV", "HRF")) / 2
  if (s$temp_c[k] == 330 && s$step[k] == 3) x <- c(x[1L], x[2L] - 20)
  readings <- rbind(readings, data.frame(
    specimen = s$specimen[k], step = s$step[k], hardness = x, scale = "HRF",
    entered = stamp(clock + 20 * seq_along(x)), note = "", entry = id(5000 + 10 * k + seq_along(x))))
  clock <- clock + 120
}
utils::write.csv(events, file.path(work, "events.csv"), row.names = FALSE, quote = FALSE)
utils::write.csv(readings, file.path(work, "readings.csv"), row.names = FALSE, quote = FALSE)
system2("node", shQuote(c(file.path(here, "page-pictures.js"), modules, browser, work)))
for (name in c("bench-now", "bench-curves", "practice-tester", "explore-map")) {
  file <- file.path(to, paste0(name, ".png"))
  file.copy(file.path(work, paste0(name, ".png")), file, overwrite = TRUE)
  cat(file, file.size(file), "bytes\n")
}
