# What a plan may expect of each temperature, by the guess and its draws, and the warnings that
# follow from it: steps without a place, temperatures finished before their first reading.

# Limits of the middle 90 % of the draws, by columns.
middle <- function(draws) {
  apply(draws, 2L, stats::quantile, probs = c(0.05, 0.95), names = FALSE, na.rm = TRUE)
}

expectations <- function(temperatures, treatments, guess) {
  by <- factor(treatments$temp_c, temperatures$temp_c)
  temperatures$pieces <- as.integer(tapply(treatments$specimen, by, \(s) length(unique(s))))
  temperatures$first_min <- as.double(tapply(treatments$time_min, by, min))
  temperatures$last_min <- as.double(tapply(treatments$time_min, by, max))
  t50 <- guess_time(guess, temperatures$temp_c, 0.5)
  spread <- middle(t50[-1L, , drop = FALSE])
  temperatures$t50_min <- t50[1L, ]
  temperatures$t50_low_min <- spread[1L, ]
  temperatures$t50_high_min <- spread[2L, ]
  first <- guess_share(guess, temperatures$temp_c, temperatures$first_min)[-1L, , drop = FALSE]
  last <- guess_share(guess, temperatures$temp_c, temperatures$last_min)[-1L, , drop = FALSE]
  temperatures$finished <- colMeans(first >= FINISHED)
  idle <- colMeans(last < 1 - FINISHED)
  note <- ifelse(temperatures$finished >= 0.5, "over before the first reading",
                 ifelse(idle >= 0.5, "barely begun at the last reading", ""))
  slow <- temperatures$heat_up_min >= temperatures$first_min
  temperatures$note <- paste0(note, ifelse(nzchar(note) & slow, "; ", ""),
                              ifelse(slow, "first step not longer than its heat-up", ""))
  temperatures[c("temp_c", "homologous", "furnace", "pieces", "first_min", "last_min",
                 "heat_up_min", "heat_up_low_min", "heat_up_high_min", "cool_min", "t50_min",
                 "t50_low_min", "t50_high_min", "finished", "note")]
}

tell_unbooked <- function(plan, needed) {
  lost <- which(is.na(plan$steps$read_min))
  treated <- plan$steps$step > 0
  if (!length(lost)) return(invisible())
  set <- plan$settings
  longest <- max(plan$steps$furnace_min + plan$steps$cool_min)
  if (all(is.na(plan$steps$read_min[treated]))) {
    abort("range", paste0("the session of ", format(set$session_min), " min is too short for any ",
                          "step"), arg = "session_min",
          remedy = paste0("Take shorter steps, or a longer session; the longest step alone needs ",
                          format(longest + set$warmup_min), " min."))
  }
  warn("outside", paste0(
    length(lost), " of ", nrow(plan$steps), " steps do not fit into ", set$sessions,
    if (set$sessions == 1) " session of " else " sessions of ", format(set$session_min),
    " min (times NA). ", if (is.finite(needed)) {
      paste0(needed, " sessions would hold them all.")
    } else {
      paste0("Some steps are longer than a session: the longest needs ",
             format(longest + set$warmup_min), " min.")
    }), n = length(lost), rows = lost)
}

tell_finished <- function(plan) {
  t <- plan$temperatures
  over <- which(t$finished >= 0.5)
  if (!length(over)) return(invisible())
  time <- guess_time(plan$guess, t$temp_c[over], FINISHED)
  spread <- middle(time[-1L, , drop = FALSE])
  words <- paste0("at ", in_degrees(t$temp_c[over]), " after ", format_quantity(time[1L, ], 2L), " min (",
                  format_quantity(spread[1L, ], 2L), " to ", format_quantity(spread[2L, ], 2L),
                  "; first reading after ", t$first_min[over], " min)")
  warn("assumption", paste0(
    "Softening is expected to be over before the first reading: ", paste(words, collapse = ", "),
    ". Such a temperature gives little information on the rate: take shorter steps or a lower one.",
    if (length(over) == nrow(t)) ask_kelvin(plan)), n = length(over), rows = over, temp_c = t$temp_c[over])
}

# All temperatures far too hot, that in kelvin would be those of an ordinary run.
ask_kelvin <- function(plan) {
  temp <- plan$temperatures$temp_c - ZERO_CELSIUS
  if (min(temp) < 100) return(NULL)
  half <- middle(guess_time(plan$guess, temp, 0.5)[-1L, , drop = FALSE])
  times <- plan$steps$time_min[plan$steps$step > 0]
  if (any(half[2L, ] < min(times) | half[1L, ] > 10 * max(times))) return(NULL)
  paste0(" Kelvin? ", paste(format(plan$temperatures$temp_c, trim = TRUE), collapse = ", "), " K are ",
         paste(format(round(temp), trim = TRUE), collapse = ", "), " degrees Celsius.")
}

# Order of sa_design_aim in src/design.h.
PLAN_AIMS <- c("determinant", "q", "t50", "hardness")
