# The timetable of an annealing run: who needs furnace, tongs and hardness tester when. Times in min
# on one axis that runs through the sessions, each session_min long, one after the other. The search
# is in src/timetable.c.

# Trials of the search, by the number of operations: more than enough for the cases of the tests,
# and well under a second for a run of 100 steps.
timetable_rounds <- function(operations) min(2000 + 60 * operations, 12000)

# `pieces`: data frame specimen, temp_c. `steps`: rows specimen (index), step (0 for the reading before
# the first anneal), hold_min, heat_up_min, cool_min, by specimen and step. `set`: session_min,
# sessions, warm_up, furnace_change_min, handling_min,
# reading_min (of a step), n_operators, furnaces.
# Returns `steps` with in_min, out_min, cold_min, read_min, end_min on the common axis (NA where a
# step is longer than a session), and the furnace of each specimen. With `may_drop` the last steps of a
# specimen may stay without a place so that more steps find one.
book_steps <- function(pieces, steps, set, rounds = NULL, may_drop = FALSE) {
  temps <- sort(unique(pieces$temp_c))
  heated <- as.integer(steps$step > 0)
  if (is.null(rounds)) rounds <- timetable_rounds(length(heated) + sum(heated))
  run <- list(
    temp = match(pieces$temp_c, temps) - 1L, temperatures = as.double(length(temps)),
    first = as.integer(c(0L, cumsum(tabulate(steps$piece, nrow(pieces))))), heated = heated,
    furnace_min = as.double(steps$hold_min + steps$heat_up_min),
    cool_min = as.double(steps$cool_min), furnaces = as.double(set$furnaces),
    session_min = as.double(set$session_min), sessions = as.double(set$sessions),
    warm_up_min = as.double(set$warm_up), change_min = as.double(set$furnace_change_min),
    handling_min = as.double(set$handling_min), reading_min = as.double(set$reading_min),
    operators = as.double(set$n_operators),
    may_drop = as.double(may_drop))
  found <- .Call(C_sa_call_timetable, run, as.double(rounds), 1L)
  for (column in c("in", "out", "cold", "read", "end")) {
    value <- found[[column]]
    value[is.nan(value)] <- NA_real_
    steps[[paste0(column, "_min")]] <- value
  }
  # the furnace with the lowest temperature is number 1
  list(steps = steps, bound_min = found$bound,
       furnace = match(found$furnace, unique(found$furnace))[run$temp + 1L])
}

# The timetable that holds most steps within the sessions, and the `sessions` that would hold all (Inf
# where a step is longer than a session).
book_run <- function(pieces, steps, set) {
  all <- book_steps(pieces, steps, set)
  last <- floor(all$steps$read_min / set$session_min + 1e-9)
  all$sessions <- if (anyNA(last)) Inf else max(last) + 1
  if (all$sessions <= set$sessions) return(all)
  within <- function(b) sum(b$steps$read_min < set$session_min * set$sessions - 1e-9, na.rm = TRUE)
  some <- book_steps(pieces, steps, set, may_drop = TRUE)
  if (within(some) <= within(all)) return(all)
  some$sessions <- all$sessions
  some
}
