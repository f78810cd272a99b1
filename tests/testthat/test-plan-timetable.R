# The timetable of a plan. Truth: a search through every order of the operations, written on a grid
# of whole minutes, and bounds that no timetable can pass.

# Earliest end of one session by branch and bound over all orders; temperatures of one furnace one
# after the other, the lowest first, for every way to share them out.
earliest_end <- function(pieces, steps, set) {
  temps <- sort(unique(pieces$temp_c))
  ways <- unique(t(apply(expand.grid(rep(list(seq_len(set$furnaces)), length(temps))), 1L,
                         \(f) match(f, unique(f)))))
  best <- Inf
  rows <- split(seq_len(nrow(steps)), steps$piece)
  horizon <- 600L
  free <- function(taken, from, length) !any(taken[from + seq_len(length)])
  walk <- function(state, furnace) {
    left <- vapply(seq_along(rows), \(i) {
      r <- rows[[i]][seq_along(rows[[i]]) >= state$step[i]]
      if (!length(r)) return(0)
      inside <- state$inside[i]
      state$ready[i] + sum(steps$hold_min[r] + steps$heat_up_min[r] + steps$cool_min[r]) +
        length(r) * set$reading_min -
        if (inside) steps$hold_min[r[1L]] + steps$heat_up_min[r[1L]] + steps$cool_min[r[1L]] else 0
    }, 0)
    if (max(left, state$end) >= best - 1e-9) return(invisible())
    open <- which(state$step <= lengths(rows))
    if (!length(open)) {
      best <<- state$end
      return(invisible())
    }
    for (i in open) {
      r <- rows[[i]][state$step[i]]
      new <- state
      t <- ceiling(state$ready[i])
      if (steps$step[r] == 0 || state$inside[i]) {
        while (!free(state$tester, t, set$reading_min) ||
               (set$n_operators == 1 && !free(state$person, t, set$reading_min))) t <- t + 1L
        taken <- t + seq_len(set$reading_min)
        new$tester[taken] <- TRUE
        if (set$n_operators == 1) new$person[taken] <- TRUE
        new$ready[i] <- t + set$reading_min
        new$end <- max(state$end, new$ready[i])
        new$step[i] <- state$step[i] + 1L
        new$inside[i] <- FALSE
      } else {
        k <- match(pieces$temp_c[i], temps)
        earlier <- which(furnace == furnace[k] & seq_along(temps) < k)
        waits <- pieces$temp_c %in% temps[earlier] & (new$step < lengths(rows) |
                                                     (new$step == lengths(rows) & !new$inside))
        if (any(waits)) next
        if (length(earlier)) t <- max(t, max(state$empties[earlier]) + set$furnace_change_min)
        inside <- steps$hold_min[r] + steps$heat_up_min[r]
        while (!free(state$person, t, set$handling_min) ||
               !free(state$person, t + inside, set$handling_min)) t <- t + 1L
        new$person[t + seq_len(set$handling_min)] <- TRUE
        new$person[t + inside + seq_len(set$handling_min)] <- TRUE
        new$ready[i] <- t + inside + steps$cool_min[r]
        new$empties[k] <- max(state$empties[k], t + inside)
        new$inside[i] <- TRUE
      }
      walk(new, furnace)
    }
  }
  for (w in seq_len(nrow(ways))) {
    walk(list(ready = numeric(nrow(pieces)), step = rep(1L, nrow(pieces)), end = 0,
              inside = logical(nrow(pieces)), empties = numeric(length(temps)),
              person = logical(horizon), tester = logical(horizon)), ways[w, ])
  }
  best
}

# A run of whole minutes: pieces, and the steps of each with the reading before.
random_run <- function(n_piece, n_step) {
  pieces <- data.frame(specimen = letters[seq_len(n_piece)],
                       temp_c = sample(c(300, 330), n_piece, replace = TRUE))
  steps <- data.frame(piece = rep(seq_len(n_piece), each = n_step + 1L),
                      step = rep(0:n_step, n_piece))
  heated <- steps$step > 0
  steps$hold_min <- ifelse(heated, sample(3:20, nrow(steps), replace = TRUE), 0)
  steps$heat_up_min <- ifelse(heated, 2, 0)
  steps$cool_min <- ifelse(heated, sample(1:4, nrow(steps), replace = TRUE), 0)
  list(pieces = pieces, steps = steps,
       set = list(session_min = 1440, sessions = 1, warm_up = 0, furnace_change_min = 12, handling_min = 1,
                  reading_min = sample(2:6, 1L), n_operators = sample(1:2, 1L), furnaces = 2))
}

# People, door, tester and furnaces are never in two places at once.
expect_possible <- function(booked, pieces, set) {
  s <- booked$steps
  apart <- function(from, to) {
    o <- order(from, to)
    from <- from[o]
    to <- to[o]
    expect_true(all(utils::tail(from, -1L) >= utils::head(to, -1L) - 1e-9))
  }
  read <- s[!is.na(s$read_min), ]
  heated <- read[read$step > 0, ]
  apart(read$read_min, read$end_min)
  doors <- c(heated$in_min, heated$out_min)
  from <- c(doors, if (set$n_operators == 1) read$read_min)
  apart(from, c(doors + set$handling_min, if (set$n_operators == 1) read$end_min))
  expect_equal(heated$out_min - heated$in_min, heated$hold_min + heated$heat_up_min)
  expect_equal(heated$cold_min - heated$out_min, heated$cool_min)
  expect_true(all(heated$read_min >= heated$cold_min - 1e-9))
  for (piece in unique(heated$piece)) {
    own <- s[s$piece == piece & !is.na(s$read_min), ]
    expect_true(all(utils::tail(own$in_min, -1L) >= utils::head(own$end_min, -1L) - 1e-9))
    expect_equal(own$step, seq_along(own$step) - 1L) # none left out in between
  }
  furnace <- booked$furnace[heated$piece]
  temp <- pieces$temp_c[heated$piece]
  for (f in unique(furnace)) {
    for (t in unique(temp[furnace == f])) {
      hotter <- furnace == f & temp > t
      out <- max(heated$out_min[furnace == f & temp == t])
      session <- floor(out / set$session_min + 1e-9)
      opens <- min(out + set$furnace_change_min, (session + 1) * set$session_min)
      expect_true(all(heated$in_min[hotter] >= opens - 1e-9))
    }
  }
}

test_that("timetables of small runs end as early as any order allows", {
  skip_on_cran()
  sizes <- list(c(2, 2), c(3, 1), c(2, 1), c(2, 3))
  cases <- if (extended_tests()) 50L else 12L
  withr::local_seed(4)
  excess <- vapply(seq_len(cases), function(k) {
    size <- sizes[[(k - 1L) %% length(sizes) + 1L]]
    run <- random_run(size[1L], size[2L])
    booked <- book_steps(run$pieces, run$steps, run$set)
    expect_possible(booked, run$pieces, run$set)
    best <- earliest_end(run$pieces, run$steps, run$set)
    expect_gte(best, booked$bound_min - 1e-9)
    max(booked$steps$end_min) / best
  }, 0)
  expect_gte(min(excess), 1 - 1e-12) # the search through every order is one
  expect_lte(max(excess), 1.05)
})

# A run as a class plans it: one or two pieces at each of up to five temperatures, the same steps for all.
class_run <- function() {
  temps <- sample(1:5, 1L)
  each <- sample(1:2, 1L)
  hold <- diff(c(0, sort(sample(c(2, 4, 5, 8, 10, 15, 20, 30, 40, 60, 80), sample(2:6, 1L)))))
  heat <- stats::runif(temps, 2.5, 5)
  cool <- stats::runif(temps, 2, 5)
  of <- rep(seq_len(temps), each = each)
  n <- length(hold)
  list(pieces = data.frame(specimen = seq_along(of), temp_c = 280 + 20 * of),
       steps = data.frame(piece = rep(seq_along(of), each = n + 1L), step = rep(0:n, length(of)),
                          hold_min = rep(c(0, hold), length(of)),
                          heat_up_min = rep(heat[of], each = n + 1L) * rep(c(0, rep(1, n)), length(of)),
                          cool_min = rep(cool[of], each = n + 1L) * rep(c(0, rep(1, n)), length(of))),
       set = list(session_min = 1440, sessions = 1, warm_up = sample(c(0, 30), 1L),
                  furnace_change_min = sample(c(20, 40), 1L), handling_min = 1,
                  reading_min = sample(3:6, 1L) / 2, n_operators = sample(1:2, 1L),
                  furnaces = sample(1:3, 1L)))
}

test_that("runs of a class end near a time that none can end before", {
  skip_on_cran()
  cases <- if (extended_tests()) 50L else 30L
  withr::local_seed(5)
  ratio <- vapply(seq_len(cases), function(k) {
    run <- class_run()
    booked <- book_steps(run$pieces, run$steps, run$set)
    max(booked$steps$end_min) / booked$bound_min
  }, 0)
  expect_gte(min(ratio), 1 - 1e-12)
  # the rest is that of the bound, not of the timetable: see the search through every order above
  expect_lte(stats::median(ratio), 1.03)
  expect_gte(mean(ratio <= 1.05), 0.7)
  expect_lte(max(ratio), 1.25)
  # more temperatures, furnaces or events than are compared one by one: a lower bound still
  run <- class_run()
  run$set$furnaces <- 6
  booked <- book_steps(run$pieces, run$steps, run$set, rounds = 0)
  expect_gte(max(booked$steps$end_min), booked$bound_min - 1e-9)
  expect_gt(booked$bound_min, 0)
})

test_that("larger runs keep the rules of the bench, over several sessions too", {
  skip_on_cran()
  withr::local_seed(11)
  for (k in 1:6) {
    run <- random_run(6, 4)
    run$set$session_min <- c(180, 240, 1440)[k %% 3 + 1L]
    run$set$sessions <- 4
    first <- book_steps(run$pieces, run$steps, run$set, rounds = 0)
    booked <- book_steps(run$pieces, run$steps, run$set)
    expect_possible(first, run$pieces, run$set)
    expect_possible(booked, run$pieces, run$set)
    expect_lte(max(booked$steps$end_min), max(first$steps$end_min))
    expect_gte(max(booked$steps$end_min), booked$bound_min - 1e-9)
    expect_identical(book_steps(run$pieces, run$steps, run$set), booked) # no chance in it
  }
})

# One temperature and furnace, steps of `hold` after a reading of the metal as rolled, in one go by hand.
by_hand <- function(hold, cool, ..., n_operators = 2) {
  n <- length(hold)
  steps <- data.frame(piece = rep(seq_len(n), each = 2L), step = rep(0:1, n), heat_up_min = 0,
                      hold_min = as.vector(rbind(0, hold)), cool_min = rep(c(0, cool), n))
  set <- list(session_min = 1440, sessions = 1, warm_up = 0, furnace_change_min = 12, handling_min = 1,
              reading_min = 3, n_operators = n_operators, furnaces = 1)
  book_steps(data.frame(specimen = letters[seq_len(n)], temp_c = 300), steps,
             utils::modifyList(set, list(...)), rounds = 0)$steps
}

test_that("of steps that may begin at once that of the piece with most furnace time left is first", {
  # b is read 0 to 3, in 3 to 23, cold at 25; a is read 3 to 6, in 6 to 11, cold at 13
  s <- by_hand(c(5, 20), cool = 2)
  expect_equal(s$end_min, c(6, 16, 3, 28))
  expect_equal(s$in_min, c(NA, 6, NA, 3))
  expect_equal(by_hand(c(20, 5), cool = 2)$end_min, c(3, 28, 6, 16))
})

test_that("a step and its cooling end within the session, or begin after the next warm-up", {
  over <- function(cool, ...) by_hand(50, cool, session_min = 60, sessions = 3, warm_up = 5, ...)
  # in at 5: 50 min inside and 5 of cooling end with the session; 6 do not in any session
  expect_equal(unlist(over(5)[2L, c("in_min", "cold_min", "read_min")]), c(5, 60, 60), ignore_attr = TRUE)
  expect_true(is.na(over(6)$in_min[2L]))
  # read as rolled until 8, then 8 + 50 + 5 is too long for 60
  late <- over(5, reading_min = 8)
  expect_equal(unlist(late[2L, c("in_min", "cold_min", "read_min", "end_min")]), c(65, 120, 120, 128),
               ignore_attr = TRUE)
})

test_that("the search leaves a timetable that no single change shortens", {
  # found by the search through every order; going downhill alone ends at 25 and 30
  run <- function(temp, hold, cool, reading) {
    book <- list(data.frame(specimen = c("a", "b", "c"), temp_c = temp),
                 data.frame(piece = rep(1:3, each = 2L), step = 0:1, hold_min = as.vector(rbind(0, hold)),
                            heat_up_min = c(0, 2), cool_min = as.vector(rbind(0, cool))),
                 list(session_min = 1440, sessions = 1, warm_up = 0, furnace_change_min = 12,
                      handling_min = 1, reading_min = reading, n_operators = 1, furnaces = 2))
    c(max(do.call(book_steps, book)$steps$end_min), do.call(earliest_end, book))
  }
  expect_equal(run(c(330, 300, 300), c(7, 8, 15), c(2, 2, 1), 2L), c(24, 24))
  expect_equal(run(c(300, 330, 330), c(12, 5, 12), c(1, 3, 2), 3L), c(29, 29))
})

test_that("steps are left out at the end of a piece only, and only where others gain", {
  # 330 needs the furnace that 300 holds for its last, long step
  pieces <- data.frame(specimen = c("a", "b"), temp_c = c(300, 330))
  steps <- data.frame(piece = rep(1:2, c(3, 4)), step = c(0:2, 0:3),
                      hold_min = c(0, 5, 100, 0, 5, 5, 5), heat_up_min = c(0, 1, 1, 0, 1, 1, 1),
                      cool_min = c(0, 2, 2, 0, 2, 2, 2))
  set <- list(session_min = 120, sessions = 1, warm_up = 0, furnace_change_min = 20, handling_min = 1,
              reading_min = 3, n_operators = 2, furnaces = 1)
  booked <- book_run(pieces, steps, set)
  expect_identical(which(is.na(booked$steps$read_min)), 3L)
  expect_possible(booked, pieces, set)
  expect_identical(booked$sessions, 2)
  set$sessions <- 2
  expect_false(anyNA(book_run(pieces, steps, set)$steps$read_min))
  # a step longer than a session, and its temperature then is free at once
  steps$hold_min[3] <- 130
  set$sessions <- 1
  booked <- book_run(pieces, steps, set)
  expect_identical(booked$sessions, Inf)
  expect_identical(which(is.na(booked$steps$read_min)), 3L)
})

test_that("a better plan has a place for every step and is never worse", {
  skip_on_cran()
  guess <- plan_guess("C26000", recryst_1h_c = 330, draws = 8)
  quiet <- function(x) suppressWarnings(x, classes = "softanneal_warning_assumption")
  plan <- expect_told(quiet(plan_anneal(c(300, 330, 360, 390), c(5, 10, 20, 40, 80), guess, furnaces = 2,
                                  session_min = 180)), "outside", "of 24 steps")
  expect_lte(sum(is.na(plan$steps$read_min)), 4L)
  better <- quiet(improve_plan(plan, starts = 2))
  expect_false(anyNA(better$steps$read_min))
  expect_lt(better$improvement$efficiency, 1)
  error <- function(p) tidy(p)$std.error[5L]
  expect_lt(error(better), error(plan))
  again <- quiet(improve_plan(better, starts = 1))
  expect_lte(again$improvement$criterion, better$improvement$criterion + 1e-9)
})
