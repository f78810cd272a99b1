# One result per cell, against anova(lm()) and the textbook formulas.

two_way <- function(p = 4, q = 3, sd_lab = 1.5, sd = 0.6, seed = 1) {
  d <- expand.grid(group = paste("bench", seq_len(p)), specimen = paste("ring", seq_len(q)),
                   KEEP.OUT.ATTRS = FALSE, stringsAsFactors = FALSE)
  d$hardness <- with_test_seed(seed, {
    lab <- stats::rnorm(p, sd = sd_lab)[match(d$group, unique(d$group))]
    60 + 5 * match(d$specimen, unique(d$specimen)) + lab + stats::rnorm(nrow(d), sd = sd)
  })
  d
}

test_that("one result per cell is the two-way analysis of variance", {
  d <- two_way()
  x <- compare_laboratories(d[sample(nrow(d)), ])
  a <- stats::anova(stats::lm(hardness ~ group + specimen, d))
  c1 <- tidy(x)
  expect_identical(c1$term, c("residual", "between", "total"))
  ms <- a[["Mean Sq"]]
  expect_equal(c1$variance, c(ms[3], (ms[1] - ms[3]) / 3, (ms[1] - ms[3]) / 3 + ms[3]))
  expect_equal(c(c1$statistic[1], c1$df1[1], c1$df2[1], c1$p.value[1]),
               c(a[["F value"]][1], a$Df[1], a$Df[3], a[["Pr(>F)"]][1]))
  expect_equal(c1$conf.low[1]^2, ms[3] * 6 / stats::qchisq(0.975, 6))
  expect_equal(c1$conf.high[1]^2, ms[3] * 6 / stats::qchisq(0.025, 6))
  p <- as.data.frame(x)
  expect_equal(sort(p$mean), sort(as.vector(tapply(d$hardness, d$specimen, mean))))
  expect_true(all(is.na(p$s_r)) && all(is.na(x$cells$k)))
  one <- x$cells[x$cells$material == "ring 2", ]
  expect_equal(one$h, (one$mean - mean(one$mean)) / stats::sd(one$mean))
  expect_output(print(x), "two-way analysis without repeats")
  expect_s3_class(ggplot2::autoplot(x), "ggplot")
})

test_that("the test of non-additivity is that of adding the product of effects to the model", {
  d <- two_way(5, 4, seed = 3)
  f <- stats::lm(hardness ~ group + specimen, d)
  e <- stats::model.tables(stats::aov(hardness ~ group + specimen, d))$tables
  d$product <- as.vector(e$group[d$group] * e$specimen[d$specimen])
  a <- stats::anova(f, stats::lm(hardness ~ group + specimen + product, d))
  found <- compare_laboratories(d[c("group", "specimen", "hardness")])$non_additivity
  expect_equal(c(found$statistic, found$df2, found$p.value), c(a$F[2], a$Res.Df[2], a[["Pr(>F)"]][2]))
  grows <- transform(two_way(5, 4, sd_lab = 0, sd = 0.05), hardness = hardness +
                       match(group, unique(group)) * match(specimen, unique(specimen)))
  expect_output(print(compare_laboratories(grows)), "Differences grow or shrink")
})

test_that("a layout with gaps, one material or one laboratory is refused as before", {
  d <- two_way()
  expect_refused(compare_laboratories(d[-1, ]), "too_few", "fewer than two readings")
  expect_refused(compare_laboratories(d[d$specimen == "ring 1", ]), "too_few", "fewer than two readings")
  expect_refused(compare_laboratories(d[d$group == "bench 1", ]), "too_few", "fewer than two readings")
  twice <- rbind(d, d[1, ])
  expect_refused(compare_laboratories(twice), "too_few", "fewer than two readings")
  gone <- d
  gone$hardness[2] <- NA
  expect_refused(suppressWarnings(compare_laboratories(gone)), "too_few", "fewer than two readings")
  same <- transform(d, hardness = 60)
  x <- compare_laboratories(same)
  expect_true(all(tidy(x)$variance == 0) && all(is.na(tidy(x)$statistic)))
})
