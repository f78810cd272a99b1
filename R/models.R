# The register of softening models, asked of the compiled code once: names and order of models,
# what each parameter is (its role, process, bounds), and the words and units that go with it. No
# other file lists models or their parameters. See src/parts.h. With it come the names of what C
# counts: states of parameters, ends of the iteration, statuses of groups.

MODELS <- new.env(parent = emptyenv())

register <- function() {
  if (is.null(MODELS$known)) {
    x <- .Call(C_sa_call_parts)
    x$terms <- list2DF(x$terms)
    names(x$models$terms) <- x$models$name
    MODELS$known <- x
  }
  MODELS$known
}

model_names <- function() register()$models$name

# Those compared with each other unless the caller asks for others.
usual_models <- function() model_names()[register()$models$usual]

check_model_name <- function(model, arg = "model") check_choice(model, model_names(), arg)

# Parameters of a model for one cold reduction, one exponent, no grain growth.
model_terms <- function(model) register()$models$terms[[model]]

model_words <- function(model) register()$models$words[[match(model, model_names())]]

# No processes besides recrystallisation, no delay.
is_plain_model <- function(model) register()$models$plain[[match(model, model_names())]]

# Number for C and parameters in order. Several exponents carry their temperature in the name.
model_setup <- function(model, strain = FALSE, growth = NULL, exponents = NULL, soft_strain = FALSE) {
  x <- .Call(C_sa_call_model, model,
             list(strain = strain, soft_strain = soft_strain, growth = as.integer(growth %or% 0L),
                  exponents = max(length(exponents), 1L)))
  if (length(exponents)) x$terms[x$terms == "n"] <- exponents
  x
}

model_code <- function(model) model_setup(model)$kind

most_exponents <- function() register()$most_exponents

# Names of states of parameters and of ends of the iteration, which C numbers from 0.
parameter_states <- function(state) register()$states[state + 1L]

is_undetermined <- function(states) states %in% register()$states[5:7]

end_words <- function(end) register()$ends[end + 1L]

has_converged <- function(end) end >= 0L & end < register()$converged_ends

# The parameter whose row a term shares: n for each n_<temperature>.
base_term <- function(terms) {
  terms[startsWith(terms, "n_")] <- "n"
  terms
}

# Rows of the register of some terms.
term_rows <- function(terms) {
  known <- register()$terms
  known[match(base_term(terms), known$name), ]
}

term_role <- function(terms) term_rows(terms)$role

# "recrystallisation", "recovery", "hardening", "growth"; "" for what trades with no rate.
term_process <- function(terms) term_rows(terms)$process

is_level <- function(terms) term_role(terms) %in% "level"
is_amplitude <- function(terms) term_role(terms) %in% "amplitude"
is_rate <- function(terms) term_role(terms) %in% "rate"
is_energy <- function(terms) term_role(terms) %in% "energy"

# Unit by role ("scale": that of the hardness).
term_units <- function(terms, scale) {
  unit <- c(level = scale, amplitude = scale, energy = "kJ/mol")[term_role(terms)]
  unit[is.na(unit)] <- ""
  names(unit) <- terms
  as.vector(unit, "list")
}

# Parameters checked against their physical limits: rates have none, all others are zero or more,
# and those of the roles in `positive` above zero.
check_parameters <- function(x, positive = "exponent") {
  positive <- term_role(names(x)) %in% positive
  free <- is_rate(names(x))
  for (j in seq_along(x)) {
    check_number(x[[j]], names(x)[j], if (free[j]) -Inf else 0, open = positive[j])
  }
}

# A named vector must have each parameter of the model once; in its order.
parameters_of <- function(x, model, arg = "parameters") {
  terms <- model_terms(model)
  if (anyDuplicated(names(x))) {
    abort("argument", paste0("`", arg, "` names a parameter twice"), arg = arg,
          remedy = "Give each once.")
  }
  odd <- c(setdiff(names(x), terms), setdiff(terms, names(x)))
  if (length(odd)) {
    others <- Filter(\(m) setequal(model_terms(m), names(x)), model_names())
    abort("argument", paste0("model '", model, "' needs each of ", in_quotes(terms, " and "),
                             " once"), arg = arg, remedy = paste0(
      "Missing or unknown: ", in_quotes(odd, " and "), ".",
      if (length(others)) paste0(" These are the parameters of model = \"", others[1L], "\".")))
  }
  x[terms]
}

# ln of (k t - theta0)^n at a fraction: the ordinate of the Avrami plot in the shape of the model.
shape_line <- function(model, fraction) {
  .Call(C_sa_call_shape_line, model_code(model), as.double(fraction))
}

shape_words <- function(model) register()$models$line[[match(model, model_names())]]

# Reduced time k t at a fraction.
theta_at <- function(model, fraction, n, theta0 = 0) theta0 + exp(shape_line(model, fraction) / n)

# Names of parameters for readers; exponents and levels of groups keep their group in parentheses.
PARAMETER_WORDS <- c(
  h_worked = "Hardness as rolled", h_soft = "Hardness when soft", ln_k_ref = "ln rate at reference",
  n = "Exponent n", q_kj_mol = "Activation energy", ln_t0_ref = "ln incubation at reference",
  theta0 = "Incubation", dh_rec = "Recovery amplitude", dh_hard = "Hardening amplitude",
  dh_grow = "Fall by grain growth", ln_k_rec = "ln rate of recovery",
  q_rec_kj_mol = "Energy of recovery", ln_k_hard = "ln rate of hardening",
  q_hard_kj_mol = "Energy of hardening", ln_k_grow = "ln rate of growth",
  q_grow_kj_mol = "Energy of growth", k_strain = "Effect of strain on rate",
  h_strain = "Effect of strain on hardness", h_soft_strain = "Effect of strain on soft level")

parameter_label <- function(terms, scale = NULL, unit = TRUE) {
  base <- base_term(terms)
  words <- unname(PARAMETER_WORDS[base])
  words[is.na(words)] <- base[is.na(words)]
  own <- terms != base
  words[own] <- paste0(words[own], " ", sub("^[^[(]*", "", terms[own]))
  if (!unit) return(words)
  units <- unlist(term_units(terms, scale %or% "HV"), use.names = FALSE)
  ifelse(nzchar(units), paste0(words, " (", units, ")"), words)
}

# What a parameter means, for tables of a report.
PARAMETER_MEANING <- c(
  h_worked = "before any anneal", h_soft = "when softening is complete",
  ln_k_ref = "logarithm of the rate k in 1/min at the reference temperature; higher is faster",
  n = "how suddenly softening comes; 1 to 4 is usual",
  q_kj_mol = "how strongly the rate depends on temperature; higher is stronger",
  theta0 = "time before recrystallisation begins, in units of 1/k",
  dh_rec = "softening before recrystallisation, by recovery",
  ln_k_rec = "logarithm of the rate of recovery in 1/min",
  q_rec_kj_mol = "how strongly recovery depends on temperature",
  dh_hard = "hardening at low temperature",
  ln_k_hard = "logarithm of the rate of that hardening in 1/min",
  q_hard_kj_mol = "how strongly that hardening depends on temperature",
  k_strain = "how much faster softening is after more cold work",
  h_strain = "how much harder more cold work makes the sheet",
  h_soft_strain = "how much harder sheet with more cold work stays when soft",
  dh_grow = "softening by growing grains",
  ln_k_grow = "logarithm of the rate of grain growth in 1/min",
  q_grow_kj_mol = "how strongly grain growth depends on temperature")
