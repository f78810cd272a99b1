# Softening curves: hardness over time at several temperatures.
# Data: tungsten plate, published isothermal hardness (source in its column `source`).
# Look at: all curves have one shape; a higher temperature moves it to the left.

library(softanneal)
readings <- example_data("tungsten")
fit <- fit_softening(readings)
plot(fit)
