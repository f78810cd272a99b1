# The linear model of step means as the compiled components take it (src/components.h): steps in
# blocks that share no specimen and no furnace error, random columns numbered through the blocks.

# Order of the variances. Twin: SA_V_FURNACE ... in src/components.h.
ERROR_COMPONENTS <- c("furnace", "piece", "step", "operator")

# Kinds of prior. Twin: sa_prior_kind in src/components.h.
PRIOR_KINDS <- c(fixed = 0, half_cauchy = 1, half_normal = 2, log_normal = 3)

# Numbers of the blocks of steps: two steps are of one block where a chain of common specimens or
# runs joins them.
error_blocks <- function(piece, run) {
  block <- match(piece, unique(piece))
  repeat {
    before <- block
    for (key in list(run, piece)) {
      rising <- order(block)
      block <- block[rising][match(key, key[rising])] # the least of each key
    }
    if (identical(block, before)) return(match(block, sort(unique(block))))
  }
}

# Structure of the errors, without numbers: `piece` and `run` are integers of each step. `furnace`:
# "run", one error of the temperature a run, or "insertion", one each time (`insertion`, integers).
# Steps come in an order of blocks (`order`).
error_structure <- function(piece, run, insertion = NULL, furnace = c("run", "insertion"),
                            share = NULL, block = error_blocks(piece, run)) {
  furnace <- furnace[1L]
  order <- order(block)
  piece <- piece[order]
  key <- if (furnace == "run") run[order] else insertion[order]
  block <- block[order]
  n <- length(order)
  # an offset shows where a specimen has two steps; an insertion of one step is an error of the step
  several <- function(x) x %in% x[duplicated(x)]
  has_piece <- several(piece)
  has_furnace <- if (furnace == "run") rep(TRUE, n) else several(key)
  column_of <- function(kind, id, has) {
    at <- which(has)[!duplicated(id[has])]
    cbind(block[at], rep(kind, length(at)), id[at])
  }
  columns <- rbind(column_of(0L, piece, has_piece), column_of(1L, key, has_furnace))
  columns <- columns[order(columns[, 1L], columns[, 2L], columns[, 3L]), , drop = FALSE]
  place <- function(kind, id, has) {
    at <- which(columns[, 2L] == kind)
    out <- at[match(id, columns[at, 3L])] - 1L
    out[!has] <- -1L
    out
  }
  n_block <- max(block)
  list(order = order, piece = place(0L, piece, has_piece), furnace = place(1L, key, has_furnace),
       first = as.integer(c(0L, cumsum(tabulate(block, n_block)))),
       first_column = as.integer(c(0L, cumsum(tabulate(columns[, 1L], n_block)))),
       is_furnace = as.integer(columns[, 2L]), id = as.integer(columns[, 3L]), share = share)
}

# The problem of C: y, x, g and noise of each step in their own order.
components_problem <- function(structure, y, x, g, noise, factor = rep(1, length(y))) {
  o <- structure$order
  x <- x[o, , drop = FALSE]
  storage.mode(x) <- "double"
  list(as.double(y[o]), x, as.double(g[o]), as.double(noise[o]),
       if (!is.null(structure$share)) structure$share[o, , drop = FALSE],
       structure$piece, structure$furnace, structure$first, structure$first_column,
       structure$is_furnace, as.double(factor[o]))
}

prior_row <- function(kind, scale, cut = 40, width = 0.5, nodes = 12) {
  c(PRIOR_KINDS[[kind]], scale, cut, width, if (kind == "fixed") 1 else nodes)
}

# REML of the variances marked in `estimated`, GLS and conditional modes.
components_reml <- function(problem, sd, estimated, gradient = diag(ncol(problem[[2L]]))) {
  out <- .Call(C_sa_call_components_reml, problem, as.double(sd^2), as.integer(estimated), gradient)
  names(out$variance) <- ERROR_COMPONENTS
  out
}

# Quantiles of g'beta, the standard deviations marginalised over their priors.
components_grid <- function(problems, prior, gradient, probability, extra = NULL) {
  .Call(C_sa_call_components_grid, problems, prior, gradient, extra, probability)
}
