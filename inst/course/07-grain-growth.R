# Grain growth after recrystallisation: d^m = d0^m + K t.
# Data: invented; true values m = 2.6, Q = 118 kJ/mol, d0 = 0.009 mm, 5 % scatter.
# Look at: on these axes the growth at 650 degrees Celsius is nearly straight, at 500 it has hardly begun.

library(softanneal)
growth <- read.csv(system.file("extdata", "grain_bellbrass_growth.csv", package = "softanneal"))
fit <- fit_grain_growth(growth, weights = 1 / growth$grain_mm^2)
plot(fit)
