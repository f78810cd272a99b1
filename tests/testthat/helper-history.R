# Histories and parameters used by the tests of histories.

strip_log <- function() {
  data.frame(specimen = "A1", time_s = c(0, 60, 180, 600, 600, 900),
             temp_c = c(20, 300, 365, 370, 20, 20))
}

truth <- c(h_worked = 180, h_soft = 75, ln_k_ref = log(0.1), n = 1.5, q_kj_mol = 180)

# Every model with plausible values.
model_values <- function(model) {
  c(truth, theta0 = 0.2, dh_rec = 5, ln_k_rec = log(0.8), q_rec_kj_mol = 140, dh_hard = 9,
    ln_k_hard = log(10), q_hard_kj_mol = 110)[
    model_terms(model)]
}

# Fraction recrystallised at a reduced time, in the shape of the model.
fraction_of <- function(model, theta, n, theta0 = 0) {
  y <- pmax(theta - theta0, 0)^n
  if (model == "austin_rickett") y / (1 + y) else -expm1(-y)
}

steps <- function(temp_c = c(330, 370, 410, 450), time_min = c(2, 4, 8, 16, 32, 64)) {
  out <- expand.grid(time_min = time_min, temp_c = temp_c)
  data.frame(specimen = paste0("B", out$temp_c), out)
}

# Readings simulated along the histories of thin strip in still air, sd of one reading in HV.
simulated <- function(log, par = truth, sd = 0, each = 1L, ref_c = 370, plan = steps(),
                      model = "jmak") {
  plan <- rbind(data.frame(specimen = "rolled", time_min = 0, temp_c = NA), plan)
  h <- history_points(log)
  at <- join_history(h, plan$specimen, plan$time_min, NULL, seq_len(nrow(plan)))
  p <- forward_parameters(par, model, ref_c)
  value <- rep(par[["h_worked"]], nrow(plan))
  on <- at$place > 0
  marks <- history_marks(h$points, at$place[on], at$passed_min[on])
  value[which(on)[marks$order]] <- .Call(C_sa_call_soften, p$kind, h$points, marks$mark,
                                         marks$mark_first, p$ref_k, p$par)$hardness
  plan$passed_s <- 60 * at$passed_min
  out <- plan[rep(seq_len(nrow(plan)), each = each), ]
  out$hardness <- rep(value, each = each) + stats::rnorm(nrow(out), sd = sd)
  out$scale <- "HV"
  rownames(out) <- NULL
  out
}
