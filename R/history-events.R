# Events of a bench page in a log: kept by read_history() as columns, they join readings to the moment at
# which their specimen was cold, and stand in the appendix of a report.

EVENT_COLUMNS <- c("event", "entered", "note", "entry")
EVENT_SHAPE <- "^(in|shut|out|cold) ([0-9]+)$"
ENTRY_SHAPE <- "^n[0-9a-f]{12}$"

# The points of a log with the events of its rows, where it comes from a bench page.
with_events <- function(out, grid) {
  at <- match(EVENT_COLUMNS, grid$header)
  if (anyNA(at)) return(out)
  row <- match(out$sheet_row, grid$row)
  part <- lapply(grid$cells[at], function(x) trimws(x[row]))
  names(part) <- EVENT_COLUMNS
  named <- nzchar(part$event)
  if (!any(named) || !all(grepl(EVENT_SHAPE, part$event[named])) ||
      !all(grepl(ENTRY_SHAPE, part$entry[named]))) {
    return(out)
  }
  part$note <- sub("^'(?=[-=+@])", "", part$note, perl = TRUE) # as the page escapes cells
  out[EVENT_COLUMNS] <- part
  out
}

has_events <- function(history) {
  is.data.frame(history) && all(c("specimen", "time_s", EVENT_COLUMNS) %in% names(history))
}

# Log time in s of readings of a bench page: that of the cold specimen after their step; NULL where there are
# no events or no steps.
event_times <- function(data, columns, history) {
  if (!has_events(history) || !is.numeric(data[["step"]]) || !columns$specimen %in% names(data)) return(NULL)
  key <- paste(any_column(data, columns$specimen), data[["step"]])
  what <- regmatches(history$event, regexec(EVENT_SHAPE, history$event))
  cold <- which(vapply(what, \(x) length(x) == 3L && x[2L] == "cold", NA))
  step <- vapply(what[cold], `[`, "", 3L)
  out <- history$time_s[cold][match(key, paste(history$specimen[cold], as.integer(step)))]
  rolled <- which(data[["step"]] == 0)
  out[rolled] <- min(history$time_s)
  lost <- which(is.na(out) & !is.na(data[["step"]]))
  if (length(lost)) {
    abort("missing", paste0("the events hold no 'cold' of ", key_words(key[lost])), arg = "history",
          rows = lost, remedy = paste("Save readings and events of the bench page at the same time; or leave",
                                      "these readings out."))
  }
  out
}

key_words <- function(key) in_quotes(utils::head(unique(sub(" ([^ ]*)$", ", step \\1", key)), 3L), " and ")

# One row per step of the events: clock of each act (UTC where the log has a start), minutes in the furnace,
# seconds with the door open, what was late or corrected.
event_table <- function(history) {
  named <- which(nzchar(history$event))
  what <- do.call(rbind, regmatches(history$event[named], regexec(EVENT_SHAPE, history$event[named])))
  key <- paste(history$specimen[named], as.integer(what[, 3L]))
  start <- as.POSIXct(attr(history, "start") %or% NA_character_, tz = "UTC",
                      tryFormats = c("%Y-%m-%dT%H:%M:%SZ", "%Y-%m-%dT%H:%M:%S"))
  rows <- lapply(unique(key), function(k) {
    own <- named[key == k]
    act <- what[key == k, 2L]
    s <- vapply(c("in", "shut", "out", "cold"), \(x) history$time_s[own][match(x, act)], 0)
    notes <- history$note[own]
    kept <- nzchar(notes)
    clock <- if (is.na(start)) paste(format_quantity(s), "s") else format(start + s, "%H:%M:%S", tz = "UTC")
    data.frame(specimen = history$specimen[own[1L]], step = as.integer(what[key == k, 3L][1L]),
               t(ifelse(is.na(s), NA_character_, clock)), furnace_min = (s[["out"]] - s[["in"]]) / 60,
               door_s = s[["shut"]] - s[["in"]],
               note = paste(paste0(ifelse(startsWith(notes[kept], "out "), "", paste0(act[kept], " ")),
                                   notes[kept]), collapse = "; "))
  })
  do.call(rbind, rows)
}

# Entries of readings of a bench page; NULL for others.
bench_entries <- function(data) {
  if (!all(c("entry", "entered") %in% names(data))) return(NULL)
  entry <- as.character(data$entry)
  if (!length(entry) || anyNA(entry) || !all(grepl(ENTRY_SHAPE, entry))) return(NULL)
  as.character(data$entered)
}
