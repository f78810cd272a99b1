# More mutants of mutate.R: shape of a curve, limits by expectation propagation, findings, reductions, clocks
# beside times, what a plan warns of, cautions.

# --- shape of a curve
mutant("a curve misfits at one in twenty", "R/fit-shape.R", "MISFIT_LEVEL <- 0.001", "MISFIT_LEVEL <- 0.05",
       "fit-shape: said not to describe")
mutant("no curve misfits", "R/fit-shape.R", "MISFIT_LEVEL <- 0.001", "MISFIT_LEVEL <- 1e-7",
       "fit-shape: said not to describe")
mutant("shape of a curve from one degree of freedom", "R/fit-shape.R", "df[2L] < 3L", "df[2L] < 1L",
       "fit-shape: said not to describe")
mutant("shape of a curve with limits", "R/fit-shape.R", " || !is.null(fit$readings$limits)) return(none)",
       ") return(none)",
       "fit-shape: said not to describe")

# --- limits by expectation propagation
mutant("sites come to rest at once", "src/censored.c", "#define STILL 1e-9", "#define STILL 1e-1",
       "c: censored")
mutant("the series of the hazard from 3", "src/censored.c", "#define FAR 30.0", "#define FAR 3.0",
       "c: censored")
mutant("rounds with limits end early", "R/fit-limits.R", "max(abs(now - before)) < 1e-6 * sd",
       "max(abs(now - before)) < 0.3 * sd", "fit-limits: maximum likelihood")
mutant("scatter within steps with limits by n", "R/fit-limits.R",
       "sum(squares) / (length(p) - length(whole))", "sum(squares) / length(p)",
       "thresholds-bench: readings without a limit")

# --- findings
mutant("four readings are not few", "R/readings-findings.R", "which(n[r$treatment$id] < 5L)",
       "which(n[r$treatment$id] < 4L)", "readings")
mutant("two readings twice are pasted", "R/readings-findings.R", "half >= 3 &", "half >= 2 &",
       "thresholds-bench: a series twice")
mutant("equal series by chance are pasted", "R/readings-findings.R", "(chance < 0.02 |", "(chance < 0.5 |",
       "thresholds-bench: a series twice")
mutant("notes are findings of a report", "R/report-findings.R", "found[found$level != \"note\", ]",
       "found[found$level != \"none\", ]",
       "thresholds-bench: a report has")
mutant("a unit from two nats on", "R/readings-units.R", "FAR_OFF <- 6", "FAR_OFF <- 2",
       "thresholds-bench: another unit")
mutant("any unit is near by", "R/readings-units.R", "left < NEAR_BY &", "left < 99 &",
       "thresholds-bench: another unit")

# --- reductions, clocks beside times
mutant("one reduction below 1 % makes a fraction", "R/fit-groups.R",
       "length(share) && length(share) == sum(!is.na(strain))", "length(share)",
       "thresholds-bench: reductions are")
mutant("clock times agree within nine tenths", "R/readings-stamps.R", "pmax(2, 0.25 * minutes)",
       "pmax(2, 0.9 * minutes)", "records: clock times beside")
mutant("clock times agree within 20 min", "R/readings-stamps.R", "pmax(2, 0.25 * minutes)",
       "pmax(20, 0.25 * minutes)", "records: clock times beside")
mutant("clocks beside times stop at midnight", "R/readings-stamps.R",
       "minute_of_day(raw[[at[1L]]])) %% 1440", "minute_of_day(raw[[at[1L]]]))",
       "thresholds-bench: clock times beside")

# --- plans
mutant("kelvin whatever the times", "R/plan-expect.R", "10 * max(times)", "1e6 * max(times)",
       "plan: temperatures in kelvin are answered")
mutant("kelvin below 100 degrees Celsius", "R/plan-expect.R", "if (min(temp) < 100) return(NULL)", "",
       "thresholds-bench: kelvin is asked")
mutant("over in one draw of 20", "R/plan-expect.R", "over <- which(t$finished >= 0.5)",
       "over <- which(t$finished >= 0.05)",
       "thresholds-bench: a plan warns")
mutant("barely begun in one draw of 20", "R/plan-expect.R", "ifelse(idle >= 0.5,", "ifelse(idle >= 0.05,",
       "thresholds-bench: a plan warns")
mutant("cautions of the coolest furnace", "R/plan.R", "cautions(process, temp_c = max(temp_c))",
       "cautions(process, temp_c = min(temp_c))",
       "thresholds-bench: a plan has")
mutant("cautions from above their temperature", "R/cautions.R", "all$from_temp_c <= temp_c",
       "all$from_temp_c < temp_c", "cautions")

# --- curves that do not hold, levels cut off by the dial, beliefs met by the furnace
mutant("misfit in units of its square", "R/fit-shape.R", "times = sqrt(max(f, 0))", "times = max(f, 0)",
       "fit-shape: not taken for one")
mutant("many limits say more than they do", "R/fit-dial.R", "side * min(z, 0) * sd", "side * z * sd",
       "fit-limits: cut off")
mutant("one specimen as many", "R/fit-dial.R", "(2 * m)))", "(2 * m * m)))", "fit-limits: cut off")
mutant("a belief off by one side only", "R/posterior-conflict.R",
       "2 * min(below, 1 - below) <", "2 * (1 - below) <",
       "posterior: unbelieved furnace errors")
mutant("the furnace takes up nothing", "R/posterior-conflict.R", "rest + by_furnace * sd^2",
       "rest + 0 * sd^2",
       "posterior: unbelieved furnace errors")
mutant("batches of a furnace are lots", "R/readings-lots.R", "data.frame(specimen, time, x))[1:2]",
       "data.frame(specimen, x))[1]", "lots: goes through batches")
mutant("means for chance", "R/readings-means.R", "MEAN_ROWS_CHANCE <- 0.001", "MEAN_ROWS_CHANCE <- 0.01",
       "records: computed row")
mutant("a belief far from the readings alone", "R/posterior-conflict.R",
       "2 * min(below, 1 - below) <", "min(below, 1 - below) <",
       "posterior: prior and readings that disagree")
