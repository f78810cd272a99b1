# One reader of column arguments: every verb takes a column bare, quoted, by .data, passed on by a
# wrapper and injected.

# verb, data, and one column argument with the column it names
column_verbs <- function() {
  bell <- as.data.frame(bell_readings())
  few <- bell[bell$temp_c %in% c(330, 370), ]
  strip <- utils::read.csv(extdata("bellbrass_rolling.csv"))
  log <- door_opening(410, dip_c = 9, specimen = "A")
  steps <- data.frame(specimen = "A", temp_c = 370, time_min = 10)
  counted <- utils::read.csv(extdata("grain_bellbrass_fractions.csv"))
  growth <- utils::read.csv(extdata("grain_bellbrass_growth.csv"))
  grains <- data.frame(grain_mm = c(0.01, 0.02, 0.04, 0.08), hardness = c(120, 105, 92, 84))
  peaks <- data.frame(rate_k_min = c(2.5, 5, 10, 20), peak_c = c(141, 151, 161.6, 172.7))
  rates <- data.frame(temp_c = c(290, 310, 330), rate = c(0.01, 0.03, 0.09))
  rings <- data.frame(group = rep(c("a", "b", "c"), each = 4), specimen = "ring",
                      hardness = c(61, 60.5, 61.5, 61, 62, 62.5, 62, 63, 60, 61.5, 61, 60.5))
  creep <- utils::read.csv(extdata("master_creep.csv"))
  creep$log_stress <- log10(creep$stress)
  hardening <- data.frame(effective_strain = c(0, 0.2, 0.4, 0.8, 1.2),
                          hardness = c(70, 120, 140, 160, 170))
  life <- data.frame(temp_c = rep(c(300, 320, 340), each = 5),
                     time_min = c(90, 120, 150, 170, 210, 30, 42, 50, 61, 75, 12, 16, 19, 24, 30))
  list(
    fit_softening = list(few, "hardness", "hardness", se = "model"),
    fit_softening = list(few, "specimen", "specimen", se = "cluster"),
    fit_each = list(transform(few, coil = "a"), "temp", "temp_c", by = "coil", se = "model"),
    fit_each = list(transform(few, coil = "a"), "by", "coil", se = "model"),
    summarise_readings = list(few, "time", "time_min"),
    summarise_readings = list(transform(few, who = "x"), "by", "who"),
    check_readings = list(few, "reading_scale", "scale"),
    find_outliers = list(few, "hardness", "hardness"),
    compare_baseline = list(few[few$scale == "HRF" & few$time_min == 0, ], "hardness", "hardness",
                            baseline = c(99, 98.5, 99.5), margin = 2, scale = "HRF"),
    uncertainty_budget = list(few[few$scale == "HRF" & few$time_min == 0, ], "hardness", "hardness",
                              scale = "HRF", resolution = 0.5, machine = 1),
    compare_laboratories = list(rings, "lab", "group"),
    recryst_temperature = list(few, "hardness", "hardness", time_min = 32, h_soft = 75),
    plot_isochronal = list(few, "temp", "temp_c", time_min = 32),
    cold_work = list(strip, "thickness", "thickness_mm"),
    plot_history = list(log, "time", "time_s"),
    plot_furnace_log = list(log, "temp", "temp_c", target_c = 410),
    anneal_history = list(steps, "time", "time_min", thickness_mm = 0.95),
    equivalent_time = list(log, "temp", "temp_c", q_kj_mol = 140, temp_c = 400),
    fit_recrystallisation = list(counted, "fraction", "fraction"),
    fit_grain_growth = list(growth, "grain", "grain_mm", d0_mm = 0.009),
    fit_hall_petch = list(grains, "grain", "grain_mm"),
    fit_kissinger = list(peaks, "peak", "peak_c"),
    fit_arrhenius = list(rates, "rate", "rate"),
    fit_master_curve = list(creep, "response", "log_stress", time = "time_h", time_unit = "h",
                            errors_in = "time"),
    fit_hardening = list(hardening, "strain", "effective_strain"),
    fit_lifetime = list(life, "time", "time_min"),
    soften = list(as.data.frame(log), "time", "time_s",
                  parameters = c(h_worked = 180, h_soft = 75, ln_k_ref = -2, n = 1.5, q_kj_mol = 180),
                  temp_ref_c = 400))
}

numbers_of <- function(x) {
  if (inherits(x, "softanneal_fit")) return(stats::coef(x))
  if (inherits(x, "ggplot")) return(numbers_in(ggplot2::layer_data(x)))
  numbers_in(unclass(x))
}

test_that("every verb takes a column in every way it can be named", {
  skip_on_cran()
  verbs <- column_verbs()
  quiet <- function(x) suppressMessages(suppressWarnings(x, classes = "softanneal_warning"))
  for (k in seq_along(verbs)) {
    f <- getExportedValue("softanneal", names(verbs)[k])
    v <- verbs[[k]]
    arg <- v[[2L]]
    rest <- v[-(1:3)]
    data <- v[[1L]]
    if (v[[3L]] %in% names(data)) names(data)[names(data) == v[[3L]]] <- "my column"
    name <- "my column"
    call_with <- function(column, ...) {
      quiet(rlang::inject(f(data, !!!stats::setNames(list(column), arg), !!!rest)))
    }
    label <- paste0(names(verbs)[k], "(", arg, " = )")
    wanted <- numbers_of(call_with("my column"))
    expect_true(length(wanted) > 0L, label = label)
    wrapper <- function(data, column) {
      column <- rlang::enquo(column)
      rlang::inject(f(data, !!!stats::setNames(list(column), arg), !!!rest))
    }
    ways <- list(bare = \() call_with(as.name("my column")),
                 dollar = \() call_with(quote(.data$`my column`)),
                 pronoun = \() call_with(quote(.data[["my column"]])),
                 variable = \() call_with(rlang::quo(.data[[name]])),
                 passed_on = \() quiet(wrapper(data, `my column`)),
                 injected = \() call_with(rlang::sym(name)))
    for (way in names(ways)) {
      expect_equal(numbers_of(ways[[way]]()), wanted, label = paste(label, way))
    }
    expect_error(call_with(quote(log(`my column`))), class = "softanneal_error_argument")
  }
})

test_that("every export with column arguments is tried above, and all read them in one place", {
  space <- asNamespace("softanneal")
  exports <- Filter(function(name) is.function(space[[name]]), getNamespaceExports("softanneal"))
  captured <- function(name) {
    calls <- function(x, within = "") {
      if (missing(x) || !is.call(x)) return(NULL)
      own <- deparse(x[[1L]])[1L]
      if (own == "rlang::enquo") return(stats::setNames(within, as.character(x[[2L]])))
      unlist(lapply(as.list(x)[-1L], calls, own))
    }
    calls(body(space[[name]]))
  }
  found <- Filter(length, lapply(stats::setNames(nm = exports), captured))
  # of a job, a report or a log without findings, in files of their own
  expect_setequal(setdiff(names(found), names(column_verbs())), c("check_history", "fit_archive",
                                                                  "fit_least_squares", "softening_report"))
  readers <- c("column_name", "optional_column", "key_names", "keys_or_groups", "is_null_column",
               "weights_in", "material_of_rows", "metal_of_rows", "one_metal", "reading_columns",
               "softening_columns", "columns_in", "<-")
  expect_identical(setdiff(unlist(found, use.names = FALSE), readers), character())
})

test_that("embracing works as written in a wrapper, for one column and for keys", {
  r <- transform(as.data.frame(bell_readings()), coil = "a")
  mine <- function(data, h) fit_softening(data, hardness = {{ h }}, se = "model")
  names(r)[names(r) == "hardness"] <- "reading_value"
  expect_equal(coef(mine(r, reading_value)), coef(mine(r, "reading_value")))
  by_two <- function(data, a, b) {
    summarise_readings(data, hardness = reading_value, by = c({{ a }}, {{ b }}))
  }
  expect_true(all(c("coil", "step") %in% names(by_two(r, coil, "step"))))
  expect_error(mine(r), class = "softanneal_error_argument")
  expect_error(fit_each(r), class = "softanneal_error_argument")
  keys <- c("coil", "step")
  expect_equal(summarise_readings(r, hardness = reading_value, by = !!keys),
               by_two(r, coil, step))
})
