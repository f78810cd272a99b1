# Which file calls which, and the circles among them. R files are taken together by family, the part
# of their name before the first hyphen: within a family calls may go both ways, between families they
# go one way. C files are taken with their header. From the top of the package (needs codetools):
#   Rscript inst/scripts/dev/call-graph.R          prints the circles, with the calls that close them
#   Rscript inst/scripts/dev/call-graph.R FAMILY   and all calls of a family or C file to others
# What is reached by dispatch alone (print(), predict()) is not a call here.

family_of <- function(file) sub("[-.].*$", "", basename(file))

# Top level definitions of one file: a list of expressions, by name.
definitions_in <- function(file) {
  found <- list()
  for (part in as.list(parse(file, keep.source = FALSE))) {
    if (is.call(part) && identical(part[[1L]], as.name("<-")) && is.name(part[[2L]])) {
      found[[as.character(part[[2L]])]] <- part[[3L]]
    }
  }
  found
}

names_used <- function(expr) {
  is_function <- is.call(expr) && identical(expr[[1L]], as.name("function"))
  if (is_function) codetools::findGlobals(eval(expr, baseenv())) else all.names(expr)
}

# A row for each use of a name that another file defines: from, to (files), by, name.
r_calls <- function(top = ".") {
  files <- list.files(file.path(top, "R"), "[.]R$", full.names = TRUE)
  parts <- lapply(files, definitions_in)
  home <- rep(basename(files), lengths(parts))
  names(home) <- unlist(lapply(parts, names))
  calls <- do.call(rbind, lapply(seq_along(files), function(i) {
    do.call(rbind, lapply(names(parts[[i]]), function(by) {
      used <- intersect(names_used(parts[[i]][[by]]), names(home))
      if (length(used)) data.frame(from = basename(files[i]), to = home[used], by, name = used)
    }))
  }))
  rownames(calls) <- NULL
  calls[calls$from != calls$to, ]
}

# The same for C: a file uses the headers it includes, and the files in which the functions are
# defined that it calls (a header may declare functions of several files).
c_calls <- function(top = ".") {
  files <- list.files(file.path(top, "src"), "[.][ch]$", full.names = TRUE)
  raw <- lapply(files, function(file) paste(readLines(file, encoding = "UTF-8"), collapse = "\n"))
  text <- gsub("(?s)/[*].*?[*]/|//[^\n]*|\"[^\"\n]*\"", " ", unlist(raw), perl = TRUE)
  words <- function(x, pattern) unique(unlist(regmatches(x, gregexpr(pattern, x, perl = TRUE))))
  included <- lapply(raw, words, pattern = "(?m)^#include \"\\K[^\"]+")
  # a body follows: the definition, not the declaration, says where a function is at home
  defined <- lapply(text, words, pattern =
                      "(?m)^(?!static)[A-Za-z][\\w \\n*]*?\\K\\b\\w+(?=\\s*\\([^;{}]*\\)\\s*\\{)")
  home <- stats::setNames(rep(basename(files), lengths(defined)), unlist(defined))
  home <- c(home, stats::setNames(basename(files), basename(files)))
  calls <- do.call(rbind, lapply(seq_along(files), function(i) {
    called <- if (grepl("[.]c$", files[i])) words(text[i], "\\b\\w+(?=\\s*\\()")
    used <- intersect(c(included[[i]], called), names(home))
    if (length(used)) data.frame(from = basename(files[i]), to = home[used], by = "", name = used)
  }))
  rownames(calls) <- NULL
  calls[calls$from != calls$to, ]
}

# Groups of nodes of which each reaches each other, by edges from -> to.
circles <- function(from, to) {
  nodes <- sort(unique(c(from, to)))
  reach <- diag(length(nodes)) > 0
  reach[cbind(match(from, nodes), match(to, nodes))] <- TRUE
  repeat {
    further <- reach %*% reach > 0
    if (identical(further, reach)) break
    reach <- further
  }
  both <- reach & t(reach)
  groups <- unique(lapply(seq_along(nodes), function(i) nodes[both[i, ]]))
  groups[lengths(groups) > 1L]
}

family_circles <- function(calls) {
  from <- family_of(calls$from)
  to <- family_of(calls$to)
  circles(from[from != to], to[from != to])
}

# The calls inside a circle that go against the majority between two of its members.
show_circle <- function(calls, group, family = identity) {
  cat("\nCircle of ", length(group), ": ", paste(group, collapse = ", "), "\n", sep = "")
  from <- family(calls$from)
  to <- family(calls$to)
  for (a in group) for (b in group) {
    there <- which(from == a & to == b)
    back <- sum(from == b & to == a)
    if (length(there) && (length(there) < back || (length(there) == back && a < b))) {
      cat("  ", a, " uses ", b, " (", length(there), " against ", back, "):\n", sep = "")
      cat(paste0("    ", calls$from[there], " ", calls$by[there], " -> ", calls$name[there], " (",
                 calls$to[there], ")\n"), sep = "")
    }
  }
}

if (sys.nframe() == 0L) {
  in_r <- r_calls()
  in_c <- c_calls()
  for (group in family_circles(in_r)) show_circle(in_r, group, family_of)
  for (group in circles(in_c$from, in_c$to)) show_circle(in_c, group)
  for (one in commandArgs(trailingOnly = TRUE)) {
    for (calls in list(in_r, in_c)) {
      mine <- family_of(calls$from) == one & family_of(calls$to) != one
      print(calls[mine, ], right = FALSE, row.names = FALSE)
    }
  }
  cat("\nCircles: ", length(family_circles(in_r)), " of families of R files, ",
      length(circles(in_r$from, in_r$to)), " of R files, ",
      length(circles(in_c$from, in_c$to)), " of C files\n", sep = "")
}
