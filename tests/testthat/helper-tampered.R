# Saved objects with one field altered, missing or of another length, and what their methods make of them.

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
  if (kind == 1L && !is.data.frame(value) && is.list(value) && length(value)) { # one deeper
    bare[[place]][[sample(length(value), 1L)]] <- new
  } else if (kind == 2L) bare[place] <- NULL else if (kind == 3L && length(own) > 2L) {
    attr(bare, sample(setdiff(names(own), c("names", "class", "row.names")), 1L)) <- new
  } else bare[place] <- list(new)
  class(bare) <- class
  list(object = bare, place = names(x)[place], kind = kind)
}

# The end of one try: "result", "refused", or words.
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
  method <- our_method(name, x)
  if (is.null(method)) method <- get(name, asNamespace("softanneal"))
  args <- c(list(bad$object), switch(name, simulate = list(nsim = 1, seed = 1),
                                     temp_for = list(time_min = 10), profile = list("n")))
  tryCatch({
    suppressWarnings(suppressMessages(utils::capture.output({
      do.call(method, args)
    })))
    "result"
  }, softanneal_error = function(e) "refused", error = function(e) {
    paste0(class(x)[1L], "$", bad$place, " (", bad$kind, "), ", name, "(): ", conditionMessage(e), " in ",
           paste(deparse(conditionCall(e))[1L], collapse = ""))
  })
}

saved_objects <- function() {
  files <- list.files(test_path("fixtures"), "[.]rds$", full.names = TRUE)
  objects <- lapply(files, readRDS)
  objects <- lapply(objects, function(x) if (is.null(attr(x, "class")) && is.list(x$object)) x$object else x)
  Filter(function(x) is.list(x) && any(startsWith(class(x), "softanneal_")) && length(x) > 0L, objects)
}
