# Groups, laboratories and several specimens on another scale than their label says.

# Four states of cartridge brass on five scales: rows of ASTM E140 Table 4 (values from memory).
brass_states <- function() {
  data.frame(HV = c(130, 100, 80, 70), HRB = c(72, 56, 37.5, 24.5), HRF = c(98, 89, 78.6, 71.8),
             HR15T = c(84, 78.5, 72, 68), HR30T = c(64.5, 53.5, 41, 32))
}

# Groups g1, g2, ... read the four states; `wrong` of them read on `truth` and wrote `label`.
scale_groups <- function(label, truth, wrong = 2L, n = 4L, states = brass_states()) {
  of_group <- function(k) {
    data.frame(group = paste0("g", k), specimen = "A", temp_c = 330, time_min = c(0, 5, 10, 20),
               hardness = states[[if (k %in% wrong) truth else label]] * (1 + 0.005 * (-1)^k), scale = label)
  }
  do.call(rbind, lapply(seq_len(n), of_group))
}

scale_findings <- function(d, ...) {
  f <- check_readings(d, ...)
  f[f$check %in% c("other scale", "other stock"), ]
}

test_that("a group on any other scale is found, with its scale; agreeing groups are not", {
  scales <- names(brass_states())
  for (label in scales) {
    expect_identical(nrow(scale_findings(scale_groups(label, label))), 0L, label = label)
    for (truth in setdiff(scales, label)) {
      d <- scale_groups(label, truth)
      f <- scale_findings(d)
      expect_identical(f$check, "other scale", label = paste(truth, "as", label))
      expect_match(f$what, paste0("group g2 .*as ", truth, " it would agree within [0-9]+ %"))
      expect_match(f$why, paste0("on ", truth, " were perhaps labelled ", label))
      expect_identical(f$rows[[1L]], which(d$group == "g2"))
    }
  }
  # how far: 72 typed as HV beside 130 HV (45 % below; the groups differ by 1 %)
  f <- scale_findings(scale_groups("HV", "HRB"))
  expect_match(f$what, "lies 4[45] % below the other groups at the same 4 heat treatments")
  expect_match(f$what, "before the furnace 72 HV, the others 129 HV", fixed = TRUE)
})

test_that("laboratories, operators, two of six groups, of two one, and specimens without a group", {
  d <- scale_groups("HRB", "HRF")
  expect_match(scale_findings(stats::setNames(d, sub("group", "laboratory", names(d))))$what, "laboratory g2")
  expect_match(scale_findings(stats::setNames(d, sub("group", "operator", names(d))))$what, "operator g2")
  six <- scale_findings(scale_groups("HV", "HRB", wrong = c(2L, 5L), n = 6L))
  expect_identical(sub("^group (g.) .*", "\\1", six$what), c("g2", "g5"))
  two <- scale_findings(scale_groups("HV", "HRB", n = 2L))
  expect_match(two$what, "as HRB it would agree")
  expect_match(two$why, "of two sets either may be the wrong one")
  # no column says whose they are
  d <- scale_groups("HV", "HRB", wrong = c(2L, 5L), n = 6L)
  d$specimen <- paste0("p-", d$group)
  alone <- scale_findings(d[names(d) != "group"])
  expect_match(alone$what, "specimens p-g2, p-g5 read 72 HV before the furnace as labelled", fixed = TRUE)
  expect_identical(alone$rows[[1L]], which(d$group %in% c("g2", "g5")))
  # without the state before the furnace
  heated <- subset(scale_groups("HV", "HRB"), time_min > 0)
  expect_match(scale_findings(heated)$what, "group g2 .*as HRB it would agree")
  # and a fit of all says it before its numbers are used
  expect_warning(suppressWarnings(fit_softening(d[names(d) != "group"]), classes = "softanneal_warning_fit"),
                 "p-g2, p-g5 .* as HRB they would agree", class = "softanneal_warning_assumption")
})

test_that("other stock is no other scale, and is judged by what is usual", {
  # four groups: df 10 + 2, sd of what is usual with weight 10, the others agree exactly
  limit <- stats::qt(1 - 0.03 / 8, 12) * sqrt(10 / 12 * USUAL_BETWEEN^2) * sqrt(4 / 3)
  off <- function(by) {
    d <- scale_groups("HV", "HV", wrong = integer())
    d$hardness <- rep(brass_states()$HV, 4L)
    d$hardness[d$group == "g3"] <- exp(by) * d$hardness[d$group == "g3"]
    scale_findings(d)
  }
  expect_lt(limit, LEAST_AWAY)
  expect_identical(nrow(off(0.98 * LEAST_AWAY)), 0L)
  expect_identical(off(1.02 * LEAST_AWAY)$check, "other stock")
  expect_match(off(-1.02 * LEAST_AWAY)$what, "group g3 lies 10 % below")
  # groups of two strips or reductions are not compared with each other
  d <- scale_groups("HV", "HV")
  d$strip <- ifelse(d$group %in% c("g1", "g2"), "thick", "thin")
  d$hardness <- ifelse(d$strip == "thin", 0.8, 1) * d$hardness
  expect_identical(nrow(scale_findings(d)), 0L)
  # readings that cannot be compared say nothing
  apart <- transform(scale_groups("HV", "HRB"), temp_c = 300 + 10 * match(group, unique(group)))
  expect_identical(nrow(scale_findings(subset(apart, time_min > 0))), 0L)
})

test_that("groups whose furnaces differ are not suspected", {
  # states shifted by one anneal: 20 % and more at all heated steps, as no other scale has it
  d <- scale_groups("HV", "HV")
  own <- which(d$group == "g2")
  d$hardness[own] <- c(130, 80, 70, 70)
  expect_identical(nrow(scale_findings(d)), 0L)
  expect_identical(nrow(scale_findings(subset(d, time_min > 0))), 0L)
})

test_that("another scale must explain the whole curve", {
  # as HRB the state before the furnace would agree, the others would lie 30 % above
  d <- scale_groups("HV", "HV")
  d$hardness[d$group == "g2"] <- c(72, 75, 60, 55)
  expect_identical(scale_findings(d)$check, "other stock")
  # HRB and HR15T of hard brass are nearly the same number, 86 and 88 at 168 HV, and part as it softens
  hard <- data.frame(HRB = c(86, 56, 37.5, 24.5), HR15T = c(88, 78.5, 72, 68))
  f <- scale_findings(scale_groups("HRB", "HR15T", states = hard))
  expect_match(f$what, "lies up to [67][0-9] % above .* \\(e.g. 1[12][0-9] HV, the others [67][0-9] HV")
  expect_match(f$what, "as HR15T it would agree")
  # parted by half as much: a third of the mean square would be left, as where a furnace was off
  d <- scale_groups("HRB", "HRB", states = hard)
  d$hardness[d$group == "g2"] <- c(88, 75, 66, 60)
  expect_identical(nrow(scale_findings(d)), 0L)
})
