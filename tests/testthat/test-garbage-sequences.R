# The whole way on damaged data: write, read, check, fit, answer, draw, save, read again. Each step may give
# a result or a classed condition; what comes back from a file must answer as what was saved. Steps that take
# long are gone in a share of the rounds, drawn by the seed of the round, unless `all`.

damaged_table <- function(data) {
  for (k in seq_len(sample(3L, 1L))) {
    row <- sample(nrow(data), min(nrow(data), sample(1:3, 1L)))
    column <- sample(names(data), 1L)
    data <- switch(sample(9L, 1L), data[-row, ], data[c(seq_len(nrow(data)), row), ], {
      data[[column]] <- as.character(data[[column]])
      data[[column]][row] <- sample(c("", "NA", "x", "1,5", "-1", "1e9", "\u00e9", "=1+1", " 12 "), 1L)
      data
    }, {
      if (is.numeric(data[[column]])) {
        data[[column]][row] <- data[[column]][row] * sample(c(-1, 0, 10, 1e6, NA), 1L)
      }
      data
    }, data[sample(nrow(data)), ], data[setdiff(names(data), column)],
    data[data$temp_c == data$temp_c[row[1L]], ],
    data[sort(sample(nrow(data), min(nrow(data), sample(12L, 1L)))), ], {
      data$hardness <- rep(data$hardness[1L], nrow(data))
      data
    })
    if (is.null(dim(data)) || nrow(data) == 0L || !all(c("temp_c", "hardness") %in% names(data))) break
  }
  data
}

# "whole" to the end, "refused" on the way, or what is wrong, in words.
damaged_way <- function(seed, data, folder, all = FALSE) with_test_seed(seed, {
  step <- "damage"
  goes <- function(share) stats::runif(1L) < share || all
  ours <- function(what) function(cnd) {
    if (!inherits(cnd, paste0("softanneal_", what))) {
      stop("unclassed ", what, ": ", conditionMessage(cnd), call. = FALSE)
    }
    invokeRestart(if (what == "warning") "muffleWarning" else "muffleMessage")
  }
  bad <- damaged_table(data)
  tryCatch(withCallingHandlers({
    step <- "read"
    r <- if (goes(0.3)) {
      file <- file.path(folder, "damaged.csv")
      utils::write.csv(bad, file, row.names = FALSE, fileEncoding = "UTF-8")
      read_readings(file)
    } else read_readings(bad)
    step <- "check"
    if (goes(0.3)) utils::capture.output(print(check_readings(r)))
    if (goes(0.3)) utils::capture.output(print(summarise_readings(r)))
    step <- "fit"
    fit <- fit_softening(r, model = if (goes(0.1)) "jmak_incubation" else "jmak",
                         se = if (goes(0.1)) "components" else "cluster")
    step <- "answer"
    utils::capture.output(print(fit))
    if (goes(0.3)) utils::capture.output(print(summary(fit)))
    if (goes(0.3)) utils::capture.output(print(time_to(fit)))
    if (goes(0.2)) utils::capture.output(print(identifiability(fit)))
    if (goes(0.1)) utils::capture.output(print(temp_for(fit, time_min = 10)))
    if (goes(0.1)) stats::predict(fit, data.frame(temp_c = 330, time_min = c(0, 10)), interval = "prediction")
    answers <- list(stats::coef(fit), stats::vcov(fit), tidy(fit, conf.int = TRUE), glance(fit))
    step <- "draw"
    if (goes(0.01)) plot(fit)
    step <- "save"
    saved <- file.path(folder, "fit.rds")
    saveRDS(fit, saved)
    step <- "reload"
    again <- readRDS(saved)
    if (!identical(list(stats::coef(again), stats::vcov(again), tidy(again, conf.int = TRUE),
                        glance(again)), answers)) {
      stop("silent: other answers after reading the saved fit")
    }
    # numbers that are given must be numbers
    if (any(is.infinite(stats::coef(fit)) | is.nan(stats::coef(fit)))) {
      stop("silent: an estimate is not a number")
    }
    "whole"
  }, warning = ours("warning"), message = ours("message")),
  softanneal_error = function(e) "refused",
  error = function(e) paste0("seed ", seed, ", ", step, ": ", conditionMessage(e)))
})

test_that("the whole way on damaged data ends whole or refused", {
  skip_on_cran()
  grDevices::pdf(NULL)
  on.exit(grDevices::dev.off())
  folder <- withr::local_tempdir()
  bell <- as.data.frame(bell_readings())
  bell <- bell[bell$time_min %in% c(0, 4, 16, 64) & bell$reading <= 2, ]
  first <- as.integer(Sys.getenv("SOFTANNEAL_GARBAGE_SEED", "1"))
  rounds <- as.integer(Sys.getenv("SOFTANNEAL_SEQUENCE_ROUNDS", if (extended_tests()) "20000" else "200"))
  all <- nzchar(Sys.getenv("SOFTANNEAL_SEQUENCE_ALL"))
  # the first thirty go every step
  ends <- vapply(seq_len(rounds), function(k) damaged_way(first + k - 1L, bell, folder, all || k <= 30L), "")
  found <- ends[!ends %in% c("whole", "refused")]
  expect_identical(found, character(), label = paste(found, collapse = "\n"))
  expect_gt(min(mean(ends == "whole"), mean(ends == "refused")), 0.1)
})
