# Help pages on what fit_softening() computes: models, inference, histories, strain and growth.
# Text alone. Parameters and their bounds: src/parts.c; states: src/profile.c, fit-errors.R.

#' Models of softening
#'
#' The hardness of a specimen is a mixture of recrystallised and unrecrystallised metal. These are the
#' equations, the seven models and the parameters of [fit_softening()], [soften()],
#' [simulate_readings()] and [compare_models()].
#'
#' \deqn{H = X H_{soft} + (1 - X) H_u, \quad
#'   X = 1 - \exp(-\max(k t - \theta_0, 0)^n), \quad
#'   k = k_{ref} \exp\left(-\frac{Q}{R}\left(\frac1T - \frac1{T_{ref}}\right)\right)}{H =
#'   X H_soft + (1 - X) H_u, X = 1 - exp(-max(k t - theta0, 0)^n), k = k_ref exp(-(Q/R) (1/T -
#'   1/T_ref))}
#'
#' | model | adds to recrystallisation | parameters |
#' |---|---|---|
#' | `"jmak"` | nothing; \eqn{H_u = H_{worked}} | `h_worked`, `h_soft`, `ln_k_ref`, `n`, `q_kj_mol` |
#' | `"jmak_incubation"` | incubation | those and `theta0` |
#' | `"recovery_jmak"` | logarithmic recovery: \eqn{H_u = H_{worked} - A \ln(1 + k_r t)}, never below `h_soft` | those of `"jmak"` and `dh_rec` (A), `ln_k_rec`, `q_rec_kj_mol` |
#' | `"recovery_jmak_incubation"` | recovery and incubation | those of `"recovery_jmak"` and `theta0` |
#' | `"hardening_jmak"` | anneal hardening: \eqn{H_u = H_{worked} + B (1 - \exp(-k_h t))} | those of `"jmak"` and `dh_hard` (B), `ln_k_hard`, `q_hard_kj_mol` |
#' | `"hardening_recovery_jmak"` | anneal hardening and recovery, never below `h_soft` | those of both |
#' | `"austin_rickett"` | nothing; \eqn{X = (k t)^n / (1 + (k t)^n)}, which ends more slowly | those of `"jmak"` |
#'
#' @section Parameters:
#' Bounds are those of the search unless `lower` and `upper` give others. H is the scale of the fit, `max`
#' and `min` are the highest and the lowest reading, t the times in the data in min.
#'
#' | parameter | meaning | unit | lower | upper |
#' |---|---|---|---|---|
#' | `h_worked` | hardness as rolled | H | 0 | 10 max |
#' | `h_soft` | hardness when softening is complete | H | 0 | 10 max |
#' | `ln_k_ref` | natural logarithm of the rate k in 1/min at `temp_ref_c` | none | -40 - ln(max t) | 40 - ln(min t) |
#' | `n` | exponent | none | 0.1 | 10 |
#' | `q_kj_mol` | activation energy Q | kJ/mol | 0 | 2000 |
#' | `theta0` | incubation, in units of 1/k | none | 0 | 50 |
#' | `dh_rec`, `dh_hard` | amplitudes of recovery and anneal hardening | H | 0 | 1e7 max, 10 max |
#' | `ln_k_rec`, `ln_k_hard` | their rates, as `ln_k_ref` | none | as `ln_k_ref` | as `ln_k_ref` |
#' | `q_rec_kj_mol`, `q_hard_kj_mol` | their energies | kJ/mol | 0 | 2000 |
#' | `k_strain`, `h_strain` | effect of strain on rate and hardness, see [softening-strain] | none | -20, 0 | 20, 5 |
#' | `h_soft_strain` | effect of strain on the soft level, see [softening-strain] | none | -5 | 5 |
#' | `dh_grow` | softening by grain growth, see [softening-strain] | H | 0 | min |
#' | `ln_k_grow`, `q_grow_kj_mol` | its rate and energy | none, kJ/mol | as above | as above |
#'
#' @section Anneal hardening:
#' Cold-worked alpha brass gains some hardness near 200 to 250 degrees Celsius before it softens; a model
#' that can only fall is wrong there. The first-order term with its own rate and energy is this
#' package's choice. Its parameters are determined only by readings well below recrystallisation.
#'
#' Models with anneal hardening can have several minima, some with an amplitude far beyond any metal that
#' trades against n. The search begins where hardening is small beside the softening; give `start` to look
#' elsewhere, or `upper = c(dh_hard = 20)` to bound it.
#'
#' @section Scale:
#' The rule of mixtures applies on a scale that is linear in strength, so Rockwell readings are
#' converted to Vickers first (`scale = "HV"`, see [convert_hardness()]). With `scale = "as read"` the
#' numbers are fitted as they were read; on a Rockwell scale this bends the curve and biases n and k, and
#' `print()` says so.
#'
#' @references Model: Avrami M (1939) J. Chem. Phys. 7, 1103 \doi{10.1063/1.1750380}; Austin J B, Rickett
#'   R L (1939) Trans. AIME 135, 396 (value from memory). Recovery: Kuhlmann D (1948) Z. Phys. 124, 468.
#'   Rule of mixtures in hardness: Humphreys F J, Hatherly M, Recrystallization and Related Annealing
#'   Phenomena.
#' @seealso [fit_softening()]; [compare_models()] to choose; [jmak_fraction()] and [arrhenius_rate()]
#'   for the laws alone.
#' @name softening-models
#' @examples
#' law <- c(h_worked = 162, h_soft = 78, ln_k_ref = log(0.06), n = 1.5, q_kj_mol = 140)
#' hold <- data.frame(time_s = c(0, 3600), temp_c = 330)
#' soften(hold, law, temp_ref_c = 330, time_min = c(0, 4, 8, 16, 32))
#' # the same with recovery
#' soften(hold, c(law, dh_rec = 3, ln_k_rec = 0, q_rec_kj_mol = 140), model = "recovery_jmak",
#'        temp_ref_c = 330, time_min = c(0, 4, 8, 16, 32))
NULL

#' Inference of a softening fit
#'
#' What counts as one observation, which standard error to use when, the test of lack of fit, and what
#' is reported for a parameter that the data do not determine.
#'
#' **Steps.** A step is one specimen at one accumulated time, 0 included. Readings of a step share its
#' errors (furnace, position, specimen), so they are not independent observations. Without a column of
#' specimens each temperature and time is one step. Repeat readings at one temperature and time enter the
#' solver as their mean and weight, which gives exactly the same least-squares fit.
#'
#' **Standard errors**, chosen by `se`:
#'
#' | `se` | errors taken into account | use it |
#' |---|---|---|
#' | `"components"` (default) | specimens, furnace temperature, operators, steps, readings | for a bench with a furnace; see [softening-errors] |
#' | `"cluster"` | steps and readings, of any size in each step | where furnace and specimens add nothing; with Huber loss, where it is the default |
#' | `"steps"` | steps and readings, alike in all steps | the same, with few steps |
#' | `"model"` | readings alone | if each reading has a specimen and an anneal of its own |
#'
#' * `"components"`: generalised least squares, so estimates differ a little from the others; intervals
#' from a mixture over the standard deviations, not symmetric.
#' * `"cluster"`: sandwich over steps, the residual of each divided by the root of one minus its leverage,
#'   with t quantiles on steps minus parameters. With Huber loss the residuals are those of
#'   M-estimation: bent, and divided by the share that is not bent. With some 28 steps that scatter
#'   alike 95 % intervals cover 87 (Q) to 95 %, those of `"steps"` 94 to 96 %.
#' * `"steps"`: the variance of the step means about the curve, pooled; t quantiles on steps minus
#' parameters.
#' * `"model"`: the usual formula for independent readings; with errors that the readings of a step
#'   share, its intervals cover far too seldom. t quantiles on readings minus parameters.
#'
#' With one specimen at each temperature and a furnace off by 1 to 2 K, 95 % intervals of Q cover about
#' 70 to
#' 80 % by `"cluster"`, 40 to 70 % by `"steps"`, 92 to 98 % by `"components"`.
#'
#' **Lack of fit.** `summary()` and `anova()` compare the misfit of the means of each temperature
#' and time with the scatter about these means, by an F test.
#' Errors common to all readings of a step are misfit to the
#' curve, not scatter within the step, so the test reacts to them too. `NA` without repeat readings and
#' with Huber loss.
#'
#' **Shape.** Under components of error the step means are tested for what they have in common off the
#' curve: two sine waves of the softened fraction, with the parameters, an offset of each specimen and an
#' error of each furnace temperature taken out before, by an F test (Ramsey 1969, from memory). Where it
#' rejects at 0.001, prints, reports and notes of answers say that the curve does not describe the readings;
#' intervals assume the curve and are not widened, since no factor is right for all answers. Beside them
#' stands how many times as wide they would cover the misfit: its root mean square over that expected from
#' the scatter (the root of F), in the sense of the scale factor of discrepant results (Birge 1932, from
#' memory). In 40 benches whose softening was logistic 28 fits by `"jmak"` said so; their 95 % intervals of
#' the times to 0.5, 0.9 and 0.95 held the truth in 100, 0 and 0 %, so widened in 100, 100 and 96 %. Benches
#' with few or short steps seldom show a wrong shape.
#'
#' **States and limits.** `fit$states` has for each parameter:
#'
#' | state | meaning | standard error |
#' |---|---|---|
#' | `determined` | an interval with two ends | yes |
#' | `at lower bound`, `at upper bound` | the estimate lies on a bound that is an answer (the lower one of n, energies, `theta0`, amplitudes and `h_strain`; any given by you); the interval is in `fit$limits` | `NA` |
#' | `only an upper limit`, `only a lower limit` | one end is known, see `fit$limits` | `NA` |
#' | `not determined` | neither end is known | `NA` |
#' | `fixed` | fixed by `fixed`, or an energy with readings at one temperature only, which is then `NA` | `NA` |
#'
#' A parameter with a wide interval, at a bound, or in a direction the data do not identify is followed
#' along its profile; so are all where softening was over at the first reading of a temperature, or is
#' seen at one alone, and the valley of the sum of squares goes on beyond the linear interval. Once one is
#' open, or such a valley is bent, every interval is that of its profile; standard errors follow, but
#' for `"components"`. A side is open if the sum of squares does not rise by the threshold of the `level`
#' interval (of the scatter between treatments or of the readings, whichever is larger) before the search
#' limit (the bounds in [softening-models]). With `"components"` the profile uses the fixed covariance of
#' the errors. With Huber loss no profile is followed: bounds and directions the data do not identify are
#' reported, limits are not. One warning of class `softanneal_warning_fit` names all parameters that are
#' not determined, and what readings would determine them.
#'
#' @references Scale factor: Birge R T (1932) Phys. Rev. 40, 207.
#'   Cluster covariance: MacKinnon J G, White H (1985) J. Econometrics 29, 305
#'   \doi{10.1016/0304-4076(85)90158-7}; Bell R M, McCaffrey D F (2002) Survey Methodology 28, 169.
#'   Robust: Huber P J (1981) Robust Statistics \doi{10.1002/0471725250}. Components: see
#'   [softening-errors]. Lack of fit: Draper N R, Smith H, Applied Regression Analysis. Profiles: Bates D
#'   M, Watts D G (1988) Nonlinear Regression Analysis and Its Applications \doi{10.1002/9780470316757}.
#' @seealso [fit_softening()]; [softening-errors] for the description of errors;
#'   [components_of_error()], [identifiability()], [profile.softanneal_fit_softening()],
#'   [resample_fit()], [fit-methods].
#' @name softening-inference
#' @examples
#' readings <- example_data("bellbrass_readings")
#' fit <- fit_softening(readings)
#' # standard errors of Q, least protective last
#' sapply(c("components", "cluster", "steps", "model"),
#'        function(se) sqrt(vcov(fit, type = se)["q_kj_mol", "q_kj_mol"]))
#' fit$states
#' anova(fit)
NULL

#' Softening fits along temperature histories
#'
#' By default [fit_softening()] takes each specimen as at its temperature for exactly its time. With
#' `history`, the thermocouple log of each specimen or one from [anneal_history()], the rates follow the
#' real temperature.
#'
#' **Additivity.** k t is replaced by the integral of k(T(t)) dt, for each process with its own energy. The
#' temperature column only labels such readings; in the fit their `time_min` is the equivalent time at that
#' temperature at the fitted Q (see [equivalent_time()]).
#'
#' **Format.** A data frame with the columns `specimen`, `time_s` (s) and `temp_c` (degrees Celsius), one
#' row per point, linear between points. Without a specimen column one history applies to all readings.
#'
#' **Joining.** A reading is joined to the history of its `specimen`, by the first of these rules
#' that applies:
#'
#' 1. at the log time in s in the column named by `log_time`; or, where the history holds the events of a
#'    [bench_page()], when the specimen was cold after its `step`;
#' 2. if the history has a column `furnace_min` (accumulated time in the furnace in min), as from
#'    [add_steps()]: at the last point with the accumulated time of the reading, which is after the cooling
#'    of its step. Where fewer than half of the times of a specimen are those of steps to the last digit,
#'    as in real logs, at the step that ends nearest, within a quarter of its length and of the next one's;
#'    else at the step with the number in the column `step` of both tables, within a quarter of the
#'    accumulated time. A message tells by how much they differ;
#' 3. at its time in min after the first point of the log.
#'
#' Readings at time zero are as rolled and need no history. A reading without a log, or outside it, stops
#' with an error. So does one that cannot have been taken where it falls, for hardness is read on a cold
#' specimen after its step: at a hot point of a log that cools, before the first step, at a log time by
#' which the specimen had been in the furnace for another time than the reading says (by more than a
#' quarter and a minute); and, by rule 3, in a log with pauses between steps. A log that never cools is
#' taken as it is.
#'
#' **Bias without a history.** Ignoring a heat-up comparable with the hold biases ln k down and n up,
#' and Q where the hot steps are the short ones. `summary(fit, thickness_mm = )`, or a column `thickness_mm`
#' of the readings, tells how much where
#' it is more than a tenth of a standard error (brass, to first order, specimens on a block).
#'
#' `history` cannot be combined with `strain` or with `n_by = "by temperature"`; `growth_exponent` can.
#'
#' @references Additivity: Scheil E (1935) Arch. Eisenhuettenwes. 8, 565; Cahn J W (1956) Acta Metall. 4,
#'   572.
#' @seealso [read_history()], [find_steps()], [anneal_history()], [heat_up()], [soften()],
#'   [equivalent_time()]; `vignette("joining", package = "softanneal")` for a log and its readings.
#' @name softening-history
#' @examples
#' law <- c(h_worked = 160, h_soft = 78, ln_k_ref = log(0.06), n = 1.6, q_kj_mol = 140)
#' schedule <- data.frame(specimen = rep(c("A", "B", "C"), each = 4),
#'                        temp_c = rep(c(320, 345, 370), each = 4),
#'                        time_min = c(5, 15, 30, 60, 4, 8, 16, 32, 2, 4, 8, 16))
#' log <- anneal_history(schedule, thickness_mm = 0.95)
#' hard <- soften(log, law, temp_ref_c = 330)
#' # what is read is the hardness after the cooling of each step
#' last <- !duplicated(log[c("specimen", "step")], fromLast = TRUE)
#' readings <- data.frame(schedule, hardness = hard$hardness[last], scale = "HV")
#' set.seed(1)
#' readings$hardness <- readings$hardness + rnorm(nrow(readings))
#' coef(fit_softening(readings, history = log, temp_ref_c = 330))
#' coef(fit_softening(readings, temp_ref_c = 330)) # as if heated at once
NULL

#' Several reductions, exponents and grain growth in one softening fit
#'
#' Three extensions of every model of [fit_softening()]: `strain` fits several cold reductions together
#' (`h_soft_by = "by strain"`: with a soft level for each),
#' `n_by = "by temperature"` gives each temperature its own n, and `growth_exponent` adds softening by grain
#' growth.
#'
#' @section Several cold reductions:
#' `strain` is the column of the strain of cold work (true or effective, see [cold_work()]; one meaning
#' throughout). More cold work recrystallises faster and starts harder:
#' \deqn{\ln k = \ln k_{ref} + s \ln\frac{\varepsilon}{\varepsilon_{ref}} - \frac{Q}{R}
#'   \left(\frac1T - \frac1{T_{ref}}\right), \quad
#'   H_{worked}(\varepsilon) = H_{worked} \left(\frac{\varepsilon}{\varepsilon_{ref}}\right)^w}{ln k
#'   = ln k_ref + s ln(strain/strain_ref) - (Q/R) (1/T - 1/T_ref), H_worked(strain) = H_worked
#'   (strain/strain_ref)^w}
#' with the parameters `k_strain` (s) and `h_strain` (w), no unit. The worked hardness follows a power
#' law, as flow stress does: for two reductions this is as good as a level for each, and for more it
#' allows predictions for reductions between them; `summary()` and [plot_residuals()] show if the levels
#' do not lie on such a law.
#'
#' Common to all reductions: recovery, anneal hardening, incubation, n and, by default, `h_soft`. More cold
#' work leaves finer grains when recrystallisation is just over, and these are harder; where grain growth has
#' levelled the sizes (70/30 brass of 33 to 55 % reduction after 30 min at 600 degrees Celsius) the soft level
#' is common. `h_soft_by = "by strain"` lets it follow a power of its own, H_soft (strain/strain_ref)^v with
#' `h_soft_strain` (v), and `anova()` of both fits tests that, as does the p value of `h_soft_strain` in
#' `summary()`. The power law fails near the minimum strain for
#' recrystallisation, about 5 % reduction: strains below 0.05 draw a warning.
#'
#' @section Exponent by temperature:
#' Each temperature gets its own n, `n_290`, `n_330` and so on, with one rate law. `anova()` of this fit
#' and that with one n is the F test of whether they differ. Such a fit cannot predict at other
#' temperatures, and [temp_for()] and [process_window()] refuse it.
#'
#' @section Grain growth:
#' `growth_exponent` is the exponent m of the law \eqn{d^m = d_0^m + \int K_g dt}{d^m = d_0^m + integral of
#' K_g dt} (2, 3 or 4): recrystallised metal softens further as its grains grow. By the Hall-Petch relation
#' \eqn{H = H_i + k_H d^{-1/2}} its hardness is
#' \deqn{H_{soft}(t) = H_{soft} - F \left(1 - (1 + \theta_g)^{-1/(2m)}\right), \quad
#'   \theta_g = \int \frac{K_g}{d_0^m} dt}{H_soft(t) = H_soft - F (1 - (1 + theta_g)^(-1/(2 m))),
#'   theta_g = integral of K_g / d_0^m dt}
#' with the parameters `dh_grow` (F = H_soft - H_i, between zero and the lowest reading), `ln_k_grow` (of
#' K_g / d_0^m in 1/min at `temp_ref_c`) and `q_grow_kj_mol`. Grain diameter cannot be estimated from
#' hardness alone, and m must be supplied. Unless the grains grow a great deal, only the product of
#' `dh_grow` and the rate shows: fix `dh_grow` then, with H_i from [fit_hall_petch()].
#'
#' The growth runs from the start of the anneal, so that it follows a temperature history as the
#' other rates do. In fact, growth starts after recrystallisation: with exact readings of growth that starts
#' at 99 % recrystallised, the curve is met within 0.5 HV and `h_soft` within 3 % where k is 35 times the
#' rate of growth; at 3.5 times the curve is still met within 1 HV, but `h_soft` then is 10 HV too
#' high, since it
#' stands for time zero.
#'
#' @references Power law of hardening: Hollomon J H (1945) Trans. AIME 162, 268 (from memory). Grain size
#'   of brass after cold work of 33 to 55 %: J. Korean Inst. Metals (article 133504 of that journal).
#'   Minimum cold work: Callister W D, Materials Science and Engineering, figure 7.23. The power of strain
#'   in the rate is an empirical form, and this package's choice. Grain growth: Burke J E, Turnbull D
#'   (1952) Prog. Metal Phys. 3, 220 \doi{10.1016/0502-8205(52)90009-9} (from memory). Hall E O (1951)
#'   Proc. Phys. Soc. B 64, 747 \doi{10.1088/0370-1301/64/9/303}; Petch N J (1953) J. Iron Steel Inst.
#'   174, 25 (from memory).
#' @seealso [fit_softening()], [cold_work()], [fit_hall_petch()], [grain_growth()], [softening-models].
#' @name softening-strain
#' @examples
#' # two reductions: the harder rolled sheet softens faster
#' slight <- simulate_readings(scale = "HV", seed = 1)
#' severe <- simulate_readings(c(h_worked = 175, h_soft = 78, t50_rex_min = 6, n = 1.5,
#'                               q_kj_mol = 140), scale = "HV", seed = 2)
#' slight$strain <- 0.4
#' severe$strain <- 0.8
#' severe$specimen <- paste0("severe-", severe$specimen)
#' both <- rbind(slight, severe)
#' fit <- fit_softening(both, strain = strain)
#' coef(fit)
#' # one soft level, or one that depends on the strain?
#' anova(fit, fit_softening(both, strain = strain, h_soft_by = "by strain"))
#'
#' # an exponent for each temperature, or one for all?
#' cool <- slight[slight$temp_c %in% c(290, 330), ]
#' anova(fit_softening(cool), fit_softening(cool, n_by = "by temperature"))
NULL
