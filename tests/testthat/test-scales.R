# Conversion of hardness scales: shapes, conditions, the interpolation's properties, and the
# tables' provenance. Checks against published values are in test-external-scales.R.

all_pairs <- function(material) {
  scales <- colnames(scale_tables[[material]]$value)
  pairs <- expand.grid(from = scales, to = scales, stringsAsFactors = FALSE)
  pairs[pairs$from != pairs$to, ]
}
points_of <- function(material, from, to) {
  table <- scale_tables[[material]]
  pair_points(table, match(from, colnames(table$value)), match(to, colnames(table$value)))
}
every_pair <- function() {
  do.call(rbind, lapply(names(scale_tables), \(m) cbind(material = m, all_pairs(m))))
}

test_that("every pair of every table passes through its points", {
  pairs <- every_pair()
  for (k in seq_len(nrow(pairs))) {
    p <- pairs[k, ]
    points <- points_of(p$material, p$from, p$to)
    expect_equal(convert_hardness(points[[1]], p$from, p$to, p$material), points[[2]],
                 tolerance = 1e-10, info = paste(p, collapse = " "))
  }
})

test_that("every pair rises and stays between its neighbouring points", {
  skip_on_cran()
  pairs <- every_pair()
  for (k in seq_len(nrow(pairs))) {
    p <- pairs[k, ]
    points <- points_of(p$material, p$from, p$to)
    low <- head(points[[1]], -1)
    x <- rep(low, each = 7) + rep(diff(points[[1]]), each = 7) * (0:6) / 6.5
    y <- convert_hardness(x, p$from, p$to, p$material)
    left <- rep(head(points[[2]], -1), each = 7)
    right <- rep(tail(points[[2]], -1), each = 7)
    info <- paste(p, collapse = " ")
    expect_true(all(diff(y) >= -1e-9), info = info)
    expect_true(all(y >= left - 1e-9 & y <= right + 1e-9), info = info)
  }
})

test_that("there and back returns the number within the rounding of the table", {
  skip_on_cran()
  unit <- unique(scale_cells[c("material", "scale", "resolution")])
  unit_of <- function(material, scale) {
    unit$resolution[unit$material == material & unit$scale == scale]
  }
  pairs <- every_pair()
  for (k in seq_len(nrow(pairs))) {
    p <- pairs[k, ]
    table <- scale_tables[[p$material]]
    i <- match(p$from, colnames(table$value))
    j <- match(p$to, colnames(table$value))
    x <- points_of(p$material, p$from, p$to)[[1]]
    x <- seq(x[1], x[length(x)], length.out = 301)
    ends <- points_of(p$material, p$to, p$from)[[1]]
    y <- pmin(pmax(convert_hardness(x, p$from, p$to, p$material), ends[1]), ends[length(ends)])
    back <- convert_columns(y, j, i, table)
    rounding <- unit_of(p$material, p$from) + unit_of(p$material, p$to) * abs(back$derivative)
    # Brass has no repeated numbers: half a unit on each side is enough.
    if (p$material == "brass") rounding <- rounding / 2
    expect_true(all(abs(back$value - x) <= rounding + 1e-9), info = paste(p, collapse = " "))
  }
})

test_that("the derivative is that of the curve", {
  table <- scale_tables$brass
  x <- c(12.3, 40.2, 77.7)
  h <- 1e-5
  numeric <- (convert_hardness(x + h, "HRB", "HV") - convert_hardness(x - h, "HRB", "HV")) / (2 * h)
  expect_equal(to_vickers(x, "HRB")$derivative, numeric, tolerance = 1e-6)
})

test_that("mixed scales convert in one call, in any form", {
  x <- c(80, 77, 131, 62, NA)
  from <- c("HRB", "HR15T", "HV10", "HBW10/500", "HRB")
  one_by_one <- mapply(\(x, from) convert_hardness(x, from, "HV"), x, from, USE.NAMES = FALSE)
  expect_equal(convert_hardness(x, from, "HV"), one_by_one)
  expect_equal(convert_hardness(x, factor(from), "HV"), one_by_one)
  expect_equal(convert_hardness(x, from, rep("HV", 5)), one_by_one)
  to <- c("HRF", "HRB", "HRB", "HV", "HV")
  expect_equal(convert_hardness(x, from, to),
               mapply(\(x, a, b) convert_hardness(x, a, b), x, from, to, USE.NAMES = FALSE))
  expect_equal(convert_hardness(150, "HV", c("HRB", "HV")), c(80, 150))
  expect_equal(convert_hardness(c(80L, 90L), "HRB", "HV"), c(150, 180))
})

test_that("labels of a column are found in order, many of them too", {
  found <- .Call(C_sa_call_labels, c("HRB", "HV", NA, "HRB", NA, "HV"))
  expect_identical(found, list(code = c(1L, 2L, 3L, 1L, 3L, 2L), labels = c("HRB", "HV", NA)))
  expect_identical(.Call(C_sa_call_labels, character()),
                   list(code = integer(), labels = character()))
  many <- rep(sprintf("name %d", 1:300), 2)
  expect_null(.Call(C_sa_call_labels, many))
  e <- expect_error(convert_hardness(rep(80, 600), many, "HV"), class = "softanneal_error_scale")
  expect_length(e$rows, 600)
})

test_that("columns of data frames, tibbles and data tables convert alike", {
  readings <- data.frame(hardness = c(80, 90), scale = c("HRB", "HRB"))
  expected <- c(150, 180)
  expect_equal(convert_hardness(readings$hardness, readings$scale, "HV"), expected)
  skip_if_not_installed("tibble")
  tbl <- tibble::as_tibble(readings)
  expect_equal(convert_hardness(tbl$hardness, tbl$scale, "HV"), expected)
  skip_if_not_installed("data.table")
  dt <- data.table::as.data.table(readings)
  expect_equal(convert_hardness(dt$hardness, dt$scale, "HV"), expected)
})

test_that("the same scale, and nothing at all, come back unchanged", {
  x <- c(1, 500, NA, 80)
  expect_silent(expect_identical(convert_hardness(x, "HV", "HV10"), x))
  expect_identical(convert_hardness(numeric(), "HRB", "HV"), numeric())
  expect_identical(convert_hardness(numeric(), character(), "HV"), numeric())
  expect_identical(convert_hardness(NA, "HRB", "HV"), NA_real_)
  none <- convert_hardness(numeric(), "HRB", "HV", interval = TRUE)
  expect_identical(dim(none), c(0L, 7L))
})

test_that("outside the table is NA with one warning that counts, and NA is not counted", {
  w <- tryCatch(convert_hardness(c(80, NA, 9.9, 93.6, 93.5), "HRB", "HV"), warning = identity)
  expect_s3_class(w, "softanneal_warning_outside")
  expect_equal(w$n, 2)
  expect_equal(w$rows, c(3, 4))
  expect_match(conditionMessage(w), "2 of 5")
  expect_match(conditionMessage(w), "HRB 10 to 93.5", fixed = TRUE)
  value <- suppressWarnings(convert_hardness(c(80, NA, 9.9, 93.6, 93.5), "HRB", "HV"))
  expect_identical(is.na(value), c(FALSE, TRUE, TRUE, TRUE, FALSE))
  expect_false(any(is.nan(value)))
  expect_silent(convert_hardness(c(NA, 10, 93.5), "HRB", "HV"))
  seen <- 0
  withCallingHandlers(
    convert_hardness(c(5, 5, 300), c("HRB", "HRF", "HBW 10/500"), "HV"),
    softanneal_warning_outside = function(w) {
      seen <<- seen + 1
      expect_match(conditionMessage(w), "HRF 43 to 110", fixed = TRUE)
      invokeRestart("muffleWarning")
    }
  )
  expect_equal(seen, 1)
})

test_that("bad input stops with a class, and says where", {
  expect_error(convert_hardness("80", "HRB", "HV"), class = "softanneal_error_argument")
  expect_error(convert_hardness(factor(80), "HRB", "HV"), class = "softanneal_error_argument")
  expect_error(convert_hardness(list(80), "HRB", "HV"), class = "softanneal_error_argument")
  expect_error(convert_hardness(data.frame(x = 80), "HRB", "HV"),
               class = "softanneal_error_argument")
  expect_error(convert_hardness(TRUE, "HRB", "HV"), class = "softanneal_error_argument")
  e <- expect_error(convert_hardness(c(80, Inf, -Inf), "HRB", "HV"),
                    class = "softanneal_error_missing")
  expect_equal(e$rows, 2:3)
  expect_error(convert_hardness(c(80, NaN), "HRB", "HV"), class = "softanneal_error_missing")
  expect_error(convert_hardness(Inf, "HV", "HV"), class = "softanneal_error_missing")
  e <- expect_error(convert_hardness(1:3, c("HRB", "HV"), "HV"),
                    class = "softanneal_error_argument")
  expect_equal(e$arg, "from")
  expect_error(convert_hardness(1:3, "HRB", c("HV", "HRF")), class = "softanneal_error_argument")
  e <- expect_error(convert_hardness(c(80, 80), c("HRB", "HRQ"), "HV"),
                    class = "softanneal_error_scale")
  expect_equal(e$rows, 2)
  expect_match(conditionMessage(e), "HRQ")
  expect_error(convert_hardness(80, "HB", "HV"), class = "softanneal_error_scale")
  expect_error(convert_hardness(80, "HRE", "HV", "brass"), class = "softanneal_error_scale")
  expect_error(convert_hardness(80, NA, "HV"), class = "softanneal_error_scale")
  expect_error(convert_hardness(80, 1, "HV"), class = "softanneal_error_scale")
  expect_error(convert_hardness(80, "HRB", "HV", "cheese"), class = "softanneal_error_scale")
  expect_identical(convert_hardness(80, "HRB", "HV", c("brass", "steel")),
                   c(convert_hardness(80, "HRB", "HV"), convert_hardness(80, "HRB", "HV", "steel")))
  expect_error(convert_hardness(80, "HRB", "HV", c("brass", "cheese")), class = "softanneal_error_scale")
  expect_error(convert_hardness(80, "HRB", "HV", interval = NA),
               class = "softanneal_error_argument")
  expect_error(convert_hardness(80, "HRB", "HV", level = 1), class = "softanneal_error_range")
  skip_if_not_installed("units")
  expect_error(convert_hardness(units::set_units(80, "mm"), "HRB", "HV"),
               class = "softanneal_error_units")
})

test_that("the C entry point refuses what R would never send", {
  expect_error(.Call(C_sa_call_labels, 1), "internal error")
  points <- list(list(c(0, 1), c(0, 1)))
  expect_error(.Call(C_sa_call_convert, 1L, NULL, points, 0L), "internal error")
  expect_error(.Call(C_sa_call_convert, 1, 1L, points, 0L), "internal error")
  expect_error(.Call(C_sa_call_convert, 1, -1L, points, 0L), "internal error")
  expect_error(.Call(C_sa_call_convert, 1, NULL, list(), 0L), "internal error")
  expect_error(.Call(C_sa_call_convert, 1, NULL, list(list(c(1, 1), c(0, 1))), 0L),
               "internal error")
  expect_error(.Call(C_sa_call_convert, 1, NULL, list(list(c(0, 1), c(0, NaN))), 0L),
               "internal error")
})

test_that("rounding gives whole numbers", {
  expect_identical(convert_hardness(c(80.2, 61.7), "HRB", "HV", round = TRUE),
                   round(convert_hardness(c(80.2, 61.7), "HRB", "HV")))
})

test_that("the interval has the promised columns and behaves", {
  out <- convert_hardness(c(80, NA, 50), "HRB", "HV", interval = TRUE, level = 0.9)
  expect_named(out, c("x", "from", "to", "value", "std_uncertainty", "lower", "upper"))
  expect_s3_class(out, "data.frame")
  expect_identical(out$value, convert_hardness(c(80, NA, 50), "HRB", "HV"))
  expect_identical(is.na(out$std_uncertainty), c(FALSE, TRUE, FALSE))
  expect_equal(out$upper - out$lower, 2 * qnorm(0.95) * out$std_uncertainty)
  wide <- convert_hardness(80, "HRB", "HV", interval = TRUE, level = 0.99)
  expect_gt(wide$upper, out$upper[1])
  same <- convert_hardness(80, "HRB", "HRBW", interval = TRUE)
  expect_equal(same$std_uncertainty, 0)
  mixed <- convert_hardness(c(80, 77), c("HRB", "HR15T"), "HV", interval = TRUE)
  expect_equal(mixed$std_uncertainty[1], wide$std_uncertainty)
})

test_that("the uncertainty follows its rule", {
  skip_on_cran()
  # By hand for HRB 80 to HV 150 (brass): table error of HV none, of HRB times the slope,
  # and the disagreement with GB/T 3771 from HV 100 up, relative to HV.
  spread <- attr(conversion_tables("brass"), "spread")
  hrb <- spread[spread$scale == "HRB", ]
  slope <- to_vickers(80, "HRB")$derivative
  by_hand <- sqrt((hrb$table_error * slope)^2 + (hrb$relative_from_100 * 150)^2)
  expect_equal(convert_hardness(80, "HRB", "HV", interval = TRUE)$std_uncertainty, by_hand,
               tolerance = 1e-8)
  # Steel rows without HV take the disagreement of the last row that has one.
  low <- convert_hardness(c(54, 40), "HRB", "HRF", "steel", interval = TRUE)
  expect_true(all(is.finite(low$std_uncertainty) & low$std_uncertainty > 0))
  pairs <- every_pair()
  for (k in seq_len(nrow(pairs))) {
    p <- pairs[k, ]
    x <- points_of(p$material, p$from, p$to)[[1]]
    u <- convert_hardness(x, p$from, p$to, p$material, interval = TRUE)$std_uncertainty
    expect_true(all(is.finite(u) & u > 0), info = paste(p, collapse = " "))
  }
})

test_that("to_vickers converts without a warning and flags", {
  out <- to_vickers(c(80, NA, 5), "HRB")
  expect_identical(out$hv, c(150, NA, NA))
  expect_identical(out$flag, c(0L, 1L, 2L))
  expect_silent(to_vickers(5, "HRB"))
  plain <- to_vickers(c(100, NA), c("HV", "HV"))
  expect_identical(plain, list(hv = c(100, NA), flag = c(0L, 1L), derivative = c(1, 1)))
  expect_equal(to_vickers(c(100, 80), factor(c("HV", "HRB")))$hv, c(100, 150))
  expect_identical(to_vickers(100L, factor("HV", levels = c("HRB", "HV")))$hv, 100)
  expect_error(to_vickers(80, "HRQ"), class = "softanneal_error_scale")
  expect_identical(to_vickers(numeric(), character())$hv, numeric())
})

test_that("spellings of the trade are understood, others are left as they are", {
  expect_identical(
    standardise_scale(c("HV10", "hv 0.5", "HV0.1", "HV1/15", "VHN", "HRBW", "HRBS", "HR 30 TW",
                        "HR15W", "HR15WW", "HBW10/500", "HBS 10/500/15", "HB 30 D^2", "HK0.5",
                        "HK1", "HRC", NA)),
    c("HV", "HV", "HV 0.1", "HV", "HV", "HRB", "HRB", "HR30T",
      "HR15W", "HR15W", "HBW 10/500", "HBW 10/500", "HB 30D2", "HK 0.5", "HK", "HRC", NA)
  )
  expect_identical(standardise_scale(c(" HRQ ", "HB", "HRCW")), c("HRQ", "HB", "HRCW"))
  expect_identical(standardise_scale(factor(c("HV5", "HRF"))), c("HV", "HRF"))
  expect_identical(standardise_scale(hardness_scales()$scale), hardness_scales()$scale)
  expect_identical(standardise_scale(unique(scale_cells$scale)), unique(scale_cells$scale))
  expect_error(standardise_scale(10), class = "softanneal_error_argument")
  # HV 0.1 is a column of its own for copper only.
  expect_equal(convert_hardness(118.5, "HV0.1", "HV", "copper"), 120)
  expect_equal(convert_hardness(118.5, "HV0.1", "HV", "brass"), 118.5)
})

test_that("the tables show every cell with its provenance", {
  tables <- conversion_tables()
  expect_s3_class(tables, c("softanneal_conversion_tables", "data.frame"), exact = TRUE)
  expect_setequal(tables$material, names(scale_tables))
  expect_false(anyNA(tables[c("value", "pivot", "status", "source", "used")]))
  expect_true(all(tables$status %in% c("seen", "two sources", "seen, corrected", "from memory")))
  out <- tables[!tables$used, ]
  expect_identical(paste(out$material, out$scale, out$pivot),
                   c("brass HRF 60", "brass HRF 45", "copper HV 0.1 122", "copper HV 0.1 40",
                     "copper HK 86", "copper HK 40"))
  expect_false(anyNA(out$note))
  brass <- conversion_tables("brass")
  expect_true(all(brass$status == "from memory"))
  expect_identical(unique(conversion_tables("aluminum")$material), "aluminium")
  expect_error(conversion_tables("cheese"), class = "softanneal_error_scale")
  expect_error(conversion_tables(1), class = "softanneal_error_scale")
  expect_false(inherits(as.data.frame(brass), "softanneal_conversion_tables"))
  expect_output(print(brass), "2 kept out of the interpolation")
  expect_output(print(brass[0, ]), "No cells")
})

test_that("cells kept out do not shape the curve", {
  # HRF at HV 60 is interpolated between 65.0 (HV 62) and 61.0 (HV 58), not 62.5.
  hrf <- convert_hardness(60, "HV", "HRF")
  expect_gt(hrf, 62.9)
  expect_lt(hrf, 63.3)
  expect_warning(convert_hardness(45, "HV", "HRF"), class = "softanneal_warning_outside")
})

test_that("a repeated number converts to the middle of its rows", {
  # Aluminium HR15T 89 stands at HV 177, 183 and 189.
  expect_equal(convert_hardness(89, "HR15T", "HV", "aluminium"), 183)
})

test_that("the tables in the package are those of the CSV files", {
  columns <- utils::read.csv(system.file("extdata", "conversion_columns.csv",
                                         package = "softanneal"))
  for (material in names(scale_tables)) {
    wide <- utils::read.csv(system.file("extdata", paste0("conversion_", material, ".csv"),
                                        package = "softanneal"), check.names = FALSE)
    about <- columns[columns$table == material, ]
    for (i in seq_len(nrow(about))) {
      cells <- scale_cells$value[scale_cells$material == material &
                                   scale_cells$scale == about$scale[i]]
      column <- wide[[about$column[i]]]
      expect_equal(cells, as.double(column[!is.na(column)]), info = about$scale[i])
    }
  }
})

test_that("the plot has a panel per scale, all points, and alt text from the data", {
  skip_on_cran()
  brass <- conversion_tables("brass")
  plot <- ggplot2::autoplot(brass)
  expect_s3_class(plot, "ggplot")
  drawn <- as.data.frame(brass)
  drawn <- drawn[drawn$scale != "HV", ]
  expect_equal(nrow(ggplot2::layer_data(plot, 2)), nrow(drawn))
  expect_length(unique(ggplot2::layer_data(plot, 2)$PANEL), 6)
  alt <- ggplot2::get_alt_text(plot)
  expect_match(alt, "2 kept out")
  expect_match(alt, paste(nrow(drawn), "points"))
  expect_error(ggplot2::autoplot(brass[brass$scale == "HV", ]),
               class = "softanneal_error_too_few")
  expect_error(ggplot2::autoplot(brass, colour = "red"), class = "softanneal_error_argument")
  file <- withr::local_tempfile(fileext = ".png")
  grDevices::png(file)
  shown <- withVisible(plot(conversion_tables("copper")))
  grDevices::dev.off()
  expect_false(shown$visible)
  expect_s3_class(shown$value, "softanneal_conversion_tables")
})

test_that("one reader of scale names: tables, geometry and files understand the same spellings", {
  same <- c("HV1/15", "hv 1", "HV1")
  expect_identical(standardise_scale(same), rep("HV", 3))
  expect_identical(known_scale(same), c("HV1/15", "HV1", "HV1"))
  expect_equal(minimum_thickness(70, "HV1/15"), minimum_thickness(70, "HV1"))
  expect_equal(indent_spacing(70, "HV1/15")$diameter_mm, sqrt(1.8544 * 1 / 70), tolerance = 1e-4)
  for (one in c("HBW 2.5/62.5", "HB2.5/62.5", "HBS 2.5/62.5/15", "hbw_2.5_62.5")) {
    expect_equal(minimum_thickness(100, one), 8 * 62.5 / (pi * 2.5 * 100), label = one)
    expect_identical(standardise_scale(one), "HBW 2.5/62.5")
    expect_identical(known_scale(one), "HBW 2.5/62.5")
  }
  expect_equal(minimum_thickness(70, "hr 30 tw"), minimum_thickness(70, "HR30T"))
  expect_equal(indent_spacing(70, "HV0.1")$diameter_mm, indent_spacing(70, "HV 0.1")$diameter_mm)
  read <- read_scales(c("HV10", "HK 0.5", "HBW 10/500", "HRB", "HV", "HV0", "nonsense", NA))
  expect_equal(read$force_kgf, c(10, 0.5, 500, NA, NA, 0, NA, NA))
  expect_equal(read$ball_mm, c(NA, NA, 10, rep(NA, 5)))
  expect_identical(is.na(read$test), c(rep(FALSE, 6), TRUE, TRUE))
  expect_error(minimum_thickness(70, "HV0"), class = "softanneal_error_scale")
})

test_that("the plot of the tables has a colour and a line for each of any number of tables", {
  more <- c(scale_tables, list(seventh = scale_tables$brass, eighth = scale_tables$copper))
  here <- list2env(list(scale_tables = more), parent = asNamespace("softanneal"))
  here$curve_over_hv <- curve_over_hv
  environment(here$curve_over_hv) <- here
  draw <- autoplot.softanneal_conversion_tables
  environment(draw) <- here
  cells <- conversion_tables()
  seventh <- cells[cells$material == "brass", ]
  seventh$material <- "seventh"
  both <- rbind(as.data.frame(cells), as.data.frame(seventh))
  p <- draw(structure(both, class = class(cells)))
  lines <- ggplot2::layer_data(p, 1)
  expect_false(anyNA(lines$colour))
  expect_false(anyNA(lines$linetype))
  expect_length(unique(paste(lines$colour, lines$linetype)), 7L)
  expect_false(anyNA(ggplot2::layer_data(p, 2)$colour))
})
