# Hall-Petch: yield stress over the inverse root of the grain diameter.
# Data: handbook values of annealed cartridge brass, from memory (columns `status` and `source`).
# Look at: halving the grain size brings 34 MPa at 0.03 mm, but 13 MPa at 0.2 mm.

library(softanneal)
brass <- read.csv(system.file("extdata", "grain_annealed_brass.csv", package = "softanneal"))
brass$`Yield stress` <- brass$typ_yield_0.5pct_MPa
fit <- fit_hall_petch(brass, hardness = "Yield stress", grain = nominal_grain_mm, unit = "MPa")
plot(fit)
