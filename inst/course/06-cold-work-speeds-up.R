# Cold work speeds up recrystallisation: the same brass after three reductions.
# Data: invented; the rate goes with the 2.2th power of the strain, n = 1.6, Q = 140 kJ/mol.
# Look at: the harder sheet is the softer one first.

library(softanneal)
readings <- read.csv(system.file("extdata", "course_strains.csv", package = "softanneal"))
fit <- fit_softening(readings, strain = strain)
plot(fit)
