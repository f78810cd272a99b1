# One result in each cell: laboratories and materials as a two-way layout without repeats. Means of
# laboratories and of materials are taken out; what is left holds repeatability and the interaction of
# both, which such a table cannot tell apart.

# Whether cells hold one result each, in a full layout of two laboratories and two materials or more.
is_two_way <- function(cells) {
  p <- length(unique(cells$lab))
  q <- length(unique(cells$material))
  all(cells$n == 1) && p > 1L && q > 1L && nrow(cells) == p * q
}

two_way_object <- function(cells, alpha, level) {
  labs <- unique(cells$lab)
  materials <- unique(cells$material)
  y <- matrix(NA_real_, length(labs), length(materials))
  y[cbind(match(cells$lab, labs), match(cells$material, materials))] <- cells$mean
  p <- nrow(y)
  q <- ncol(y)
  grand <- mean(y)
  lab <- rowMeans(y) - grand
  material <- colMeans(y) - grand
  left <- y - grand - outer(lab, material, `+`)
  df <- (p - 1) * (q - 1)
  ms_left <- sum(left^2) / df
  ms_lab <- q * sum(lab^2) / (p - 1)
  v_lab <- max((ms_lab - ms_left) / q, 0)
  s_xbar <- apply(y, 2L, stats::sd)
  at <- cbind(match(cells$lab, labs), match(cells$material, materials))
  spread <- s_xbar[at[, 2L]]
  cells$h <- ifelse(spread > 0, (cells$mean - colMeans(y)[at[, 2L]]) / spread, NA_real_)
  cells$k <- cells$k_critical <- NA_real_
  cells$h_critical <- h_critical(p, alpha)
  cells$h_beyond <- abs(cells$h) > cells$h_critical
  cells$k_beyond <- NA
  cells <- cells[c("material", "lab", "n", "mean", "sd", "h", "k", "h_critical", "k_critical", "h_beyond",
                   "k_beyond")]
  s_big <- sqrt(v_lab + ms_left)
  precision <- data.frame(material = materials, p = p, n = 1, mean = colMeans(y), s_xbar = s_xbar,
                          s_r = NA_real_, s_L = sqrt(v_lab), s_R = s_big, r = NA_real_, R = 2.8 * s_big)
  components <- variance_components("all materials", ms_lab, ms_left, stats::var(lab), rep(q, p), v_lab,
                                    level, df)
  components$term <- c("residual", "between", "total")
  structure(list(precision = precision, cells = cells, components = components, alpha = alpha,
                 level = level, non_additivity = non_additivity(left, lab, material, df)),
            class = "softanneal_laboratories")
}

# Tukey's test with one degree of freedom: do the differences of laboratories grow with the material?
non_additivity <- function(left, lab, material, df) {
  product <- outer(lab, material)
  ss <- if (any(product != 0)) sum(left * product)^2 / sum(product^2) else 0
  rest <- (sum(left^2) - ss) / (df - 1)
  statistic <- if (df > 1 && rest > 0) ss / rest else NA_real_
  data.frame(statistic = statistic, df1 = 1, df2 = df - 1,
             p.value = stats::pf(statistic, 1, df - 1, lower.tail = FALSE))
}

print_two_way <- function(x) {
  c1 <- x$components
  cat("One result per cell: two-way analysis without repeats. The residual holds repeatability\n",
      "and the interaction of laboratory and material, which these results cannot tell apart\n",
      "(s_r is NA).\n", sep = "")
  table <- cbind(format(c1$sd, digits = 4), range_of_sd(c1))
  dimnames(table) <- list(c("residual", "between laboratories (s_L)", "one result (s_R)"),
                          c("sd", paste0(format(100 * x$level), " % interval")))
  print_rows(table)
  cat("Laboratories differ: F = ", format(c1$statistic[1L], digits = 3), " on ", c1$df1[1L], " and ",
      c1$df2[1L], " degrees of freedom, p = ", format.pval(c1$p.value[1L], digits = 3), "\n", sep = "")
  p <- x$non_additivity$p.value
  if (!is.na(p) && p < 0.05) {
    cat("Differences grow or shrink from material to material (Tukey, p = ", format.pval(p, digits = 2),
        "): one s_L for all is no good description.\n", sep = "")
  }
}

range_of_sd <- function(x) paste(format(x$conf.low, digits = 3), "to", format(x$conf.high, digits = 3))

print_rows <- function(m) print(m, quote = FALSE, right = TRUE)
