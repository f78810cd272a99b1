# Mutants of mutate.R: limits among readings, clock cells, whole curves, targets not reached, beliefs,
# pooled groups, what to read next.

# --- limits
mutant("tail without its hazard", "src/censored.c", "const double ahead = h - z;", "const double ahead = h;",
       "fit-limits: maximum likelihood")
mutant("a limit weighs as a reading", "src/censored.c",
       "whole * fmin(fmax(h * ahead, LEAST_SHARE), 1.0);", "whole;",
       "fit-limits: maximum likelihood")
mutant("sides of limits exchanged", "src/censored.c", "sqrt(whole), sign = side[i] > 0 ? 1.0 : -1.0",
       "sqrt(whole), sign = side[i] > 0 ? -1.0 : 1.0", "fit-limits: maximum likelihood")
mutant("sides of limits within steps exchanged", "src/censored.c", "l->side[i] > 0 ? 1.0 : -1.0",
       "l->side[i] > 0 ? -1.0 : 1.0", "fit-limits: whole likelihood")
mutant("the site keeps its cavity", "src/censored.c", "whole * whole / share - cavity",
       "whole * whole / share", "fit-limits: whole likelihood")
mutant("limits are judged at the minimum of readings alone", "R/fit-errors.R",
       "if (!is.null(d$limits)) {\n    settled",
       "if (FALSE) {\n    settled", "fit-limits: whole likelihood")
mutant("high and low ends of a table exchanged", "R/fit-limits.R", "ifelse(high, 1L, -1L)",
       "ifelse(high, -1L, 1L)", "fit-limits: outside the table")

# --- clock cells
mutant("midnight is noon", "R/readings-stamps.R", "ifelse(half %in% \"p\", 12, 0)",
       "ifelse(half %in% \"p\", 0, 0)", "thresholds-bench: clock cells")
mutant("any hour is an hour of the day", "R/readings-stamps.R", "(is.na(hour) | hour > 24)",
       "(is.na(hour) | hour > 99)", "thresholds-bench: clock cells")

# --- whole curves
mutant("a slip may leave most of the misfit", "R/readings-slips.R",
       "left < pmin(0.4 * loss, loss - 0.7 * LEAST_LOSS, MOST_LEFT)",
       "left < pmin(0.99 * loss, loss, 50)", "records: alone explains")
mutant("rough curves say something of times", "R/readings-slips.R", "variance > (0.08 * drop)^2",
       "variance > (8 * drop)^2", "thresholds-bench: curves whose steps")
mutant("stock at 20 %", "R/readings-pieces.R", "stats::qt(0.03 / (2 * m)",
       "stats::qt(0.2 / (2 * m)", "records: stock is judged")
mutant("stock without what is usual", "R/readings-pieces.R",
       "sqrt((10 * (0.024 * mean(x[-i]))^2 +", "sqrt((10 * (0.0024 * mean(x[-i]))^2 +",
       "records: stock is judged")

# --- targets not reached
mutant("open soft levels never hide an end", "R/answers-unreached.R",
       "(side * (end - target) >= 0) %in% TRUE", "(side * (end - target) >= 1e6) %in% TRUE",
       "answers-intervals: no upper end")
mutant("answers below the best soft level have no end", "R/answers-unreached.R",
       "out[k] <- if (moved == \"time\") end[1L]", "out[k] <- if (moved == \"time\") NA_real_",
       "answers-intervals: at least")

# --- beliefs
mutant("prior and readings disagree at once", "R/posterior-conflict.R", "stats::qnorm(0.995)",
       "stats::qnorm(0.55)", "posterior: disagree")
mutant("prior and readings never disagree", "R/posterior-conflict.R", "stats::qnorm(0.995)",
       "stats::qnorm(1 - 1e-15)", "posterior: disagree")
mutant("nothing is mostly the prior's", "R/posterior-methods.R", "table$share_prior > sqrt(0.5)",
       "table$share_prior > 1.5", c("posterior: mostly the prior", "posterior"))
mutant("all is mostly the prior's", "R/posterior-methods.R", "table$share_prior > sqrt(0.5)",
       "table$share_prior > 0.005", c("posterior: mostly the prior", "posterior"))
mutant("chains that disagree are not told", "R/posterior.R", "d$rhat > 1.01", "d$rhat > 10",
       c("posterior", "thresholds", "thresholds-fit"))
mutant("few draws are not told", "R/posterior.R", "pmin(d$ess_bulk, d$ess_tail) < 100 * x$chains",
       "pmin(d$ess_bulk, d$ess_tail) < 1e-9 * x$chains", "posterior")
mutant("chains are not split", "R/posterior-diagnostics.R", "half <- n %/% 2L", "half <- n %/% 3L",
       "posterior: Vehtari")
mutant("ranks without their shift", "R/posterior-diagnostics.R", "(rank(x) - 0.375)",
       "(rank(x) - 0.5)", "posterior: Vehtari")
mutant("kinetic energy too large", "src/sampler.c", "return 0.5 * sum;", "return 0.7 * sum;",
       "posterior: agree with what the fit")

# --- pooled groups
mutant("a group stands apart at 50 %", "R/pool-methods.R", "x$p.value < 0.05", "x$p.value < 0.5",
       c("pool: pooled estimates say", "thresholds", "thresholds-fit"))
mutant("spread counts the errors twice", "R/pool-methods.R",
       "stats::qt((1 + level) / 2, pmax(n - 1L, 1L))", "stats::qnorm((1 + level) / 2)",
       c("pool: pooled estimates say", "thresholds", "thresholds-fit"))

# --- what to read next
mutant("information counts the distance alone", "R/plan-apart.R",
       "0.5 * (sum(part^2) + sum(gap^2) - length(gap))", "0.5 * (sum(gap^2))",
       "plan-next: divergence")
mutant("a new reading has the error of the step alone", "R/plan-apart.R",
       "square(\"sd_reading\") / n_readings", "0", "plan-next")
mutant("time between readings is free", "R/plan-apart.R", "(length(time_min) + 1) * each",
       "0 * each", "plan-next")

# --- sets on another scale
mutant("a set is far at 30 %", "R/readings-other-scale.R", "LEAST_AWAY <- 0.1 ", "LEAST_AWAY <- 0.3 ",
       "other-scale")
mutant("a set is far at 3 %", "R/readings-other-scale.R", "LEAST_AWAY <- 0.1 ", "LEAST_AWAY <- 0.03 ",
       "other-scale")
mutant("curves part at anything", "R/readings-other-scale.R", "LEAST_PARTING <- 0.25", "LEAST_PARTING <- 2.5",
       "other-scale")
mutant("any other scale will do", "R/readings-other-scale.R", "after > most * before", "after > before",
       "other-scale")
