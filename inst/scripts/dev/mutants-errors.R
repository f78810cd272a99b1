# More mutants of mutate.R: components of error, profiles, answers, pieces compared, pooled outliers, marks.

# --- C: furnaces
mutant("an error of temperature counts up to 6 RT", "src/furnaces.c", "#define MOST_ENERGY 60.0",
       "#define MOST_ENERGY 6.0", c("errors: profiles follow the joint",
       "errors: a time at the temperature that is determined"))
mutant("an error of temperature counts without end", "src/furnaces.c", "#define MOST_ENERGY 60.0",
       "#define MOST_ENERGY 6e6", "errors: a time at the temperature that is determined")
mutant("slope beyond the cap", "src/furnaces.c",
       "coordinate_slope(&at, par, f->jac, n, i) * f->shift[i] / par[SA_P_Q];",
       "coordinate_slope(&at, par, f->jac, n, i) * f->shift[i];", "c")
mutant("temperature beyond the cap", "src/furnaces.c", "plain - f->shift[i] / share *",
       "plain - f->shift[i] *", "c")
mutant("recovery moves by the energy of recrystallisation", "src/furnaces.c",
       "sum += jac[i + rate * n] * par[rate + 1];", "sum += jac[i + rate * n] * par[SA_P_Q];",
       "errors: derivatives in the furnace")
mutant("shift of a temperature to first order", "src/furnaces.c",
       "inverse * inverse * d / (1.0 + inverse * d);", "inverse * inverse * d;",
       "c")
mutant("errors of furnaces are not drawn to zero", "src/furnaces.c", "own[n + k + k * rows] = 1.0;",
       "own[n + k + k * rows] = 0.0;", "errors: profiles follow the joint")

# --- C: components of error
mutant("diagonal furnace errors without their slope", "src/components.c",
       "d += variance[SA_V_FURNACE] * c->g[i] * c->g[i];", "d += variance[SA_V_FURNACE] * c->g[i];",
       "external-errors")
mutant("likelihood of n", "src/components.c", "(double)(c->n - p) * log(2.0", "(double)(c->n) * log(2.0",
       "external-errors")
mutant("modes of operators drawn once", "src/components.c", "operator_mode[j] *= so;",
       "operator_mode[j] *= 1.0;", "external-errors")
mutant("sd of a mode not drawn to zero", "src/components.c", "mode_sd[from + i] = si * sqrt(s);",
       "mode_sd[from + i] = sqrt(s);", "external-errors")
mutant("operators leave the modes of specimens alone", "src/components.c",
       "s -= uz[i + (p + l) * k] * operator_mode[l];", "s -= 0.0 * operator_mode[l];",
       "external-errors")
mutant("spans of the grid stay", "src/components_grid.c",
       "#define FEW_NODES 2.0", "#define FEW_NODES 0.0",
       "external-errors")
mutant("cut of a half-Cauchy", "src/components_grid.c", "tan(HALF_PI * share * u)", "tan(HALF_PI * u)",
       "external-errors")
mutant("width of a stated uncertainty", "src/components_grid.c",
       "exp(prior->width * normal_quantile(u))", "exp(normal_quantile(u))",
       "external-errors")
mutant("grid prepared for the first furnace error", "src/components_grid.c", "if (u == 0 || diagonal)",
       "if (u == 0)", "external-errors")
mutant("slopes at zero by the rule for inside", "src/components_reml.c",
       "return sum / ((inside ? 12.0 : 6.0) * h);", "return sum / (12.0 * h);", "external-errors")
mutant("information at zero by the rule for inside", "src/components_reml.c",
       "second /= (inside ? 12.0 : 6.0) * h;", "second /= 12.0 * h;", "external-errors")
mutant("degrees of freedom halved", "src/components_reml.c", "2.0 * whole * whole / spread",
       "whole * whole / spread", "external-errors")

# --- C: profiles, answers
mutant("idle processes are not tried", "src/profile_walk.c", "if (wake_idle(f, which",
       "if (0 && wake_idle(f, which", "identify: a profile wakes")
mutant("idle processes wake without amplitude", "src/profile_walk.c", "fmin(f->s.upper[j], 0.2 * drop)",
       "fmin(f->s.upper[j], 0.0 * drop)", "identify: a profile wakes",
       equivalent = paste("where the search begins: with the rate and energy of a process that shows, its",
                          "amplitude rises from zero by itself"))
mutant("wide linear errors beside an open parameter", "src/profile.c",
       "ends[1] - ends[0] < 1.8 * task->half[j];",
       "ends[1] - ends[0] < 0.0 * task->half[j];",
       c("c: answers", "thresholds", "thresholds-fit"))
mutant("linear errors are not narrowed", "src/profile.c", "share < 0.9 && share > 0.0 && k < p",
       "share < 0.0 && share > 0.0 && k < p",
       "c: answers")
mutant("lower minimum not gone to", "src/profile_walk.c",
       "if (sum < objective - 1e-4 * (ceiling - objective))",
       "if (sum < objective - 1e4 * (ceiling - objective))", "c: answers")
mutant("edge of strain is an end", "src/answers.c",
       "return edge ? side * HUGE_VAL : found;", "return found;",
       "c: answers")
mutant("any end beside a bound is open", "src/answers.c",
       "*edge = (at_bound[j] < 0 && !f->s->natural[j]) ||", "*edge = 1 ||", "c: answers")
mutant("a walk from outside its interval", "src/answers.c",
       "if (!(sum_tied(&f, from, start, &edge) < walk->objective + walk->threshold))",
       "if (!(sum_tied(&f, from, start, &edge) < HUGE_VAL))", "c: answers")
mutant("a step past the range is open", "src/answers.c", "value = end; /* a step",
       "return side * HUGE_VAL; /* a step", "c: answers")
mutant("a step may end past the range", "src/answers.c", "value = end; /* a step", "value += 0.0; /* a step",
       "c: answers")
mutant("a walk that stops is an end", "src/answers.c", "#define ENOUGH 0.9", "#define ENOUGH 0.1",
       "c: answers")
mutant("a walk that stops near its end is none", "src/answers.c", "#define ENOUGH 0.9",
       "#define ENOUGH 0.95", "c: answers")
mutant("the own meeting on the wrong side", "src/answers_meeting.c", "if (ln_time > at->log_time)",
       "if (ln_time < at->log_time)", "c: answers")
mutant("the own meeting to a thousandth", "src/answers_meeting.c", "high - low > 1e-13", "high - low > 1e-3",
       "c: answers")
mutant("no other shapes before an end", "src/answers.c",
       "sum = sum_anew(f, value, sum, keep, par, &edge);\n        if (sum < ceiling)",
       ";\n        if (sum < ceiling)",
       "c: answers")
mutant("other shapes through levels that failed", "src/answers.c",
       "memcpy(trial[0], keep, f->p * sizeof(double));", "memcpy(trial[0], par, f->p * sizeof(double));",
       "c: answers")
mutant("no look beyond an end", "src/answers.c",
       "sum = sum_anew(f, value, sum, keep, par, &edge);\n        if (sum >= ceiling)\n            return",
       "sum = ceiling;\n        if (sum >= ceiling)\n            return",
       c("c: answers", "thresholds", "thresholds-fit"))
mutant("rate at a meeting without the delay", "src/answers_meeting.c", "theta = theta0 + excess",
       "theta = excess", "c: model")
mutant("slope of a meeting in the delay", "src/answers_meeting.c",
       "gradient[place.theta0] = 1.0 / theta;",
       "gradient[place.theta0] = theta;", "c: model")
mutant("slope of a meeting in the worked level", "src/answers_meeting.c",
       "gradient[SA_P_WORKED] -= 1.0 - at->target;", "gradient[SA_P_WORKED] -= at->target;",
       "c: model")
mutant("ends of a band are their starts", "src/answers_curve.c", "#define NEAR_GOAL 0.01",
       "#define NEAR_GOAL 1.0", "thresholds-bench: ends of the band")
mutant("curves of other places forgotten", "src/answers_curve.c",
       "#define MARGIN 0.02", "#define MARGIN 200.0",
       c("answers-intervals", "thresholds", "thresholds-fit"))

# --- pieces compared with each other
mutant("misfit of a sound bench is a finding", "R/readings-slips.R", "LEAST_LOSS <- 7.5",
       "LEAST_LOSS <- 2", "records: a slip is named")
mutant("misfit of a slip is none", "R/readings-slips.R", "LEAST_LOSS <- 7.5", "LEAST_LOSS <- 60",
       "records: a slip is named")
mutant("a slip may leave anything", "R/readings-slips.R", "MOST_LEFT <- 9", "MOST_LEFT <- 900",
       "records: a slip is named")
mutant("other stock at 20 %", "R/readings-pieces.R", "0.03 / (2 * m)", "0.5 / (2 * m)",
       "records: stock is judged")
mutant("scatter between pieces from the pieces alone", "R/readings-pieces.R",
       "(10 * (0.024 * mean(x[-i]))^2",
       "(10 * (0.001 * mean(x[-i]))^2", "records: stock is judged")
mutant("a piece against the mean of all", "R/readings-pieces.R",
       "t <- abs(away) / (sd * sqrt(m / (m - 1)))",
       "t <- abs(away) / (sd * sqrt(1 / m))", "records: stock is judged")
mutant("a soft anneal is a slip", "R/readings-pieces.R",
       "length(pieces[[i]]$time) < 3L", "length(pieces[[i]]$time) < 2L",
       "records: a slip is named")
mutant("steps that scatter tell times", "R/readings-pieces.R",
       "if (sqrt(mean(unlist(rough))) > 0.05 * (top - soft)) return(NULL)", "",
       "records: a slip is named")
mutant("other scale at any hardness", "R/readings-pieces.R", "abs(read / others - 1) < 0.1 &&",
       "abs(read / others - 1) < 10 &&", "records: stock is judged")

# --- outliers against the other steps
mutant("level of half the readings", "R/readings-scatter.R", "stats::qt(alpha / (4 * total), df",
       "stats::qt(10 * alpha / (4 * total), df", "precision: outliers")
mutant("p of outliers not for the whole table", "R/readings-scatter.R", "pmin(1, 4 * total * stats::pt(",
       "pmin(1, 4 * stats::pt(", "thresholds: judged by its own step")
mutant("one step of the dial is an outlier", "R/readings-scatter.R",
       "& abs(away[row]) > resolution * (1 + 1e-9)", "",
       "thresholds: judged by its own step")
mutant("scatter of the other steps known for certain", "R/readings-scatter.R", "MOST_SCATTER_DF <- 40",
       "MOST_SCATTER_DF <- 4000", "thresholds: judged by its own step")
mutant("scatter of few steps counts for nothing", "R/readings-scatter.R", "LEAST_SCATTER_DF <- 18",
       "LEAST_SCATTER_DF <- 1", "thresholds: few steps that show")
mutant("outliers looked for once", "R/readings-scatter.R", "left[hit$row] <- FALSE",
       "left[hit$row] <- TRUE", "thresholds: judged by its own step")
mutant("the farthest reading judges itself", "R/readings-scatter.R",
       "square[step] - away[row]^2 * (n - 1) / pmax(n, 1)", "square[step]", "precision: outliers")
mutant("slips count in the scatter", "R/readings-scatter.R",
       "df * pmin(s2, most * mu) / mu^2", "df * s2 / mu^2",
       "thresholds: judged by its own step")

# --- marks
mutant("right up to two errors", "R/class-reasons.R", "at$reference, at), na.rm = TRUE) <= 0.25",
       "at$reference, at), na.rm = TRUE) <= 2", "class-mark")
mutant("right at a tenth of an error only", "R/class-reasons.R",
       "at$reference, at), na.rm = TRUE) <= 0.25",
       "at$reference, at), na.rm = TRUE) <= 0.1", "class-mark")
mutant("earlier mistakes to a fifth", "R/class-reasons.R",
       "ROUNDED <- 0.02", "ROUNDED <- 0.2", "thresholds: marks follow")
mutant("earlier mistakes to the last digit", "R/class-reasons.R", "ROUNDED <- 0.02", "ROUNDED <- 1e-4",
       "thresholds: marks follow")
mutant("blunders that change nothing are found", "R/class-reasons.R",
       "errors_from(at$as_given, at$reference, at) > 0.25", "errors_from(at$as_given, at$reference, at) >= 0",
       "thresholds: marks follow")
mutant("factors told from two on", "R/class-reasons.R",
       "x > 3 * at$value", "x > 1.2 * at$value", "thresholds: marks follow")
mutant("degrees Celsius to half", "R/class-reasons.R", "< max(0.1, 2 * at$std.error / at$value)",
       "< max(0.5, 2 * at$std.error / at$value)", "thresholds: marks follow",
       equivalent = "the room between the places a number may lie at is below a tenth already")
mutant("two digits are enough", "R/class-digits.R",
       "LEAST_DIGITS <- 3L", "LEAST_DIGITS <- 2L", "class-digits")
mutant("half a unit is too far", "R/class-digits.R",
       "slack <- 1e-9 * abs(value)", "slack <- -1e-9 * abs(value)",
       "class-digits")
mutant("coarse rounding within two errors", "R/class-digits.R",
       "width <= at$std.error", "width <= 2 * at$std.error",
       "thresholds: marks follow")

# --- components of error in R
mutant("a stated uncertainty is exact", "R/fit-errors.R",
       "STATED_WIDTH <- 0.5", "STATED_WIDTH <- 0.05", c("errors: a stated furnace uncertainty",
       "errors: a time at the temperature that is determined"))
mutant("two runs show their furnaces", "R/fit-errors.R", "FEW_RUNS <- 3L", "FEW_RUNS <- 2L",
       "errors: a stated furnace uncertainty")
mutant("noise of a mean that of a reading", "R/fit-errors.R", "steps$sd_reading^2 / steps$weight else 0",
       "steps$sd_reading^2 else 0", "errors: the fit is that of lme")
mutant("profiles rise by the quantile", "R/fit-errors.R",
       "rise <- rep(stats::qnorm(0.5 + level / 2)^2, p)",
       "rise <- rep(stats::qnorm(0.5 + level / 2), p)",
       "thresholds-fit: profiles of components")
mutant("known furnaces keep the prior of unseen ones", "R/fit-errors.R",
       "out[1L] <- of_nodes(nodes, rep(1, length(nodes)))", "out[1L] <- 0",
       "errors: a time at the temperature that is determined")
mutant("an as-rolled step has a run of its own", "R/fit-errors-runs.R", "run[lost] <- run[after][own]",
       "run[lost] <- NA", "thresholds-fit: intervals from components")
mutant("settings 6 K apart are one run", "R/fit-errors-runs.R", "SETTING_APART_K <- 5",
       "SETTING_APART_K <- 6", "errors: a furnace set to several")
mutant("an oven is one run", "R/fit-errors-runs.R", "if (max(setting) == 1L) next", "next",
       "errors: a furnace set to several")
mutant("degrees of freedom from the wrong ratio", "R/fit-errors-intervals.R",
       "stats::qt(0.975, df) / stats::qt(CENTRAL[2L], df)",
       "stats::qt(0.975, df) / stats::qnorm(CENTRAL[2L])",
       "thresholds-fit: intervals from components")
mutant("edges of a standard deviation", "R/fit-errors-intervals.R",
       "max(0, 1.5 * x[1L] - 0.5 * x[2L])", "x[1L]",
       "thresholds-fit: intervals from components")
mutant("open parameters have intervals", "R/fit-errors-intervals.R",
       "q[open, ] <- NA_real_", "", "thresholds-fit: intervals from components")
mutant("a fitted furnace is certain", "R/fit-errors-predict.R",
       "own$variance + slope^2 * own$furnace_variance", "own$variance",
       "thresholds-fit: intervals from components")
mutant("a fitted specimen is certain", "R/fit-errors-predict.R",
       "own$variance + slope^2 * own$furnace_variance", "slope^2 * own$furnace_variance",
       "thresholds-fit: intervals from components")
mutant("scale of a stated uncertainty", "R/fit-errors-methods.R", "sd[1L, ] <- sd[1L, ] * stated", "",
       "errors: a stated furnace uncertainty")

# --- answers in R
mutant("delta method at twice the width", "R/answers-intervals.R", "AS_GOOD <- 0.1", "AS_GOOD <- 10",
       "answers-intervals")
mutant("likelihood where the delta method does", "R/answers-intervals.R",
       "AS_GOOD <- 0.1", "AS_GOOD <- 1e-6",
       "answers-intervals")
mutant("answers in grown grains by a profile", "R/answers-intervals.R", "target > 0.99 else",
       "target > 1.99 else",
       c("fit-growth", "answers-intervals", "thresholds", "thresholds-fit"))
mutant("resamples that never get there are left out", "R/answers-intervals.R",
       "draws[is.na(draws)] <- never", "draws[is.na(draws)] <- mean(draws, na.rm = TRUE)",
       c("answers-intervals", "answers", "thresholds", "thresholds-fit"))
mutant("flat answers have a best value", "R/answers-intervals.R",
       "flat <- use & is_flat(profile, near, narrow)", "",
       c("answers-intervals", "answers", "thresholds", "thresholds-fit"))
mutant("sides of a window exchanged", "R/answers-window.R",
       "ifelse(far < 0, sd(part$lower, u[k]), sd(part$upper, u[k]))",
       "ifelse(far < 0, sd(part$upper, u[k]), sd(part$lower, u[k]))",
       c("answers", "thresholds", "thresholds-fit"))
mutant("likely in a window that is open", "R/answers-window.R",
       "p[flat] <- pmin(of_curve(", "p[flat] <- pmax(of_curve(", "answers-intervals")
mutant("window of a reading is that of the curve", "R/answers-window.R",
       "own <- if (reading) reading_variance(fit) else 0", "own <- 0", c("answers", "answers-intervals"))
mutant("slope of a time in temperature", "R/answers-inverse.R",
       "(up - down) / (2 * h)", "(up - down) / h",
       "answers")
mutant("first grid point is the temperature", "R/answers-inverse.R",
       "length.out = 400L)", "length.out = 4L)",
       c("answers", "answers-intervals", "thresholds", "thresholds-fit"))
