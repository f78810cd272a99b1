# The table of the fields that objects of each class have (object_fields.csv.gz), from an object of every
# class as the tests make them and as earlier versions saved them. What stands in the table already is only
# widened: types, sizes and ranges found by the tests or set by hand stay. `like` (the field
# whose length a field shares) is written by hand, and so is `needed`: yes, late (looked at after an error)
# or no; `values` is a list only where every value that the package writes is known. Columns and parts that
# are named by the user (`data$`, `keys$`) do not belong in it.
# Package installed, from the top of the sources:
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

# Fields of an object with their places, three levels deep, and attributes as "@name".
fields_of <- function(x, place = "", depth = 3L) {
  out <- list()
  own <- attributes(x)
  for (name in setdiff(names(own), c("names", "row.names", "class", "dim", "dimnames", "levels", "tsp",
                                     ".Environment", "srcref"))) {
    out[[paste0(place, "@", name)]] <- own[[name]]
  }
  if (!is.list(x) || is.null(names(x))) return(out)
  parts <- unclass(x)
  for (k in which(nzchar(names(parts)))) {
    at <- paste0(place, if (nzchar(place)) "$", names(parts)[k])
    out[at] <- list(parts[[k]])
    if (depth > 1L) out <- c(out, fields_of(parts[[k]], at, depth - 1L))
  }
  out
}
class_of <- function(x) grep("^softanneal_", class(x), value = TRUE)[1L]
objects <- objects[!is.na(vapply(objects, class_of, ""))]
rows <- lapply(split(objects, vapply(objects, class_of, "")), function(same) {
  fields <- lapply(same, fields_of)
  names <- unique(unlist(lapply(fields, names)))
  do.call(rbind, lapply(names, function(name) {
    with_it <- Filter(function(f) name %in% names(f), fields)
    above <- sub("[$@][^$@]*$", "", name)
    home <- if (above %in% c("", name)) fields else Filter(function(f) is.list(f[[above]]), fields)
    values <- lapply(with_it, `[[`, name)
    sizes <- vapply(values, softanneal:::field_size, 0L)
    numbers <- unlist(Filter(is.numeric, lapply(values, function(v) if (is.factor(v)) NULL else v)))
    numbers <- numbers[is.finite(numbers)]
    words <- unique(unlist(Filter(is.character, values)))
    alone <- all(sizes == 1L)
    data.frame(class = class_of(same[[1L]]), field = name,
               type = paste(unique(vapply(values, softanneal:::field_type, "")), collapse = " "),
               size = if (alone) "one" else if (all(sizes > 0L)) "some" else "any", like = "",
               needed = if (length(values) == length(home)) "late" else "no",
               missing = any(vapply(values, function(v) is.atomic(v) && anyNA(v), NA)),
               low = if (length(numbers) == 0L || min(numbers) >= 0) 0 else signif(1e3 * min(numbers), 3),
               high = if (length(numbers) == 0L || max(numbers) <= 0) 1e9 else
                 signif(max(1e3, 1e3 * max(numbers)), 3),
               values = if (alone && length(words) && length(words) < 9L && !any(grepl("[|]", words))) {
                 paste(words, collapse = "|")
               } else "")
  }))
})
table <- do.call(rbind, rows)
by_user <- "^(data|keys|units|fields|settings[$]natural|readings[$]columns|master[$]here)[$]|@label"
deep <- grepl("[$].*[$]", table$field) & !grepl("^(settings[$](set|control)|guess[$]table)[$]", table$field)
table <- table[!grepl(by_user, table$field) & !deep, ]
rownames(table) <- NULL
path <- "inst/extdata/object_fields.csv.gz" # compressed: it is the largest table of the package
if (file.exists(path)) {
  before <- utils::read.csv(path)
  words <- c("values", "like")
  before[words] <- lapply(before[words], function(v) ifelse(is.na(v), "", v))
  at <- match(paste(table$class, table$field), paste(before$class, before$field))
  both <- which(!is.na(at))
  old <- before[at[both], ]
  new <- table[both, ]
  union_of <- function(a, b) mapply(function(a, b) paste(union(a, b), collapse = " "), strsplit(a, " "),
                                    strsplit(b, " "))
  wider <- c("one", "some", "any")
  table$type[both] <- union_of(old$type, new$type)
  wide <- wider[pmax(match(old$size, wider), match(new$size, wider))]
  table$size[both] <- ifelse(is.na(wide), old$size, wide)
  table$like[both] <- old$like
  table$needed[both] <- ifelse(new$needed == "no", "no", old$needed)
  table$missing[both] <- old$missing | new$missing
  table$low[both] <- pmin(old$low, new$low)
  table$high[both] <- pmax(old$high, new$high)
  table$values[both] <- old$values
  gone <- before[!paste(before$class, before$field) %in% paste(table$class, table$field), names(table)]
  table <- rbind(table, gone)
  table <- table[order(match(table$class, unique(table$class))), ]
}
# what grows with the readings, or has no natural size, is not bounded by what the saved objects hold
counted <- paste0("^(nobs|df[.]residual|df_interval|estimated|lack_of_fit[$]df_.*|",
                  "conditions[$](of_reading|cluster_of)|readings[$](n|order|specimen_id|passed_min)|",
                  "convergence[$]evaluations|convergence[$]iterations|n)$")
open <- paste0("^(vcov|cov|cov_[a-z]+|sigma|deviance|between|fitted[.]values|residuals|coefficients|par|",
               "limits|value|hardness|mean|sd|std[.]error|estimate|conf[.](low|high)|upper|lower|",
               "statistic|sums|step|lack_of_fit[$](misfit|pure_error|f)|",
               "conditions[$](mean|weight|jacobian|time_min)|readings[$](hardness|as_read|weights)|",
               "time_min|time_s|draws|errors[$](quantile|sd|mode|mode_sd)|singular|AICc|BIC)$")
numeric <- grepl("numbers|matrix", table$type)
high <- ifelse(grepl(counted, table$field), 1e9, ifelse(grepl(open, table$field), 1e15, 0))
table$high[numeric] <- pmax(table$high, high)[numeric]
table$low[numeric & table$low < 0] <- pmin(table$low, -high)[numeric & table$low < 0]
# a covariance may have either sign, also where none was seen
own <- grepl("^(vcov|cov|cov_[a-z]+)$", table$field) & startsWith(table$type, "matrix") & table$low == 0
table$low[own] <- -table$high[own]
commas <- vapply(table, function(x) any(grepl(",", x, fixed = TRUE)), NA)
write.csv(table, packed <- gzfile(path, compression = 9), row.names = FALSE, quote = which(commas))
close(packed)
cat(nrow(table), "fields of", length(rows), "classes\n")
