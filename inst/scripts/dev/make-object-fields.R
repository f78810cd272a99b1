# The table of the fields that objects of each class have, from an object of every class as the tests make
# them and as earlier versions saved them. Package installed, from the top of the sources:
#   Rscript inst/scripts/dev/make-object-fields.R
suppressMessages({
  library(testthat)
  library(softanneal)
})
space <- new.env(parent = asNamespace("softanneal"))
for (file in c("helper-exact.R", "helper-readings.R", "helper-history.R", "helper-objects.R")) {
  sys.source(file.path("tests/testthat", file), space)
}
saved <- lapply(list.files("tests/testthat/fixtures", "[.]rds$", full.names = TRUE), function(f) {
  x <- readRDS(f)
  if (is.list(x) && "object" %in% names(x) && is.null(attr(x, "class"))) x$object else x
})
objects <- c(space$result_objects(), saved)
class_of <- function(x) grep("^softanneal_", class(x), value = TRUE)[1L]
objects <- objects[!is.na(vapply(objects, class_of, ""))]
rows <- lapply(split(objects, vapply(objects, class_of, "")), function(same) {
  fields <- lapply(same, object_fields <- softanneal:::object_fields)
  names <- unique(unlist(lapply(fields, names)))
  size_of <- function(f, name) if (is.null(dim(f[[name]]))) length(f[[name]]) else dim(f[[name]])[1L]
  size <- vapply(names, function(name) {
    paste(vapply(fields, function(f) if (name %in% names(f)) size_of(f, name) else NA, 0L), collapse = " ")
  }, "")
  do.call(rbind, lapply(names, function(name) {
    values <- lapply(Filter(function(f) name %in% names(f), fields), `[[`, name)
    sizes <- vapply(values, function(v) if (is.data.frame(v)) nrow(v) else length(v), 0L)
    numbers <- unlist(Filter(is.numeric, lapply(values, function(v) if (is.factor(v)) NULL else v)))
    numbers <- numbers[is.finite(numbers)]
    words <- unique(unlist(Filter(is.character, values)))
    alone <- all(sizes == 1L)
    like <- names[match(size[[name]], size)]
    plain <- !grepl("[$@]", name) && !grepl("[$@]", like)
    data.frame(class = class_of(same[[1L]]), field = name,
               type = paste(unique(vapply(values, softanneal:::field_type, "")), collapse = " "),
               size = if (alone) "one" else if (all(sizes > 0L)) "some" else "any",
               missing = any(vapply(values, function(v) is.atomic(v) && anyNA(v), NA)),
               needed = length(values) == length(same),
               low = if (length(numbers) == 0L || min(numbers) >= 0) 0 else signif(1e3 * min(numbers), 3),
               high = if (length(numbers) == 0L || max(numbers) <= 0) 1e9 else
                 signif(max(1e3, 1e3 * max(numbers)), 3),
               values = if (alone && length(words) && length(words) < 9L && !any(grepl("[|]", words))) {
                 paste(words, collapse = "|")
               } else "",
               like = if (!alone && plain && like != name) like else "")
  }))
})
table <- do.call(rbind, rows)
write.csv(table, "inst/extdata/object_fields.csv", row.names = FALSE)
cat(nrow(table), "fields of", length(rows), "classes\n")
