# The page for practice at a bench that is not there: R draws the true values of one group as simulate_class()
# does, and writes them hidden with sizes, furnaces and sizes of error; the page computes with the compiled
# code.

# Powers of the effective strain in rate and worked hardness on the page, those of `strain` in
# fit_softening():
# a judgement, near published brass (?softening-strain).
PRACTICE_K_STRAIN <- 2
PRACTICE_H_STRAIN <- 0.3

#' A page for practice
#'
#' One HTML file with a bench that is not there, for those who cannot come and before the first burn. A strip
#' is rolled, measured and sawn, pieces are read as rolled, annealed in furnaces whose doors stand open as
#' long as
#' they are left open, cooled, indented and read, under a budget of hours and pieces. The page needs no R, no
#' server and no network, and makes no request, which its Content-Security-Policy forbids it.
#'
#' **The same specimen.** The true values are those that [simulate_class()] draws for this group with this
#' seed
#' and design, bit for bit, so that [answer_key()] is the key of the page too. Readings differ from those of
#' `simulate_class()`, since they depend on what is done.
#'
#' **Mistakes have their consequence**: pieces read warm, indented at the edge or beside an old indentation,
#' taken out late, put in while the door stands open, rolled thinner than asked or so fast that the edges
#' crack. Before a dangerous act the page shows the caution; who goes on without protection loses 20 min.
#'
#' @section Files:
#' The page saves readings for [read_readings()] (with `group`, `furnace`, place of the indentation, `in_s`
#' and `out_s` on the clock of the run and `log_s` from the first event, in s), events for [read_history()]
#' (temperatures of the sheet by the set points), passes for [cold_work()], and answers for [mark_answers()],
#' whose `runs` takes the readings. With the events as `history` of [fit_softening()] leave out `time_min`, as
#' for [bench_page()].
#'
#' @section Physics:
#' | what | law | source |
#' |---|---|---|
#' | open door, recovery | exponential towards the room, `dip_c` lower after `open_s`; back as in [door_opening()] | judgement |
#' | heat-up, cooling | [heat_up()] and [cool_down()], furnace and block as surroundings | there |
#' | softening | [soften()] along the temperature of the sheet, furnace off by `temp_c` of the design | there |
#' | strain | rate times (strain/strain of `rolled_mm`)^2, worked hardness times the same ^0.3 | [softening-strain], judgement |
#' | scatter | `sd` of the design as in [simulate_readings()]; times are those of the run, so `time_min` is not used | there |
#' | warm piece | reads 0.05 % softer per degree above the room | judgement |
#' | beside an indentation | up to 10 % harder within the distance of [indent_spacing()]; in an old one 25 % softer | judgement |
#' | edge | up to 15 % softer within the distance of [indent_spacing()] | judgement |
#' | rolls | spring back by 15 % of the draft, sd 0.004 mm; volume is kept, width grows by the power 0.023 of the thickness ratio; above 25 % a pass the edges crack 2 mm deep, above 40 % the rolls stall | judgement |
#' | micrometer, caliper, rule | sd 0.01, 0.05 and 0.5 mm | as in [cold_work()] |
#'
#' The accumulated `time_min` of the file is the time in the furnace less the time a sheet of this thickness
#' takes to within 2 degrees of the set point, as in [plan_anneal()].
#'
#' **Random numbers.** Philox 4x32-10 with a key of two words, the first eight bytes of the SHA-256 digest of
#' `softanneal practice`, group and seed; the counter is kind of effect (piece 1, furnace 2, machine 3,
#' operator 4, step 5, reading 6), piece or furnace, step and reading. A normal number is the quantile of
#' 52 bits of the first two words. The same act gives the same number whatever was done before it.
#'
#' @section What a page can prove:
#' Nothing of who did the work or how often it was tried: a page runs wherever it is opened, can be begun
#' anew,
#' and its files are text. The true values of the one group stand in it hidden only from the eye: a determined
#' reader of its source finds them. The seed or key of the class, the true values of the class and of other
#' groups are not in it and do not follow from it. It is for practice; marks need readings taken under
#' supervision.
#'
#' @param design A [class_design()].
#' @param group Number of the group, or its name as `"group-01"`.
#' @param file Path of the page, ending in `.html`.
#' @param seed As in [simulate_class()]: a key of [class_secret()], or one whole number, which students can
#'   find by trying.
#' @param ... Must be empty.
#' @param title Title of the page.
#' @param thickness_mm,width_mm,length_mm Annealed strip before rolling, in mm.
#' @param rolled_mm Thickness in mm for which the true values of the design hold and to which the page asks
#'   to roll.
#' @param budget_h Hours on the clock of the run; furnaces are hot when it begins.
#' @param max_specimens Pieces that may be sawn.
#' @param dip_c,recover_min,open_s As in [door_opening()]: the fall of a furnace whose door is open for
#'   `open_s`.
#' @param ambient_c Temperature of room and block in degrees Celsius.
#' @param alloy A metal of [thermal_material()].
#' @param overwrite Whether a file that is there may be replaced.
#' @param open Whether to open the page in the browser, which keeps what is saved (a viewer may not).
#' @return The path, invisibly. The set points of the furnaces are the temperatures of the design.
#' @section Errors: Those of [simulate_class()], and `softanneal_error_range` for sizes, temperatures and dips
#'   that cannot be, `softanneal_error_file` when the file is there already, has another ending, or cannot be
#'   written; `softanneal_error_package` without jsonlite.
#' @section Safety: `r CAUTION_DEFERENCE` `r CAUTION_ESTIMATE` Practice on a page is no instruction at the
#' machines.
#' @source Salmon J K, Moraes M A, Dror R O, Shaw D E (2011) Parallel random numbers: as easy as 1, 2, 3.
#'   Proceedings of SC11, article 16.
#' @seealso [bench_page()] for a real bench.
#' @examples
#' design <- class_design(temp_c = c(310, 340, 370), time_min = c(0, 4, 16, 64))
#' if (requireNamespace("jsonlite", quietly = TRUE)) {
#'   practice_page(design, 1, tempfile(fileext = ".html"), seed = 20)
#' }
#' @export
practice_page <- function(design, group, file, seed, ..., title = "Practice run", thickness_mm = 1.6,
                          width_mm = 25, length_mm = 150, rolled_mm = 0.95, budget_h = 10, max_specimens = 6,
                          dip_c = 9, recover_min = 3, open_s = 10, ambient_c = 20, alloy = "C26000",
                          overwrite = FALSE, open = FALSE) {
  check_dots_empty(...)
  design <- check_design(design)
  group <- class_number(group)
  file <- check_new_file(file, "html", overwrite)
  title <- check_string(title, "title")
  positive <- function(x, arg, ...) check_number(x, arg, 0, ..., open = TRUE)
  sizes <- list(thickness_mm = positive(thickness_mm, "thickness_mm"),
                width_mm = positive(width_mm, "width_mm"),
                length_mm = positive(length_mm, "length_mm"))
  set <- list(rolled_mm = positive(rolled_mm, "rolled_mm", sizes$thickness_mm),
              budget_s = 3600 * positive(budget_h, "budget_h", 1000),
              max_specimens = check_number(max_specimens, "max_specimens", 1, 100, whole = TRUE),
              dip_c = check_number(dip_c, "dip_c", 0),
              recover_min = positive(recover_min, "recover_min", 1e4),
              open_s = positive(open_s, "open_s", 1e4),
              ambient_c = check_number(ambient_c, "ambient_c", -ZERO_CELSIUS, open = TRUE))
  open <- check_flag(open, "open")
  need_package("jsonlite", "to write the page")
  data <- practice_data(design, group, seed, title, sizes, set, as_material(alloy))
  write_page(file, "practice", title, data, overwrite, CAUTION_PROCESSES[CAUTION_PROCESSES != "quenching"],
             max(data$temps))
  if (open) show_page(file, viewer = FALSE)
  invisible(file)
}

practice_data <- function(design, group, seed, title, sizes, set, alloy) {
  drawn <- draw_class(group, seed, group, design)[[1L]]
  bench <- design$bench
  temps <- sort(unique(bench$steps$temp_c[bench$steps$time_min > 0]))
  cold <- temps[temps <= set$ambient_c + set$dip_c]
  if (length(cold)) {
    abort("range", paste0("the furnace at ", in_degrees(cold[1L]), " would fall to the room at each opening"),
          arg = "dip_c", remedy = "Give a smaller dip, or a design with hotter furnaces.")
  }
  check_below_solidus(temps, "design", alloy)
  scale <- bench$scale[seq_len(max(bench$reading))]
  words <- list(deference = CAUTION_DEFERENCE, estimate = CAUTION_ESTIMATE, material = alloy$material)
  key <- practice_seed(check_class_seed(seed), drawn$group)
  known <- unlist(c(key, sizes, set, temps))
  run <- .Call(C_sa_call_sha256, charToRaw(paste(c(format(known, digits = 15L), title), collapse = " ")))
  c(list(run = paste(as.character(run[1:8]), collapse = ""), title = title, group = drawn$group,
         seed = I(key), sealed = seal_numbers(c(drawn$truth$par, drawn$truth$temp_ref_c), key),
         model = drawn$truth$model,
         terms = I(names(drawn$truth$par)), sd = as.list(bench$sd), scale = I(scale),
         n_readings = max(bench$reading), resolution = bench$resolution,
         operators = I(as.character(bench$operators)), temps = I(temps),
         table = practice_table(unique(scale), bench$material),
         top = I(pmin(scale_top(scale), 1e4)), spacing = practice_spacing(scale, bench$material),
         strip = sizes, metal = page_metal(alloy), k_strain = PRACTICE_K_STRAIN, h_strain = PRACTICE_H_STRAIN,
         form = as.list(answer_form(drawn_form(drawn))[c("quantity", "temp_c", "unit")]),
         cautions = practice_cautions(max(temps)), words = words), set)
}

drawn_form <- function(drawn) data.frame(group = drawn$group, drawn$data)

# Curves from HV to the scales of the design; NULL where all readings are in HV.
practice_table <- function(scales, material) {
  scales <- scales[!startsWith(scales, "HV")]
  if (!length(scales)) return(NULL)
  tables <- page_tables(material)
  tables$pairs <- tables$pairs[paste0("HV>", scales)]
  tables
}

# Largest indentation and distances of the scales; for soft brass whatever the class has, and rounded, so that
# they say nothing of its true values.
PRACTICE_SOFT_HV <- 70

practice_spacing <- function(scales, material) {
  own <- lapply(unique(scales), function(scale) {
    soft <- if (startsWith(scale, "HV")) PRACTICE_SOFT_HV else {
      suppressWarnings(convert_hardness(PRACTICE_SOFT_HV, "HV", scale, material))
    }
    indent_spacing(if (is.na(soft)) 30 else soft, if (startsWith(scale, "HV")) "HV10" else scale)
  })
  largest <- max(vapply(own, `[[`, 0, "diameter_mm"))
  ratio <- own[[1L]]
  d <- ceiling(20 * largest) / 20
  list(diameter_mm = d, centre_mm = d * ratio$centre_mm / ratio$diameter_mm,
       edge_mm = d * ratio$edge_mm / ratio$diameter_mm)
}

# One sentence per hazard, by the act before which it is shown.
practice_cautions <- function(temp_c) {
  of <- function(process) {
    rows <- cautions(process, temp_c)
    I(paste0(toupper(substring(rows$hazard, 1L, 1L)), substring(rows$hazard, 2L), ": ", rows$precaution))
  }
  list(roll = of("rolling"), saw = of("sawing"), furnace = of(c("furnace", "annealing")),
       hot = of("annealing"), read = of("indenting"))
}
