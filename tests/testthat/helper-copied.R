# A copy of the package's functions, so that one of them, or .Call(), can be another there.
copied_package <- function(...) {
  space <- asNamespace("softanneal")
  copy <- list2env(as.list(space, all.names = TRUE), parent = parent.env(space))
  for (name in ls(copy, all.names = TRUE)) {
    f <- copy[[name]]
    if (is.function(f) && identical(environment(f), space)) {
      environment(f) <- copy
      assign(name, f, envir = copy)
    }
  }
  list2env(list(...), copy)
}

# One in which .Call() collects garbage at each allocation, the first three times for each entry
# point: R code under torture would take hours.
tortured_package <- function() {
  copy <- copied_package()
  copy$torture_count <- 0L
  copy$.Call <- function(...) {
    args <- list(...) # evaluated before the torture begins
    copy$torture_count <- copy$torture_count + 1L
    copy$torture_names <- c(copy$torture_names, args[[1L]]$name)
    # no two of the first calls of an entry point are alike; each collection takes long
    if (sum(copy$torture_names == args[[1L]]$name) > 3L) {
      return(do.call(base::.Call, args, quote = TRUE))
    }
    gctorture2(1L, inhibit_release = TRUE)
    on.exit(gctorture2(0L))
    do.call(base::.Call, args, quote = TRUE)
  }
  copy
}
