# Which readings would settle what a fit leaves open, from where each temperature stood at its first
# and last reading. identifiability() looks closer; this is the sentence for prints and warnings.

# A mean within a tenth of the end of the softening is taken as over, or as not begun.
OVER <- 0.9
IDLE <- 0.1

# One or more sentences, "" when all is determined or nothing plain can be said.
settling <- function(fit) {
  if (!has_open(fit) || fit$par[["h_worked"]] <= fit$par[["h_soft"]]) return("")
  p <- progress(fit)
  if (is.null(p) || anyNA(p$first)) return("")
  dial <- settle_dial(fit)
  words <- c(unname(dial), settle_over(fit, p), settle_idle(fit, p),
             if (!"h_soft" %in% names(dial)) settle_plateau(fit, p))
  if (!length(words)) return("")
  paste("What would settle it:", paste(words, collapse = "; "))
}

first_time <- function(fit, temp_c) {
  at <- fit$conditions
  min(at$time_min[at$time_min > 0 & abs(at$temp_c - temp_c) < 1e-6])
}

# Over before the first reading: a temperature between, or shorter first steps.
settle_over <- function(fit, p) {
  over <- sort(unique(p$temp_c[p$first > OVER]))
  if (!length(over)) return(NULL)
  under_way <- p$temp_c[p$first <= OVER & p$last >= IDLE]
  below <- under_way[under_way < over[1L]]
  # half way in 1/T from the hottest specimen seen softening
  between <- if (length(below)) {
    k <- max(below)
    2 / (1 / (k + ZERO_CELSIUS) + 1 / (over[1L] + ZERO_CELSIUS)) - ZERO_CELSIUS
  }
  paste0("softening at ", paste(temperature_label(over), collapse = ", "),
         " was over before the first reading (", format_quantity(first_time(fit, over[1L])), " min); ",
         if (length(between)) {
           paste0("anneal a specimen at a temperature between (near ",
                  temperature_label(round(between, -1L)), "), or ")
         } else "anneal a specimen at a lower temperature, or ",
         "take shorter first steps, as far as the heat-up of the specimen allows")
}

settle_idle <- function(fit, p) {
  idle <- sort(unique(p$temp_c[p$last < IDLE]))
  if (!length(idle)) return(NULL)
  paste0("softening at ", paste(temperature_label(idle), collapse = ", "),
         " had not begun at the last reading; hold longer there, or take a hotter specimen")
}

# The soft plateau rests on one step or on none.
settle_plateau <- function(fit, p) {
  if (!"h_soft" %in% names(fit$states)[!fit$states %in% c("determined", "fixed")]) return(NULL)
  hot <- max(p$temp_c)
  paste0("the soft plateau was not reached; hold the specimen at ", temperature_label(hot),
         " longer, until two steps in a row read the same, or take a hotter one")
}

# Share of the softening that is over at the first and last reading of each temperature.
progress <- function(fit) {
  at <- fit$conditions
  after <- at$time_min > 0
  worked <- worked_hardness(fit, at$strain)
  share <- (worked - at$mean) / (worked - soft_hardness(fit, at$strain))
  temps <- different_temperatures(at$temp_c[after])
  strain <- if (is.null(at$strain)) rep(1, length(after)) else at$strain
  each <- expand.grid(temp_c = temps, strain = unique(strain[after]))
  do.call(rbind, Map(function(t, s) {
    k <- which(after & abs(at$temp_c - t) < 1e-6 & strain == s)
    if (!length(k)) return(NULL)
    k <- k[order(at$time_min[k])]
    data.frame(temp_c = t, first = share[k[1L]], last = share[k[length(k)]])
  }, each$temp_c, each$strain))
}
