# Records as people keep them: each file of the folder gives the one truth, or the refusal that
# truth.csv names, with its place in the file. All readings are invented.

records <- function() {
  utils::read.csv(test_path("records", "truth.csv"), encoding = "UTF-8", na.strings = character())
}

# The readings on every sheet that is read: two pieces, three times, three readings in HRF.
record_truth <- function() {
  hardness <- list(c(92.5, 92, 93), c(88, 87.5, 88.5), c(80, 79.5, 81), c(92, 92.5, 91.5),
                   c(79, 80, 79.5), c(71, 70.5, 72))
  data.frame(specimen = rep(c("A", "B"), each = 9), temp_c = rep(c(330, 370), each = 9),
             time_min = rep(rep(c(0, 4, 8), 2), each = 3), hardness = unlist(hardness), scale = "HRF")
}

in_order <- function(x) {
  x <- as.data.frame(x)[c("specimen", "temp_c", "time_min", "hardness", "scale")]
  x[] <- lapply(x, as.vector)
  x$specimen <- as.character(x$specimen)
  x <- x[order(x$specimen, x$time_min, x$hardness), ]
  rownames(x) <- NULL
  x
}

# A file read: value or condition, and everything said.
read_record <- function(file, args) {
  said <- character()
  value <- tryCatch(
    withCallingHandlers(
      eval(parse(text = paste0("read_readings(path", if (nzchar(args)) ", ", args, ")")),
           list(path = file), asNamespace("softanneal")),
      message = function(m) {
        said <<- c(said, conditionMessage(m))
        invokeRestart("muffleMessage")
      },
      warning = function(w) {
        said <<- c(said, paste("warning", class(w)[1L], conditionMessage(w)))
        invokeRestart("muffleWarning")
      }), error = identity)
  list(value = value, said = paste(said, collapse = " "))
}

test_that("every record gives its truth or its refusal", {
  table <- records()
  expect_gt(nrow(table), 40L)
  expect_setequal(c(table$file, "truth.csv"), list.files(test_path("records")))
  if (!requireNamespace("readxl", quietly = TRUE)) table <- table[!grepl("xlsx$", table$file), ]
  for (i in seq_len(nrow(table))) {
    now <- table[i, ]
    got <- read_record(test_path("records", now$file), now$args)
    if (now$outcome == "read") {
      expect_s3_class(got$value, "softanneal_readings")
      if (inherits(got$value, "error")) next
      expect_equal(in_order(got$value), in_order(record_truth()), tolerance = 1e-9, label = now$file)
      expect_match(got$said, now$text, label = now$file)
      expect_false(grepl("warning", got$said), label = now$file)
    } else if (now$outcome == "warning missing") {
      expect_match(got$said, now$text, label = now$file)
      expect_match(got$said, "warning softanneal_warning_missing", label = now$file)
      expect_equal(sum(is.na(got$value$hardness)), 1L, label = now$file)
    } else {
      expect_s3_class(got$value, paste0("softanneal_error_", now$outcome))
      expect_match(conditionMessage(got$value), now$text, label = now$file)
    }
  }
})

test_that("each reading says where it stands on its sheet", {
  for (file in c("wide-two-rows.csv", "notes-above-short.csv")) {
    r <- suppressMessages(read_readings(test_path("records", file)))
    lines <- readLines(test_path("records", file))
    fields <- strsplit(lines[r$sheet_row], ",", fixed = TRUE)
    cell <- mapply(\(f, j) f[match(j, LETTERS)], fields, r$sheet_column)
    expect_equal(as.numeric(cell), as.vector(r$hardness), label = file)
  }
})
