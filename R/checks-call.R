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
