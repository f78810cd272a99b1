# Speed of heat_up() against deSolve::lsoda on the same equation, as a ratio in one run:
#   Rscript inst/benchmarks/heat.R   (with softanneal and deSolve installed)
# heat_up() integrates each piece four times (usual, slow, fast, history); lsoda once.
library(softanneal)
stopifnot(requireNamespace("deSolve", quietly = TRUE))

pieces <- 200L
thickness_mm <- seq(0.3, 3, length.out = pieces)
ours <- system.time(heat_up(thickness_mm, 410, until_min = 30))[["elapsed"]]

rate <- function(t, y, areas) {
  flux <- 10 * (683.15 - y) + 0.22 * 5.670374419e-8 * (683.15^4 - y^4)
  list(areas * flux / (8530 * (380 + 0.15 * (y - 300))))
}
theirs <- system.time(for (t in thickness_mm) {
  deSolve::lsoda(293.15, seq(0, 1800, length.out = 200), rate, 2000 / t, rtol = 1e-10, atol = 1e-8)
})[["elapsed"]]
cat(sprintf("%d pieces: lsoda with an R rate takes %.0f times as long as heat_up()\n", pieces,
            theirs / ours))
