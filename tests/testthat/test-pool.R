# Pooled estimates against metafor, against closed forms, and for what cannot be pooled.

class <- simulate_class(12, seed = 3)
fits <- suppressWarnings(fit_each(class, by = "group"))

test_that("one and two parameters are pooled as metafor does", {
  skip_if_not_installed("metafor")
  g <- of_terms(groups_of_fits(fits), c("n", "q_kj_mol"))
  skip_if(!all(g$has))
  one <- pool_fits(fits, terms = "n")
  m <- metafor::rma(g$y["n", ], g$cov[1L, ], method = "REML",
                    control = list(threshold = 1e-12, maxiter = 1000))
  expect_equal(unname(one$mean), as.numeric(m$beta), tolerance = 1e-6)
  expect_equal(sqrt(as.numeric(one$cov)), m$se, tolerance = 1e-5)
  expect_equal(as.numeric(one$between), m$tau2, tolerance = 1e-4)
  best <- metafor::blup(m)
  expect_equal(as.numeric(one$drawn), as.numeric(best$pred), tolerance = 1e-5)
  expect_equal(as.numeric(one$drawn_se), as.numeric(best$se), tolerance = 1e-4)
  two <- pool_fits(fits, terms = c("n", "q_kj_mol"))
  k <- ncol(g$y)
  d <- data.frame(yi = as.vector(g$y), term = rep(rownames(g$y), k), group = rep(seq_len(k), each = 2))
  v <- metafor::bldiag(lapply(seq_len(k), function(i) matrix(g$cov[c(1, 2, 2, 3), i], 2)))
  both <- suppressWarnings(metafor::rma.mv(yi, v, mods = ~ term - 1, random = ~ term | group,
                                           struct = "UN", data = d))
  expect_equal(unname(two$mean), as.numeric(both$beta), tolerance = 1e-4)
  expect_equal(unname(sqrt(diag(two$cov))), both$se, tolerance = 1e-3)
  expect_equal(unname(diag(two$between)), both$tau2, tolerance = 1e-2)
})

test_that("groups of equal precision have a closed form, and what is missing is told by the others", {
  y <- with_test_seed(8, matrix(stats::rnorm(40), 2) * c(2, 1) + c(5, 1))
  cov <- matrix(c(0.2, 0.05, 0.1), 3L, 20L)
  r <- .Call(C_sa_call_pool, y, cov, matrix(1L, 2, 20), diag(2))
  s <- stats::cov(t(y))
  expect_equal(r$mean, rowMeans(y), tolerance = 1e-8)
  expect_equal(r$between, unname(s) - matrix(c(0.2, 0.05, 0.05, 0.1), 2), tolerance = 1e-5)
  expect_equal(r$mean_cov, unname(s) / 20, tolerance = 1e-5)
  # no spread between the groups: the weighted mean, on the edge of what a variance can be
  tight <- .Call(C_sa_call_pool, y / 1e3, cov, matrix(1L, 2, 20), diag(2))
  expect_lt(max(abs(tight$between)), 1e-4)
  expect_equal(tight$mean, rowMeans(y) / 1e3, tolerance = 1e-6)
  has <- matrix(1L, 2, 20)
  has[2, 1:10] <- 0L
  part <- .Call(C_sa_call_pool, replace(y, has == 0L, 1e6), cov, has, diag(2))
  same <- .Call(C_sa_call_pool, replace(y, has == 0L, -7), cov, has, diag(2))
  expect_equal(part, same)
  expect_equal(part$told, rep(1:2, each = 10))
  # the correlation between the groups tells of what a group does not show
  expect_gt(part$variance[2, 1], part$variance[2, 20])
})

test_that("a list of fits is pooled at one reference temperature", {
  groups <- split(class, class$group)[1:3]
  at <- c(330, 340, 350)
  list_of <- suppressWarnings(Map(function(d, ref) fit_softening(d, temp_ref_c = ref), groups, at))
  same <- suppressWarnings(lapply(groups, fit_softening, temp_ref_c = 340))
  a <- pool_fits(list_of, temp_ref_c = 340)
  b <- pool_fits(same, temp_ref_c = 340)
  expect_equal(a$estimates, b$estimates, tolerance = 1e-4)
  expect_equal(a$std.errors, b$std.errors, tolerance = 1e-2)
  expect_equal(a$mean, b$mean, tolerance = 1e-3)
})

test_that("what pooled estimates say", {
  pool <- pool_fits(fits)
  expect_output(print(pool), "12 groups pooled")
  expect_match(format(pool), "12 groups")
  t <- tidy(pool)
  expect_equal(t$estimate, unname(coef(pool)))
  expect_equal(t$std.error, unname(sqrt(diag(vcov(pool)))))
  expect_true(all(t$new.low < t$conf.low & t$new.high > t$conf.high))
  d <- as.data.frame(pool)
  expect_equal(nrow(d), 60L)
  # drawn towards the mean, never beyond it where one parameter is pooled
  one <- as.data.frame(pool_fits(fits, terms = "n"))
  mean <- coef(pool_fits(fits, terms = "n"))[["n"]]
  expect_true(all((one$drawn - mean) * (one$estimate - mean) >= 0))
  expect_true(all(abs(one$drawn - mean) <= abs(one$estimate - mean)))
  odd <- fits
  odd$par[fits$set$terms == "h_soft", 4L] <- 140
  expect_output(print(pool_fits(odd)), "Stands apart .*group-04")
  expect_s3_class(ggplot2::ggplot_build(ggplot2::autoplot(pool))$plot, "ggplot")
  expect_match(ggplot2::get_alt_text(ggplot2::autoplot(pool_fits(odd), "funnel")), "1 apart")
  p <- prior_softening(from = pool)
  expect_output(print(p), "a new group after 12 groups")
  expect_equal(p$joint$cov, pool$new)
})

test_that("what cannot be pooled is refused", {
  expect_refused(pool_fits(1), "argument", "must come from fit_each()", "fits")
  expect_refused(pool_fits(fits, terms = "k"), "argument", "names no parameter", "terms")
  one <- fit_softening(bell_readings())
  rickett <- fit_softening(bell_readings(), "austin_rickett")
  expect_refused(pool_fits(list(one, rickett)), "argument", "several models", "fits", 2L)
  expect_refused(pool_fits(list(one)), "too_few", "fewer than two groups", "fits")
  bad <- fits
  bad$cov[] <- -1
  expect_refused(pool_fits(bad, terms = "n"), "too_few", "fewer than two groups", "fits")
  bad <- fits
  bad$cov[-c(1L, 3L, 6L, 10L, 15L), ] <- 1e6 # correlations beyond 1
  expect_refused(pool_fits(bad), "too_few", "no covariance between", "fits")
})

test_that("what could not be tested, and what the errors leave out, is said", {
  five <- class[class$group %in% unique(class$group)[1:5], ]
  pool <- suppressWarnings(pool_fits(fit_each(five, by = "group")))
  expect_true(all(is.na(pool$p.value)))
  said <- gsub("\\s+", " ", paste(utils::capture.output(print(pool)), collapse = " "))
  expect_match(said, "No group could be tested for .*: a test needs two groups more than the 5 param")
  expect_no_match(said, "No group stands apart")
  expect_match(said, "leave out the errors of specimen and furnace")
  expect_no_match(said, "Caution")
  few <- fits
  few$df_interval[] <- 9L
  expect_output(print(pool_fits(few)), "Caution: cluster-robust standard errors of 12\\s+groups come")
  few$df_interval[] <- 10L
  expect_no_match(pool_fits(few)$remarks, "Caution")
  expect_length(pool_fits(list(a = bell_softening(), b = bell_softening()), "n")$remarks, 0L)
})
