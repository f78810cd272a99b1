# Peaks of the calorimeter at five heating rates: ln(rate/Tp^2) over 1/Tp is a straight line.
# Data: invented; two peaks were noted in kelvin. True value Q = 140 kJ/mol.
# Look at: sixteen times the rate moves the peak by 64 degrees Celsius.

library(softanneal)
peaks <- read.csv(system.file("extdata", "join_dsc.csv", package = "softanneal"))
peaks$peak_c <- peaks$peak - ifelse(peaks$unit == "K", 273.15, 0)
fit <- fit_kissinger(peaks)
plot(fit)
