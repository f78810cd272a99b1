# The mutants of mutate.R: name, file, old text, new text, test files concerned. Thresholds, decisions,
# signs and factors, by file.

# --- planning
mutant("tie goes to the shorter work left", "src/timetable_book.c", "(start <= best && left > most)",
       "(start <= best && left < most)", "plan-timetable: of steps that may begin")
mutant("blocks overlap", "src/timetable_book.c", "if (f->waiting[k] > 0)\n            return NAN;",
       "if (f->waiting[k] > 9)\n            return NAN;", "plan-timetable")
mutant("no change time", "src/timetable_book.c", "fmin(opens + run->change_min,", "fmin(opens,",
       "plan-timetable")
mutant("cooling does not count", "src/timetable_book.c",
       "const double span = inside + fmax(run->cool_min[step], run->handling_min);",
       "const double span = inside + run->handling_min;", "plan-timetable: a step and its cooling")
mutant("session one too long", "src/timetable_book.c",
       "if (t + span > (session + 1.0) * run->session_min + SA_EARLY)",
       "if (t + span > (session + 2.0) * run->session_min + SA_EARLY)",
       "plan-timetable: a step and its cooling")
mutant("smallest load first", "src/timetable.c", "if (furnace[k] < 0 && length > most) {",
       "if (furnace[k] < 0 && (most < 0 || length < most)) {", "plan-timetable",
       equivalent = paste("where the search begins; simulated annealing over the furnaces ends at",
                          "the same timetables in all cases held against a full search"))
mutant("search goes downhill only", "src/timetable.c",
       "if (height <= now || log(chance) < (now - height) / heat) {", "if (height <= now) {",
       "plan-timetable: the search leaves")
mutant("bound without change times", "src/timetable_bound.c",
       "sa_whole_minute(out + x->run->change_min);", "sa_whole_minute(out);",
       "plan-timetable")

# --- choice of the test, layout
mutant("capacity of the densest way", "R/choose-layout.R", "max(layout_ways(free, pitch, pattern)$count)",
       "min(layout_ways(free, pitch, pattern)$count)", "choose")
mutant("staggered rows no closer", "R/choose-layout.R", "(if (staggered) 2 else 1)", "1", "choose")
mutant("gap of rows two apart", "R/choose-layout.R", "ifelse(ways$rows > 2, 2 * ways$dy, Inf)",
       "Inf", "choose")
mutant("shorter rows forgotten", "R/choose-layout.R", "odd * (1L - ways$extra)", "0 * odd", "choose")
mutant("widest way last", "R/choose-layout.R", "order(-ways$gap, ways$count)",
       "order(ways$gap, ways$count)", "choose")
mutant("allowance of a recovered depth", "R/choose-layout.R", "ROCKWELL_ALLOWANCE <- 0.20",
       "ROCKWELL_ALLOWANCE <- 0.05", c("choose", "external-choose"))
mutant("discs of the double size", "R/choose-layout.R", "radius <- layout$spacing$diameter_mm / 2",
       "radius <- layout$spacing$diameter_mm", "choose")
mutant("spread order by block", "R/choose-layout.R", "(j - 1) * steps + k", "(k - 1) * n + j", "choose")

# --- precision
mutant("deviation from the others", "R/groups.R",
       "away[far] * n / (n - 1) <= resolution", "away[far] <= resolution",
       "thresholds: one step of the dial")
mutant("scatter of rounding left out", "R/groups.R", "stats$sd^2 + resolution^2 / 12",
       "stats$sd^2",
       c("precision", "external-precision", "thresholds", "thresholds-fit"))
mutant("only the last round is an outlier", "R/groups.R",
       "all$round <= last[all$group]", "all$round == last[all$group]",
       c("precision", "external-precision"))
mutant("normal instead of t", "R/groups.R",
       "stats::qt((1 + level) / 2, pmax(n - 1L, 1L)) * se", "stats::qnorm((1 + level) / 2) * se",
       c("precision", "external-precision"))
mutant("n instead of n - 1", "R/groups.R", "sqrt(square / pmax(n - 1L, 1L))",
       "sqrt(square / n)", c("precision", "external-precision"))
mutant("mean not corrected", "R/groups.R", "mean <- mean + ifelse(n > 0L, slip / n, 0)",
       "mean <- mean + 0",
       c("precision", "thresholds", "thresholds-fit"))
mutant("degrees of freedom rounded up", "R/precision-budget.R", "floor(total_df + 1e-9)",
       "ceiling(total_df)", c("precision", "external-precision"))
mutant("numeric slope of second order", "R/precision-budget.R",
       "(at(-2) - 8 * at(-1) + 8 * at(1) - at(2)) / (12 * step)", "(at(1) - at(-1)) / (2 * step)",
       c("precision", "external-precision"))
mutant("equivalence at half the level", "R/precision-baseline.R",
       "half_eq <- stats::qt(level, spread$df) * se",
       "half_eq <- stats::qt((1 + level) / 2, spread$df) * se",
       c("precision", "external-precision", "thresholds", "thresholds-fit"))
mutant("unchanged by the smaller p", "R/precision-baseline.R", "if (max(p) <= alpha) \"unchanged\"",
       "if (min(p) <= alpha) \"unchanged\"", c("precision", "external-precision"))
mutant("paired rounding", "R/precision-baseline.R",
       "se <- step / sqrt(12) * if (paired) sqrt(2 / length(now)) else",
       "se <- step / sqrt(12) * if (paired) sqrt(1 / length(now)) else",
       c("precision", "thresholds", "thresholds-fit"))

# --- fractions, grains, master curves, peaks, lifetimes
mutant("limits looked for at 15 %", "R/recrystallisation-limits.R",
       "se > 0.15 * abs(fit$coefficients[[\"q_kj_mol\"]])",
       "se > 1.5 * abs(fit$coefficients[[\"q_kj_mol\"]])", "thresholds-bench: from a standard error")
mutant("profile rises by one t", "R/recrystallisation-limits.R",
       "fit$deviance - (t * fit$sigma)^2", "fit$deviance - t * fit$sigma^2", "grain-fractions")
mutant("edge of the search is an end", "R/recrystallisation-limits.R",
       "if (far == edge) return(if (natural) edge else beyond)", "if (far == edge) return(edge)",
       "grain-fractions")
mutant("corner grain of a rectangle", "R/grain-counts.R", "(if (shape == \"rectangle\") 1 else 0)",
       "0", c("grain", "external-grain"))
mutant("cut grains whole", "R/grain-counts.R", "x$intercepted / 2", "x$intercepted", c("grain",
       "external-grain"))
mutant("accuracy told from 10 %", "R/grain-counts.R", "s$accuracy_pct > 10", "s$accuracy_pct > 100",
       "thresholds-bench: counts of grains")
mutant("growth from nothing", "R/grain-growth.R", "d0_mm == 0 | growth > 1e20", "d0_mm == 0",
       c("grain", "external-numbers"))
mutant("grains may shrink", "R/grain-growth.R", "x$grain_mm < x$d0_mm", "x$grain_mm < x$d0_mm / 2",
       "grain")
mutant("line beyond the last grain", "R/grain-hall-petch.R", "0.05 * diff(range(points$x))",
       "0.5 * diff(range(points$x))",
       c("grain", "plots", "thresholds", "thresholds-fit"))
mutant("frequency factor at the reference", "R/kissinger.R",
       "1000 * q / GAS_CONSTANT / (ref + ZERO_CELSIUS)", "0", c("master", "external-master"))
mutant("peaks over the square of T", "R/kissinger.R",
       "points <- data.frame(x = inverse(temp), y = log(rate / (temp + ZERO_CELSIUS)^2))",
       "points <- data.frame(x = inverse(temp), y = log(rate / (temp + ZERO_CELSIUS)))",
       "thresholds-bench: peaks lie")
mutant("constant moves the other way", "R/master.R",
       "LOG10_PER_HOUR[[from]] - LOG10_PER_HOUR[[to]]", "LOG10_PER_HOUR[[to]] - LOG10_PER_HOUR[[from]]",
       c("master", "external-master"))
mutant("first valley of the profile", "R/master-fit.R", "near <- which.min(rss)", "near <- 2L",
       c("master", "external-master", "thresholds", "thresholds-fit"))
mutant("far hazard", "R/lifetime-solve.R", "second = ifelse(event, -1, -hazard * (hazard - z))",
       "second = ifelse(event, -1, -hazard * hazard)", c("master-lifetime", "external-master"))
mutant("open upwards", "R/lifetime-solve.R", "if (colder && !hotter) 1L else if (hotter && !colder) -1L",
       "if (colder && !hotter) -1L else if (hotter && !colder) 1L", "master-lifetime")
mutant("half the chi-square", "R/lifetime-solve.R", "2 * (top - lifetime_profile(d, q))",
       "(top - lifetime_profile(d, q))", "master-lifetime")

# --- class data
mutant("which parameters differ by adding", "R/class.R",
       "added <- is_level(terms) | is_amplitude(terms) | is_rate(terms)",
       "added <- is_level(terms) | is_amplitude(terms)", "thresholds: a relative difference of a class")

# --- C: scales
mutant("circle of the slopes", "src/scale.c", "if (size > 9.0) {", "if (size > 16.0) {",
       "c: scale")
mutant("mean of the secants", "src/scale.c",
       "(secant_of(x, y, i - 1) + secant_of(x, y, i)) / 2.0", "secant_of(x, y, i)",
       c("scales", "external-numbers"))
mutant("edge of the table is outside", "src/scale.c",
       "if (at >= low && at <= high) {\n            double steps",
       "if (at >= low && at < high) {\n            double steps",
       "c: scale")
mutant("slope of the cubic", "src/scale.c", "slope = s->slope + t * (2.0 * s->square + t * 3.0 * s->cube);",
       "slope = s->slope + t * (2.0 * s->square + t * s->cube);", "scales")

# --- C: sheet in the furnace
mutant("step control", "src/heat.c", "#define STEP_TOLERANCE 1e-10", "#define STEP_TOLERANCE 1e-5",
       "c: heat")
mutant("radiation of the other face", "src/heat.c", "piece->emissivity_b * SA_STEFAN_BOLTZMANN * (b4 - t4)",
       "piece->emissivity_b * SA_STEFAN_BOLTZMANN * (a4 - t4)", "c: heat")
mutant("heat capacity at the mean", "src/heat.c", "piece->heat_slope * (temp - piece->heat_k)",
       "piece->heat_slope * temp * 0", c("heat", "external-heat"))

# --- C: histories
mutant("coarse panels", "src/history.c", "#define PANEL_EXPONENT 0.25", "#define PANEL_EXPONENT 4.0",
       "c: history")
mutant("wide panels", "src/history.c", "#define PANEL_STRETCH 0.05", "#define PANEL_STRETCH 0.6",
       c("external-integrals", "external-history"))
mutant("third derivative left out", "src/history.c", "rise * (1.0 / 1680.0) * f3", "rise * 0.0 * f3",
       "c: history")
mutant("reference never moves", "src/history.c", "} else if (top > w->reference + HEADROOM) {",
       "} else if (top > w->reference + 1e9) {", "c: history")
mutant("absolute zero is warm", "src/history.c", "if (temp <= 0.0)", "if (temp <= -1.0)", "c: history")

# --- C: design
mutant("steps more than allowed", "src/design.c", "p->steps <= b->d->max_steps",
       "p->steps <= b->d->max_steps + 1", "c: design")
mutant("minutes more than there are", "src/design.c", "<= b->minutes * (1.0 + 1e-12)",
       "<= b->minutes * 1.5", "c: design")
mutant("heating up costs nothing", "src/design.c", "sum += d->heat_up[temp];", "sum += 0.0;",
       "c: design")
mutant("determinant without its root", "src/design_value.c", "return sum / (double)s->p;", "return sum;",
       "c: design")
mutant("draws that do not count", "src/design_value.c",
       "if (!counted[r])\n            continue;",
       "if (!counted[r] && r > d->n_draw)\n            continue;",
       "c: design")
mutant("first reading left out", "src/design_value.c",
       "add_outer(base, gradient, s.p, d->at_start);", "add_outer(base, gradient, s.p, 0.0 * d->at_start);",
       "c: design")

# --- C: linear algebra, replicates
mutant("singular values of rank", "src/linear.c",
       "singular[l] > tolerance * big", "singular[l] > 0.0 * big",
       "c: least_squares")
mutant("cross terms once", "src/linear.c", "l == j ? v[j + j * p] : v[j + l * p] + v[l + j * p]",
       "v[j + l * p]", c("fit-least-squares", "fit-methods"))
mutant("equal within 1e-9", "src/replicates.h", "<= 1e-9 * (x > y ? x : y)",
       "<= 1e-7 * (x > y ? x : y)", "thresholds: temperatures and times within")
mutant("equal to the last digit", "src/replicates.h", "<= 1e-9 * (x > y ? x : y)",
       "<= 0.0 * (x > y ? x : y)", "thresholds: temperatures and times within")
mutant("clusters of one specimen", "src/replicates.c",
       "new_condition || r->specimen[k] != r->specimen[before]", "new_condition",
       c("fit", "fit-edges", "c"))

# --- what the data say
mutant("normal interval of step means", "R/plots.R",
       "stats::qt(0.5 + level / 2, pmax(n - 1, 1)) * s", "stats::qnorm(0.5 + level / 2) * s", "plots-data")
mutant("softening idle below one half", "R/fit-settle.R", "IDLE <- 0.1", "IDLE <- 0.5", "thresholds-fit")
mutant("softening over at one half", "R/fit-settle.R", "OVER <- 0.9", "OVER <- 0.5", "thresholds-fit")
mutant("reading that settles nothing", "R/identify.R", "gap[k] < max(2 * sqrt(noise), least)",
       "gap[k] < max(20 * sqrt(noise), least)", "thresholds-fit")
mutant("soft plateau reached at one half", "R/identify.R", "all(p$last < 0.95, na.rm = TRUE)",
       "all(p$last < 0.5, na.rm = TRUE)", "thresholds-fit")
mutant("any gain is softening", "src/batch_judge.c",
       "!(gain / q > crit * sum / df)", "!(gain / q > 0.0 * crit * sum / df)",
       "fit-each")
mutant("gross misfit forty times", "src/batch.c", "> 4.0 * g->rep.pure_error / df_pure",
       "> 400.0 * g->rep.pure_error / df_pure", "thresholds: many fits search all starts")
mutant("misfit share", "src/batch.c", "#define MISFIT_SHARE 0.02", "#define MISFIT_SHARE 0.5",
       "thresholds: many fits search all starts")
mutant("clamp forgets grain growth", "src/model.c", "const int clamped = at.falls && unrec < soft;",
       "const int clamped = at.falls && unrec < par[SA_P_SOFT];", "thresholds: unrecrystallised metal")
mutant("clamp of one condition", "src/model.c", "if (at.falls && unrec < soft) {",
       "if (at.falls && unrec < par[SA_P_SOFT]) {",
       c("fit-growth", "external-fit", "thresholds", "thresholds-fit"))
mutant("wide only at half the drop", "src/parts.c", "#define OF_LEVEL {0.25,", "#define OF_LEVEL {25.0,",
       c("few-data", "identify", "fit-edges", "thresholds", "thresholds-fit"))
mutant("energies never wide", "src/parts.c",
       "#define OF_ENERGY {0.0, 0.35,", "#define OF_ENERGY {0.0, 35.0,",
       c("few-data", "identify", "fit-edges", "thresholds", "thresholds-fit"))
mutant("wide step along a profile", "src/profile_walk.c",
       "shift[m++], pb->lower[j]", "0.0 * shift[m++], pb->lower[j]",
       c("fit-properties", "few-data", "thresholds", "thresholds-fit"))
mutant("draws of a fit not clipped", "R/plan-guess.R", "pmin(pmax(shift[, positive], -2), 2)",
       "shift[, positive]", "thresholds-fit")
mutant("draws that rise", "R/plan-guess.R", "pmax(sets[, \"h_worked\"], sets[, \"h_soft\"] + least)",
       "sets[, \"h_worked\"]", "thresholds-fit")

# --- register, starts
mutant("sign of recovery", "src/parts.c", "{\"recovery\", SA_T_RECOVERY, 0, -1.0,",
       "{\"recovery\", SA_T_RECOVERY, 0, 1.0,", c("models", "external-fit"))
mutant("growth works on the worked level", "src/parts.c", "{\"growth\", SA_T_GROWTH, 1, -1.0,",
       "{\"growth\", SA_T_GROWTH, 0, -1.0,", "fit-growth")
mutant("slope of coarsening", "src/parts.c", "*slope = -power * logistic * exp(power * log_growth);",
       "*slope = -logistic * exp(power * log_growth);", "fit-growth")
mutant("slope of saturation", "src/parts.c", "theta > 745.0 ? 0.0 : theta * exp(-theta)",
       "theta > 745.0 ? 0.0 : exp(-theta)",
       c("models", "external-fit", "thresholds", "thresholds-fit"))
mutant("inverse of the slow shape", "src/parts.c", "(1.0 - share) / share : -log(share)",
       "share / (1.0 - share) : -log(share)", "models-rickett")
mutant("reach of the slow shape", "src/parts.c",
       "fmax(12.0, 40.0 / n) : 12.0", "3.0 : 12.0", "models-rickett")
mutant("weights of the double-log line", "src/starts.c",
       "return w * w * s->root_weight[i] * s->root_weight[i];",
       "return s->root_weight[i] * s->root_weight[i];",
       c("fit", "models"), equivalent = "where the search begins; the minimum found is the same")
mutant("levels beyond their bounds stay", "src/levels.c", "if (beyond > most) {", "if (beyond > 1e30) {",
       c("models", "fit-edges"), equivalent = "where the search begins; the minimum found is the same")
mutant("held levels are solved for", "src/levels.c", "h -= given[j] * jac[i + (size_t)level[j] * m];",
       "h -= 0.0 * given[j] * jac[i + (size_t)level[j] * m];", c("fixed", "fit-growth"),
       equivalent = "where the search begins; the minimum found is the same")
mutant("worst start first", "src/starts.c", "while (k > 0 && r->score[k - 1] > score) {",
       "while (k > 0 && r->score[k - 1] < score) {",
       c("models", "external-fit", "thresholds", "thresholds-fit"))

# --- computed data of pictures
mutant("margin of the Avrami plot", "R/answers-rates.R", "margin <- 3 * stats::median(unit)",
       "margin <- stats::median(unit) / 3", "plots-data")
mutant("bars of the Avrami plot on one side", "R/plots-avrami.R",
       "out$high <- ifelse(inside, clamp(x + half), NA_real_)",
       "out$high <- ifelse(inside, clamp(x), NA_real_)",
       "plots-data")
mutant("scatter of means by n", "R/answers-rates.R", "if (df > 0L) sqrt(sum(r^2) / df) else NA_real_",
       "if (df > 0L) sqrt(sum(r^2) / length(r)) else NA_real_", "plots-data")
mutant("t50 of groups without n", "R/plots-groups.R", "ln_time <- y / par[2L, ] - par[1L, ]",
       "ln_time <- y - par[1L, ]", "plots-data")
mutant("covariances of groups once", "R/plots-groups.R", "for (i in 1:3) for (j in 1:3) {",
       "for (i in 1:3) for (j in 1:i) {", "plots-data")
mutant("rates at the wrong reference", "R/answers-rates.R",
       "start[rates] <- start[rates] + start[energies] * e",
       "start[rates] <- start[rates]",
       c("plots-data", "thresholds", "thresholds-fit"))
mutant("map lines at the flat ends", "R/plots-maps.R", "out[out > span[1L] + 0.06 * diff(span)",
       "out[out > span[1L] - 9 * diff(span)", "plots-data")
mutant("map of rounding", "R/plots-maps.R", "if (diff(span) < 0.005 * span[2L]) return(numeric())",
       "if (diff(span) < 0) return(numeric())", "plots-data")
mutant("all of a map inside", "R/plots-maps.R",
       "curves$temp_c >= read$temp_c[1L] & curves$temp_c <= read$temp_c[2L] &",
       "curves$temp_c >= read$temp_c[1L] &", "plots-data")
mutant("two readings are one-sided", "R/plots-residuals.R",
       "length(x) > 2L &&", "length(x) > 0L &&", "plots-data")
mutant("cells reach the neighbours", "R/plots-window.R", "middle <- (u[-1L] + u[-length(u)]) / 2",
       "middle <- u[-1L]", "plots-data")
mutant("early times all shown", "R/plots.R", "if (max(after) / min(after) > 3e4) max(after) / 1e4 else 0",
       "0", "plots-data")
