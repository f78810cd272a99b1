# Avrami plot: ln(-ln(1 - X)) over ln t of recrystallised fractions is a straight line of slope n.
# Data: invented counts, 60 points on each specimen; true values n = 2.2, Q = 165 kJ/mol.
# Look at: the lines are parallel; counts of 0 and 60 of 60 have no place on these axes.

library(softanneal)
counted <- read.csv(system.file("extdata", "grain_bellbrass_fractions.csv", package = "softanneal"))
fit <- fit_recrystallisation(counted)
plot(fit, axes = "double_log")
