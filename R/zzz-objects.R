# Objects that were saved, edited or made by something else. A method that meets an error on one looks
# whether the object is as this package makes it, by the table object_fields.csv (remade by
# inst/scripts/dev/make-object-fields.R), and says which field is not. An error on a sound object is a
# fault of the package and stays what it is.

# Fields of an object with their places, "settings$set$kind", columns, and attributes as "@name".
object_fields <- function(x, place = "", depth = 3L) {
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
    if (depth > 1L) out <- c(out, object_fields(parts[[k]], at, depth - 1L))
  }
  out
}

field_type <- function(x) {
  if (is.null(x)) "NULL" else if (is.data.frame(x)) "table" else if (is.function(x)) "function" else
    if (is.numeric(x) && !is.factor(x)) "numbers" else if (is.language(x)) "call" else
      if (is.factor(x) || is.character(x)) "text" else typeof(x)
}

# What is wrong with a field, by its row of the table; NULL: nothing. `near` judges values too, which
# another sound object may have.
field_fault <- function(x, row, near) {
  if (!field_type(x) %in% strsplit(row$type, " ")[[1L]]) {
    return(paste("must hold", gsub(" ", " or ", row$type)))
  }
  size <- if (is.data.frame(x)) nrow(x) else length(x)
  if (row$size == "one" && size != 1L) return(paste("must have length 1, not", size))
  if (row$size == "some" && size == 0L) return("must not be empty")
  if (is.atomic(x) && !row$missing && anyNA(x)) return("must not be missing")
  if (is.numeric(x) && !is.factor(x) && length(x) && near) {
    reach <- range(x[is.finite(x)], 0)
    if (reach[1L] < row$low || reach[2L] > row$high) return("lies far outside what this package writes")
  }
  if (near && is.character(x) && nzchar(row$values) &&
      !all(x %in% strsplit(row$values, "|", fixed = TRUE)[[1L]])) {
    return(paste0("is '", valid_text(x[1L]), "', which this package does not write"))
  }
  NULL
}

# The first field that is not as it must be, as c(field, what); NULL: none.
object_fault <- function(x) {
  if (!any(startsWith(class(x), "softanneal_"))) return(NULL)
  table <- fact_table("object_fields.csv")
  table <- table[table$class == grep("^softanneal_", class(x), value = TRUE)[1L], ]
  table[c("values", "like")] <- lapply(table[c("values", "like")], function(v) ifelse(is.na(v), "", v))
  if (nrow(table) == 0L) return(NULL)
  if (!is.list(x)) return(c("(all)", "must be a list"))
  fields <- object_fields(x)
  if (is.data.frame(x)) {
    uneven <- which(lengths(unclass(x)) != nrow(x) & !vapply(unclass(x), is.data.frame, NA))
    if (length(uneven)) return(c(names(x)[uneven[1L]], "must have one value per row"))
  }
  gone <- table$field[table$needed & !table$field %in% names(fields)]
  if (length(gone)) return(c(gone[1L], "is missing"))
  known <- table[match(names(fields), table$field, nomatch = 0L), ]
  sizes <- vapply(fields, function(f) if (is.null(dim(f))) length(f) else dim(f)[1L], 0L)
  for (near in c(FALSE, TRUE)) {
    for (k in seq_len(nrow(known))) {
      fault <- field_fault(fields[[known$field[k]]], known[k, ], near)
      if (!is.null(fault)) return(c(known$field[k], fault))
    }
    if (near) next
    for (like in setdiff(unique(known$like), "")) {
      members <- known$field[known$like == like]
      odd <- which(sizes[members] != sizes[like])
      if (like %in% names(fields) && length(odd)) {
        return(c(members[odd[1L]], paste0("must have the length of `", like, "`")))
      }
    }
  }
  NULL
}

# Called where an error is met in a method of `x`.
blame_object <- function(e, x) {
  if (inherits(e, "softanneal_error") || !any(startsWith(class(x), "softanneal_"))) return(invisible())
  fault <- tryCatch(object_fault(x), error = function(e) c("(all)", "cannot be looked at"))
  if (is.null(fault)) return(invisible())
  abort("object", paste0("this object of class ", in_quotes(class(x)[1L]),
                         " is not as the package makes it: `",
                         fault[1L], "` ", fault[2L]), arg = fault[1L], parent = e,
        remedy = "Make it anew from its data.")
}

# Methods for our classes, and functions of a fit, plan or key, look at the object when they fail.
guard_methods <- function(space) {
  takes <- c("time_to", "temp_for", "recryst_temperature", "process_window", "identifiability",
             "resample_fit", "plot_avrami", "plot_arrhenius", "improve_plan", "bench_sheet",
             "soften", "equivalent_time", "write_class", "answer_form")
  for (name in c(grep("^[a-zA-Z.]+[.]softanneal_[a-z_]+$", ls(space, all.names = TRUE), value = TRUE),
                 takes)) {
    f <- get0(name, space, mode = "function", inherits = FALSE)
    first <- names(formals(f))[1L]
    if (is.null(f) || is.null(first) || first == "...") next
    body(f) <- call("withCallingHandlers", body(f), error = bquote(
      function(e) blame_object(e, .(as.name(first)))))
    assign(name, f, envir = space)
  }
}
guard_methods(environment())
