# Components of error against published values and reference libraries. The compiled part takes any
# linear model of step means, so that mixed models printed elsewhere are its tests.

one_way <- function(y, group, x = matrix(1, length(y), 1L)) {
  id <- as.integer(factor(as.character(group)))
  problem <- components_problem(error_structure(id, id), y, x, 0 * y, 0 * y)
  components_reml(problem, c(0, 1, 1, 0) * stats::sd(y), c(0, 1, 1, 0))
}

# Davies 1947, Statistical Methods in Research and Production; yields of dyestuff of six batches.
DYESTUFF <- c(1545, 1440, 1440, 1520, 1580, 1540, 1555, 1490, 1560, 1495, 1595, 1550, 1605, 1510,
              1560, 1445, 1440, 1595, 1465, 1545, 1595, 1630, 1515, 1635, 1625, 1520, 1455, 1450,
              1480, 1445)
# Box and Tiao 1973, Bayesian Inference in Statistical Analysis, table 5.1.4: between batches less
# than within.
DYESTUFF2 <- c(7.298, 3.846, 2.434, 9.566, 7.99, 5.22, 6.556, 0.608, 11.788, -0.892, 0.11, 10.386,
               13.434, 5.51, 8.166, 2.212, 4.852, 7.092, 9.288, 4.98, 0.282, 9.014, 4.458, 9.446,
               7.198, 1.722, 4.782, 8.106, 0.758, 3.758)
# Devore 2000; Pinheiro and Bates 2000, Mixed-Effects Models in S and S-PLUS, section 1.1.
RAIL <- c(55, 53, 54, 26, 37, 32, 78, 91, 85, 92, 100, 96, 49, 51, 50, 80, 85, 83)

test_that("rails and dyestuff are those of the books", {
  r <- one_way(RAIL, rep(1:6, each = 3))
  expect_equal(r$beta, 66.5, tolerance = 1e-10)
  expect_equal(sqrt(r$cov[1]), 10.17104, tolerance = 1e-6) # printed by lme
  expect_equal(sqrt(unname(r$variance[2:3])), c(24.80547, 4.020779), tolerance = 1e-6)
  expect_equal(r$df, 5, tolerance = 1e-5)
  d <- one_way(DYESTUFF, rep(1:6, each = 5))
  expect_equal(d$beta, 1527.5, tolerance = 1e-10)
  expect_equal(sqrt(d$cov[1]), 19.38341, tolerance = 1e-6)
  expect_equal(sqrt(unname(d$variance[2:3])), c(42.0006, 49.5101), tolerance = 1e-6)
  expect_equal(d$criterion, 319.6543, tolerance = 1e-6) # Bates, lme4 book, chapter 1
  expect_equal(d$df, 5, tolerance = 1e-5)
})

test_that("balanced one-way REML is the closed form of mean squares", {
  for (seed in 1:5) {
    set.seed(seed)
    y <- rep(stats::rnorm(7, sd = c(0.1, 1, 3, 10, 0.01)[seed]), each = 4) + stats::rnorm(28)
    group <- rep(1:7, each = 4)
    ms <- stats::anova(stats::lm(y ~ factor(group)))[["Mean Sq"]]
    r <- one_way(y, group)
    between <- (ms[1] - ms[2]) / 4
    if (between > 0) {
      expect_equal(unname(r$variance[2:3]), c(between, ms[2]), tolerance = 1e-6)
    } else {
      expect_identical(unname(r$variance[2]), 0)
      expect_equal(unname(r$variance[3]), stats::var(y), tolerance = 1e-6)
    }
    expect_equal(r$df, 6, tolerance = 1e-4) # zero components kept: groups less one
  }
})

test_that("a component at zero keeps its degrees of freedom", {
  r <- one_way(DYESTUFF2, rep(1:6, each = 5))
  expect_identical(unname(r$variance[2]), 0)
  expect_equal(sqrt(r$cov[1]), 0.678388, tolerance = 1e-6)
  expect_equal(r$df, 5, tolerance = 1e-4) # Kenward-Roger of pbkrtest 0.5.2
})

# pbkrtest: split plot of sugar beets, sugar percentage, harvest over block:harvest.
test_that("a whole-plot effect is tested against whole plots", {
  harvest <- rep(rep(1:2, each = 5), times = 3)
  block <- rep(c(1, 2, 3, 1, 2, 3), each = 5)
  sow <- c(3, 4, 5, 2, 1, 3, 2, 4, 5, 1, 5, 2, 3, 4, 1, 2, 1, 5, 4, 3, 4, 1, 3, 2, 5, 1, 4, 3, 2, 5)
  sugar <- c(17.1, 16.9, 16.6, 17, 17, 17, 17, 16.7, 16.4, 16.8, 16.6, 16.9, 17.1, 16.8, 16.9, 17,
             16.8, 16.5, 16.7, 17, 16.8, 16.9, 17, 17, 16.5, 16.7, 16.6, 16.9, 16.9, 16.4)
  x <- stats::model.matrix(~ factor(block) + factor(sow) + factor(harvest))
  r <- one_way(sugar, paste(block, harvest), x)
  last <- ncol(x)
  f <- r$beta[last]^2 / r$cov[last, last]
  expect_equal(f, 15.21, tolerance = 1e-3)
  expect_equal(r$df[last], 2, tolerance = 1e-4)
  expect_equal(stats::pf(f, 1, r$df[last], lower.tail = FALSE), 0.0599, tolerance = 1e-3)
})

test_that("offset and slope of each subject are those of lme4 (sleepstudy)", {
  skip_on_cran()
  skip_if_not_installed("lme4")
  d <- lme4::sleepstudy
  id <- as.integer(d$Subject)
  problem <- components_problem(error_structure(id, id), d$Reaction, cbind(1, d$Days), d$Days,
                                0 * d$Days)
  r <- components_reml(problem, c(3, 10, 20, 0), c(1, 1, 1, 0))
  expect_equal(r$beta, c(251.4051, 10.46729), tolerance = 1e-6)
  expect_equal(sqrt(diag(r$cov)), c(6.885381, 1.559569), tolerance = 1e-6)
  expect_equal(unname(sqrt(r$variance[c(2, 1, 3)])), c(25.05133, 5.988187, 25.56528),
               tolerance = 2e-6)
  expect_equal(r$df[2], 18.18747, tolerance = 1e-5) # Kenward-Roger of pbkrtest
  fit <- lme4::lmer(Reaction ~ Days + (Days || Subject), d)
  expect_equal(r$criterion, lme4::REMLcrit(fit), tolerance = 1e-9)
  modes <- lme4::ranef(fit)$Subject
  by_subject <- tapply(r$mode[problem[[10]] == 0L], seq_len(18), sum)
  expect_equal(as.vector(by_subject), modes[[1]], tolerance = 1e-4)
  expect_equal(r$mode[problem[[10]] == 1L], modes[[2]], tolerance = 1e-4)
})

test_that("crossed operators are those of lme4 (Penicillin)", {
  skip_on_cran()
  skip_if_not_installed("lme4")
  d <- lme4::Penicillin
  id <- as.integer(d$plate)
  share <- stats::model.matrix(~ 0 + sample, d)
  n <- nrow(d)
  problem <- components_problem(error_structure(id, id, share = share), d$diameter,
                                matrix(1, n, 1L), numeric(n), numeric(n))
  r <- components_reml(problem, c(0, 1, 1, 1), c(0, 1, 1, 1))
  expect_equal(r$beta, 22.97222, tolerance = 1e-6)
  expect_equal(sqrt(r$cov[1]), 0.80858, tolerance = 2e-5)
  expect_equal(unname(sqrt(r$variance[2:4])), c(0.84670, 0.54992, 1.93161), tolerance = 4e-5)
  expect_equal(r$df, 5.487062, tolerance = 2e-5)
  fit <- lme4::lmer(diameter ~ 1 + (1 | plate) + (1 | sample), d)
  expect_lte(r$criterion, lme4::REMLcrit(fit) + 1e-9)
  expect_equal(r$operator, lme4::ranef(fit)$sample[[1]], tolerance = 1e-4)
  expect_equal(as.vector(r$mode[problem[[10]] == 0L]), lme4::ranef(fit)$plate[[1]], tolerance = 1e-4)
})

test_that("marginalising a standard deviation is that of bayesmeta (eight schools)", {
  # Rubin 1981, J. Educ. Stat. 6, 377; quantiles computed with bayesmeta 3.5
  y <- c(28.39, 7.94, -2.75, 6.82, -0.64, 0.63, 18.01, 12.16)
  se <- c(14.9, 10.2, 16.3, 11, 9.4, 11.4, 10.4, 17.6)
  problem <- components_problem(error_structure(1:8, 1:8), y, matrix(1, 8L, 1L), 0 * y, se^2)
  none <- prior_row("fixed", 0)
  answer <- function(kind, nodes) {
    prior <- rbind(none, none, prior_row(kind, 25, cut = 1e6, nodes = nodes), none)
    components_grid(list(problem), prior, matrix(1), c(0.5, 0.025, 0.975))$quantile
  }
  for (nodes in c(12, 64)) {
    expect_lt(max(abs(answer("half_cauchy", nodes) - c(8.038, -1.735, 18.055))), 0.004)
    expect_lt(max(abs(answer("half_normal", nodes) - c(8.045, -1.824, 18.173))), 0.004)
  }
})

# Quantiles of a mean whose errors are independent, one standard deviation integrated over its prior.
by_integration <- function(y, variance_at, density, upper, probability) {
  sd <- (seq_len(4000) - 0.5) / 4000 * upper
  part <- vapply(sd, function(s) {
    w <- 1 / variance_at(s)
    m <- sum(w * y) / sum(w)
    c(m, 1 / sqrt(sum(w)), -0.5 * (log(sum(w)) - sum(log(w)) + sum(w * (y - m)^2)))
  }, numeric(3L))
  weight <- density(sd) * exp(part[3L, ] - max(part[3L, ]))
  below <- function(q) sum(weight * stats::pnorm((q - part[1L, ]) / part[2L, ])) / sum(weight)
  vapply(probability, \(p) stats::uniroot(\(q) below(q) - p, range(y), tol = 1e-10)$root, 0)
}

test_that("marginalised quantiles are integrals: prior cut, scatter well known, furnaces on the diagonal", {
  none <- prior_row("fixed", 0)
  p <- c(0.5, 0.025, 0.975)
  grid <- function(problem, prior) components_grid(list(problem), prior, matrix(1), p)$quantile
  y <- c(28.39, 7.94, -2.75, 6.82, -0.64, 0.63, 18.01, 12.16)
  se <- c(14.9, 10.2, 16.3, 11, 9.4, 11.4, 10.4, 17.6)
  own <- grid(components_problem(error_structure(1:8, 1:8), y, matrix(1, 8L, 1L), 0 * y, se^2),
              rbind(none, none, prior_row("half_cauchy", 25, cut = 10, nodes = 64), none))
  want <- by_integration(y, \(s) se^2 + s^2, \(s) stats::dcauchy(s, 0, 25), 10, p)
  expect_lt(max(abs(own - want)), 0.004)
  # a hundred readings leave one node in twelve of the prior: the nodes gather where the weight is
  y <- with_test_seed(91, stats::rnorm(100, sd = 1.6))
  problem <- components_problem(error_structure(1:100, 1:100), y, matrix(1, 100L, 1L), 0 * y, 0 * y)
  prior <- rbind(none, none, prior_row("half_cauchy", 2, nodes = 12), none)
  want <- by_integration(y, \(s) rep(s^2, 100), \(s) stats::dcauchy(s, 0, 2), 40, p)
  expect_lt(max(abs(grid(problem, prior) - want)), 0.002 * diff(want[2:3]))
  sd <- marginal_sds(components_grid(list(problem), prior, matrix(1), p), prior)["step", ]
  # chi-squared, the prior being almost flat over so small a part
  chi <- sqrt(99 * stats::var(y) / stats::qchisq(c(0.5, 0.975, 0.025), 99))
  expect_equal(unname(sd), chi, tolerance = 0.02)
  # an insertion of one step: its furnace error stands on the diagonal
  g <- c(0, 0.5, 1, 2, 3, 2, 1, 0.5, 0.2, 4)
  y <- with_test_seed(92, stats::rnorm(10, sd = sqrt(0.25 + 4 * g^2)))
  structure <- error_structure(1:10, 1:10, 1:10, "insertion")
  expect_true(all(structure$furnace < 0L))
  own <- grid(components_problem(structure, y, matrix(1, 10L, 1L), g, 0 * y),
              rbind(prior_row("half_normal", 2, nodes = 12), none, prior_row("fixed", 0.5), none))
  diagonal <- \(s) 0.25 + (g * s)^2
  want <- by_integration(y, diagonal, \(s) stats::dnorm(s, 0, 2), 14, p)
  expect_lt(max(abs(own - want)), 0.01 * diff(want[2:3]))
  prior <- rbind(prior_row("log_normal", 2, width = 0.5, nodes = 12), none, prior_row("fixed", 0.5), none)
  r <- components_grid(list(components_problem(structure, y, matrix(1, 10L, 1L), g, 0 * y)), prior,
                       matrix(1), p)
  own <- r$quantile
  # nodes of equal mass of the prior, those of no weight left out
  nodes <- unique(r$sd[, 1L])
  equal <- 2 * exp(0.5 * stats::qnorm((1:12 - 0.5) / 12))
  expect_lt(max(vapply(nodes, \(x) min(abs(x / equal - 1)), 0)), 1e-7)
  expect_gt(length(nodes), 8L)
  want <- by_integration(y, diagonal, \(s) stats::dlnorm(s, log(2), 0.5), 30, p)
  expect_lt(max(abs(own - want)), 0.01 * diff(want[2:3]))
})

# A step mean for each temperature and time, linear in the parameters; lme fits the same covariance.
test_that("linearised step means agree with lme and pdDiag", {
  skip_if_not_installed("nlme")
  compared <- 0L
  for (seed in 1:3) {
    set.seed(seed)
    piece <- rep(1:6, each = 7)
    t <- rep(seq(-1, 1, length.out = 7), 6)
    g <- stats::dnorm(t + rep(stats::rnorm(6, sd = 0.3), each = 7)) * 3
    x <- cbind(x1 = 1, x2 = t, x3 = g * rep(c(-1, 0, 1), each = 14))
    y <- drop(x %*% c(100, -20, 2)) + g * rep(stats::rnorm(6, sd = 2), each = 7) +
      rep(stats::rnorm(6, sd = 4), each = 7) + stats::rnorm(42)
    r <- components_reml(components_problem(error_structure(piece, piece), y, x, g, 0 * y),
                         c(1, 1, 1, 0), c(1, 1, 1, 0))
    d <- data.frame(y, x, g, piece)
    fit <- nlme::lme(y ~ 0 + x1 + x2 + x3, d, random = list(piece = nlme::pdDiag(~ 1 + g)),
                     control = nlme::lmeControl(msMaxIter = 1000, msTol = 1e-12, tolerance = 1e-12))
    # lme takes logarithms and meets no zero; its REML likelihood bounds ours from above
    expect_lte(r$criterion, -2 * as.numeric(stats::logLik(fit, REML = TRUE)) + 1e-6)
    if (any(r$variance[1:3] == 0)) next
    compared <- compared + 1L
    sd <- as.numeric(nlme::VarCorr(fit)[c("g", "(Intercept)", "Residual"), "StdDev"])
    expect_equal(unname(sqrt(r$variance[1:3])), sd, tolerance = 1e-5)
    expect_equal(r$beta, as.vector(nlme::fixef(fit)), tolerance = 1e-5)
    expect_equal(unname(r$cov), unname(as.matrix(fit$varFix)), tolerance = 1e-5)
  }
  expect_gt(compared, 1L)
})

test_that("GLS and criterion are those of dense matrices, for every structure", {
  dense <- function(y, x, g, noise, piece, furnace, share, v) {
    same <- function(a) outer(a, a, "==") * 1
    V <- diag(noise + v[3]) + v[2] * same(piece) + v[1] * tcrossprod(g) * same(furnace) +
      if (is.null(share)) 0 else v[4] * tcrossprod(share)
    W <- solve(V)
    A <- crossprod(x, W %*% x)
    b <- solve(A, crossprod(x, W %*% y))
    e <- y - x %*% b
    list(beta = drop(b), cov = solve(A),
         criterion = as.numeric(determinant(V)$modulus + determinant(A)$modulus +
                                  crossprod(e, W %*% e) + (length(y) - ncol(x)) * log(2 * pi)))
  }
  set.seed(4)
  n <- 30
  piece <- rep(c(5, 2, 9, 7, 1), each = 6)[order(stats::runif(n))]
  run <- c(3, 3, 3, 8, 8)[match(piece, c(5, 2, 9, 7, 1))] # pieces of one run
  insertion <- 10 * run + sample(3, n, TRUE)
  share <- matrix(stats::rexp(n * 3), n)
  share <- share / rowSums(share)
  x <- cbind(1, stats::rnorm(n), stats::rexp(n))
  g <- stats::rnorm(n)
  y <- stats::rnorm(n, 50)
  noise <- stats::rexp(n)
  none <- rep(0, 4)
  for (furnace in c("run", "insertion")) {
    for (o in list(NULL, share)) {
      v <- c(0.7, 1.3, 0.4, if (is.null(o)) 0 else 2)
      s <- error_structure(piece, run, insertion, furnace, o)
      r <- components_reml(components_problem(s, y, x, g, noise), sqrt(v), none)
      want <- dense(y, x, g, noise, piece, if (furnace == "run") run else insertion, o, v)
      expect_equal(r$beta, want$beta, tolerance = 1e-9)
      expect_equal(unname(r$cov), unname(want$cov), tolerance = 1e-9)
      expect_equal(r$criterion, want$criterion, tolerance = 1e-10)
      # modes of all random parts, given the estimate; those of specimens and furnaces with their errors
      # given the operators too
      key <- if (furnace == "run") run else insertion
      plain <- diag(noise + v[3]) + v[2] * outer(piece, piece, "==") +
        v[1] * tcrossprod(g) * outer(key, key, "==")
      whole <- plain + if (is.null(o)) 0 else v[4] * tcrossprod(o)
      e <- solve(whole, y - drop(x %*% want$beta))
      of <- s$is_furnace + 1L
      z <- vapply(seq_along(of), \(k) if (of[k] == 2L) g * (key == s$id[k]) else 1 * (piece == s$id[k]), g)
      sd2 <- v[c(2, 1)][of]
      expect_equal(r$mode, sd2 * drop(crossprod(z, e)), tolerance = 1e-8)
      expect_equal(r$mode_sd, sqrt(sd2 - sd2^2 * colSums(z * solve(plain, z))), tolerance = 1e-8)
      if (!is.null(o)) {
        expect_equal(r$operator, v[4] * drop(crossprod(o, e)), tolerance = 1e-8)
        expect_equal(r$operator_sd, sqrt(diag(solve(diag(1 / v[4], 3L) + crossprod(o, solve(plain, o))))),
                     tolerance = 1e-8)
      }
      # parts of the variance: derivatives of the dense covariance
      h <- 1e-4
      part <- vapply(1:4, function(k) {
        up <- down <- v
        up[k] <- v[k] * (1 + h)
        down[k] <- v[k] * (1 - h)
        at <- function(v) {
          dense(y, x, g, noise, piece, if (furnace == "run") run else insertion, o, v)$cov[2, 2]
        }
        (at(up) - at(down)) / (2 * h)
      }, 0)
      expect_equal(r$parts[2, ], part, tolerance = 1e-6)
    }
  }
})
