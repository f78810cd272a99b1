# Objects that were saved, edited or made by something else, and arguments that were not given. Both are
# looked at before use and in one place: when the package is built, guard_functions() sets these looks at
# the head of every method for our classes and of every exported function that needs an argument.
#
# What an object must hold stands in object_fields.csv.gz (inst/scripts/dev/make-object-fields.R), one row a
# field such as `settings$set$kind` or, of an attribute, `summary@level`: its types, its size (one, 2, some,
# any), `like` (the field whose length it shares) and whether it is needed (yes, late, no). For the classes
# below, whose rows were held against the functions that make them, that is looked at before use and costs
# nothing that grows with the data; so is what the parts of an object have to do with each other
# (zzz-objects-parts.R). Tables, columns that a user named, values (`missing`, `low`, `high`,
# `values`) and fields needed `late` are looked at only where an error of R was met: the table is drawn from
# objects of the tests and help pages, and a sound object of another kind must not be refused. An error of R
# on a sound object is a fault of the package and stays what it is.
LOOKED_AT_FIRST <- paste0("softanneal_", c(
  "fit_softening", "fits", "plan", "budget", "comparison", "resample", "class_design", "guess", "heat",
  "grain_count", "rates", "laboratories", "layout", "material", "fit_arrhenius", "fit_grain_growth",
  "fit_hall_petch", "fit_hardening", "fit_kissinger", "fit_least_squares", "fit_master_curve",
  "fit_recrystallisation", "prior", "pool"))

field_type <- function(x) {
  if (is.object(x)) if (is.data.frame(x)) return("table") else if (is.factor(x)) return("text")
  switch(typeof(x), double = , integer = if (length(dim(x)) == 2L) "matrix" else "numbers",
         character = "text", closure = , builtin = , special = "function",
         language = , symbol = , expression = "call", typeof(x))
}

field_size <- function(x) {
  if (is.data.frame(x)) .row_names_info(x, 2L) else if (is.null(dim(x))) length(x) else dim(x)[1L]
}

# The rows of a class as a tree, made once a session: a level holds `rules`, one a field, and of them all
# the name and what a plain field has for typeof() and length.
object_rules <- new.env(parent = emptyenv())

rules_of <- function(class) {
  if (is.null(object_rules$table)) {
    table <- fact_table("object_fields.csv.gz")
    words <- c("values", "like")
    table[words] <- lapply(table[words], function(v) ifelse(is.na(v), "", v))
    object_rules$table <- split(table, table$class)
  }
  if (is.null(object_rules[[class]])) {
    table <- object_rules$table[[class]]
    object_rules[[class]] <- if (is.null(table)) list() else rules_below(table, "")
  }
  object_rules[[class]]
}

rules_below <- function(table, above) {
  last <- vapply(gregexpr("[$@]", table$field), max, 0L)
  at <- which(substr(table$field, 1L, pmax(last - 1L, 0L)) == above)
  if (length(at) == 0L) return(NULL)
  rules <- lapply(at, function(k) {
    rule <- as.list(table[k, ])
    rule$own <- substring(rule$field, max(last[k], 0L) + 1L)
    rule$attribute <- substr(rule$field, last[k], last[k]) == "@"
    rule$types <- strsplit(rule$type, " ")[[1L]]
    rule$below <- rules_below(table, rule$field)
    rule
  })
  own <- vapply(rules, `[[`, "", "own")
  own[vapply(rules, `[[`, NA, "attribute")] <- NA
  plain <- c(numbers = "double", text = "character", logical = "logical")[table$type[at]]
  list(rules = rules, own = own, plain = plain, size = table$size[at], field = table$field[at],
       like = which(table$like[at] != ""),
       compared = table$like[at] != "" | table$field[at] %in% table$like)
}

# What is wrong with the value of a field; NULL: nothing. `near` looks at the values too.
field_fault <- function(x, rule, near) {
  if (!field_type(x) %in% rule$types) return(paste("must hold", paste(rule$types, collapse = " or ")))
  if (is.null(x)) return(NULL)
  size <- field_size(x)
  if (rule$size == "one") rule$size <- "1"
  if (grepl("^[0-9]+$", rule$size) && size != rule$size) {
    return(paste0("must have length ", rule$size, ", not ", size))
  }
  if (rule$size == "some" && size == 0L) return("must not be empty")
  if (is.data.frame(x) && length(x) == 0L && size > 0L) return("must have columns")
  if (rule$own == "columns" && is.null(names(x))) return("must have names")
  if (!near || !is.atomic(x)) return(NULL)
  if (!rule$missing && anyNA(x)) return("must not be missing")
  if (is.numeric(x) && !is.factor(x) && length(x)) {
    reach <- range(x[is.finite(x)], 0)
    if (reach[1L] < rule$low || reach[2L] > rule$high) return("lies far outside what this package writes")
  }
  if (is.character(x) && nzchar(rule$values) &&
        !all(x %in% strsplit(rule$values, "|", fixed = TRUE)[[1L]])) {
    return(paste0("is '", valid_text(x[1L]), "', which this package does not write"))
  }
  NULL
}

# Go through the fields of a part of an object; `refuse` is called at the first fault, `sizes` collects
# the lengths that are compared. Plain fields of the right type and length are passed over at once.
look_at_fields <- function(x, level, near, refuse, sizes) {
  parts <- unclass(x)
  at <- match(level$own, names(parts))
  n <- lengths(parts)[at]
  sure <- !near & vapply(parts, typeof, "")[at] == level$plain & !vapply(parts, is.object, NA)[at] &
    (level$size == "one" & n == 1L | level$size == "any" | level$size == "some" & n > 0L)
  sure <- sure & !is.na(sure)
  for (k in which(sure & level$compared)) sizes[[level$field[k]]] <- n[k]
  for (k in which(!sure)) {
    rule <- level$rules[[k]]
    value <- if (rule$attribute) attr(x, rule$own, exact = TRUE) else if (!is.na(at[k])) parts[[at[k]]]
    if (if (rule$attribute) is.null(value) else is.na(at[k])) {
      if (rule$needed == "yes" || near && rule$needed == "late") refuse(rule$field, "is missing")
      next
    }
    if (near || !startsWith(rule$field, "readings$") || "list" %in% rule$types) {
      fault <- field_fault(value, rule, near)
      if (!is.null(fault)) refuse(rule$field, fault)
    }
    if (is.null(value)) next
    sizes[[rule$field]] <- field_size(value)
    if (is.data.frame(value)) check_even(value, refuse, paste0(rule$field, "$"))
    if (length(rule$below)) look_at_fields(value, rule$below, near, refuse, sizes)
  }
  for (rule in level$rules[level$like]) {
    wanted <- sizes[[rule$like]]
    size <- sizes[[rule$field]]
    if (!is.null(wanted) && !is.null(size) && size != wanted) {
      refuse(rule$field, paste0("must have the length of `", rule$like, "`, ", wanted, ", not ", size))
    }
  }
}

check_even <- function(x, refuse, place = "") {
  odd <- which(vapply(unclass(x), field_size, 0L) != .row_names_info(x, 2L))
  if (length(odd)) refuse(paste0(place, names(x)[odd[1L]]), "must have one value per row")
}

# An object of this package is as the package makes it, or an error says which field is not. Columns may
# have been taken out of a table or put in: `shown` as it is, it need only be a table.
check_object <- function(x, shown = FALSE, near = FALSE, parent = NULL) {
  ours <- startsWith(class(x), "softanneal_")
  if (!any(ours)) return(invisible(x))
  rules <- rules_of(class(x)[ours][1L])
  refuse <- function(field, what) {
    abort("object", paste0("this object of class ", in_quotes(class(x)[1L]),
                           " is not as the package makes it: `", field, "` ", what), arg = field,
          parent = parent, remedy = paste0("Make it anew from its data.", if (!is.null(parent)) {
            paste0(" (R met: ", valid_text(conditionMessage(parent)), ")")
          }))
  }
  if (!is.list(x)) {
    if (length(rules)) refuse("(all)", "must be a list") else return(invisible(x))
  }
  if (is.data.frame(x)) check_even(x, refuse)
  if (is.data.frame(x) && shown) return(invisible(x))
  if (length(rules) && (near || inherits(x, LOOKED_AT_FIRST))) {
    look_at_fields(x, rules, near, refuse, new.env(parent = emptyenv()))
  }
  look_at_parts(x, refuse)
  invisible(x)
}

# Run the body of a method on an object that was looked at first, and look again, at its values too, where
# an error is met that is not ours. Calls within on the same object, which is held meanwhile, go on at once.
objects_held <- new.env(parent = emptyenv())

guarded <- function(x, code, shown) {
  held <- objects_held$places
  place <- if (is.list(x)) rlang::obj_address(x)
  if (is.null(place) || place %in% held) return(code)
  on.exit(objects_held$places <- held)
  check_object(x, shown)
  objects_held$places <- c(held, place)
  asked <- sys.call(-1L)
  depth <- sys.nframe()
  withCallingHandlers(code, error = function(e) {
    if (!inherits(e, "softanneal_error") && !of_the_user(e, asked, depth)) {
      check_object(x, near = TRUE, parent = e)
    }
  })
}

# Whether an error is in what the caller wrote, which the object cannot be blamed for: a name in the call that
# is not found, or an error within a function of the session below the frame `depth`.
of_the_user <- function(e, asked, depth) {
  missed <- c("object '%s' not found", "could not find function \"%s\"")
  said <- unlist(lapply(missed, function(text) sprintf(gettext(text, domain = "R"), all.names(asked))))
  if (conditionMessage(e) %in% said) return(TRUE)
  frames <- seq_len(sys.nframe())
  frames <- frames[frames > depth & frames < sys.nframe()]
  any(vapply(frames, function(k) {
    env <- environment(sys.function(k))
    !is.null(env) && identical(topenv(env), globalenv())
  }, NA))
}

not_given <- function(arg) {
  abort("argument", paste0("`", arg, "` is missing"), arg = arg, remedy = "Give it: it has no default.")
}

# Arguments without a default that are used as they are: not captured as code, not allowed to be missing.
needed_arguments <- function(f) {
  args <- formals(f)
  free <- names(args)[vapply(args, function(a) is.symbol(a) && !nzchar(a), NA)]
  text <- paste(deparse(body(f)), collapse = " ")
  seen <- vapply(free, function(a) grepl(paste0("(missing|enquo|substitute)\\(", a, "\\)"), text), NA)
  setdiff(free[!seen], "...")
}

guard_functions <- function(space) {
  exported <- character()
  if (isNamespace(space)) {
    path <- getNamespaceInfo(space, "path")
    exported <- parseNamespaceFile(basename(path), dirname(path), mustExist = FALSE)$exports
  }
  methods <- grep("^[a-zA-Z._]+[.]softanneal_[a-z_]+$", ls(space, all.names = TRUE), value = TRUE)
  for (name in c(methods, intersect(exported, ls(space)))) {
    f <- get(name, space)
    args <- if (name %in% methods) names(formals(f))[1L] else needed_arguments(f)
    if (length(args) == 0L || args[1L] == "...") next
    shown <- !name %in% methods || grepl("^(print|format|as[.]data[.]frame)[.]", name)
    heads <- lapply(args, function(arg) bquote(if (missing(.(as.name(arg)))) not_given(.(arg))))
    # what the caller wrote is evaluated here, so that an error in it names the function called
    heads <- c(heads, as.name(args[1L]))
    body(f) <- as.call(c(quote(`{`), if (!name %in% methods) heads,
                         bquote(guarded(.(as.name(args[1L])), .(body(f)), .(shown)))))
    assign(name, f, envir = space)
  }
}
guard_functions(environment())
