# One small object of every result class, what its methods answer, and whether it is data alone.
# Used by test-saved-objects.R and inst/scripts/dev/make-fixtures.R.

result_objects <- local({
  objects <- NULL
  function() {
    if (is.null(objects)) objects <<- new_objects()
    objects
  }
})

new_objects <- function() {
  bell <- bell_readings()
  small <- bell[bell$time_min %in% c(0, 8, 32, 128) & bell$temp_c %in% c(290, 330, 370), ]
  fit <- fit_softening(small)
  steps <- data.frame(specimen = "A1", temp_c = 370, time_min = c(4, 8))
  history <- anneal_history(steps, thickness_mm = 0.95, support = "free",
                            cool_support = "free")
  # a log that stays hot may be read at any time
  hot <- data.frame(specimen = "A1", time_s = c(0, 30, 60, 660), temp_c = c(20, 290, 355, 370))
  law <- c(h_worked = 180, h_soft = 75, ln_k_ref = log(0.1), n = 1.5, q_kj_mol = 180)
  strained <- with_test_seed(41, {
    a <- made_readings(n = 2, sd_step = 1)
    b <- made_readings(n = 2, sd_step = 1, half_min = 6, worked = 175)
    rbind(transform(a, strain = 0.4), transform(b, strain = 0.8, specimen = paste0("b-", specimen)))
  })
  counted <- utils::read.csv(extdata("grain_bellbrass_fractions.csv"))
  creep <- utils::read.csv(extdata("master_creep.csv"))
  creep$log_stress <- log10(creep$stress)
  pieces <- data.frame(temp_c = rep(c(290, 320, 350), each = 4),
                       time_min = c(151, 204, 240, 240, 38, 55, 61, 47, 13, 17, 11, 15),
                       reached = c(1, 1, 0, 0, rep(1, 8)))
  strip <- data.frame(specimen = "B1", pass = 0:4, thickness_mm = c(1.60, 1.40, 1.22, 1.07, 0.95))
  laboratories <- data.frame(group = rep(c("bench 1", "bench 2", "bench 3"), each = 4),
                             specimen = "ring",
                             hardness = c(61, 60.5, 61.5, 61, 62, 62.5, 62, 63, 60, 61.5, 61, 60.5))
  guess <- plan_guess("C26000", recryst_1h_c = 330, draws = 4)
  class <- simulate_class(2, seed = 20)
  key <- answer_key(2, seed = 20)
  answers <- data.frame(group = c("group-01", "group-02"), quantity = c("q_kj_mol", "n"),
                        value = c(180, 1.8))
  fractions <- fit_recrystallisation(counted)
  suppressWarnings(list(
    fit_softening = fit,
    fit_components = fit_softening(small, se = "components"),
    components = components_of_error(fit_softening(small, se = "components")),
    fit_softening_open = quietly_fitted(small[small$temp_c != 330, ], "recovery_jmak",
                                        fixed = c(q_rec_kj_mol = 140)),
    fit_softening_strain = fit_softening(strained, strain = strain),
    fit_softening_exponents = fit_softening(small, n_by = "by temperature"),
    fit_softening_history = fit_softening(
      with_test_seed(42, transform(soften(hot, law, temp_ref_c = 370,
                                          time_min = seq(0.5, 10, length.out = 12)),
                                   time_min = time_s / 60, scale = "HV",
                                   hardness = hardness + stats::rnorm(12, sd = 0.5))),
      history = hot, fixed = c(q_kj_mol = 180), log_time = time_s),
    prior = prior_brass(h_soft = c(lower = 50, upper = 95)),
    posterior = fit_posterior(small, prior = prior_brass(), chains = 2, n_draws = 40, n_warmup = 100,
                              seed = 1),
    pool = pool_fits(list(a = fit, b = fit_softening(transform(small, hardness = hardness + 1)))),
    fit_each = fit_each(small, by = "temp_c"),
    table = tidy(fit),
    fit_arrhenius = fit_arrhenius(data.frame(temp_c = c(135, 119, 113, 102, 88, 43),
                                             rate = c(0.105, 4.4e-2, 2.9e-2, 1.25e-2, 4.2e-3, 3.8e-5)),
                                  rate = rate),
    fit_kissinger = fit_kissinger(data.frame(rate_k_min = c(2.5, 5, 10, 20, 40),
                                             peak_c = c(140.98, 151.07, 161.63, 172.72, 184.38))),
    fit_hall_petch = fit_hall_petch(data.frame(grain_mm = c(0.05, 0.028, 0.016, 0.010),
                                               hardness = c(60, 71, 80, 90))),
    fit_hardening = fit_hardening(data.frame(hardness = c(54, 62, 76, 86, 94),
                                             effective_strain = c(0.13, 0.27, 0.53, 0.80, 1.06))),
    fit_grain_growth = fit_grain_growth(utils::read.csv(extdata("grain_bellbrass_growth.csv")),
                                        d0_mm = 0.009),
    fit_recrystallisation = fractions,
    fit_lifetime = fit_lifetime(pieces, event = reached),
    fit_master_curve = fit_master_curve(creep, log_stress, time = time_h, time_unit = "h",
                                        errors_in = "time"),
    fit_least_squares = fit_least_squares(y ~ a * exp(-b * x), c(a = 10, b = 0.2),
                                          data = data.frame(x = 1:6, y = c(9.1, 7.2, 6.1, 4.9, 4.2, 3.3))),
    fit_residuals = fit_least_squares(\(p, d) d$y - p[["a"]] * exp(-p[["b"]] * d$x),
                                      c(a = 10, b = 0.2),
                                      data = data.frame(x = 1:6, y = c(9.1, 7.2, 6.1, 4.9, 4.2, 3.3))),
    profile = stats::profile(fit, "n"),
    resample = resample_fit(fit, n_resamples = 10, type = "parametric", seed = 1),
    identifiability = identifiability(fit),
    rates = rates(fit),
    window = process_window(fit, hardness = c(95, 125), temp_c = c(330, 350), time_min = c(4, 8),
                            n_points = 5),
    model_table = compare_models(small, models = c("jmak", "jmak_incubation"), cross_validate = FALSE),
    softening = soften(history, law, temp_ref_c = 370, time_min = c(0, 4, 10)),
    history = history,
    heat = heat_up(0.95, furnace_c = 410, until_min = 5, n_points = 10),
    material = thermal_material("C26000"),
    readings = small,
    steps = summarise_readings(small),
    findings = check_readings(small),
    outliers = find_outliers(small),
    comparison = compare_baseline(c(91.5, 92, 91), c(92, 91.5, 92.5), margin = 1.5),
    laboratories = compare_laboratories(laboratories),
    budget = uncertainty_budget(c(78, 79, 77.5), scale = "HRF", resolution = 0.5),
    cold_work = cold_work(strip),
    choice = choose_scale(0.95, as_rolled = 175, annealed = 65),
    layout = indent_layout(20, 80, n_readings = 6, steps = 4, hardness = 30, scale = "HR30T"),
    cautions = cautions("annealing", temp_c = 400),
    conversion_tables = conversion_tables("brass"),
    grain_count = count_intercepts(c(92, 85, 97), line_mm = 500, magnification = 200),
    guess = guess,
    plan = plan_anneal(c(290, 330), c(8, 16), guess = guess, n_readings = 4),
    class_design = class_design(),
    class = class,
    key = key,
    marks = mark_answers(answers, key)))
}

# Classes that name files of this machine, and parts of plots: nothing of them is worth keeping.

CLASSES_OF_FILES <- c("softanneal_archive", "softanneal_report", "softanneal_ends", "softanneal_lanes",
                      "softanneal_finish", "softanneal_picture")

our_classes <- function(x) grep("^softanneal_", class(x), value = TRUE)

our_method <- function(generic, x) {
  home <- switch(generic, autoplot = asNamespace("ggplot2"), tidy = , glance = ,
                 augment = asNamespace("generics"), asNamespace("stats"))
  for (class in our_classes(x)) {
    f <- utils::getS3method(generic, class, optional = TRUE, envir = home)
    if (!is.null(f)) return(f)
  }
  NULL
}

NUMBER_METHODS <- c("coef", "vcov", "confint", "fitted", "residuals", "predict", "logLik", "nobs",
                    "deviance", "sigma", "df.residual", "tidy", "glance", "as.data.frame", "profile",
                    "anova", "augment", "summary", "simulate", "weights")
WORD_METHODS <- c("print", "format", "formula", "family", "autoplot")

# All numbers in a value, in order.
numbers_in <- function(x) {
  if (inherits(x, c("factor", "Date", "POSIXct"))) return(as.double(unclass(x)))
  if (is.numeric(x)) return(as.double(x))
  if (is.list(x)) return(unlist(lapply(x, numbers_in), use.names = FALSE))
  NULL
}

# What every method of an object answers: numbers, or for those of words whether they spoke.
object_answers <- function(x) {
  out <- list(object = numbers_in(unclass(x)))
  for (generic in c(NUMBER_METHODS, WORD_METHODS)) {
    method <- our_method(generic, x)
    if (is.null(method)) next
    args <- switch(generic, simulate = list(x, nsim = 1, seed = 1), list(x))
    value <- tryCatch(suppressWarnings(switch(
      generic, print = length(utils::capture.output(do.call(method, args))) > 0L,
      autoplot = {
        grDevices::pdf(NULL)
        on.exit(grDevices::dev.off())
        p <- do.call(method, args)
        is.list(ggplot2::ggplot_build(p)$data) && nzchar(ggplot2::get_alt_text(p))
      },
      format = is.character(do.call(method, args)),
      formula = , family = !is.null(do.call(method, args)),
      numbers_in(do.call(method, args)))),
      softanneal_error = function(e) paste("refused:", class(e)[1L]))
    out[[generic]] <- value
  }
  out
}

# A saved object and its answers, with fields and columns under the names of this version: the
# saved ones are older than the renaming before the first version.
read_saved <- function(file) {
  saved <- readRDS(file)
  saved$object <- current_names(saved$object)
  saved
}

swap_names <- function(x, ...) {
  new <- c(...)
  hit <- names(x) %in% names(new)
  names(x)[hit] <- unname(new[names(x)[hit]])
  x
}

swap_words <- function(x, ...) {
  new <- c(...)
  hit <- x %in% names(new)
  x[hit] <- unname(new[x[hit]])
  x
}

swap_attribute <- function(x, old, new) {
  value <- attr(x, old, exact = TRUE)
  if (is.null(value)) return(x)
  attr(x, old) <- NULL
  attr(x, new) <- value
  x
}

current_names <- function(x) {
  switch(
    c(our_classes(x), "none")[1L],
    softanneal_layout = swap_names(x, reserve_mm = "margin_mm"),
    softanneal_guess = swap_names(x, metal = "alloy"),
    softanneal_plan = {
      x$settings <- swap_names(x$settings, n = "n_readings", softest = "min_hardness",
                               reserve_mm = "margin_mm", ready_min = "warmup_min",
                               change_min = "furnace_change_min", people = "n_operators",
                               within_c = "tolerance_c", resting = "support",
                               room_c = "ambient_c")
      x$steps <- swap_names(x$steps, share = "softening")
      x$layout <- current_names(x$layout)
      x$guess <- current_names(x$guess)
      x
    },
    softanneal_heat = {
      x$summary <- swap_names(x$summary, within_c = "tolerance_c")
      swap_names(x, material = "alloy", resting = "support")
    },
    softanneal_window = swap_attribute(x, "of", "target"),
    softanneal_choice = swap_names(x, hard = "as_rolled", soft = "annealed",
                                   least_mm = "min_thickness_mm"),
    softanneal_steps = swap_names(x, se = "std.error", se_hv = "std.error_hv"),
    softanneal_identifiability = swap_names(x, lower = "conf.low", upper = "conf.high"),
    softanneal_model_table = swap_names(x, aicc = "AICc", bic = "BIC", open = "n_undetermined",
                                        lack_of_fit = "lack_of_fit.p.value"),
    softanneal_class_design = {
      x$bench <- swap_names(x$bench, scatter = "sd", slips = "blunders")
      swap_names(x, spread = "sd_groups")
    },
    softanneal_key = {
      x <- swap_attribute(x, "slips", "blunders")
      attr(x, "blunders") <- swap_names(attr(x, "blunders"), slip = "blunder")
      attr(x, "design") <- current_names(attr(x, "design"))
      x$quantity <- swap_words(x$quantity, half_min = "t50_min")
      x
    },
    softanneal_marks = {
      x$quantity <- swap_words(x$quantity, half_min = "t50_min")
      x
    },
    softanneal_resample = swap_names(x, times = "n_resamples"),
    x)
}

# Places in an object that are no data: environments, functions, pointers. Formulas may have the
# base environment, and a call may name functions.
not_data <- function(x, place = "object") {
  if (is.environment(x)) return(if (!identical(x, baseenv()) && !identical(x, emptyenv())) place)
  if (typeof(x) %in% c("closure", "externalptr", "weakref", "promise", "bytecode", "S4")) return(place)
  found <- character()
  for (name in names(attributes(x))) {
    found <- c(found, not_data(attr(x, name, exact = TRUE), paste0(place, "@", name)))
  }
  if (is.list(x)) x <- unclass(x) # fields, not groups
  if (is.recursive(x) && !is.function(x)) for (i in seq_along(x)) {
    part <- tryCatch(.subset2(as.list(x), i), error = function(e) NULL)
    if (!missing(part)) found <- c(found, not_data(part, paste0(place, "[[", i, "]]")))
  }
  found
}

# The library of the installed package, or that meant for child processes (run-tests.R); NULL when it
# is loaded from its sources.
installed_at <- function() {
  children <- Sys.getenv("SOFTANNEAL_CHILD_LIBRARY")
  if (nzchar(children)) return(children)
  path <- getNamespaceInfo(asNamespace("softanneal"), "path")
  if (file.exists(file.path(path, "Meta", "package.rds"))) dirname(path)
}
