skip_without_pandoc <- function() {
  skip_if_not_installed("rmarkdown")
  skip_if_not_installed("knitr")
  skip_if_not(rmarkdown::pandoc_available(), "pandoc is not available")
}

# column k of the table whose caption holds `caption`, as numbers
page_numbers <- function(html, caption, k) {
  tables <- regmatches(html, gregexpr("(?s)<table.*?</table>", html, perl = TRUE))[[1L]]
  rows <- strsplit(grep(caption, tables, value = TRUE, fixed = TRUE), "<tr>", fixed = TRUE)[[1L]]
  rows <- grep("<td", rows, value = TRUE)
  cells <- regmatches(rows, gregexpr("(?s)<td[^>]*>.*?</td>", rows, perl = TRUE))
  as.numeric(vapply(cells, \(x) trimws(gsub("<[^>]*>", "", x[k])), ""))
}

# numbers as they are rounded in a page
expect_near <- function(found, wanted, most) {
  expect_length(found, length(wanted))
  expect_lte(max(abs(found - wanted)), most)
}

test_that("the main job leaves tables, plots and a report that agree with the fit", {
  skip_on_cran()
  skip_without_pandoc()
  out <- withr::local_tempdir()
  r <- softening_report(extdata("bellbrass_readings.csv"), out)
  expect_true(all(file.exists(r$files)))
  expect_setequal(basename(r$files), list.files(out))
  b <- utils::read.csv(file.path(out, "coefficients.csv"))
  f <- bell_softening()
  expect_equal(b$estimate, unname(coef(f)), tolerance = 1e-12)
  expect_equal(b$conf.low, unname(confint(f)[, 1L]), tolerance = 1e-12)
  half <- utils::read.csv(file.path(out, "half_softening.csv"))
  expect_equal(half$time_min, time_to(f)$time_min, tolerance = 1e-12)
  expect_equal(nrow(utils::read.csv(file.path(out, "models.csv"))), 4L)
  html <- paste(readLines(file.path(out, "report.html"), warn = FALSE), collapse = "\n")
  expect_match(html, "Softening kinetics: bellbrass readings")
  expect_match(html, softanneal:::format_by_error(coef(f)[["q_kj_mol"]],
                                                  sqrt(vcov(f)["q_kj_mol", "q_kj_mol"])))
  expect_match(html, softanneal:::format_quantity(time_to(f)$time_min[1L]), fixed = TRUE)
  expect_match(html, "alt=\"Hardness in HV over time")
  expect_match(html, "not a release for use")
  expect_match(html, "Tongs")
  # answer, plot, tables; labels, not names of columns; small, and no script in it
  places <- vapply(c("<h2[^>]*>Answer", "<img", "<table", "<h2[^>]*>Cautions"),
                   \(x) regexpr(x, html)[1L], 0)
  expect_false(is.unsorted(places, strictly = TRUE))
  expect_true(all(places > 0))
  words <- gsub("<[^>]*>", " ", gsub("<(style|script).*?</\\1>|data:image[^\"]*", "", html))
  expect_no_match(words, "q_kj_mol|h_worked|ln_k|2e-16|NA ")
  expect_match(words, "Activation energy (kJ/mol)", fixed = TRUE)
  expect_false(grepl("<script src|hljs", html)) # no highlighter, nothing fetched
  expect_match(html, "<html lang=\"en\"")
  expect_match(html, "<main>")
  expect_match(html, "<th scope=\"col\"")
  expect_lt(file.size(file.path(out, "report.html")), 400e3)
  models <- compare_models(bell_readings(), cross_validate = FALSE)
  expect_equal(r$models$model, models$model)
  expect_equal(r$models$delta, models$delta, tolerance = 1e-8)
  expect_equal(softanneal:::report_models(models)[["AICc above the best"]][1L], "0.0")
  # the same figures in the page, by value
  expect_near(page_numbers(html, "Models of the same readings", 4), models$delta, 0.05)
  expect_near(page_numbers(html, "Models of the same readings", 3), models$sigma, 0.005)
  expect_equal(page_numbers(html, "Models of the same readings", 2), models$parameters)
  expect_equal(page_numbers(html, "Hardness as rolled", 2), unname(coef(f)), tolerance = 5e-3)
  expect_equal(page_numbers(html, "Time to half of", 2), time_to(f)$time_min, tolerance = 5e-3)
  expect_output(print(r), "Half of the softening takes")
  expect_output(print(r), "an estimate, not a release")
})

test_that("furnaces, operators and a stated temperature error are in the page as in the fit", {
  skip_on_cran()
  skip_without_pandoc()
  quiet <- function(x) suppressWarnings(x, classes = "softanneal_warning")
  out <- withr::local_tempdir()
  d <- as.data.frame(bell_readings())
  d <- d[d$reading <= 4, ]
  d$furnace <- ifelse(d$temp_c < 350, "old", "new")
  d$operator <- rep_len(c("Ada", "Bo"), nrow(d))
  d$hardness <- d$hardness + ifelse(d$operator == "Ada", 1, 0)
  file <- file.path(withr::local_tempdir(), "two furnaces.csv")
  utils::write.csv(d, file, row.names = FALSE)
  r <- quiet(softening_report(file, out))
  f <- quietly_fitted(d)
  e <- components_of_error(f)
  expect_true("operator" %in% e$component)
  expect_equal(coef(r$fit), coef(f), tolerance = 1e-10)
  html <- paste(readLines(file.path(out, "report.html"), warn = FALSE), collapse = "\n")
  expect_match(html, "2 operators")
  expect_match(html, "furnace temperature of 4 runs")
  table <- softanneal:::report_errors(f)
  expect_equal(as.numeric(sub(" .*", "", table[["Standard deviation"]])), e$sd, tolerance = 0.05)
  for (cell in unlist(table)) expect_match(html, cell, fixed = TRUE)
  models <- quiet(compare_models(d, cross_validate = FALSE))
  expect_near(page_numbers(html, "Models of the same readings", 4), models$delta, 0.05)
  d <- d[d$reading <= 2, ]
  stated <- quietly_fitted(d, u_temp_c = 4)
  expect_match(softanneal:::report_errors(stated)$Error[1L], "stated")
  two_runs <- quietly_fitted(d[d$temp_c %in% c(330, 370), ])
  expect_identical(softanneal:::report_errors(two_runs)$Error[1L], "furnace temperature (assumed)")
  expect_match(summary(two_runs)$remarks, "1 degree C at one run moves, old: q_kj_mol by .*, n by 0,",
               all = FALSE)
  known <- softanneal:::report_comparison(stated, d, u_temp_c = 4) |> quiet()
  two <- quiet(compare_models(d, c("jmak", "jmak_incubation"), u_temp_c = 4, cross_validate = FALSE))
  expect_equal(known$AICc[match(two$model, known$model)], two$AICc)
})

test_that("results are not overwritten unless asked, and a folder must be writable", {
  skip_on_cran()
  skip_without_pandoc()
  out <- withr::local_tempdir()
  writeLines("mine", file.path(out, "models.csv"))
  expect_error(softening_report(bell_readings(), out), class = "softanneal_error_file")
  expect_equal(readLines(file.path(out, "models.csv")), "mine")
  expect_equal(list.files(out), "models.csv")
  file <- withr::local_tempfile()
  writeLines("a file", file)
  expect_error(softening_report(bell_readings(), file.path(file, "below")),
               class = "softanneal_error_file") |> suppressWarnings()
  expect_error(softening_report(bell_readings(), out, overwrite = "yes"),
               class = "softanneal_error_argument")
})

test_that("names from the data stay text in report and tables", {
  skip_on_cran()
  skip_without_pandoc()
  out <- withr::local_tempdir()
  d <- with_test_seed(51, made_readings())
  # with the events of a bench page, of which one was corrected
  clock <- paste0("2026-11-30T08:", c("00:00", "00:12", "09:00", "15:00"), "Z")
  events <- data.frame(specimen = "P1", time = clock, temp_c = c(20, 25, 330, 21),
                       event = paste(c("in", "shut", "out", "cold"), 1),
                       entered = "", note = c("", "", "out 2 min late; corrected: <i>hands full</i>", ""),
                       entry = paste0("n00000000000", 1:4))
  r <- softening_report(d, out, title = "<script>alert(1)</script> & *stars*",
                        events = suppressWarnings(suppressMessages(read_history(events))))
  html <- paste(readLines(file.path(out, "report.html"), warn = FALSE), collapse = "\n")
  expect_false(grepl("<script>alert", html, fixed = TRUE))
  expect_match(html, "The events are those of a bench page.", fixed = TRUE)
  expect_match(html, "out 2 min late; corrected: &lt;i&gt;hands full", fixed = TRUE)
  expect_match(html, "08:09:00", fixed = TRUE)
  expect_equal(c(page_numbers(html, "Events (clock", 7), page_numbers(html, "Events (clock", 8)), c(9, 12))
  path <- withr::local_tempfile(fileext = ".csv")
  softanneal:::write_table(data.frame(a = c("=1+1", "-x", "@y", "plain"), n = -1), path)
  back <- utils::read.csv(path)
  expect_equal(back$a, c("'=1+1", "'-x", "'@y", "plain"))
  expect_equal(back$n, rep(-1, 4))
})

test_that("readings hotter than any brass carry no caution about brass, and an open Q is said", {
  skip_on_cran()
  w <- quietly_fitted(tungsten_readings())
  expect_false(any(grepl("brass", softanneal:::report_cautions(w)$precaution)))
  b <- bell_softening()
  expect_true(any(grepl("zinc", softanneal:::report_cautions(b)$hazard)))
  d <- with_test_seed(52, made_readings(temps = c(300, 420), times = c(0, 5, 10, 20, 40, 80),
                                        q = 150, half_min = 6))
  f <- quietly_fitted(d)
  expect_match(softanneal:::energy_sentence(f, 0.95), "only a lower limit of q_kj_mol")
})

test_that("a table without specimens is taken as one piece, and says so", {
  skip_on_cran()
  d <- with_test_seed(53, made_readings())
  expect_message(x <- softanneal:::read_for_report(d[setdiff(names(d), "specimen")], NULL),
                 "one step")
  expect_equal(unique(x$specimen), "all readings")
})

test_that("numbers and words of a report are those people write", {
  skip_on_cran()
  expect_equal(softanneal:::p_words(c(1e-20, 0.0312, NA)), c("p < 0.001", "p = 0.031", "\u2013"))
  f <- quietly_fitted(example_data("bellbrass_readings"), fixed = c(n = 1.6))
  t <- softanneal:::report_estimates(f, 0.9)
  expect_equal(t$Parameter[4:5], c("Exponent n", "Activation energy (kJ/mol)"))
  expect_equal(t[["Standard error"]][4], "fixed")
  expect_match(names(t)[4], "90 % interval")
  expect_true(all(nzchar(t$Meaning)))
  half <- data.frame(conf.low = c(1, 2, NA, 0), conf.high = c(3, Inf, NA, 5))
  expect_equal(softanneal:::half_interval(half),
               c("1.00 to 3.00", "2.00 or more", "not determined", "5.00 or less"))
  expect_equal(softanneal:::report_number(c(12.98, 102.3, 0.4471, 2.048, 1234.4, 0, NA, 3e-7)),
               c("13.0", "102", "0.447", "2.05", "1230", "0", "\u2013", "3.00e-07"))
  expect_equal(softanneal:::reader_words("The data do not determine q_rec_kj_mol."),
               "The data do not determine energy of recovery.")
  expect_true(all(softanneal:::register()$terms$name %in% names(softanneal:::PARAMETER_MEANING)))
})

test_that("what check_readings() finds is in the page, escaped, and counted at the console", {
  skip_on_cran()
  skip_without_pandoc()
  page <- function(r) {
    html <- readLines(r$files[basename(r$files) == "report.html"], warn = FALSE)
    gsub("<li> ", "<li>", gsub("\\s+", " ", paste(html, collapse = " ")), fixed = TRUE)
  }
  sound <- with_test_seed(7, made_readings(n = 5))
  sound$specimen <- paste0("<i>", sound$specimen)
  expect_no_message(r <- softening_report(sound, withr::local_tempdir()),
                    class = "softanneal_message_findings")
  expect_no_match(page(r), "Doubts about the readings", fixed = TRUE)
  slip <- which(sound$time_min > 0)[12]
  odd <- sound
  odd$hardness[slip] <- odd$hardness[slip] + 40
  odd$note <- ""
  odd$note[slip + 8L] <- "still warm"
  expect_message(r <- softening_report(odd, withr::local_tempdir()), "^2 findings in the readings",
                 class = "softanneal_message_findings")
  expect_setequal(r$findings$check, c("warm specimen", "outlier"))
  html <- page(r)
  expect_match(html, "<li>Warning: a note states that the specimen was warm", fixed = TRUE)
  expect_match(html, paste0("(&lt;i&gt;", sub("<i>", "", odd$specimen[slip]), ","), fixed = TRUE)
  expect_no_match(html, "(<i>", fixed = TRUE)
  expect_lt(regexpr("Doubts about the readings", html), regexpr("Curves and rates", html))
  # a group in hours, whose pieces have the names of the other's
  two <- do.call(rbind, lapply(c("A <b>", "B", "C"), function(coil) cbind(coil, sound)))
  two$time_min[two$coil == "A <b>"] <- two$time_min[two$coil == "A <b>"] / 60
  expect_message(r <- softening_report(two, withr::local_tempdir(), by = coil), "times",
                 class = "softanneal_message_findings")
  expect_true(any(grepl("^A <b>: $", r$findings$group) & grepl("divided by 60", r$findings$what)))
  expect_match(page(r), "<li>Warning: A &lt;b&gt;: times of ", fixed = TRUE)
  # what cannot be checked is said, not passed over
  expect_message(f <- softanneal:::report_findings(cbind(sound, thickness_mm = "thin"), "brass"),
                 "1 finding", class = "softanneal_message_findings")
  expect_match(f$why, "thickness_mm")
  # a long list is counted
  many <- f[rep(1L, 14L), ]
  expect_length(softanneal:::report_finding_words(many), 13L)
  expect_match(softanneal:::report_finding_words(many)[13L], "2 more findings", fixed = TRUE)
})
