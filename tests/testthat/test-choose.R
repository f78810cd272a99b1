test_that("minimum thickness steps through the E18 table and never interpolates", {
  # rows of the E18 HRB column: 0.61 mm from 94, 0.66 mm from 87, ..., 0.96 mm from 28
  expect_equal(minimum_thickness(c(99, 94, 93.9, 87, 28), "HRB"), c(0.61, 0.61, 0.66, 0.66, 0.96))
  expect_equal(minimum_thickness(c(80, 55), c("HR15T", "HR30TW")), c(0.41, 0.51))
  expect_equal(minimum_thickness(c(60, NA), "HRB"), c(0.86, NA))
  expect_equal(minimum_thickness(numeric(), "HRB"), numeric())
  expect_equal(minimum_thickness(60, factor("HRB")), 0.86)
})

test_that("a reading or scale the E18 tables do not reach is NA with one counted warning", {
  expect_warning(out <- minimum_thickness(c(20, 60, 10), "HRB"), class = "softanneal_warning_outside")
  expect_equal(out, c(NA, 0.86, NA))
  cnd <- tryCatch(minimum_thickness(c(20, 60, 10), "HRB"), warning = identity)
  expect_equal(cnd$n, 2L)
  expect_equal(cnd$rows, c(1L, 3L))
  expect_warning(minimum_thickness(80, "HRE"), class = "softanneal_warning_outside")
  expect_equal(minimum_thickness(80, "HRE", rule = "ISO"), 15 * 50 * 0.002)
})

test_that("depth rules of the ISO standards", {
  # ISO 6508-1:2015 6.4 (from memory): 15 h for a ball, 10 h for a cone, h = (N - HR) S
  expect_equal(minimum_thickness(62, "HRB", "ISO"), 15 * (130 - 62) * 0.002)
  expect_equal(minimum_thickness(62, "HRC", "ISO"), 10 * (100 - 62) * 0.002)
  expect_equal(minimum_thickness(70, "HR30T", "ISO"), 15 * 30 * 0.001)
  expect_equal(minimum_thickness(70, "HR30T", "both"),
               max(minimum_thickness(70, "HR30T"), minimum_thickness(70, "HR30T", "ISO")))
  # Vickers: 1.5 times the diagonal (ISO 6507-1 6.3), any rule
  expect_equal(minimum_thickness(70, "HV5", "ISO"), 1.5 * sqrt(1.8544 * 5 / 70), tolerance = 1e-5)
  expect_equal(minimum_thickness(70, "HV5"), minimum_thickness(70, "HV5", "ISO"))
  # Brinell: 8 times the depth F / (pi D HBW)
  expect_equal(minimum_thickness(100, "HBW 2.5/62.5"), 8 * 62.5 / (pi * 2.5 * 100))
  expect_equal(minimum_thickness(100, "HBW_10_500"), 8 * 500 / (pi * 10 * 100))
})

test_that("scales and readings that cannot be are refused", {
  expect_error(minimum_thickness(70, "HV"), class = "softanneal_error_scale")
  expect_error(minimum_thickness(70, "HRZ"), class = "softanneal_error_scale")
  expect_error(minimum_thickness(70, 3), class = "softanneal_error_scale")
  expect_error(minimum_thickness(140, "HRB"), class = "softanneal_error_range")
  expect_error(minimum_thickness(0, "HV5"), class = "softanneal_error_range")
  expect_error(minimum_thickness("soft", "HRB"), class = "softanneal_error_argument")
  expect_error(minimum_thickness(Inf, "HRB"), class = "softanneal_error_missing")
  expect_error(minimum_thickness(60, "HRB", "E19"), class = "softanneal_error_argument")
  expect_error(minimum_thickness(c(60, 70, 80), c("HRB", "HRF")), class = "softanneal_error_argument")
})

test_that("choose_scale ranks what suits and says why the rest does not", {
  got <- choose_scale(0.95, as_rolled = 88, annealed = 30, scale = "HRB", rule = "E18")
  expect_s3_class(got, c("softanneal_choice", "data.frame"), exact = TRUE)
  expect_identical(got$rank, seq_len(nrow(got)))
  expect_false(is.unsorted(!got$suits))
  row <- function(scale) got[got$scale == scale, ]
  # the soft end decides: E18 asks for 0.96 mm at HRB 30, the sheet has 0.95 mm
  expect_false(row("HRB")$suits)
  expect_equal(row("HRB")$min_thickness_mm, 0.96)
  expect_match(row("HRB")$reason, "0.96 mm (E18), the sheet has 0.95 mm", fixed = TRUE)
  # full hard lies above the range of HRF
  expect_false(row("HRF")$suits)
  expect_match(row("HRF")$reason, "above its range (100)", fixed = TRUE)
  expect_match(row("HR45T")$reason, "below its range (10)", fixed = TRUE)
  suits <- got[got$suits, ]
  for (i in seq_len(nrow(suits))) {
    expect_lte(suits$min_thickness_mm[i], 0.95)
    expect_true(is.na(suits$range_low[i]) || suits$annealed[i] >= suits$range_low[i])
    expect_true(is.na(suits$range_high[i]) || suits$as_rolled[i] <= suits$range_high[i])
  }
  # Rockwell before Vickers, wide before narrow, large force before small
  expect_equal(suits$scale, c("HR30T", "HR15T", "HV10", "HV5", "HV1"))
  # a thicker sheet allows HRB, with the widest span
  expect_equal(choose_scale(1.0, 88, 30, "HRB")$scale[1], "HRB")
})

test_that("choose_scale says which rule it applied and never warns on its own account", {
  expect_no_warning(iso <- choose_scale(0.95, 88, 30, "HRB", rule = "ISO"))
  expect_true(all(iso$rule == "ISO"))
  expect_equal(iso$min_thickness_mm[iso$scale == "HRB"], 15 * 0.2)
  expect_no_warning(soft <- choose_scale(0.95, 175, 65))
  expect_match(soft$rule[soft$scale == "HRB"], "beyond the E18 tables")
  expect_match(soft$reason[soft$scale == "HR45T"], "conversion table does not reach the soft end")
  expect_output(print(soft), "Not suitable:")
  expect_output(print(choose_scale(0.05, 175, 65)), "None suits")
  expect_output(print(soft[1:2]), "scale")
  expect_equal(nrow(choose_scale(0.95, 175, 65, vickers_kgf = NULL)), 5L)
})

test_that("choose_scale refuses what cannot be", {
  expect_error(choose_scale(0, 175, 65), class = "softanneal_error_range")
  expect_error(choose_scale(0.95, 65, 175), class = "softanneal_error_range")
  expect_error(choose_scale(c(1, 2), 175, 65), class = "softanneal_error_argument")
  expect_error(choose_scale(0.95, 175, 65, scale = "HRZ"), class = "softanneal_error_scale")
  expect_error(choose_scale(0.95, 175, 65, material = "lead"), class = "softanneal_error_scale")
  expect_error(choose_scale(0.95, 175, 65, vickers_kgf = -1), class = "softanneal_error_range")
})

test_that("spacing is 3 d and 2.5 d, 6 d and 3 d for Vickers on light metals", {
  brass <- indent_spacing(c(70, 170), "HV5")
  expect_equal(brass$diameter_mm, sqrt(1.8544 * 5 / c(70, 170)), tolerance = 1e-5)
  expect_equal(brass$centre_mm, 3 * brass$diameter_mm)
  expect_equal(brass$edge_mm, 2.5 * brass$diameter_mm)
  light <- indent_spacing(70, "HV5", alloy_group = "light")
  expect_equal(c(light$centre_mm, light$edge_mm) / light$diameter_mm, c(6, 3))
  expect_equal(indent_spacing(scale = "HRB", diameter_mm = 1)$centre_mm, 3)
  # Brinell: the diameter that gives the number back, HBW = 2 F / (pi D (D - sqrt(D^2 - d^2)))
  d <- indent_spacing(100, "HBW 10/500")$diameter_mm
  expect_equal(2 * 500 / (pi * 10 * (10 - sqrt(100 - d^2))), 100)
  expect_equal(indent_spacing(c(NA, 70), "HV5")$centre_mm, c(NA, brass$centre_mm[1]))
  expect_identical(nrow(indent_spacing(numeric(), "HV5")), 0L)
  # sphere tip and cone of the cone indenter meet smoothly
  touch <- 0.2 * (1 - sinpi(1 / 3))
  expect_equal(cone_diameter(touch * (1 + c(-1e-9, 1e-9))), rep(0.2, 2), tolerance = 1e-6)
  expect_warning(deep <- indent_spacing(-700, "HR15T"), class = "softanneal_warning_outside")
  expect_true(is.na(deep$diameter_mm))
  expect_error(indent_spacing(scale = "HV5"), class = "softanneal_error_argument")
  expect_error(indent_spacing(70, "HV"), class = "softanneal_error_scale")
  expect_error(indent_spacing(scale = "HV5", diameter_mm = 0), class = "softanneal_error_range")
})

test_that("every indentation of a layout keeps its distances, in both patterns", {
  for (pattern in c("grid", "staggered")) {
    for (wanted in list(c(1, 1), c(5, 4), c(6, 9), c(7, 13))) {
      layout <- indent_layout(18, 90, n_readings = wanted[1], steps = wanted[2], hardness = 45,
                              scale = "HR30T", margin_mm = 12, pattern = pattern)
      p <- layout$positions
      expect_true(layout$fits)
      expect_identical(nrow(p), as.integer(prod(wanted)))
      gap <- layout$spacing$centre_mm
      if (nrow(p) > 1L) {
        expect_gte(min(stats::dist(p[c("position_mm", "across_mm")])), gap * (1 - 1e-6))
      }
      edge <- layout$spacing$edge_mm
      expect_true(all(p$across_mm >= edge - 1e-9 & p$across_mm <= 18 - edge + 1e-9))
      expect_true(all(p$position_mm >= 12 + edge - 1e-9 & p$position_mm <= 90 - edge + 1e-9))
    }
  }
})

test_that("a full strip is really full, and staggering never loses", {
  # field of 5 x 3 pitches: 6 x 4 sites in straight rows, counted by hand
  expect_equal(layout_capacity(c(5, 3), 1, "grid"), 24)
  expect_equal(layout_capacity(c(5, 0), 1, "grid"), 6)
  expect_equal(layout_capacity(c(0, 0), 1, "grid"), 1)
  expect_equal(layout_capacity(c(0, 0), 1, "staggered"), 1)
  # rows at sin 60 deg: 5 high enough for 4.47 -> 5 rows of 6 and 5 in turn = 28
  expect_gte(layout_capacity(c(5, 4 * sinpi(1 / 3)), 1, "staggered"), 28)
  expect_equal(nrow(layout_sites(c(5, 3), 1, 24, "grid")), 24L)
})

test_that("spread mixes steps along the strip, block keeps them together", {
  spread <- indent_layout(12, 90, 6, 5, 45, "HR30T")$positions
  block <- indent_layout(12, 90, 6, 5, 45, "HR30T", order = "block")$positions
  expect_equal(sort(spread$position_mm), sort(block$position_mm))
  centre <- \(p) as.vector(tapply(p$position_mm, p$step, mean))
  expect_lt(diff(range(centre(spread))), 15)
  expect_gt(diff(range(centre(block))), 50)
})

test_that("too many readings are NA with one warning that says what would fit", {
  expect_warning(full <- indent_layout(12, 60, n_readings = 6, steps = 9, hardness = 20, scale = "HRB",
                                       margin_mm = 10), class = "softanneal_warning_outside")
  p <- full$positions
  expect_false(full$fits)
  expect_identical(nrow(p), 54L)
  placed <- !is.na(p$position_mm)
  expect_equal(unique(p$step[placed]), seq_len(full$capacity %/% 6))
  cnd <- tryCatch(indent_layout(12, 60, 6, 9, 20, "HRB", margin_mm = 10), warning = identity)
  expect_equal(cnd$n, sum(!placed))
  # the length it names is enough
  long <- as.numeric(sub(".*have to be ([0-9.]+) mm.*", "\\1", conditionMessage(cnd)))
  expect_no_warning(indent_layout(12, long, 6, 9, 20, "HRB", margin_mm = 10))
  expect_warning(indent_layout(12, long - 0.2, 6, 9, 20, "HRB", margin_mm = 10),
                 class = "softanneal_warning_outside")
  # not even one step: every reading NA
  expect_warning(none <- indent_layout(8, 12, 6, 2, 30, "HRB"),
                 class = "softanneal_warning_outside")
  expect_true(all(is.na(none$positions$position_mm)))
})

test_that("a strip too small for one reading is refused", {
  small <- expect_error(indent_layout(4, 60, 1, 1, 30, "HRB"), class = "softanneal_error_range")
  expect_match(conditionMessage(small), "too small for one reading")
  expect_equal(small$arg, "width_mm")
  expect_equal(tryCatch(indent_layout(20, 10, 1, 1, 30, "HRB", margin_mm = 6),
                        error = \(e) e$arg), "length_mm")
  expect_error(indent_layout(20, 80, 0, 1, 30, "HRB"), class = "softanneal_error_range")
  expect_error(indent_layout(20, 80, 1.5, 1, 30, "HRB"), class = "softanneal_error_argument")
  expect_error(indent_layout(20, 80, 1, 1, c(30, 40), "HRB"), class = "softanneal_error_argument")
  expect_error(indent_layout(-20, 80, 1, 1, 30, "HRB"), class = "softanneal_error_range")
})

test_that("the plot of a layout shows each indentation in its size and equal scales", {
  layout <- indent_layout(20, 80, n_readings = 6, steps = 7, hardness = 30, scale = "HR30T")
  picture <- ggplot2::autoplot(layout)
  expect_s3_class(picture, "ggplot")
  discs <- ggplot2::layer_data(picture, 3)
  expect_equal(length(unique(discs$group)), 42L)
  one <- discs[discs$group == discs$group[1], ]
  expect_equal(diff(range(one$x)), layout$spacing$diameter_mm, tolerance = 1e-6)
  expect_equal(picture$coordinates$ratio, 1)
  expect_match(ggplot2::get_alt_text(picture), "42 indentations")
  expect_output(print(layout), "all fit")
  expect_s3_class(as.data.frame(layout), "data.frame", exact = TRUE)
})

test_that("the gap of each way is the least distance of its lattice, and sites take the widest", {
  skip_on_cran()
  lattice <- function(way, free, staggered) {
    rows <- lapply(seq_len(way$rows), function(i) {
      n <- way$columns - if (staggered && i %% 2 == 0) 1 - way$extra else 0
      if (n == 0) return(NULL)
      step <- if (is.finite(way$dx)) way$dx else 0
      cbind((seq_len(n) - 1) * step + if (staggered && i %% 2 == 0) step / 2 else 0,
            if (is.finite(way$dy)) (i - 1) * way$dy else 0)
    })
    do.call(rbind, rows)
  }
  for (pattern in c("grid", "staggered")) for (free in list(c(12, 1), c(9, 2.2), c(5, 1.3), c(6, 4))) {
    ways <- layout_ways(free, 1, pattern)
    own <- vapply(seq_len(nrow(ways)), function(k) {
      at <- lattice(ways[k, ], free, pattern == "staggered")
      expect_equal(nrow(at), ways$count[k])
      if (nrow(at) > 1L) min(stats::dist(at)) else Inf
    }, 0)
    several <- ways$rows > 1 & ways$columns > 2
    expect_equal(ways$gap[several], own[several])
    for (wanted in seq(2, max(ways$count), by = 3)) {
      sites <- layout_sites(free, 1, wanted, pattern)
      expect_gte(min(stats::dist(sites)), max(ways$gap[ways$count >= wanted]) * (1 - 1e-9))
    }
  }
})
