# Checks against published values; the source stands beside each. Tables:
# inst/extdata/precision_*.csv and thickness_*.csv, with how each value was obtained.

test_that("Grubbs: NIST/SEMATECH e-Handbook 1.3.5.17.1 example, and the table of critical values", {
  x <- c(199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57)
  o <- find_outliers(x)
  expect_equal(o$statistic, 2.468765, tolerance = 1e-6)
  # two-sided critical value, recomputed from the formula of the handbook
  expect_equal(o$critical, 2.126645, tolerance = 1e-6)
  expect_equal(extreme_critical(8, 0.05, sides = 1), 2.031652, tolerance = 1e-6)
  # p one-sided (Bonferroni) 1.55e-7
  expect_equal(extreme_p(o$statistic, 8, sides = 1), 1.55e-7, tolerance = 0.05)
  expect_true(o$outlier)
  table <- fact_table("precision_grubbs.csv")
  for (alpha in c(10, 5, 2.5, 1)) {
    seen <- table[[paste0("a", c(`10` = "10", `5` = "05", `2.5` = "025",
                                 `1` = "01")[[as.character(alpha)]], "_seen")]]
    # the printed tables have two decimals, of which the last is off by one in places
    expect_true(all(abs(extreme_critical(table$n, alpha / 100, 1) - seen) <= 0.0065))
  }
  four <- !is.na(table$a05_seen_4dp)
  expect_true(all(abs(extreme_critical(table$n[four], 0.05,
                                       1) - table$a05_seen_4dp[four]) <= 5.1e-5))
})

test_that("generalised ESD: Rosner 1983, NIST/SEMATECH e-Handbook 1.3.5.17.3 (values from memory)",
          {
  x <- c(-0.25, 0.68, 0.94, 1.15, 1.20, 1.26, 1.26, 1.34, 1.38, 1.43, 1.49, 1.49, 1.55, 1.56, 1.58,
         1.65, 1.69, 1.70,
         1.76, 1.77, 1.81, 1.91, 1.94, 1.96, 1.99, 2.06, 2.09, 2.10, 2.14, 2.15, 2.23, 2.24, 2.26,
         2.35, 2.37, 2.40,
         2.47, 2.54, 2.62, 2.64, 2.90, 2.92, 2.92, 2.93, 3.21, 3.26, 3.30, 3.59, 3.68, 4.30, 4.64,
         5.34, 5.42, 6.01)
  o <- find_outliers(x, method = "esd", max_outliers = 10)
  expect_true(all(abs(o$statistic - c(3.118, 2.942, 3.179, 2.810, 2.815, 2.848, 2.279, 2.310, 2.101,
                                      2.067)) < 1.1e-3))
  expect_true(all(abs(o$critical - c(3.158, 3.151, 3.143, 3.136, 3.128, 3.120, 3.111, 3.103, 3.094,
                                     3.085)) < 1.1e-3))
  # three outliers although the first two steps lie below their critical values: no masking
  expect_identical(sum(o$outlier), 3L)
  expect_setequal(o$value[o$outlier], c(6.01, 5.42, 5.34))
})

test_that("h and k: critical values of ASTM E691 for 8 laboratories and 3 readings at 0.5 %", {
  expect_equal(h_critical(8, 0.005), 2.152492, tolerance = 1e-6)
  expect_equal(k_critical(8, 3, 0.005), 2.06084, tolerance = 1e-6)
  # printed in the standard: 2.15 and 2.06
  expect_equal(round(c(h_critical(8, 0.005), k_critical(8, 3, 0.005)), 2), c(2.15, 2.06))
})

test_that("ASTM E691 glucose: precision of materials A, D and E", {
  cells <- fact_table("precision_e691_cells.csv")
  expected <- fact_table("precision_e691_results.csv")
  l <- compare_laboratories(cells, lab, material, cell_mean = "cell_mean", cell_sd = "cell_sd",
                            cell_n = "n")
  got <- l$precision[match(expected$material, l$precision$material), ]
  expect_equal(got$mean, expected$mean, tolerance = 1e-5)
  expect_true(all(abs(got$s_xbar - expected$s_xbar) < 1e-4))
  use <- expected$material %in% c("A", "D", "E")
  # as the standard prints them (three decimals)
  expect_true(all(abs(got$s_r - expected$standard_s_r)[use] < 6e-4))
  expect_true(all(abs(got$s_R - expected$standard_s_R)[use] < 6e-4))
  # limits to two decimals, all materials against the cells' own recomputation
  expect_true(all(abs(got$r - expected$r_limit) < 0.0051))
  expect_true(all(abs(got$R - expected$R_limit) < 0.0051))
  beyond <- l$cells[l$cells$k_beyond, c("material", "lab")]
  expect_identical(paste(beyond$material, beyond$lab), c("C 4", "E 2"))
})

test_that("NIST StRD analysis of variance: SiRstv and AtmWtAg", {
  data <- fact_table("precision_strd_data.csv")
  certified <- fact_table("precision_strd_certified.csv")
  for (name in c("SiRstv", "AtmWtAg")) {
    set <- data.frame(group = data$group[data$dataset == name], specimen = name,
                      hardness = data$value[data$dataset == name])
    w <- compare_laboratories(set)$components
    value <- function(q) certified$value[certified$dataset == name & certified$quantity == q]
    # digits lost in the data themselves (107.868...): 1e-8 of F is asked for
    expect_equal(w$statistic[1], value("F"), tolerance = 1e-8)
    expect_equal(w$sd[w$term == "within"], value("resid_sd"), tolerance = 1e-8)
    expect_identical(c(w$df1[1], w$df2[1]), c(value("df_between"), value("df_within")))
    # all that is certified follows from F, the sd and the degrees of freedom
    ss_within <- w$sd[w$term == "within"]^2 * w$df2[1]
    ss_between <- w$statistic[1] * w$sd[w$term == "within"]^2 * w$df1[1]
    expect_equal(ss_within, value("SS_within"), tolerance = 1e-8)
    expect_equal(ss_between, value("SS_between"), tolerance = 1e-8)
    expect_equal(ss_between / (ss_between + ss_within), value("R2"), tolerance = 1e-8)
  }
})

test_that("analysis of variance of constant leading digits: the nine SmLs sets", {
  # NIST StRD, analysis of variance, after Simon S D, Lesage J P (1989) Comput. Statist. Data Anal.
  # 8, 317: nine treatments of 21, 201 or 2001 values, each its mean once and then a tenth below
  # and above in turn; means a tenth apart; all of it on top of 1, 1e6 or 1e12. Construction from
  # memory; its exact answers, F = number of values and within-sd = 0.1, follow by arithmetic.
  above <- c(4, 3, 5, 3, 5, 3, 5, 3, 5) # tenths
  digits <- function(x, truth) -log10(max(abs(x / truth - 1), 1e-16))
  # the doubles themselves keep a tenth on 1e6 to 10 digits, on 1e12 to 3 or 4
  least <- c(`1` = 13, `1e+06` = 9, `1e+12` = 3)
  for (base in c(1, 1e6, 1e12)) for (n in c(21, 201, 2001)) {
    tenths <- rep(above, each = n) + rep(c(0, rep_len(c(-1, 1), n - 1)), 9)
    set <- data.frame(group = rep(1:9, each = n), specimen = "set",
                      hardness = if (base == 1) (10 + tenths) / 10 else base + tenths / 10)
    w <- compare_laboratories(set)$components
    label <- paste("base", base, "n", n)
    expect_gte(digits(w$statistic[1L], n), least[[format(base)]], label = label)
    expect_gte(digits(w$sd[w$term == "within"], 0.1), least[[format(base)]], label = label)
    expect_identical(c(w$df1[1L], w$df2[1L]), c(8, 9 * (n - 1)), label = label)
    s <- summarise_readings(transform(set, temp_c = 330, time_min = group, scale = "HV"))
    expect_gte(digits(s$sd[1L], 0.1), least[[format(base)]], label = label)
    expect_equal(s$mean, base * (base > 1) + ((base == 1) * 10 + above) / 10, tolerance = 1e-15)
  }
})

test_that("GUM H.1, end gauge: u_c = 32 nm, 16 degrees of freedom, U99 = 93 nm", {
  b <- propagate_uncertainty(~ ls + d - ls * (da * th + as * dth),
                             c(ls = 50000623, d = 215, da = 0, th = -0.1, as = 11.5e-6, dth = 0),
                             c(25, 9.7, 0.58e-6, 0.41, 1.2e-6, 0.029),
                             df = c(18, 25.6, 50, Inf, Inf, 2), level = 0.99)
  expect_equal(b$estimate, 50000838)
  expect_equal(round(b$std_uncertainty), 32)
  expect_equal(b$std_uncertainty, 31.72, tolerance = 1e-3)
  expect_identical(floor(b$df), 16)
  expect_equal(b$coverage, 2.92078, tolerance = 1e-5)
  expect_equal(round(b$expanded), 93)
  expect_equal(round(abs(b$table$contribution), 1), c(25, 9.7, 2.9, 0, 0, 16.7))
})

test_that("GUM H.2, correlated inputs: resistance, reactance and impedance", {
  v <- c(5.007, 4.994, 5.005, 4.990, 4.999)
  i <- c(19.663, 19.639, 19.640, 19.685, 19.678) / 1000
  phi <- c(1.0456, 1.0438, 1.0468, 1.0428, 1.0433)
  est <- c(v = mean(v), i = mean(i), phi = mean(phi))
  u <- c(sd(v), sd(i), sd(phi)) / sqrt(5)
  r <- cor(cbind(v, i, phi))
  get <- function(model) propagate_uncertainty(model, est, u, correlation = r)
  expect_equal(unlist(get(~ v / i * cos(phi))[1:2], use.names = FALSE), c(127.7322, 0.07107),
               tolerance = 1e-4)
  expect_equal(unlist(get(~ v / i * sin(phi))[1:2], use.names = FALSE), c(219.8465, 0.29558),
               tolerance = 1e-4)
  z <- propagate_uncertainty(~ v / i, est[1:2], u[1:2], correlation = r[1:2, 1:2])
  expect_equal(c(z$estimate, z$std_uncertainty), c(254.2597, 0.23634), tolerance = 1e-4)
})

test_that("GUM G.4: four equal contributions of 10 degrees of freedom have 40", {
  b <- propagate_uncertainty(~ a + b + c + d, c(a = 1, b = 1, c = 1, d = 1), rep(1, 4), df = 10)
  expect_equal(b$df, 40)
})

test_that("equivalence: published example with n = 95 and 89", {
  # means 5.25, 5.22; sd 0.95, 0.83; bounds +-0.384. Data with exactly these moments:
  exact <- function(n, m, s) as.vector(scale(seq_len(n))) * s + m
  b <- compare_baseline(exact(95, 5.25, 0.95), exact(89, 5.22, 0.83), margin = 0.384)
  # recomputed with Welch: df 181.134, t 3.15302 and -2.69606, p 0.003839
  expect_equal(b$df, 181.134, tolerance = 1e-5)
  expect_equal(unname(b$equivalence$statistic), c(3.15302, -2.69606), tolerance = 1e-5)
  expect_equal(b$equivalence$p.value[["upper"]], 0.003839, tolerance = 1e-3)
  # published, rounded: t = -2.69 (the text cuts it), p = 0.004; verdict of equivalence
  expect_equal(round(max(b$equivalence$p.value), 3), 0.004)
  expect_identical(b$verdict, "unchanged")
})

test_that("Student's sleep data: paired and Welch", {
  skip_on_cran()
  x <- datasets::sleep$extra
  paired <- compare_baseline(x[1:10], x[11:20], margin = 1, paired = TRUE)
  expect_equal(c(paired$estimate / paired$std.error, paired$df, paired$p.value),
               c(-4.0621, 9, 0.002833), tolerance = 1e-4)
  welch <- compare_baseline(x[1:10], x[11:20], margin = 1)
  expect_equal(c(welch$estimate / welch$std.error, welch$df, welch$p.value),
               c(-1.8608, 17.776, 0.07939), tolerance = 1e-4)
})

test_that("ASTM E18 minimum thickness: every row allows its reading and refuses one point less", {
  # HRF rows are values from memory, the others were seen in a reprint
  rows <- fact_table("thickness_e18.csv")
  rows <- rows[rows$scale %in% hardness_scales()$scale, ]
  warned <- function(hardness, thickness) {
    d <- data.frame(specimen = seq_len(nrow(rows)), temp_c = 20, time_min = 0, hardness = hardness,
                    scale = rows$scale,
                    thickness_mm = thickness)
    f <- check_readings(d)
    hit <- unlist(f$rows[f$check == "thickness" & f$level == "warning"])
    seq_len(nrow(rows)) %in% hit
  }
  expect_false(any(warned(rows$lowest_reading, rows$thickness_mm)))
  last <- stats::ave(rows$thickness_mm, rows$scale, FUN = max) == rows$thickness_mm
  expect_true(all(warned(rows$lowest_reading - 1, rows$thickness_mm)[!last]))
  # thinner than the thinnest row: no reading is allowed
  thinnest <- stats::ave(rows$thickness_mm, rows$scale, FUN = min) == rows$thickness_mm
  expect_true(all(warned(rows$lowest_reading, rows$thickness_mm - 0.02)[thinnest]))
})

test_that("ISO 6508-1 thickness against E18: stricter on HRB and HRF, not on all scales", {
  # 15 h (10 h with a cone) from memory; E18 rows seen, HRF from memory. Ratio of the thickness
  # asked for by ISO to that of E18 for the same reading.
  rows <- fact_table("thickness_e18.csv")
  ratio <- indent_size(rows$lowest_reading, rows$scale)$least / rows$thickness_mm
  expect_true(all(ratio[rows$scale %in% c("HRB", "HRF")] > 1.5))
  expect_true(all(ratio[rows$scale %in% c("HRB", "HRF")] < 3.3))
  expect_true(all(ratio[rows$scale == "HR15T"] < 1.1))
})

test_that("indentation sizes agree with the geometry of the standards", {
  size <- indent_size(c(100, 100), c("HV10", "HBW 10/500"))
  # HV = 1.8544 F/d^2
  expect_equal(1.8544 * 10 / size$diameter[1]^2, 100, tolerance = 1e-4)
  # HBW = 2 F / (pi D (D - sqrt(D^2 - d^2)))
  d <- size$diameter[2]
  expect_equal(2 * 500 / (pi * 10 * (10 - sqrt(100 - d^2))), 100)
})
