# Thermal properties of the metals the package knows, with their sources, and of the user's
# own. Density in kg/m3, specific heat in J/(kg K), linear in temperature about a reference,
# conductivity in W/(m K), solidus in degrees Celsius.

# Names of conversion tables and of the trade for metals of the table.
USUAL_ALLOY <- c(brass = "C26000", "cartridge brass" = "C26000", CuZn30 = "C26000",
                 aluminium = "aluminium 1100", aluminum = "aluminium 1100", steel = "carbon steel")

#' Thermal properties of a metal
#'
#' Properties `heat_up()` and `cool_down()` compute with: one of the metals in the table of the
#' package, the same with some properties changed, or another metal with all of them given.
#'
#' The table is `system.file("extdata", "thermal_materials.csv", package = "softanneal")`, with
#' source and status of each row; `thermal_properties.csv` beside it has the single values they
#' come from and the emissivities of surfaces, polished to oxidised.
#'
#' @param alloy Name of the metal: `"C26000"` (cartridge brass 70/30), `"copper"`,
#'   `"aluminium 1100"`, `"carbon steel"`, or any other with all properties given. `"brass"`,
#'   `"cartridge brass"` and `"CuZn30"` are `"C26000"`, `"aluminium"` and `"steel"` the two others; the
#'   material is then named so.
#' @param density_kg_m3 Density in kg/m3.
#' @param heat_j_kgk Specific heat in J/(kg K) at `heat_at_c`.
#' @param heat_slope_j_kgk2 Change of the specific heat with temperature in J/(kg K2); 0 for
#'   a metal not in the table.
#' @param heat_at_c Temperature of `heat_j_kgk` in degrees Celsius; 20 for a metal not in the table.
#' @param conductivity_w_mk Thermal conductivity in W/(m K).
#' @param solidus_c Temperature in degrees Celsius at which the metal begins to melt; treatments at or
#'   above it are refused.
#' @return A list of class `softanneal_material` with the properties above, `material` (name),
#'   `emissivity`, `emissivity_low` and `emissivity_high` (usual value and range of its surface;
#'   `NA` for a metal not in the table), `status` and `source`.
#' @details Errors: `softanneal_error_argument` for a property that is missing for a metal not
#'   in the table; `softanneal_error_range` for properties that are not positive. Changing
#'   `heat_j_kgk` alone makes the specific heat constant.
#' @seealso [heat_up()], [anneal_history()]
#' @examples
#' thermal_material("C26000")
#' thermal_material("C26000", heat_j_kgk = 380) # constant specific heat
#' thermal_material("nickel silver", density_kg_m3 = 8700, heat_j_kgk = 377,
#'                  conductivity_w_mk = 33, solidus_c = 1000)
#' @export
thermal_material <- function(alloy = "C26000", density_kg_m3 = NULL, heat_j_kgk = NULL,
                             heat_slope_j_kgk2 = NULL, heat_at_c = NULL,
                             conductivity_w_mk = NULL, solidus_c = NULL) {
  alloy <- check_string(alloy, "alloy")
  given <- list(
    density_kg_m3 = check_number(density_kg_m3, "density_kg_m3", 0, open = TRUE, null = TRUE),
    heat_j_kgk = check_number(heat_j_kgk, "heat_j_kgk", 0, open = TRUE, null = TRUE),
    heat_slope_j_kgk2 = check_number(heat_slope_j_kgk2, "heat_slope_j_kgk2", null = TRUE),
    heat_at_c = check_number(heat_at_c, "heat_at_c", -ZERO_CELSIUS, null = TRUE),
    conductivity_w_mk = check_number(conductivity_w_mk, "conductivity_w_mk", 0, open = TRUE,
                                     null = TRUE),
    solidus_c = check_number(solidus_c, "solidus_c", -ZERO_CELSIUS, open = TRUE, null = TRUE))
  given <- given[!vapply(given, is.null, NA)]
  table <- fact_table("thermal_materials.csv")
  row <- match(alloy, table$material)
  needed <- c("density_kg_m3", "heat_j_kgk", "conductivity_w_mk", "solidus_c")
  if (is.na(row) && !all(needed %in% names(given)) && alloy %in% names(USUAL_ALLOY)) {
    alloy <- USUAL_ALLOY[[alloy]]
    row <- match(alloy, table$material)
  }
  if (is.na(row)) {
    out <- list(material = alloy, heat_slope_j_kgk2 = 0, heat_at_c = 20,
                emissivity = NA_real_, emissivity_low = NA_real_, emissivity_high = NA_real_)
    missing <- setdiff(needed, names(given))
    if (length(missing)) {
      abort("argument", paste0("'", alloy, "' is not in the table of metals, and ",
                               in_quotes(missing, " and "), " not given"), arg = missing[1L],
            remedy = paste0("Give all properties, or use ", in_quotes(table$material), "."))
    }
    out$status <- "given by the user"
    out$source <- NA_character_
  } else {
    out <- as.list(table[row, ])
    if (length(given)) out$status <- paste0("changed by the user: ", toString(names(given)))
    if (!is.null(given$heat_j_kgk) && is.null(given$heat_slope_j_kgk2)) out$heat_slope_j_kgk2 <- 0
  }
  out[names(given)] <- given
  structure(out, class = "softanneal_material")
}

#' @param x A material.
#' @param ... Ignored.
#' @rdname thermal_material
#' @export
format.softanneal_material <- function(x, ...) {
  slope <- if (x$heat_slope_j_kgk2 != 0) {
    sprintf(" %+.3g per K from %g %s", x$heat_slope_j_kgk2, x$heat_at_c, degree_c())
  }
  paste0(x$material, ": density ", format(x$density_kg_m3), " kg/m3, specific heat ",
         format(x$heat_j_kgk), slope, " J/(kg K), conductivity ", format(x$conductivity_w_mk),
         " W/(m K), begins to melt at ", in_degrees(format(x$solidus_c)))
}

#' @rdname thermal_material
#' @export
print.softanneal_material <- function(x, ...) {
  writeLines(strwrap(format(x), exdent = 2))
  writeLines(strwrap(paste0("status: ", x$status), exdent = 2))
  invisible(x)
}

as_material <- function(alloy, arg = "alloy") {
  if (inherits(alloy, "softanneal_material")) return(alloy)
  if (is.character(alloy) && length(alloy) == 1L && !is.na(alloy)) {
    return(thermal_material(alloy))
  }
  abort("argument", paste0("`", arg, "` must be a metal of the table or a thermal_material(), not ",
                           describe(alloy)), arg = arg)
}

# Stops at the first temperature at which the metal is not solid.
check_below_solidus <- function(temp_c, arg, alloy) {
  bad <- which(temp_c >= alloy$solidus_c)
  if (length(bad)) {
    abort("range", paste0("`", arg, "` reaches ", in_degrees(format(temp_c[bad[1L]])), ", and ",
                          alloy$material, " begins to melt at ", format(alloy$solidus_c),
                          " ", degree_c(), " (its solidus)"),
          arg = arg, rows = if (length(temp_c) > 1L) bad,
          remedy = "That is melting, not annealing: lower the temperature, or correct the unit.")
  }
  invisible(temp_c)
}

# Specific heat must stay positive over the range of the run.
check_heat_positive <- function(alloy, temp_c) {
  heat <- alloy$heat_j_kgk + alloy$heat_slope_j_kgk2 * (temp_c - alloy$heat_at_c)
  if (any(heat <= 0)) {
    abort("range", paste0("the specific heat of ", alloy$material, " becomes ",
                          format(min(heat), digits = 3), " J/(kg K) at ",
                          in_degrees(format(temp_c[which.min(heat)]))),
          arg = "alloy", remedy = "Correct `heat_slope_j_kgk2`.")
  }
}
