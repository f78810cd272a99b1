# Marks of a class as shown, by answer and by group.

#' @export
print.softanneal_marks <- function(x, ..., n = 20L) {
  if (!all(c("group", "quantity", "mark", "reason", "points") %in% names(x))) {
    print(plain_frame(x), ...)
    return(invisible(x))
  }
  cat("Marks of ", count(nrow(x), "number"), " from ", count(length(unique(x$group)), "group"),
      ": ", format(sum(x$points)), " of ", format(nrow(x) * (attr(x, "best") %or% 1)),
      " points\n", sep = "")
  shown <- utils::head(plain_frame(x), n)
  print(data.frame(group = shown$group, quantity = shown$quantity,
                   temp_c = ifelse(is.na(shown$temp_c), "", format(shown$temp_c)),
                   reported = ifelse(is.na(shown$reported), "", shown$reported),
                   mark = shown$mark, reason = shown$reason), row.names = FALSE, right = FALSE)
  if (nrow(x) > nrow(shown)) cat("... and ", count(nrow(x) - nrow(shown), "more row"), "\n",
                                 sep = "")
  aside <- attr(x, "aside")
  aside <- aside[!is.na(aside$file), ]
  if (NROW(aside)) cat("To be looked at: ", listed(unique(aside$file)), "\n", sep = "")
  odd <- which(x$mark == MARKS[["none"]] & !is.na(x$reported))
  if (length(odd)) {
    cat(strwrap(paste0("To be looked at, not a number: ", listed(paste0(
      "'", x$reported[odd], "' (", x$group[odd], ", ", x$quantity[odd], ")"))), exdent = 2), sep = "\n")
  }
  invisible(x)
}

#' @rdname mark_answers
#' @param object Marks.
#' @export
summary.softanneal_marks <- function(object, ...) {
  check_dots_empty(...)
  groups <- unique(object$group)
  best <- attr(object, "best") %or% 1
  by_group <- function(x) as.vector(rowsum(x, object$group, reorder = FALSE))
  numbers <- by_group(rep(1, nrow(object)))
  points <- by_group(object$points)
  right <- object$mark %in% MARKS[c("right", "within")]
  quantities <- unique(object$quantity)
  counts <- table(factor(object$quantity, quantities), factor(object$mark, MARKS))
  structure(list(
    groups = data.frame(group = groups, numbers = numbers,
                        answered = by_group(as.numeric(object$mark != MARKS[["none"]])),
                        right = by_group(as.numeric(right)), points = points,
                        share = points / (numbers * best)),
    quantities = data.frame(quantity = quantities, unclass(counts), check.names = FALSE,
                            row.names = NULL)), class = "summary.softanneal_marks")
}

#' @export
print.summary.softanneal_marks <- function(x, ...) {
  g <- x$groups
  cat("Class of ", count(nrow(g), "group"), ", mean share of the points ",
      format(100 * mean(g$share), digits = 3), " %\n\nGroups:\n", sep = "")
  g$share <- paste(format(100 * g$share, digits = 3), "%")
  print(g, row.names = FALSE)
  cat("\nHow often each mark (", paste(names(MARKS), MARKS, sep = " = ", collapse = "; "), "):\n",
      sep = "")
  print(stats::setNames(x$quantities, c("quantity", names(MARKS))), row.names = FALSE)
  nothing <- g$group[g$answered == 0]
  if (length(nothing)) cat("\nNothing handed in: ", listed(nothing), "\n", sep = "")
  invisible(x)
}
