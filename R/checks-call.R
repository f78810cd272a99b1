# The call that a condition carries: that of the function which the user called.

# The call of the function that the user called: the last frame of this package on the way from here to the
# session, by the frames that called (an argument that is itself a call of this package counts as called by
# the user). A value that do.call() or a pipe put into the call is shown as `...`.
user_call <- function() {
  space <- topenv()
  parents <- sys.parents()
  k <- sys.nframe()
  found <- 0L
  while (k > 0L) {
    if (identical(environment(sys.function(k)), space)) found <- k
    k <- if (parents[k] < k) parents[k] else 0L
  }
  if (found == 0L) return(NULL)
  call <- sys.call(found)
  head <- call[[1L]]
  if (is.function(head) || is.symbol(head) && !exists(as.character(head), space, inherits = FALSE)) {
    f <- sys.function(found) # FUN of lapply(), or a function put into the call by do.call()
    known <- Filter(function(name) identical(get(name, space), f), ls(space))
    call[[1L]] <- as.name(c(known, "softanneal")[1L])
  }
  for (j in seq_along(call)[-1L]) {
    x <- call[[j]]
    if (!(is.symbol(x) || is.language(x) || is.null(x) || is.atomic(x) && length(x) == 1L)) {
      call[[j]] <- quote(...)
    }
  }
  call
}

# tidy(), glance() and augment() are called with arguments of other methods by functions that work on any
# model, so these are ignored; but not one that is a slip of an argument there is, one without a name, or one
# that would have changed the numbers (those that broom warns of).
check_dots_broom <- function(..., known = character()) {
  if (...length() == 0L) return(invisible())
  given <- ...names()
  given <- if (is.null(given)) rep("", ...length()) else given
  slip <- vapply(given, function(name) {
    is.na(name) || name == "" || any(startsWith(known, name)) || any(utils::adist(name, known) <= 2)
  }, NA)
  if (any(slip)) {
    names <- given[slip]
    names[is.na(names) | names == ""] <- "(unnamed)"
    abort("argument", paste0("unknown argument ", in_quotes(names, " and ")), arg = names,
          remedy = if (length(known)) paste0("The arguments are ", in_quotes(known, " and "), ".") else
            "There are none besides the object.")
  }
  lost <- intersect(given, c("exponentiate", "conf.type", "conf.method", "quick", "robust"))
  if (length(lost)) {
    warn("assumption", paste0("Argument ", in_quotes(lost, " and "),
                              " is not supported here and is ignored."), n = length(lost))
  }
  invisible()
}
