# Cold work hardens: hardness over the effective strain of rolling.
# Data: invented strips; true values 58 HV annealed, 172 HV at saturation, strain constant 0.55.
# Look at: the first passes harden most. The saturation is an extrapolation, and its interval shows it.

library(softanneal)
rolled <- read.csv(system.file("extdata", "course_rolled.csv", package = "softanneal"))
fit <- fit_hardening(rolled)
plot(fit)
