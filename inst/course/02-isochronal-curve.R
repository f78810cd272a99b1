# Isochronal curve: hardness over temperature for one time in the furnace.
# Data: invented workshop, true values on the page ?example_data.
# Look at: four times the time moves the curve by about 30 degrees Celsius, not to half the temperature.

library(softanneal)
readings <- example_data("bellbrass_readings")
fit <- fit_softening(readings)
plot(plot_isochronal(fit, time_min = c(8, 32, 128)))
