# Rounds of random garbage: a function, one to three of its arguments, and for each a piece of
# garbage or a table with one to four things wrong in it. A round is made from its seed alone, so
# random_round(seed) repeats a finding.

# Text as it comes out of files: marks of encodings, line ends, decimal commas, blanks.
file_text <- c("12,5", "1.092,5", "\ufeffA", "330\r", "a\r\nb", "  ", "\t", "\n\n", "NaN", "Inf",
               "NA", "1e999", "-", "#N/A", "1 000", "0x1F", "`r stop('evaluated')`", "=1+1",
               "${HOME}", "$$", "<script>", "%s %d %n", "\\", "'", "\"")

methods::setClass("softanneal_test_s4", methods::representation(x = "numeric"),
                  where = environment())

# What else no argument expects; needs more packages or more words than garbage_values().
more_garbage <- function() {
  latin <- "zu wei\xdf"
  Encoding(latin) <- "latin1"
  values <- list(
    s4 = methods::new("softanneal_test_s4", x = 1), expression = expression(a, b),
    pairlist = pairlist(a = 1), ordered = factor(c("lo", "hi"), ordered = TRUE),
    empty_factor = factor(character()), na_factor = factor(NA), lt = as.POSIXlt("2021-03-04"),
    difftime = as.difftime(5, units = "mins"), version = numeric_version("1.2"),
    ts = stats::ts(1:3), counts = table(c("a", "b")), connection = stdin(),
    model = stats::lm(dist ~ speed, datasets::cars), names_na = stats::setNames(1:2, c("a", NA)),
    deep = list(list(list(list()))), bom = "\ufeffHV", crlf = "HV\r\n", comma = "12,5",
    decimals = c("12,5", "13,5"), latins = c("a", latin), invalid = c("HV", "\xff\xfe"),
    blank = "   ", control = "a\001b", condition = simpleCondition("x"), srcref = srcref_of(),
    minus_zero = -0, almost_one = 1 - 1e-16, denormal = 5e-324, max = .Machine$double.xmax,
    not_whole = 2.5, below_zero_k = -273.16, formula_2 = ~ a + b, long = seq_len(1000) / 7)
  values["file_text"] <- list(file_text)
  values
}

srcref_of <- function() attr(parse(text = "a + b", keep.source = TRUE), "srcref")[[1L]]

pick <- function(x) x[[sample.int(length(x), 1L)]]

# One thing wrong in a table.
TABLE_FAULTS <- list(
  cell = function(d) {
    column <- pick(names(d))
    bad <- pick(list(NA, NaN, Inf, -Inf, -1, 0, 1e300, 1e-300, -1e5, 5e-324, 2^53))
    if (is.numeric(d[[column]])) d[[column]][sample.int(nrow(d), 1L)] <- bad
    d
  },
  text_cell = function(d) {
    column <- pick(names(d))
    d[[column]] <- as.character(d[[column]])
    d[[column]][sample.int(nrow(d), 1L)] <- pick(file_text)
    d
  },
  column = function(d) {
    n <- nrow(d)
    d[[pick(names(d))]] <- pick(list(
      rep(NA, n), rep("", n), rep(strrep("a", 1e4), n), rep("\xff", n), rep(list(NULL), n),
      factor(rep("x", n)), rep(as.Date("2021-03-04"), n), rep(1i, n), I(matrix(1, n, 2)),
      I(data.frame(a = seq_len(n))), rep(Inf, n), rep(0, n), as.raw(rep(1, n)), rep(TRUE, n),
      as.difftime(rep(1, n), units = "mins"), rep(.Machine$integer.max, n),
      factor(rep(NA, n)), format(rep(12.5, n), decimal.mark = ",")))
    d
  },
  shuffle = function(d) d[sample.int(nrow(d)), , drop = FALSE],
  few = function(d) d[sample.int(nrow(d), min(nrow(d), sample.int(3L, 1L))), , drop = FALSE],
  none = function(d) d[0L, , drop = FALSE],
  twice = function(d) d[rep(seq_len(nrow(d)), each = 2L), , drop = FALSE],
  constant = function(d) {
    column <- pick(names(d))
    d[[column]] <- rep(d[[column]][1L], nrow(d))
    d
  },
  gone = function(d) d[setdiff(names(d), pick(names(d)))],
  renamed = function(d) {
    k <- sample.int(length(d), 1L)
    names(d)[k] <- pick(list("", NA, paste0("\ufeff", names(d)[k]), paste0(names(d)[k], "\r"),
                             pick(names(d)), toupper(names(d)[k]), "\xff", "..."))
    d
  },
  shuffled_columns = function(d) d[sample.int(length(d))],
  swapped = function(d) {
    two <- sample.int(length(d), 2L, replace = TRUE)
    d[two] <- d[rev(two)]
    d
  },
  scaled = function(d) {
    column <- pick(names(d))
    if (is.numeric(d[[column]])) d[[column]] <- d[[column]] * pick(c(1e-9, 1e9, -1, 0))
    d
  },
  factors = function(d) {
    column <- pick(names(d))
    d[[column]] <- factor(d[[column]], levels = c("unused", unique(as.character(d[[column]]))))
    d
  },
  row_names = function(d) {
    rownames(d) <- paste("row", seq_len(nrow(d)))
    d
  },
  units = function(d) {
    if (!requireNamespace("units", quietly = TRUE)) return(d)
    column <- pick(names(d))
    if (is.numeric(d[[column]])) {
      d[[column]] <- units::set_units(d[[column]], pick(c("K", "h", "kg", "1", "mm", "degree_C")),
                                      mode = "standard")
    }
    d
  },
  tibble = function(d) {
    if (!requireNamespace("tibble", quietly = TRUE) || anyDuplicated(names(d)) ||
          anyNA(names(d)) || any(names(d) == "")) return(d)
    d <- tibble::as_tibble(d)
    if (stats::runif(1) < 0.3) d$extra <- lapply(seq_len(nrow(d)), function(i) letters[i])
    d
  },
  data.table = function(d) {
    if (!requireNamespace("data.table", quietly = TRUE)) return(d)
    data.table::as.data.table(as.list(d))
  },
  grouped = function(d) {
    if (!requireNamespace("dplyr", quietly = TRUE) || anyDuplicated(names(d)) ||
          anyNA(names(d)) || any(names(d) == "") || !all(validUTF8(names(d)))) return(d)
    if (stats::runif(1) < 0.2) return(dplyr::rowwise(d))
    plain <- names(d)[vapply(d, function(x) is.atomic(x) && is.null(dim(x)), NA)]
    if (length(plain) == 0L) return(d)
    dplyr::group_by(d, dplyr::across(dplyr::all_of(pick(plain))))
  })

# A fault may not fit on top of another; then the table stays as it is.
faulty_table <- function(d, faults = sample.int(4L, 1L, prob = 4:1)) {
  for (k in seq_len(faults)) {
    fault <- pick(TABLE_FAULTS)
    d <- tryCatch(suppressWarnings(fault(d)), error = function(e) d)
  }
  d
}

# garbage_values(), made once.
known_garbage <- local({
  values <- NULL
  function() {
    if (is.null(values)) values <<- garbage_values()
    values
  }
})

# Numbers that an argument of the same type might hold.
near_garbage <- function(x) {
  if (is.numeric(x) && length(x)) {
    k <- sample.int(length(x), 1L)
    x[k] <- pick(list(0, -x[k], x[k] * 1e6, x[k] * 1e-6, x[k] + 0.5, NA, NaN, Inf, 1e308, -1e-300))
    return(pick(list(x, rep(x, 2), x[0L], as.character(x), rev(x), as.integer(round(x)))))
  }
  if (is.character(x)) return(pick(list(toupper(x), paste0(x, " "), c(x, x), x[0L], pick(file_text),
                                        rep(NA_character_, length(x)), factor(x))))
  if (is.logical(x)) return(pick(list(!x, c(x, x), as.integer(x), as.character(x), NA)))
  pick(known_garbage())
}

random_round <- function(seed, calls, values) {
  with_test_seed(seed, suppressWarnings({
    fun <- pick(names(calls))
    args <- named_arguments(fun, calls[[fun]])
    changed <- sample(names(args), min(length(args), sample.int(3L, 1L, prob = c(6, 3, 1))))
    for (arg in changed) {
      value <- if (is.data.frame(args[[arg]]) && stats::runif(1) < 0.8) {
        faulty_table(args[[arg]])
      } else if (stats::runif(1) < 0.7) near_garbage(args[[arg]]) else pick(values)
      args[arg] <- list(value)
    }
  }))
  list(fun = fun, changed = changed, args = args,
       outcome = with_test_seed(seed, outcome(fun, args, show = TRUE)))
}

# In words, or nothing: what a round found, with the seed that repeats it.
round_finding <- function(round, seed) {
  found <- unlist(lapply(round$changed, function(arg) {
    findings_of(data.frame(arg = arg, garbage = "random", outcome = round$outcome), round$fun)
  }))
  if (length(found) < length(round$changed)) return(character()) # one of them is excused
  paste0("random_round(", seed, "): ", round$fun, "(", paste(round$changed, collapse = ", "), "): ",
         round$outcome)
}
