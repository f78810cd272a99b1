# What captions say follows what is drawn: a band or bar without a single interval is not mentioned.

percent_text <- function(level) paste(format(100 * level), "%")

caption_of <- function(...) {
  parts <- c(...)
  if (length(parts)) paste(parts, collapse = "\n")
}

# `low`: lower ends of the intervals as drawn.
band_words <- function(low, level, what) {
  if (any(!is.na(low))) paste0("Band: ", percent_text(level), " ", what, ".")
}

points_words <- function(what, low, level, bars) {
  paste0("Points: ", what, if (any(!is.na(low))) {
    paste0(", with ", percent_text(level), " ", bars)
  }, ".")
}

# Title of the time axis: along histories times are equivalent ones.
time_title <- function(fit) {
  if (is.null(fit$readings$history)) "Time at temperature (min)" else
    "Equivalent time at temperature (min)"
}

# Names of parameters for readers; exponents and levels of groups keep their group in brackets.
PARAMETER_WORDS <- c(
  h_worked = "Hardness as rolled", h_soft = "Hardness when soft", ln_k_ref = "ln rate at reference",
  n = "Exponent n", q_kj_mol = "Activation energy", ln_t0_ref = "ln incubation at reference",
  theta0 = "Incubation", loss = "Recovery amplitude", dh_rec = "Recovery amplitude",
  gain = "Hardening amplitude", dh_hard = "Hardening amplitude", fall = "Fall by grain growth",
  dh_grow = "Fall by grain growth", ln_k_rec = "ln rate of recovery",
  q_rec_kj_mol = "Energy of recovery", ln_k_hard = "ln rate of hardening",
  q_hard_kj_mol = "Energy of hardening", ln_k_grow = "ln rate of growth",
  q_grow_kj_mol = "Energy of growth", k_strain = "Effect of strain on rate",
  h_strain = "Effect of strain on hardness")

parameter_label <- function(terms, scale = NULL, unit = TRUE) {
  base <- base_term(terms)
  words <- unname(PARAMETER_WORDS[base])
  words[is.na(words)] <- base[is.na(words)]
  own <- terms != base
  words[own] <- paste0(words[own], " ", sub("^[^[(]*", "", terms[own]))
  if (!unit) return(words)
  units <- unlist(softening_units(terms, scale %or% "HV"), use.names = FALSE)
  ifelse(nzchar(units), paste0(words, " (", units, ")"), words)
}
