# Saved objects with one field altered, missing or of another length, and what their methods make of them.

# `seen`: the type or length of what was altered is another now, so a look at these alone can tell.
tampered <- function(x) {
  place <- sample(length(x), 1L)
  value <- unclass(x)[[place]]
  wrong <- list(NULL, NA, NaN, "x", -1, 1e300, list(), numeric(), TRUE, c(1, 2, 3), function(x) x, quote(a),
                data.frame(), list(a = 1), value[0L], rev(value), c(value, value), value[-1L],
                as.character(unlist(value)[1L]))
  new <- tryCatch(wrong[[sample(length(wrong), 1L)]], error = function(e) NULL)
  class <- class(x)
  own <- attributes(x)
  bare <- unclass(x)
  kind <- sample(4L, 1L)
  old <- value
  at <- names(x)[place]
  if (kind == 1L && !is.data.frame(value) && is.list(value) && length(value)) { # one deeper
    inner <- sample(length(value), 1L)
    old <- value[[inner]]
    at <- paste0(at, "$", names(value)[inner])
    bare[[place]][[inner]] <- new
  } else if (kind == 2L) {
    bare[place] <- NULL
    new <- NULL
  } else if (kind == 3L && length(own) > 2L) {
    at <- sample(setdiff(names(own), c("names", "class", "row.names")), 1L)
    old <- own[[at]]
    attr(bare, at) <- new
  } else bare[place] <- list(new)
  class(bare) <- class
  list(object = bare, place = at, kind = kind,
       seen = field_type(new) != field_type(old) || field_size(new) != field_size(old))
}

# What a method answers: its value and what it prints.
method_answer <- function(name, x) {
  method <- our_method(name, x)
  if (is.null(method)) method <- get(name, asNamespace("softanneal"))
  args <- c(list(x), switch(name, simulate = list(nsim = 1, seed = 1), temp_for = list(time_min = 10),
                            profile = list("n")))
  value <- NULL
  said <- suppressWarnings(suppressMessages(utils::capture.output(value <- do.call(method, args))))
  list(numbers_in(unclass(value)), if (name == "plot") NULL else said)
}

# The end of one try: "result", "refused", or words. A result is wrong without a word where it is not that
# of the sound object although a look at types and lengths would have told; a table is shown as it is.
tampered_end <- function(objects, methods) {
  x <- objects[[sample(length(objects), 1L)]]
  bad <- tryCatch(tampered(x), error = function(e) NULL)
  if (is.null(bad)) return("result")
  # plots are drawn by plot(), whose errors are ours
  own <- Filter(function(generic) !is.null(our_method(generic, x)), methods)
  if (inherits(x, "softanneal_fit_softening")) {
    own <- c(own, "time_to", "temp_for", "identifiability", "plot_arrhenius")
  }
  if (length(own) == 0L) return("result")
  name <- sample(own, 1L)
  told <- paste0(class(x)[1L], "$", bad$place, " (", bad$kind, "), ", name, "(): ")
  tryCatch({
    answer <- method_answer(name, bad$object)
    # columns may be taken out of a table, any parameters may vary in a class; a seed, and the unit and
    # title of a budget, may be NULL
    as_it_is <- is.data.frame(x) && (bad$kind == 2L || name %in% c("print", "format", "as.data.frame")) ||
      bad$place %in% c("sd_groups", "seed", "unit", "title")
    if (!bad$seen || as_it_is || identical(answer, method_answer(name, x))) "result" else {
      paste0(told, "another answer without a word")
    }
  }, softanneal_error = function(e) "refused", error = function(e) {
    paste0(told, conditionMessage(e), " in ", paste(deparse(conditionCall(e))[1L], collapse = ""))
  })
}

saved_objects <- function() {
  files <- list.files(test_path("fixtures"), "[.]rds$", full.names = TRUE)
  objects <- lapply(files, readRDS)
  objects <- lapply(objects, function(x) if (is.null(attr(x, "class")) && is.list(x$object)) x$object else x)
  Filter(function(x) is.list(x) && any(startsWith(class(x), "softanneal_")) && length(x) > 0L, objects)
}
