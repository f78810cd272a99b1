# The register of models: one row each for parameters and models, asked by all other files.

test_that("the register describes every parameter once", {
  terms <- register()$terms
  expect_identical(anyDuplicated(terms$name), 0L)
  expect_setequal(unlist(lapply(model_names(), model_terms)),
                  setdiff(terms$name, c("k_strain", "h_strain", "h_soft_strain", "dh_grow", "ln_k_grow",
                                        "q_grow_kj_mol")))
  expect_identical(term_role(c("h_soft", "dh_rec", "ln_k_hard", "q_grow_kj_mol", "n_330", "theta0",
                               "k_strain")),
                   c("level", "amplitude", "rate", "energy", "exponent", "delay", "strain"))
  expect_identical(unlist(term_units(c("h_soft", "dh_rec", "ln_k_hard", "q_kj_mol"), "HV")),
                   c(h_soft = "HV", dh_rec = "HV", ln_k_hard = "", q_kj_mol = "kJ/mol"))
  # each process has an amplitude, a rate and an energy
  for (process in c("recovery", "hardening", "growth")) {
    expect_identical(terms$role[terms$process == process], c("amplitude", "rate", "energy"))
  }
})

test_that("numbers and parameters of models with options", {
  expect_identical(vapply(model_names(), model_code, 0L, USE.NAMES = FALSE),
                   seq_along(model_names()) - 1L)
  expect_identical(model_setup("recovery_jmak_incubation", TRUE, 3, c("n_300", "n_350"))$terms,
                   c("h_worked", "h_soft", "ln_k_ref", "n_300", "q_kj_mol", "k_strain", "h_strain",
                     "n_350", "dh_rec", "ln_k_rec", "q_rec_kj_mol", "dh_grow", "ln_k_grow",
                     "q_grow_kj_mol", "theta0"))
  expect_identical(model_setup("jmak", TRUE, soft_strain = TRUE)$terms[6:8],
                   c("k_strain", "h_strain", "h_soft_strain"))
  expect_error(model_code("no_such"), "unknown model")
})

test_that("no other file lists models or the parameters of processes", {
  top <- Sys.getenv("SOFTANNEAL_SOURCE")
  skip_if(!nzchar(top) || !dir.exists(file.path(top, "R")), "the sources are not at hand")
  files <- setdiff(list.files(file.path(top, "R"), "[.]R$"), "models.R")
  code <- lapply(file.path(top, "R", files), function(f) {
    sub("#.*", "", readLines(f, encoding = "UTF-8"))
  })
  listed <- vapply(code, \(x) any(grepl(
    "\"(dh_rec|dh_hard|dh_grow|ln_k_rec|ln_k_hard|ln_k_grow|q_rec_kj_mol|q_hard_kj_mol|q_grow_kj_mol)\"",
    x)) || any(grepl("_jmak\"|\"jmak_", x)), NA)
  expect_identical(files[listed], character())
})

test_that("a model is known by its name, and the names of its parameters say so", {
  hold <- data.frame(time_s = c(0, 600), temp_c = 370)
  p <- c(h_worked = 160, h_soft = 80, ln_k_ref = -2, n = 1.5, q_kj_mol = 150, theta0 = 0.1)
  expect_refused(soften(hold, p, temp_ref_c = 370), "argument", "needs each of", "parameters")
  expect_error(soften(hold, p, temp_ref_c = 370), "model = \"jmak_incubation\"")
  expect_no_error(soften(hold, p, "jmak_incubation", temp_ref_c = 370))
})

test_that("a fit with hardening makes a guess, a plan and draws of truth", {
  fit <- suppressWarnings(fit_softening(bell_readings(), "hardening_jmak"))
  guess <- plan_guess(fit = fit)
  expect_false(anyNA(guess$draws))
  expect_identical(names(guess$par), model_terms("hardening_jmak"))
  expect_true(all(guess$draws[, "dh_hard"] >= 0))
  expect_gt(stats::sd(guess$draws[, "q_hard_kj_mol"]), 0)
})

test_that("simulate_readings() takes any rate, also below 1 per min, of every model", {
  truth <- c(h_worked = 160, h_soft = 78, t50_rex_min = 12, n = 1.6, q_kj_mol = 140, dh_hard = 6,
             ln_k_hard = -0.5, q_hard_kj_mol = 90)
  r <- simulate_readings(truth, model = "hardening_jmak", seed = 1, scale = "HV", resolution = 0,
                         temp_c = 330, time_min = c(0, 2), n_readings = 1,
                         sd = errors_alone())
  hard <- 160 + 6 * (1 - exp(-exp(-0.5) * 2))
  x <- 1 - exp(-(log(2)^(1 / 1.6) / 12 * 2)^1.6)
  expect_equal(as.vector(r$hardness), c(160, x * 78 + (1 - x) * hard))
})

test_that("groups of a class differ in the logarithm of every rate by addition", {
  skip_on_cran()
  truth <- c(h_worked = 160, h_soft = 78, ln_k_ref = -2.5, n = 1.6, q_kj_mol = 140, dh_hard = 6,
             ln_k_hard = -0.5, q_hard_kj_mol = 90)
  design <- class_design(truth, model = "hardening_jmak",
                         sd_groups = c(ln_k_hard = 0.5, dh_hard = 1, q_hard_kj_mol = 0.1))
  drawn <- with_test_seed(4, replicate(2000, draw_truth(design)$par))
  expect_equal(mean(drawn["ln_k_hard", ]), -0.5, tolerance = 0.1)
  expect_equal(stats::sd(drawn["ln_k_hard", ]), 0.5, tolerance = 0.1)
  expect_equal(stats::sd(drawn["dh_hard", ]), 1, tolerance = 0.1)
  expect_equal(stats::sd(log(drawn["q_hard_kj_mol", ])), 0.1, tolerance = 0.1)
})

test_that("identifiability() has a reason for the hardening family, and a plot by plot()", {
  fit <- suppressWarnings(fit_softening(bell_readings(), "hardening_jmak"))
  for (term in c("dh_hard", "ln_k_hard", "q_hard_kj_mol")) {
    expect_match(reason_for(fit, term, "not determined"), "hardening shows only")
  }
  told <- identifiability(fit_softening(with_test_seed(1, made_readings())))
  grDevices::pdf(NULL)
  withr::defer(grDevices::dev.off())
  ggplot2::set_last_plot(NULL)
  expect_identical(plot(told), told)
  expect_s3_class(ggplot2::last_plot(), "ggplot")
})

test_that("every class with a plot draws it by plot()", {
  space <- readLines(system.file("NAMESPACE", package = "softanneal"))
  classes <- function(generic) {
    x <- grep(paste0("^S3method[(]", generic, ","), space, value = TRUE)
    sub(".*,([^)]+)[)]", "\\1", x)
  }
  drawn <- classes("\"?(ggplot2::)?autoplot\"?")
  expect_gt(length(drawn), 20L)
  fits <- startsWith(drawn, "softanneal_fit_") # these have that of softanneal_fit
  expect_identical(setdiff(drawn[!fits], classes("plot")), character())
  expect_true("softanneal_fit" %in% classes("plot"))
})
