# The page at the furnace: R writes the plan, its guess, tables and cautions as data; the page keeps what is
# done as a log of entries that is only ever added to, and computes with the compiled code of the package.

#' A page for the bench
#'
#' One HTML file for telephone or tablet at the furnace: what to do now and next from the plan, a clock for
#' each specimen in a furnace, one large button for in, door shut, out and cold, readings typed one by one
#' and checked at once, the softening curves fitted anew after each reading, what a further step would add
#' and when what is wanted is reached. It needs no R, no server and no network, and makes no request, which
#' its Content-Security-Policy forbids it.
#'
#' Every entry is saved in the browser before the page says so, one by one, so that neither a reload nor a
#' second tab loses or overwrites any. Where the browser refuses to save or has no room the page says it and
#' offers the files. Times are those of the clock of the device, so that they are right after sleep. A tap
#' that came late or was forgotten is corrected in the list of entries; entry, correction and reason stay in
#' the record.
#'
#' @section Files:
#' | file | for | what |
#' |---|---|---|
#' | readings (CSV) | [read_readings()] | `specimen`, `temp_c`, `step`, `time_min` (accumulated: each step its time in the furnace less the heat-up allowance of the plan), `reading`, `hardness`, `scale`, `furnace` (its number and set temperature), `operator`, `log_s` (s from the first event to the cold specimen), `note`, time of the entry |
#' | events (CSV) | [read_history()], then `history` of [fit_softening()], which joins the readings by their `log_s`; `events` of [softening_report()] | `specimen`, `time` (UTC), `temp_c`, `event` (`in 1`, `shut 1`, `out 1`, `cold 1`), when it was entered, `note` (late, corrected); between the events the temperature of the sheet as [heat_up()] and [cool_down()] compute it |
#'
#' Both can be taken in again by the page, on another device too.
#'
#' @section What it computes:
#' Readings are converted to HV by the table of the plan. The fit is that of [fit_softening()] to the
#' readings of the file, with components of error; it begins when there are as many steps as parameters. At
#' once after a reading a quick fit is shown, and said to be one: least squares from the last minimum, with
#' intervals by specimen and step. The full fit follows when nothing was entered for a while or a step ends.
#'
#' Doubtful readings are judged anew, all of the step, after each entry: one off the middle of those that
#' agree by more than 3.5 standard deviations of a reading (that of the plan, or the usual range of the steps
#' so far where that is larger); two that differ, where nothing says which is right; one alone that neither
#' the other steps nor the plan let expect; one outside the range of the scale or the table, or read before
#' the specimen counts as cold. A number that the scale cannot give is not taken.
#'
#' Advice: the interval of the answer of `aim` against what is wanted, and for each step that could come
#' next how much narrower the interval would be, by linear theory as in [improve_plan()]. The interval of a
#' time or temperature to a hardness leaves out the uncertainty of the conversion to HV, which [time_to()]
#' and [temp_for()] add.
#'
#' @param plan A plan of [plan_anneal()] or [improve_plan()] with a conversion table between its scale and HV.
#' @param file Path of the page, ending in `.html`.
#' @param ... Must be empty.
#' @param title Title of the page.
#' @param wanted_kj_mol Half-width of the 95 % interval of the activation energy that is wanted, kJ/mol.
#' @param aim What the advice and its stop are for: the activation energy (`"q"`), the time at `temp_c`
#'   (`"time"`), or the temperature for `time_min` (`"temperature"`) to a target.
#' @param hardness,softening Target of a time or temperature: a hardness in HV, or a share of the softening;
#'   half of it by default.
#' @param temp_c Temperature in degrees Celsius of the aim `"time"`.
#' @param time_min Time in min of the aim `"temperature"`.
#' @param wanted_factor For `"time"`: the 95 % interval is to be within this factor of its middle.
#' @param wanted_c For `"temperature"`: half-width of the 95 % interval that is wanted, degrees Celsius.
#' @param overwrite Whether a file that is there may be replaced.
#' @param open Whether to open the page in the browser, which keeps what is saved (a viewer may not).
#' @return The path, invisibly. Each page has a record of its own: one made anew begins a new run.
#' @section Errors:
#'   `softanneal_error_scale` where the scale of the plan cannot be converted to HV; `softanneal_error_file`
#'   when the file is there already, has another ending, or cannot be written; `softanneal_error_package`
#'   without jsonlite; `softanneal_error_argument` for an aim without its temperature or time,
#'   `softanneal_error_range` for a hardness that no run passes, or a temperature of the room or of the melt.
#' @section Safety: `r CAUTION_DEFERENCE` `r CAUTION_ESTIMATE` The page shows the cautions first and at the
#'   step they belong to; it does not see the furnace.
#' @seealso [bench_sheet()] for the same on paper.
#' @examples
#' plan <- plan_anneal(c(290, 320), c(4, 8, 16), plan_guess(recryst_1h_c = 330))
#' if (requireNamespace("jsonlite", quietly = TRUE)) {
#'   bench_page(plan, file.path(tempdir(), "bench.html"), overwrite = TRUE)
#' }
#' @export
bench_page <- function(plan, file, ..., title = "Annealing run", wanted_kj_mol = 10,
                       aim = c("q", "time", "temperature"), hardness = NULL, softening = NULL, temp_c = NULL,
                       time_min = NULL, wanted_factor = 1.5, wanted_c = 10, overwrite = FALSE,
                       open = FALSE) {
  check_dots_empty(...)
  check_plan(plan)
  file <- check_new_file(file, "html", overwrite)
  title <- check_string(title, "title")
  open <- check_flag(open, "open")
  aim <- bench_aim(aim, hardness, softening, temp_c, time_min, wanted_kj_mol, wanted_factor, wanted_c)
  check_bench_aim(aim, plan)
  need_package("jsonlite", "to write the page")
  data <- bench_data(plan, title, aim)
  process <- c("furnace", "annealing", if (plan$settings$cooling == "water") "quenching", "indenting")
  write_page(file, "bench", title, data, overwrite, process, max(plan$steps$temp_c))
  if (open) show_page(file, viewer = FALSE)
  invisible(file)
}

# What is wanted of a run, with its target in HV or as a share.
bench_aim <- function(aim, hardness, softening, temp_c, time_min, wanted_kj_mol, wanted_factor, wanted_c) {
  aim <- check_choice(aim, c("q", "time", "temperature"), "aim")
  wanted <- c(q = check_number(wanted_kj_mol, "wanted_kj_mol", 0, open = TRUE),
              time = check_number(wanted_factor, "wanted_factor", 1, open = TRUE),
              temperature = check_number(wanted_c, "wanted_c", 0, open = TRUE))
  place <- list(time = temp_c, temperature = time_min)
  names(place) <- c("temp_c", "time_min")
  own <- c(q = "", time = "temp_c", temperature = "time_min")[[aim]]
  given <- c(names(place)[lengths(place) > 0L], if (aim == "q") c("hardness", "softening")[
    c(!is.null(hardness), !is.null(softening))])
  if (!setequal(given, own[nzchar(own)])) {
    abort("argument", paste0("the aim \"", aim, "\" ", if (nzchar(own) && !own %in% given) {
      paste0("needs `", own, "`")
    } else paste0("has no use for `", setdiff(given, own)[1L], "`")), arg = "aim",
    remedy = "\"time\" takes `temp_c`, \"temperature\" takes `time_min`, and both a target.")
  }
  if (!is.null(hardness) && !is.null(softening)) {
    abort("argument", "`hardness` and `softening` are two targets", arg = "softening", remedy = "Give one.")
  }
  share <- check_number(softening %or% 0.5, "softening", 0, 1, open = TRUE)
  list(name = aim, wanted = wanted[[aim]], softening = share,
       hardness = check_number(hardness, "hardness", 0, open = TRUE, null = TRUE) %or% NA_real_,
       temp_c = check_number(temp_c, "temp_c", -ZERO_CELSIUS, open = TRUE, null = TRUE) %or% NA_real_,
       time_min = check_number(time_min, "time_min", 0, open = TRUE, null = TRUE) %or% NA_real_)
}

# A hardness or temperature that no run of this metal has: four standard deviations of the guess beyond it.
check_bench_aim <- function(aim, plan) {
  guess <- plan$guess
  if (!is.na(aim$hardness)) {
    ends <- vapply(c("h_soft", "h_worked"), \(term) guess$par[[term]] +
                     c(h_soft = -4, h_worked = 4)[[term]] * stats::sd(guess$draws[, term]), 0)
    if (aim$hardness < ends[1L] || aim$hardness > ends[2L]) {
      abort("range", paste0("`hardness` (", format(aim$hardness), " HV) is not between the soft and the ",
                            "worked state of the plan, ", format_quantity(guess$par[["h_soft"]]), " and ",
                            format_quantity(guess$par[["h_worked"]]), " HV"), arg = "hardness",
            remedy = "Give a hardness in HV that a run passes, or plan with another guess.")
    }
  }
  if (!is.na(aim$temp_c)) {
    check_below_solidus(aim$temp_c, "temp_c", guess$alloy)
    if (aim$temp_c <= plan$settings$ambient_c) {
      abort("range", paste0("`temp_c` (", in_degrees(format(aim$temp_c)), ") is not above the room, ",
                            in_degrees(format(plan$settings$ambient_c))), arg = "temp_c",
            remedy = "Give the temperature of a furnace.")
    }
  }
}

bench_data <- function(plan, title, aim) {
  set <- plan$settings
  s <- plan$steps
  s <- s[order(is.na(s$read_min), s$session, s$in_min, s$read_min, na.last = TRUE), ]
  columns <- c("specimen", "furnace", "temp_c", "step", "time_min", "hold_min", "heat_up_min", "furnace_min",
               "cool_min", "readings", "dial", "in_clock", "read_clock", "session")
  fixed <- jsonlite::toJSON(s[c("specimen", "temp_c", "step", "time_min")], digits = NA)
  run <- .Call(C_sa_call_sha256, charToRaw(paste(fixed, title, format(Sys.time(), "%Y%m%d%H%M%OS6"))))
  list(run = paste(as.character(run[1:8]), collapse = ""), title = title, scale = set$scale,
       steps = as.list(s[intersect(columns, names(s))]), places = as.list(plan$layout$positions),
       table = bench_table(plan), range = I(scale_range(set$scale)),
       top = min(scale_top(known_scale(set$scale)), 1e4, na.rm = TRUE), guess = page_guess(plan$guess),
       n_readings = set$n_readings, baseline = as.numeric(set$baseline), aim = aim,
       sheet = list(thickness_mm = set$thickness_mm, width_mm = set$width_mm, length_mm = set$length_mm,
                    support = set$support, cooling = set$cooling, ambient_c = set$ambient_c,
                    metal = page_metal(plan$guess$alloy)),
       cautions = bench_cautions(plan), words = bench_words(plan))
}

# Curves between the dial and HV; NULL for a plan in HV.
bench_table <- function(plan) {
  scale <- plan$settings$scale
  if (startsWith(scale, "HV")) return(NULL)
  material <- plan$guess$conversion
  tables <- if (is.na(material)) NULL else page_tables(material)
  pairs <- paste0(c(scale, "HV"), ">", c("HV", scale))
  if (!all(pairs %in% names(tables$pairs))) {
    abort("scale", paste0("readings in ", scale, " cannot be converted to HV for ",
                          plan$guess$alloy$material), arg = "plan",
          remedy = "Plan with scale = \"HV\", or with a scale of the conversion table.")
  }
  tables$pairs <- tables$pairs[pairs]
  tables
}

# Range of a scale in its standard.
scale_range <- function(scale) {
  known <- fact_table("scale_hardness.csv")
  row <- match(sub("^(HV)[0-9.]*$", "\\1", scale), known$scale)
  ends <- if (is.na(row)) c(NA, NA) else c(known$range_low[row], known$range_high[row])
  ends[is.na(ends)] <- c(0, 3000)[is.na(ends)]
  as.double(ends)
}

# One sentence per hazard, by the act before which it is shown.
bench_cautions <- function(plan) {
  rows <- cautions(c("furnace", "annealing", "quenching", "indenting"), max(plan$steps$temp_c))
  of <- function(process) {
    own <- rows[rows$process %in% process, ]
    I(paste0(toupper(substring(own$hazard, 1L, 1L)), substring(own$hazard, 2L), ": ", own$precaution))
  }
  list(furnace = of("furnace"), hot = of("annealing"),
       cool = if (plan$settings$cooling == "water") of("quenching") else I(character()),
       read = of("indenting"))
}

bench_words <- function(plan) {
  list(estimate = CAUTION_ESTIMATE, material = plan$guess$alloy$material)
}
