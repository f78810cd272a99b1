all_blunders <- c("outlier", "mislabel", "warm", "forgotten")

test_that("a group alone is the group of the whole class, in any order", {
  skip_on_cran()
  whole <- simulate_class(6, seed = 31, blunders = all_blunders)
  expect_identical(unique(as.vector(whole$group)), sprintf("group-%02d", 1:6))
  alone <- simulate_class(6, seed = 31, blunders = all_blunders, groups = 4)
  part <- function(x, g) {
    out <- as.data.frame(x)[x$group == g, ]
    rownames(out) <- NULL
    lapply(out, as.vector)
  }
  expect_identical(part(alone, "group-04"), part(whole, "group-04"))
  turned <- simulate_class(6, seed = 31, blunders = all_blunders, groups = c(5, 2))
  expect_identical(unique(as.vector(turned$group)), c("group-05", "group-02"))
  expect_identical(part(turned, "group-02"), part(whole, "group-02"))
  # a larger class begins with the same groups
  larger <- simulate_class(7, seed = 31, blunders = all_blunders, groups = 6)
  expect_identical(part(larger, "group-06"), part(whole, "group-06"))
  expect_false(identical(part(whole, "group-01")$hardness, part(whole, "group-02")$hardness))
  other <- simulate_class(1, seed = 32, blunders = all_blunders)
  expect_false(identical(part(whole, "group-01")$hardness, part(other, "group-01")$hardness))
})

test_that("streams are those of L'Ecuyer, and the session is left as found", {
  skip_on_cran()
  set.seed(3, kind = "Mersenne-Twister")
  before <- .Random.seed
  class <- simulate_class(2, seed = 20)
  expect_identical(.Random.seed, before)
  expect_error(simulate_class(1, seed = 20, temp_c = 330), class = "softanneal_error_too_few")
  expect_identical(.Random.seed, before)
  # by hand: the second stream after set.seed(), first draw
  withr::with_preserve_seed({
    set.seed(20, kind = "L'Ecuyer-CMRG", normal.kind = "Inversion", sample.kind = "Rejection")
    stream <- parallel::nextRNGStream(parallel::nextRNGStream(.Random.seed))
    assign(".Random.seed", stream, envir = globalenv())
    z <- rnorm(5)
  })
  key <- answer_key(2, seed = 20)
  truth <- attr(key, "truth")[2, ]
  expect_identical(truth$draws, 1L)
  expect_equal(truth$h_worked, 160 + 4 * z[1])
  expect_equal(truth$n, 1.6 * exp(0.05 * z[4]))
  expect_identical(RNGkind()[1], "Mersenne-Twister")
})

test_that("class data carry no true values, no seed and no design", {
  class <- simulate_class(2, seed = 20, blunders = all_blunders)
  expect_s3_class(class, c("softanneal_class", "softanneal_readings", "data.frame"), exact = TRUE)
  expect_setequal(names(attributes(class)), c("names", "class", "row.names"))
  expect_named(class, c("group", "specimen", "temp_c", "step", "time_min", "reading", "hardness",
                        "scale", "note"))
  expect_identical(unique(unlist(lapply(class, function(x) names(attributes(x))))), "label")
})

test_that("every group is teachable, and a draw that is not is drawn again", {
  skip_on_cran()
  # one short schedule whose draws often leave something open
  design <- class_design(temp_c = c(330, 370), time_min = c(0, 4, 8, 16, 64), n_readings = 3,
                         sd = errors_alone(step = 3, reading = 1.5))
  key <- answer_key(12, seed = 5, design = design)
  draws <- attr(key, "truth")$draws
  expect_gt(max(draws), 1L)
  expect_true(all(is.finite(key$reference)))
  expect_true(all(key$reference >= key$lower & key$reference <= key$upper))
  class <- simulate_class(12, seed = 5, design = design)
  group <- class[class$group == sprintf("group-%02d", which.max(draws)), ]
  fit <- fit_softening(group)
  expect_true(all(fit$states == "determined"))
  # one temperature can never determine Q
  e <- expect_error(simulate_class(2, seed = 1, temp_c = 330),
                    class = "softanneal_error_too_few")
  expect_match(conditionMessage(e), "q_kj_mol")
  # hardness outside the conversion table is a draw that cannot be used, with its reason
  expect_error(simulate_class(1, seed = 1, sd = c(machine = 500)),
               "outside its scale", class = "softanneal_error_too_few")
})

test_that("groups differ about the class truth by the spread asked for", {
  skip_on_cran()
  key <- answer_key(150, seed = 8, design = class_design(
    sd_groups = c(h_soft = 2, q_kj_mol = 0.05), n_readings = 12,
    sd = errors_alone(step = 0.5, reading = 0.5)))
  truth <- attr(key, "truth")
  expect_identical(unique(truth$h_worked), 160)
  expect_equal(mean(truth$h_soft), 78, tolerance = 0.006)
  expect_equal(sd(truth$h_soft), 2, tolerance = 0.2)
  expect_equal(sd(log(truth$q_kj_mol)), 0.05, tolerance = 0.2)
})

test_that("the standard errors of the key are those of the estimator", {
  skip_on_cran()
  design <- class_design(sd = errors_alone(reading = 1, step = 1.5, specimen = 1, operator = 0.3,
                                        machine = 0.2), operators = c("a", "b"), sd_groups = NULL)
  key <- key_quantities(design$truth, design)
  state <- keep_random()
  withr::defer(restore_random(state))
  set.seed(1)
  estimates <- replicate(300, {
    fit <- fit_softening(draw_readings(design$truth, design$bench)$data, se = "cluster")
    quantities_of(list(kind = 0L, par = fit$par, temp_ref_c = fit$temp_ref_c), key)$value
  })
  estimates[key$log, ] <- log(estimates[key$log, ])
  # 300 draws know a standard deviation to 4 %; linearisation adds some more
  expect_equal(apply(estimates, 1, sd) / key$std.error, rep(1, nrow(key)), tolerance = 0.12)
  true <- ifelse(key$log, log(key$value), key$value)
  expect_lt(max(abs(rowMeans(estimates) - true) / key$std.error), 4 / sqrt(300) + 0.1)
})

test_that("without shared errors the key has the textbook covariance", {
  design <- class_design(scale = "HV", resolution = 0, sd = errors_alone(reading = 1.3))
  b <- design$bench
  jac <- true_hardness(design$truth, b$steps$temp_c, b$steps$time_min)[b$row, -1]
  expect_equal(estimator_covariance(design$truth, design), 1.3^2 * solve(crossprod(jac)),
               tolerance = 1e-6, ignore_attr = TRUE)
})

test_that("values of the key are those of the formulas", {
  key <- answer_key(1, seed = 20)
  truth <- attr(key, "truth")
  at <- function(q) key$value[key$quantity == q]
  expect_equal(at("q_kj_mol"), truth$q_kj_mol)
  k <- exp(truth$ln_k_ref - truth$q_kj_mol * 1000 / 8.314462618 *
             (1 / (c(290, 330, 370, 410) + 273.15) - 1 / 603.15))
  expect_equal(at("k_per_min"), k)
  expect_equal(at("t50_min"), log(2)^(1 / truth$n) / k)
  row <- key[key$quantity == "h_soft", ]
  expect_equal(c(row$lower, row$upper), row$value + c(-2, 2) * row$std.error)
  row <- key[key$quantity == "t50_min", ][1, ]
  expect_equal(c(row$lower, row$upper), row$value * exp(c(-2, 2) * row$std.error))
  wide <- answer_key(1, seed = 20, tolerance = 3)
  # the tolerance decides which draws are used, not what is drawn
  expect_gt(wide$upper[1] - wide$lower[1], 0)
})

test_that("a key is checked against the class it is for", {
  skip_on_cran()
  class <- simulate_class(3, seed = 20, blunders = "forgotten")
  expect_s3_class(answer_key(3, seed = 20, blunders = "forgotten", class = class), "softanneal_key")
  expect_error(answer_key(3, seed = 21, blunders = "forgotten", class = class),
               class = "softanneal_error_argument")
  expect_error(answer_key(3, seed = 20, class = class), class = "softanneal_error_argument")
  dir <- withr::local_tempdir()
  files <- write_class(class, dir)
  back <- do.call(rbind, lapply(rev(files), read.csv))
  expect_s3_class(answer_key(3, seed = 20, blunders = "forgotten", class = back), "softanneal_key")
})

test_that("files: one per group, nothing replaced unasked, formulas disarmed, nothing left over", {
  class <- simulate_class(2, seed = 20)
  dir <- file.path(withr::local_tempdir(), "new", "class")
  files <- write_class(class, dir)
  expect_identical(basename(files), c("group-01.csv", "group-02.csv"))
  expect_identical(list.files(dir), c("group-01.csv", "group-02.csv"))
  r <- read_readings(files[[2]])
  expect_equal(as.vector(r$hardness), as.vector(class$hardness[class$group == "group-02"]))
  stamp <- tools::md5sum(files)
  unlink(files[[2]])
  expect_error(write_class(class, dir), class = "softanneal_error_file")
  expect_false(file.exists(files[[2]]))
  write_class(class, dir, overwrite = TRUE)
  expect_identical(tools::md5sum(files), stamp)
  class$specimen[1] <- "=1+1"
  write_class(class, dir, overwrite = TRUE)
  expect_match(readLines(files[[1]])[2], "\"'=1+1\"", fixed = TRUE)
  # groups whose names would make one file get a file each
  class$group <- rep(c("a/b", "a b"), each = 168)
  alike <- write_class(class, dir)
  expect_named(alike, c("a/b", "a b"))
  expect_length(unique(tolower(alike)), 2L)
  expect_identical(unique(utils::read.csv(alike[["a b"]])$group), "a b")
  class$group <- NA
  expect_error(write_class(class, dir), class = "softanneal_error_missing")
  expect_error(write_class(as.data.frame(r)["hardness"], dir), class = "softanneal_error_column")
  expect_error(write_class(simulate_class(1, 1), files[[1]]), class = "softanneal_error_file")
  expect_error(write_class(list(), dir), class = "softanneal_error_argument")
})

test_that("designs and numbers of groups that cannot be are refused", {
  bad <- function(expr) expect_error(expr, class = "softanneal_error_argument")
  bad(simulate_class(2, seed = 1, groups = 1.5))
  bad(simulate_class(2, seed = 1, groups = c(1, 1)))
  bad(simulate_class(2, seed = 1, design = list()))
  bad(simulate_class(2, seed = 1, blunders = "warm", design = class_design()))
  bad(simulate_class(2, seed = 1.5))
  bad(class_design(sd_groups = c(theta0 = 1)))
  bad(class_design(sd_groups = 3))
  bad(class_design(colour = 1))
  expect_error(simulate_class(0, seed = 1), class = "softanneal_error_range")
  expect_error(simulate_class(2, seed = 1, groups = 3), class = "softanneal_error_range")
  expect_error(class_design(tolerance = 0), class = "softanneal_error_range")
  expect_error(class_design(sd_groups = c(n = -1)), class = "softanneal_error_range")
  expect_error(answer_form(data.frame(group = "a")), class = "softanneal_error_column")
})

test_that("models with incubation and recovery have keys too", {
  incubation <- answer_key(1, seed = 2, design = class_design(
    c(WORKSHOP_TRUTH, theta0 = 0.2), model = "jmak_incubation",
    time_min = c(0, 2, 4, 6, 8, 12, 16, 24, 32, 64, 128),
    sd = errors_alone(step = 0.3, reading = 0.5), scale = "HV"))
  expect_true(all(is.finite(incubation$std.error)))
  expect_true("theta0" %in% names(attr(incubation, "truth")))
})

test_that("a key drawn with blunders does not warn of them", {
  expect_no_warning(answer_key(3, seed = 20, blunders = c(mislabel = 1)))
})
