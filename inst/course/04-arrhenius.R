# Arrhenius plot: ln of the rate over 1/T is a straight line of slope -Q/R.
# Data: published rates of rolled copper (column `source`); textbooks give 93.6 kJ/mol.
# Look at: ninety degrees Celsius are a factor of almost 3000 in the rate.

library(softanneal)
copper <- read.csv(system.file("extdata", "course_copper_rates.csv", package = "softanneal"))
fit <- fit_arrhenius(copper, rate = rate_per_min)
plot(fit)
