# Integrals along temperature histories and the hardness that follows from them, against closed
# forms in 200 bits (Rmpfr), from 1 to 5000 K. An exponent q e of size E carries the rounding of
# E itself, 2.2e-16 E, into the result whatever is done: the bounds on ln(theta) are 1e-12 and
# four such roundings.

exponent_bound <- function(temp_k, ref_k, q) {
  1e-12 + 4 * .Machine$double.eps * max(abs(1000 * q / GAS_CONSTANT * (1 / temp_k - 1 / ref_k)))
}

test_that("ramps between 1 and 5000 K, energies from 1e-6 to 2000 kJ/mol", {
  skip_on_cran()
  skip_if_not_installed("Rmpfr")
  temp <- c(1, 4.2, 77, 293.15, 293.16, 643.15, 1300, 5000)
  cases <- expand.grid(from = temp, to = temp, q = c(1e-6, 0.3, 20, 180, 700, 2000))
  # as the package sees them
  kelvin <- cbind(cases$from - ZERO_CELSIUS, cases$to - ZERO_CELSIUS) + ZERO_CELSIUS
  # 400 bits: neighbouring temperatures cancel, and so does the exponential integral
  truth <- exact_ramp(kelvin[, 1L], kelvin[, 2L], cases$q, 600, bits = 400L) +
    log(Rmpfr::mpfr(60, 400L))
  for (j in seq_len(nrow(cases))) {
    q <- cases$q[j]
    log <- data.frame(time_s = c(0, 3600), temp_c = c(cases$from[j], cases$to[j]) - ZERO_CELSIUS)
    got <- reduced_time(history_points(log), 3600, c(0L, 1L), q, 600)[1L, 1L]
    expect_lt(abs(as.numeric(Rmpfr::mpfr(got, 400L) - truth[j])),
              exponent_bound(kelvin[j, ], 600, q), label = paste(cases[j, ], collapse = " "))
  }
})

test_that("histories of many pieces add up, and equal an isothermal hold where they are one", {
  skip_on_cran()
  skip_if_not_installed("Rmpfr")
  log <- data.frame(time_s = c(0, 60, 400, 400, 3000, 3010, 9000, 9600),
                    temp_c = c(20, 350, 372, 330, 371, 371, 90, -200))
  for (q in c(5, 140, 320, 900)) {
    parts <- vapply(seq_len(nrow(log) - 1L), function(i) {
      share <- exactly(diff(log$time_s)[i]) / 60
      if (log$time_s[i] == log$time_s[i + 1L]) return(NA_character_)
      Rmpfr::format(share * exp(exact_ramp(log$temp_c[i] + ZERO_CELSIUS,
                                           log$temp_c[i + 1L] + ZERO_CELSIUS, q,
                                           370 + ZERO_CELSIUS)), digits = 50L)
    }, "")
    truth <- sum(exactly(parts[!is.na(parts)]))
    got <- equivalent_time(log, q, 370)$equivalent_min
    expect_lt(relative(got, truth), 1e-12)
  }
  # a hold is its own length, at any energy and temperature
  for (temp_c in c(-270, 20, 371, 4500)) {
    hold <- data.frame(time_s = c(5, 65, 605), temp_c = temp_c)
    q <- c(0, 1, 200, 2000)
    got <- equivalent_time(hold, q, temp_c)$equivalent_min
    # q/R (1/T - 1/T): two equal terms, each rounded
    expect_true(all(abs(got / 10 - 1) < 1e-14 + 4 * .Machine$double.eps * 1000 * q /
                      GAS_CONSTANT / (temp_c + ZERO_CELSIUS)))
  }
})

# All terms of the model in 200 bits: `p` plain parameters, theta of each process exact numbers.
exact_hardness <- function(p, theta, theta_rec = NULL, theta_hard = NULL, rickett = FALSE) {
  value <- function(name) exactly(p[[name]])
  passed <- theta - exactly(if ("theta0" %in% names(p)) p[["theta0"]] else 0)
  power <- exactly(0) * passed
  started <- as.logical(passed > 0)
  power[started] <- passed[started]^value("n")
  x <- if (rickett) power / (1 + power) else -expm1(-power)
  worked <- value("h_worked") + 0 * passed
  if (!is.null(theta_hard)) worked <- worked - value("dh_hard") * expm1(-theta_hard)
  if (!is.null(theta_rec)) worked <- worked - value("dh_rec") * log1p(theta_rec)
  low <- as.logical(worked < value("h_soft"))
  worked[low] <- value("h_soft")
  list(fraction = x, hardness = x * value("h_soft") + (1 - x) * worked)
}

test_that("soften(): all seven models, k t from 1e-300 to 1e300, n from 0.2 to 8", {
  skip_on_cran()
  skip_if_not_installed("Rmpfr")
  exponent <- c(-300, -100, -20, -8, -3, -1, -0.3, 0, 0.2, 0.5, 1, 2, 8, 20, 100, 300)
  all <- c(h_worked = 181, h_soft = 74, n = NA, q_kj_mol = 175, theta0 = 0.3, dh_rec = 6,
           q_rec_kj_mol = 110, dh_hard = 4, q_hard_kj_mol = 95)
  hold <- data.frame(time_s = c(0, 60), temp_c = 371)
  for (model in model_names()) for (n in c(0.2, 0.8, 1, 2.3, 8)) {
    rates <- lapply(exponent, function(e) {
      c(all, ln_k_ref = e * log(10), ln_k_rec = (e + 1) * log(10), ln_k_hard = (e - 1) * log(10))
    })
    got <- vapply(rates, function(p) {
      p[["n"]] <- n
      s <- soften(hold, p[model_terms(model)], model, temp_ref_c = 371)
      c(s$fraction[2L], s$hardness[2L])
    }, numeric(2))
    theta <- exp(exactly(exponent * log(10)))
    p <- all[setdiff(names(all), if (!grepl("incubation", model)) "theta0")]
    p[["n"]] <- n
    truth <- exact_hardness(
      p, theta, if (grepl("recovery", model)) exp(exactly((exponent + 1) * log(10))),
      if (grepl("hardening", model)) exp(exactly((exponent - 1) * log(10))),
      rickett = model == "austin_rickett")
    # ln k of size 691 is rounded at 1.1e-13, and the power n multiplies it
    expect_lt(max(relative(got[1L, ], truth$fraction)), 1e-12 * max(n, 1))
    expect_lt(max(relative(got[2L, ], truth$hardness)), 1e-12)
  }
})

test_that("soften() along ramps: fraction and hardness of the three processes", {
  skip_if_not_installed("Rmpfr")
  p <- c(h_worked = 181, h_soft = 74, ln_k_ref = log(0.11), n = 1.7, q_kj_mol = 175, dh_rec = 6,
         ln_k_rec = log(2), q_rec_kj_mol = 110, dh_hard = 4, ln_k_hard = log(40), q_hard_kj_mol = 95)
  for (top in c(250, 350, 420, 700)) {
    log <- data.frame(time_s = c(0, 1200), temp_c = c(20, top))
    theta <- function(ln_k, q) {
      exp(exactly(p[[ln_k]]) + exact_ramp(293.15, log$temp_c[2L] + ZERO_CELSIUS, p[[q]],
                                          371 + ZERO_CELSIUS)) * 20
    }
    truth <- exact_hardness(p, theta("ln_k_ref", "q_kj_mol"), theta("ln_k_rec", "q_rec_kj_mol"),
                            theta("ln_k_hard", "q_hard_kj_mol"))
    s <- soften(log, p, "hardening_recovery_jmak", temp_ref_c = 371)[2L, ]
    expect_lt(relative(s$fraction, truth$fraction), 1e-11)
    expect_lt(relative(s$hardness, truth$hardness), 1e-12)
  }
})
