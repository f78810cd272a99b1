# Generated garbage for every argument of every exported function. What may come out is a
# result or one of our classed conditions; anything else is a finding.

# Values that no argument expects, or that few do. Built at call time: encodings and units
# depend on the session.
garbage_values <- function() {
  latin <- "H\xe4rte"
  Encoding(latin) <- "latin1"
  values <- list(
    null = NULL, na = NA, na_real = NA_real_, na_text = NA_character_, nan = NaN, inf = Inf,
    minus_inf = -Inf, minus = -3, zero = 0, half = 0.5, tiny = 1e-300, huge = 1e300,
    whole = 2L, big_whole = .Machine$integer.max, two = c(1, 2), with_na = c(1, NA, 3),
    with_inf = c(1, Inf), none = numeric(0), no_text = character(0), no_flag = logical(0),
    flag = TRUE, flags = c(TRUE, FALSE), text = "nonsense", empty_text = "", texts = c("a", "b"),
    latin = latin, bytes = "\xff\xfe", wide = "\u6e29\u5ea6 \u00b0C", named = c(a = 1, b = 2),
    twice_named = c(a = 1, a = 2), factor = factor(c("a", "b")), list = list(1, "a"),
    empty_list = list(), nested = list(a = list(b = 1)), matrix = matrix(1:4, 2),
    array = array(1, c(1, 1, 1)), complex = 1i, raw = as.raw(1), date = as.Date("2021-03-04"),
    time = as.POSIXct("2021-03-04 05:06:07", tz = "UTC"), fun = function(x) x,
    primitive = sum, symbol = quote(a), call = quote(a + b), formula = y ~ x,
    environment = new.env(), table = data.frame(a = 1:2, b = c("x", NA)),
    no_rows = data.frame(a = numeric(0)), no_columns = data.frame(row.names = 1:3),
    strange_class = structure(list(), class = "softanneal_fit")
  )
  values["long_text"] <- list(strrep("a", 1e6))
  if (requireNamespace("units", quietly = TRUE)) {
    values$unit_length <- units::set_units(3, "mm")
    values$unit_odd <- units::set_units(c(3, 4), "K")
  }
  values
}

# A table with one column turned to garbage, or its shape.
garbage_tables <- function(data) {
  n <- nrow(data)
  tables <- list()
  for (column in names(data)) {
    cells <- list(
      gone = NULL, na = rep(NA, n), nan = rep(NaN, n), inf = rep(Inf, n), minus = rep(-1e4, n),
      zero = rep(0, n), tiny = rep(1e-300, n), huge = rep(1e300, n), text = rep("x", n),
      wide = rep("\u00e4 \u6e29", n), bytes = rep("\xff", n), factor = factor(rep("x", n)),
      list = rep(list(1:2), n), one_na = replace(data[[column]], 1L, NA), flag = rep(TRUE, n),
      date = rep(as.Date("2021-03-04"), n), complex = rep(1i, n), matrix = I(matrix(1, n, 2)),
      constant = rep(data[[column]][n], n), as_text = as.character(data[[column]]))
    if (requireNamespace("units", quietly = TRUE)) {
      cells$units <- units::set_units(seq_len(n), "kg")
    }
    for (name in names(cells)) {
      bad <- data
      bad[[column]] <- cells[[name]]
      tables[[paste(column, name)]] <- bad
    }
    tables[[paste(column, "gone")]] <- data[setdiff(names(data), column)]
  }
  twice <- cbind(data, data[1L])
  c(tables, list(no_rows = data[0L, ], one_row = data[1L, ], two_rows = data[1:2, ],
                 names_twice = twice, no_columns = data[, 0L], rows_twice = data[rep(1:2, 3), ],
                 named_rows = `rownames<-`(data, paste("row", seq_len(n))),
                 as_list = as.list(data), as_matrix = as.matrix(data)))
}

# Language is handed over as a value; everything else as it is, so that a column name stays one.
held <- function(x) if (is.language(x) && !is.expression(x)) call("quote", x) else x

# What came out of a call: "result", "refused" (a classed error) or a finding in words.
# `show` also prints what came out.
outcome <- function(fun, args, show = FALSE) {
  found <- character(0)
  note <- function(kind) function(condition) {
    if (!inherits(condition, paste0("softanneal_", kind))) {
      found <<- c(found, paste0("unclassed ", kind, ": ", conditionMessage(condition)))
    }
    invokeRestart(if (kind == "warning") "muffleWarning" else "muffleMessage")
  }
  end <- tryCatch({
    withCallingHandlers({
      utils::capture.output(value <- do.call(fun, lapply(args, held)))
      if (inherits(value, "ggplot")) {
        ggplot2::ggplot_build(value)
      } else if (show && any(startsWith(class(value), "softanneal"))) {
        utils::capture.output(print(value))
      }
    }, warning = note("warning"), message = note("message"))
    "result"
  }, softanneal_error = function(e) "refused",
  error = function(e) {
    paste0("unclassed error: ", substr(conditionMessage(e), 1L, 160L), " [in ",
           substr(paste(deparse(conditionCall(e)[[1L]])[1L]), 1L, 60L), "]")
  })
  if (!end %in% c("result", "refused")) found <- c(found, end)
  if (length(found)) found[1L] else end
}

# Outcomes for one function: each argument in turn is replaced by each piece of garbage.
# `every` = 3 takes a third of it, another third at the next argument; the extended tests take
# all.
# `prepare` is called before each.
throw_garbage <- function(fun, args, among = names(args), values = garbage_values(), every = 1L,
                          prepare = function() NULL) {
  if (extended_tests()) every <- 1L
  rows <- list()
  for (k in seq_along(among)) {
    arg <- among[k]
    tries <- c(values, if (is.data.frame(args[[arg]])) garbage_tables(args[[arg]]))
    for (name in names(tries)[(seq_along(tries) + k) %% every == 0L]) {
      with <- args
      with[arg] <- list(tries[[name]])
      prepare()
      rows[[length(rows) + 1L]] <- c(arg = arg, garbage = name, outcome = outcome(fun, with))
    }
  }
  as.data.frame(do.call(rbind, rows))
}

# What is wrong among the outcomes, in words. Not ours: R's own words where a generic of
# another package has no method for a class, a forged fit, and errors inside the caller's own
# function.
findings_of <- function(thrown, fun) {
  if (is.null(thrown$outcome)) return(character())
  ours <- !thrown$outcome %in% c("result", "refused")
  ours <- ours & !(fun %in% c("tidy", "glance", "augment") & thrown$arg == "x") &
    !grepl("no applicable method", thrown$outcome) &
    !(fun == "fit_least_squares" & thrown$arg == "fn" & thrown$garbage %in% c("fun", "primitive"))
  sprintf("%s = %s: %s", thrown$arg, thrown$garbage, thrown$outcome)[ours]
}

# What goes to ggplot2 as it is, which refuses in its own words.
LAYER_ARGUMENTS <- c("mapping", "data", "position", "na.rm", "show.legend", "inherit.aes")

# Columns that may be left out but not be NULL.
LEFT_OUT <- list(fit_softening = c("log_time", "strain", "furnace", "operator"),
                 # are for readings
                 recryst_temperature = c("material", "time", "temp", "hardness", "reading_scale", "specimen"),
                 geom_softening = LAYER_ARGUMENTS, stat_softening = c("geom", LAYER_ARGUMENTS))

# The arguments with their names filled in, and all others with their defaults: those that are
# names of columns as text.
named_arguments <- function(fun, args) {
  given <- names(args)
  if (is.null(given)) given <- rep("", length(args))
  free <- setdiff(names(formals(fun)), c(given, "..."))
  given[given == ""] <- free[seq_len(sum(given == ""))]
  names(args) <- given
  others <- formals(fun)[setdiff(names(formals(fun)), c(given, "...", LEFT_OUT[[fun]]))]
  for (arg in names(others)) {
    default <- others[[arg]]
    if (is.symbol(default) && !nzchar(default)) next
    space <- asNamespace("softanneal")
    value <- is.symbol(default) && exists(default, space, inherits = FALSE) &&
      !is.function(space[[as.character(default)]])
    args[arg] <- list(if (is.symbol(default) && !value) as.character(default) else {
      eval(default, space)
    })
  }
  args
}

# One valid call a function: every argument that garbage can be thrown at.
# `temp` and the other column arguments are given by name, as text.
valid_calls <- function() {
  bell <- as.data.frame(bell_readings())
  small <- bell[bell$time_min %in% c(0, 4, 16, 64) & bell$temp_c %in% c(330, 370), ]
  small$scale <- as.character(small$scale)
  fit <- suppressWarnings(fit_softening(bell_readings()))
  bench_fit <- suppressWarnings(fit_softening(bell_readings(), se = "components"))
  columns <- list(specimen = "specimen", time = "time_min", temp = "temp_c")
  strip <- data.frame(specimen = "B1", pass = 0:4, thickness_mm = c(1.60, 1.40, 1.22, 1.07, 0.95),
                      width_mm = c(25, 25.1, 25.2, 25.2, 25.3),
                      length_mm = c(150, 171, 195, 222, 250))
  growth <- utils::read.csv(extdata("grain_bellbrass_growth.csv"))
  creep <- utils::read.csv(extdata("master_creep.csv"))
  creep$log_stress <- log10(creep$stress)
  counted <- utils::read.csv(extdata("grain_bellbrass_fractions.csv"))
  laboratories <- data.frame(group = rep(c("bench 1", "bench 2", "bench 3"), each = 4),
                             specimen = "ring",
                             hardness = c(61, 60.5, 61.5, 61, 62, 62.5, 62, 63, 60, 61.5, 61, 60.5))
  rates <- data.frame(temp_c = c(135, 119, 113, 102, 88, 43),
                      rate_per_min = c(0.105, 4.4e-2, 2.9e-2, 1.25e-2, 4.2e-3, 3.8e-5))
  peaks <- data.frame(rate_k_min = c(2.5, 5, 10, 20, 40),
                      peak_c = c(140.98, 151.07, 161.63, 172.72, 184.38))
  pieces <- data.frame(temp_c = rep(c(290, 320, 350), each = 4),
                       time_min = c(151, 204, 240, 240, 38, 55, 61, 47, 13, 17, 11, 15),
                       reached = c(1, 1, 0, 0, rep(1, 8)))
  hardening <- data.frame(hardness = c(54, 62, 76, 86, 94),
                          effective_strain = c(0.13, 0.27, 0.53, 0.80, 1.06))
  grains <- data.frame(grain_mm = c(0.05, 0.028, 0.016, 0.010), hardness = c(60, 71, 80, 90))
  steps <- data.frame(specimen = "A1", temp_c = 370, time_min = c(4, 8, 16))
  log <- as.data.frame(anneal_history(steps, thickness_mm = 0.95))
  two_coils <- suppressWarnings(fit_each(rbind(transform(small, coil = "a"),
                                               transform(small, coil = "b")), "coil"))
  parameters <- c(h_worked = 180, h_soft = 75, ln_k_ref = log(0.1), n = 1.5, q_kj_mol = 180)
  class <- simulate_class(2, seed = 20)
  post <- suppressWarnings(fit_posterior(small, chains = 1, n_draws = 20, n_warmup = 100, seed = 1))
  guess <- plan_guess("C26000", recryst_1h_c = 330, draws = 8)
  plan <- suppressWarnings(plan_anneal(c(290, 330), c(8, 16), guess = guess, n_readings = 4))
  key <- answer_key(2, seed = 20)
  answers <- data.frame(group = c("group-01", "group-02"), quantity = c("q_kj_mol", "n"),
                        value = c(180, 1.8))
  design <- class_design()
  layout <- indent_layout(20, 80, n_readings = 6, steps = 7, hardness = 30, scale = "HR30T")
  folder <- tempfile("garbage")
  # an archive that is there, and the folder of another
  coils <- tempfile("coils")
  dir.create(coils)
  utils::write.csv(cbind(coil = "A", small), file.path(coils, "a.csv"), row.names = FALSE)
  archive <- file.path(coils, "there")
  fit_archive(coils, archive, by = "coil")
  noted <- tempfile("log", fileext = ".csv")
  writeLines(c("time_s,B1", "0,20", "10,200", "20,330", "30,331"), noted)
  list(
    add_steps = list(log, find_steps(log)),
    check_history = list(log, heating_c_s = 50, cooling_c_s = 100, specimen = "specimen", time = "time_s",
                         temp = "temp_c"),
    find_steps = list(log, tolerance_c = 5),
    read_history = list(noted, specimen = "A", time = "time_s", temp = "B1", tz = NULL, date_order = "dmy",
                        sep = ",",
                        dec = ".", encoding = "UTF-8", sheet = NULL, skip = 0),
    anneal_history = c(list(steps, thickness_mm = 0.95, ambient_c = 20, dip_c = 5, recover_min = 3,
                            open_s = 10, support = "free", cool_support = "free", h_w_m2k = 20,
                            cool_h_w_m2k = 10, emissivity = 0.3, alloy = "C26000"), columns),
    answer_form = list(class),
    bench_errors = list(specimen = 0),
    answer_key = list(2, seed = 20, groups = 1:2, design = design, class = class),
    arrhenius_rate = list(c(300, 350), k_ref = 1, temp_ref_c = 330, q_kj_mol = 150),
    augment = list(fit, newdata = data.frame(temp_c = 330, time_min = c(1, 10)),
                   interval = "confidence", level = 0.9),
    readings_form = list(plan, tempfile(fileext = ".csv"), overwrite = TRUE),
    explore_page = list(fit, file.path(coils, "explore.html"), title = "Fit", dial = "HRF", level = 0.9,
                        overwrite = TRUE, open = FALSE),
    bench_page = list(plan, file.path(coils, "bench.html"), title = "Run", wanted_kj_mol = 5,
                      aim = "time", hardness = NULL, softening = 0.4, temp_c = 310, time_min = NULL,
                      wanted_factor = 1.4, wanted_c = 8, overwrite = TRUE, open = FALSE),
    practice_page = list(class_design(), 1, file.path(coils, "practice.html"), seed = 3, title = "Run",
                         rolled_mm = 0.9, budget_h = 8, overwrite = TRUE, open = FALSE),
    bench_sheet = list(plan, file.path(coils, "sheet.html"), title = "Run", overwrite = TRUE),
    brinell_number = list(4903.325, ball_mm = 10, diameter_mm = 2.4),
    cautions = list("annealing", temp_c = 400),
    check_readings = c(list(small, hardness = "hardness", reading_scale = "scale", thickness_mm = 0.95,
                            length_mm = 80, level = 0.95), columns),
    choose_scale = list(0.95, as_rolled = 175, annealed = 65, scale = "HV", material = "brass",
                        rule = "E18", vickers_kgf = c(1, 5)),
    class_design = list(parameters = parameters, temp_ref_c = 330, sd_groups = NULL,
                        temp_c = c(290, 330), time_min = c(0, 4, 8), n_readings = 3,
                        scale = "HV", sd = c(reading = 1), resolution = 1, operators = NULL,
                        blunders = NULL, specimen = NULL, schedule = NULL, material = "brass",
                        tolerance = 2),
    cold_work = list(strip, specimen = "specimen", pass = "pass", thickness = "thickness_mm",
                     width = "width_mm", length = "length_mm", u_thickness_mm = 0.01,
                     u_width_mm = 0.05, u_length_mm = 0.5, coverage_factor = 2),
    components_of_error = list(bench_fit, temp_c = 330),
    compare_baseline = list(c(91.5, 92, 91), c(92, 91.5, 92.5), margin = 1.5, paired = FALSE,
                            level = 0.95, scale = "HRF", power = 0.8, hardness = "hardness",
                            reading_scale = "scale"),
    compare_laboratories = list(laboratories, lab = "group", test_material = "specimen",
                                hardness = "hardness", cell_mean = NULL, cell_sd = NULL,
                                cell_n = NULL, consistency_level = 0.995, level = 0.95),
    compare_models = list(small, models = c("jmak", "jmak_incubation"), cross_validate = FALSE),
    conversion_tables = list("brass"),
    convert_hardness = list(c(80, 90), from = "HRB", to = "HV", material = "brass",
                            interval = TRUE, level = 0.95, round = TRUE),
    cool_down = list(0.95, start_c = 400, ambient_c = 20, until_min = 30, tolerance_c = 2,
                     h_w_m2k = 10, emissivity = 0.3, support = "block", h_block_w_m2k = 200,
                     width_mm = 20, length_mm = 80, alloy = "C26000", specimen = "A",
                     n_points = 20, after = NULL),
    cylinder_correction = list(c(60, 75), "HRB", diameter_mm = 10),
    count_grains = list(c(41, 38, 44), intercepted = c(22, 25, 20), area_mm2 = 5000, magnification = 200,
                        shape = "circle", level = 0.95),
    count_intercepts = list(c(92, 85, 97), line_mm = 500, magnification = 200, level = 0.95),
    door_opening = list(410, dip_c = 9, recover_min = 3, at_min = 0, open_s = 10, specimen = "A"),
    equivalent_time = c(list(log, q_kj_mol = 180, temp_c = 370),
                        list(specimen = "specimen", time = "time_s", temp = "temp_c")),
    estimate_strength = list(c(115, 130), scale = "HV", method = "cahoon_tensile",
                             meyer_index = 2.1, material = "brass", level = 0.95),
    example_data = list("bellbrass_rolling", path = FALSE),
    find_outliers = c(list(small, method = "esd", level = 0.95, max_outliers = 1, resolution = 0.5,
                           hardness = "hardness", reading_scale = "scale", by = NULL), columns),
    fit_archive = list(coils, file.path(coils, "new"), by = "coil", model = "jmak", se = "model",
                       query = NULL, chunk_rows = 1000, reader = NULL, format = "rds", part = NULL),
    fit_arrhenius = list(rates, rate = "rate_per_min", time = NULL, temp = "temp_c",
                         weights = NULL, temp_ref_c = 100, na.action = stats::na.exclude),
    fit_control = list(ftol = 1e-10, xtol = 1e-10, gtol = 1e-10, initial_radius = 1, huber = 1.3,
                       max_iterations = 10),
    fit_grain_growth = list(growth, grain = "grain_mm", time = "time_min", temp = "temp_c",
                            d0 = NULL, d0_mm = 0.009, m = NULL, weights = NULL, temp_ref_c = 550,
                            na.action = stats::na.exclude, control = fit_control()),
    fit_hall_petch = list(grains, hardness = "hardness", grain = "grain_mm", unit = "HV",
                          weights = NULL, na.action = stats::na.exclude, control = fit_control()),
    fit_hardening = list(hardening, hardness = "hardness", strain = "effective_strain",
                         model = "swift", weights = NULL, na.action = stats::na.exclude,
                         control = fit_control()),
    fit_kissinger = list(peaks, rate = "rate_k_min", peak = "peak_c", weights = NULL,
                         na.action = stats::na.exclude, control = fit_control()),
    fit_least_squares = list(y ~ a + b * x, start = c(a = 1, b = 1), lower = c(-100, -100),
                             upper = c(100, 100), jac = NULL, weights = NULL,
                             data = data.frame(x = 1:5, y = c(1.1, 2, 2.9, 4.2, 5)),
                             loss = "squares", na.action = stats::na.exclude,
                             control = fit_control()),
    fit_lifetime = list(pieces, time = "time_min", temp = "temp_c", event = "reached",
                        distribution = "weibull", weights = NULL, temp_ref_c = 320,
                        na.action = stats::na.exclude),
    fit_master_curve = list(creep, response = "log_stress", temp = "temp_c", time = "time_h",
                            time_unit = "h", degree = 2, constant = 20, errors_in = "time",
                            range = c(5, 60), weights = NULL, na.action = stats::na.exclude,
                            control = fit_control()),
    fit_recrystallisation = list(counted, fraction = "fraction", time = "time_min",
                                 temp = "temp_c", specimen = "specimen", method = "direct",
                                 variance = "constant", incubation = FALSE, edge = 0.01,
                                 lower = NULL, upper = NULL, weights = NULL, temp_ref_c = 330,
                                 na.action = stats::na.exclude, control = fit_control()),
    fit_posterior = list(small, model = "jmak", prior = NULL, chains = 1, n_draws = 20, n_warmup = 100,
                         accept = 0.9, seed = 1, level = 0.95),
    fit_softening = list(small, model = "jmak", scale = "HV", se = "model", start = NULL,
                         time = "time_min", temp = "temp_c", hardness = "hardness",
                         reading_scale = "scale", specimen = "specimen", history = NULL,
                         weights = NULL, material = "brass", fixed = c(n = 1.5),
                         lower = NULL, upper = NULL, temp_ref_c = 330, loss = "squares",
                         level = 0.95, na.action = stats::na.exclude, control = fit_control()),
    format_hardness = list(c(150, 90), "HV", measured = c(80, 42), measured_scale = "HRB",
                           digits = 0),
    geom_softening = list(model = "jmak", interval = "confidence", level = 0.95, reading_scale = "HV",
                          material = "brass", fit_args = list(), n_points = 101),
    glance = list(fit),
    grain_growth = list(c(1, 10), d0_mm = 0.01, k_ref = 1e-5, m = 2, temp_c = 500,
                        temp_ref_c = 500, q_kj_mol = 120, k0 = NULL),
    grain_growth_time = list(0.05, d0_mm = 0.01, k_ref = 1e-5, m = 2, temp_c = 500,
                             temp_ref_c = 500, q_kj_mol = 120, k0 = NULL),
    grain_size = list(number = 5, intercept_mm = NULL, diameter_mm = NULL, grains_per_mm2 = NULL),
    heat_up = list(0.95, furnace_c = 410, until_min = 10, start_c = 20, tolerance_c = 2,
                   h_w_m2k = 20, emissivity = 0.3, support = "block", h_block_w_m2k = 200,
                   width_mm = 20, length_mm = 80, alloy = "C26000", specimen = "A",
                   n_points = 20),
    hollomon_jaffe = list(600, time_h = NULL, time_min = 60, parameter_k = NULL,
                          constant = 19.5, constant_per = "h"),
    identifiability = list(fit, level = 0.95, temp_c = c(330, 370), time_min = c(4, 8)),
    indent_layout = list(20, 80, n_readings = 6, steps = 4, hardness = 30, scale = "HR30T",
                         diameter_mm = NULL, alloy_group = "copper", margin_mm = 0, order = "spread",
                         pattern = "grid"),
    indent_spacing = list(c(70, 170), scale = "HV5", diameter_mm = NULL, alloy_group = "copper"),
    jmak_fraction = list(c(0, 10, 100), k = 0.01, n = 2, theta0 = 0.1, form = "rate"),
    jmak_time = list(c(0.1, 0.5), k = 0.01, n = 2, theta0 = 0.1, form = "rate"),
    knoop_number = list(4.9, 0.26),
    lab_project = list(folder, group = "group 1", example = TRUE, plan = NULL, design = NULL, seed = NULL),
    label_columns = list(data.frame(temp_c = 330)),
    larson_miller = list(600, time_h = NULL, time_min = 60, parameter_k = NULL,
                         constant = 20, constant_per = "h"),
    minimum_thickness = list(c(91, 62), "HRB", rule = "E18"),
    mark_answers = list(answers, key),
    markdown_text = list("a*b"),
    nearest_temper = list(c(0, 11, 40)),
    plot_arrhenius = list(fit, level = 0.95),
    plot_avrami = list(fit, margin = 0.01),
    plot_collapse = list(fit, level = 0.95, base_size = 9),
    plot_hardness_map = list(fit, hardness = c(100, 120), temp_c = c(300, 400), time_min = c(2, 60),
                             strain = NULL, base_size = 9),
    plot_furnace_log = list(log, target_c = 370, tolerance_c = 5, specimen = "specimen",
                            time = "time_s", temp = "temp_c", zoom = TRUE, base_size = 9),
    plot_groups = list(two_coils, temp_c = 330, level = 0.95, max_labels = 5, base_size = 9),
    plot_grain_sketch = list(2, fraction = c(0.1, 0.5), grains = 20, seed = 1, base_size = 9),
    plot_history = list(log, specimen = "specimen", time = "time_s", temp = "temp_c",
                        target_c = 370, tolerance_c = 5, steps = find_steps(log)),
    plot_isochronal = list(parameters, time_min = c(10, 60), temp_c = c(300, 400),
                           model = NULL, temp_ref_c = 370, band = "none", level = 0.95),
    plot_residuals = list(fit),
    plot_residual_map = list(fit),
    rates = list(fit, n = "own", level = 0.95),
    process_window = list(fit, hardness = c(95, 125), probability = 0.9, target = "reading",
                          temp_c = c(330, 350), time_min = c(4, 8), n_points = 5),
    propagate_uncertainty = list(~ a + b, c(a = 30, b = 20), c(0.002, 0.001), df = c(10, Inf),
                                 correlation = NULL, level = 0.95, whole_df = TRUE),
    fit_each = list(transform(small, coil = "a"), by = "coil", model = "jmak", scale = "HV",
                    se = "cluster", material = "brass", level = 0.95, threads = 1),
    plan_guess = list("C26000", recryst_1h_c = 330, draws = 8, seed = 1),
    plan_anneal = list(c(290, 330), c(8, 16), guess = guess, n_readings = 4, thickness_mm = 0.95,
                       width_mm = 20, length_mm = 80, scale = "HR30T", session_min = 180),
    plan_next = list(post, aim = "t50", temp_c = 340, n_readings = 3, n_draws = 10),
    plan_apart = list(post, post, temp_c = 340, time_min = c(4, 16), n_readings = 3),
    improve_plan = list(plan, aim = "q", starts = 2, seed = 1),
    ramp_hold = list(600, rate_k_h = 100, constant = 20),
    read_archive = list(archive),
    read_readings = list(small, columns = NULL, readings = NULL, specimen = NULL, temp_c = NULL,
                         time_min = NULL, scale = NULL, sep = NULL, dec = NULL, encoding = NULL,
                         sheet = NULL, skip = 0, na = c("", "NA")),
    recovery_loss = list(c(0, 1, 10), loss = 4, k = 0.5),
    plan_rolling = list(1.6, c(20, 40), max_draft_mm = 0.3, roll_radius_mm = 40, friction = 0.06,
                        dial_step_mm = 0.01, length_mm = 100),
    pool_fits = list(list(a = fit, b = fit, c = fit), terms = "n", temp_ref_c = 330, level = 0.95),
    prior_brass = list(n = c(mean = 1.5, sd = 0.5)),
    prior_softening = list(n = c(median = 1.5, factor = 1.3), q_kj_mol = c(mean = 150, sd = 30), widen = 1),
    recryst_temperature = list(fit, fraction = 0.5, time_min = 60, solidus_c = 915, level = 0.95),
    resample_fit = list(fit, n_resamples = 3, type = "parametric", seed = 1),
    rockwell_depth = list(80, "HRB"),
    rockwell_number = list(0.1, "HRB"),
    scale_color_temperature = list(name = NULL, discrete = TRUE, dark = FALSE),
    scale_colour_temperature = list(name = NULL, discrete = FALSE, dark = FALSE),
    scale_fill_temperature = list(name = NULL, discrete = TRUE, dark = TRUE),
    scale_linetype_temperature = list(name = NULL),
    scale_shape_temperature = list(name = NULL),
    shift_constant = list(20, "h", "min"),
    simulate_class = list(2, seed = 20, groups = 1, design = design),
    simulate_readings = list(parameters = parameters, temp_c = c(290, 330), time_min = c(0, 4),
                             n_readings = 3, scale = "HV", temp_ref_c = 330, sd = c(reading = 1),
                             resolution = 0.5, operators = NULL, blunders = NULL, specimen = NULL,
                             schedule = NULL, material = "brass", seed = 1),
    soften = list(log, parameters, model = "jmak", temp_ref_c = 370, time_min = NULL,
                  specimen = "specimen", time = "time_s", temp = "temp_c"),
    softening_report = list(small, folder, model = "jmak", scale = "HV", material = "brass",
                            specimen = NULL, title = NULL, level = 0.95, overwrite = TRUE),
    standardise_scale = list("hv10"),
    stat_softening = list(model = "jmak", interval = "confidence", level = 0.95, reading_scale = "HV",
                          material = "brass", fit_args = list(), n_points = 101),
    summarise_readings = c(list(small, hardness = "hardness", reading_scale = "scale", by = NULL,
                                in_hv = FALSE, material = "brass", level = 0.95), columns),
    temp_for = list(fit, time_min = c(30, 60), hardness = 100, softening = NULL, fraction = NULL,
                    level = 0.95, method = "bootstrap", n_resamples = 2, seed = 1),
    temper_limits = list("H04", alloy = "C26000", unit = "MPa", thickness_mm = 0.95),
    theme_softanneal = list(base_size = 12, legend = "right"),
    thermal_material = list("C26000", density_kg_m3 = 8500, heat_j_kgk = 380,
                            heat_slope_j_kgk2 = 0.1, heat_at_c = 20, conductivity_w_mk = 100,
                            solidus_c = 915),
    tidy = list(fit, conf.int = TRUE, conf.level = 0.9),
    time_to = list(fit, hardness = NULL, softening = 0.5, fraction = NULL, temp_c = c(330, 350),
                   level = 0.95, method = "bootstrap", n_resamples = 2, seed = 1),
    uncertainty_budget = list(c(78, 79, 77.5), reference = c(92, 91.5, 92.5), scale = "HRF",
                              in_hv = FALSE, material = "brass", machine = NULL, resolution = 0.5,
                              repeatability_sd = 0.5, repeatability_df = 10, specimen_sd = 0,
                              specimen_df = Inf, same_machine = TRUE, level = 0.95,
                              hardness = "hardness", reading_scale = "scale"),
    vickers_number = list(98.0665, 0.352, 0.348),
    with_units = list(time_to(fit)),
    write_class = list(class, folder, overwrite = TRUE)
  )
}
