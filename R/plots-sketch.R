# A sketch for the class of what a recrystallised fraction looks like: nuclei in a plane, grains
# growing from them until they meet. Made from the exponent alone: it shows no real structure.

#' Sketch of recrystallising grains
#'
#' Draws grains at three stages of recrystallisation, by nuclei and growth in a plane, in agreement
#' with an Avrami exponent n: for n above 2 nuclei keep appearing (their number grows as time
#' to the power n - 2) and grains grow at a constant rate; for n = 2 all nuclei are there
#' from the start; below 2 growth slows down (radius as time to the power n/2). Other mechanisms
#' give the same n, so the sketch shows one possible structure, and is labelled a sketch.
#'
#' @param n Avrami exponent from 0.5 to 4, or a fit of [fit_softening()] whose n is used.
#' @param fraction Recrystallised fractions, one panel each.
#' @param grains Number of nuclei by the time at which the extended fraction is 1.
#' @param seed Seed of the positions; `.Random.seed` is restored.
#' @inheritParams autoplot.softanneal_fit_softening
#' @return A ggplot object with alt text.
#' @section Errors: `softanneal_error_range` or `softanneal_error_argument` for an exponent or
#'   fraction that has no sketch.
#' @references Johnson WA, Mehl RF (1939) Trans. AIME 135, 416. Avrami M (1940) J. Chem. Phys. 8, 212
#'   \doi{10.1063/1.1750631} (both from memory). The extended area of nuclei that appear as `rho t^a` and
#'   grow at G is `2 pi rho G^2 t^(a + 2) / ((a + 1) (a + 2))` (arithmetic).
#' @seealso [jmak_fraction()], [plot_avrami()], [grain_size()]
#' @examples
#' plot_grain_sketch(n = 2, seed = 1)
#' @export
plot_grain_sketch <- function(n = 2, fraction = c(0.1, 0.5, 0.9), ..., grains = 60, seed = 1,
                              base_size = NULL) {
  check_dots_empty(...)
  if (inherits(n, "softanneal_fit_softening")) {
    check_one_exponent(n, "n")
    n <- n$par[["n"]]
  }
  n <- check_number(n, "n", 0.5, 4)
  fraction <- sort(unique(check_numeric(fraction, "fraction", 0, 1, open = TRUE)))
  if (length(fraction) == 0L) {
    abort("too_few", "`fraction` has no value", arg = "fraction", remedy = "Give at least one.")
  }
  grains <- check_number(grains, "grains", 5, 500, whole = TRUE)
  seed <- check_seed(seed)
  state <- keep_random()
  on.exit(restore_random(state))
  set.seed(seed, kind = "Mersenne-Twister", normal.kind = "Inversion", sample.kind = "Rejection")
  s <- grow_grains(n, grains)
  labels <- paste0("X = ", format(100 * fraction, trim = TRUE, digits = 3), " %")
  cells <- do.call(rbind, lapply(seq_along(fraction), function(k) {
    done <- s$arrival <= stats::quantile(s$arrival, fraction[k], type = 1)
    id <- ifelse(done, s$grain, 0L)
    kind <- ifelse(grain_edge(id), "boundary", ifelse(done, paste("grain", 1 + id %% 4), "rolled"))
    data.frame(x = s$x, y = s$y, kind = as.vector(kind), panel = labels[k])
  }))
  cells$panel <- factor(cells$panel, labels)
  tints <- c(rolled = "#9A9A9A", "grain 1" = "#F7E3B5", "grain 2" = "#F2D28B", "grain 3" = "#FBF0D9",
             "grain 4" = "#E9C46F", boundary = "#3A2A10")
  ggplot2::ggplot(cells, ggplot2::aes(.data[["x"]], .data[["y"]], fill = .data[["kind"]])) +
    ggplot2::geom_raster(show.legend = FALSE) +
    ggplot2::facet_wrap(ggplot2::vars(.data[["panel"]]), nrow = 1L) +
    ggplot2::scale_fill_manual(values = tints) +
    ggplot2::coord_fixed(expand = FALSE) +
    ggplot2::labs(
      x = NULL, y = NULL, title = paste0("Sketch of recrystallising grains, n = ",
                                         format_quantity(n)),
      caption = caption_of("A sketch from nuclei and growth in a plane, not a micrograph.",
                           "Grey: as rolled. Pale: new grains.", growth_words(n)),
      alt = paste0("Sketch of new grains in a rolled structure at ", paste(labels, collapse = ", "),
                   ", drawn for an exponent n of ", format_quantity(n), "; ", grains,
                   " nuclei. A sketch, not a micrograph.")) +
    plain_theme(base_size) +
    ggplot2::theme(axis.text = ggplot2::element_blank(), axis.ticks = ggplot2::element_blank(),
                   panel.grid = ggplot2::element_blank())
}

growth_words <- function(n) {
  if (n > 2) "Nuclei keep appearing, grains grow at a constant rate." else if (n == 2) {
    "All nuclei are there from the start, grains grow at a constant rate."
  } else "All nuclei are there from the start, growth slows down."
}

# Time at which each cell of a periodic square of side 1 is reached, in units of 1/k, and by which
# grain; nuclei inside a grown grain do not count, which the first arrival sees to.
grow_grains <- function(n, grains, side = 150L) {
  a <- max(n - 2, 0)
  until <- 5^(1 / n) # extended fraction 5: X above 0.99
  born <- if (a > 0) {
    sort(stats::runif(stats::rpois(1L, grains * until^a))^(1 / a)) * until
  } else numeric(grains)
  rate <- sqrt((a + 1) * (a + 2) / (2 * pi * grains))
  if (!length(born)) born <- 0
  px <- stats::runif(length(born))
  py <- stats::runif(length(born))
  at <- (seq_len(side) - 0.5) / side
  arrival <- matrix(Inf, side, side)
  grain <- matrix(0L, side, side)
  apart <- function(x, p) {
    d <- abs(x - p)
    pmin(d, 1 - d)^2
  }
  for (k in seq_along(born)) {
    r <- sqrt(outer(apart(at, px[k]), apart(at, py[k]), `+`))
    t <- if (n >= 2) born[k] + r / rate else (r / rate)^(2 / n)
    first <- t < arrival
    arrival[first] <- t[first]
    grain[first] <- k
  }
  list(x = rep(at, side), y = rep(at, each = side), arrival = arrival, grain = grain)
}

# Cells whose neighbour to the right or above belongs to another grain.
grain_edge <- function(id) {
  right <- id != id[c(2:nrow(id), 1L), ]
  above <- id != id[, c(2:ncol(id), 1L)]
  right | above
}
