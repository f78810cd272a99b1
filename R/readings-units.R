# Temperatures of all specimens in another unit than the table says: 603 for 330 degrees Celsius. A slip of
# one piece among others is found in readings-pieces.R; here the metal itself is the witness. At 603
# degrees Celsius brass is soft within a second, so a specimen that takes minutes there was not at 603 degrees
# Celsius. What is known of each metal: plan_kinetics.csv, see plan_guess().

# Nats of ln t by which the times seen must lie off those of the metal, and may lie off in the other unit:
# 80 K of difference between two brasses are about 4, Kelvin for Celsius about 10.
FAR_OFF <- 6
NEAR_BY <- 4.5

find_temperature_unit <- function(r) {
  heated <- which(r$time > 0 & !is.na(r$temp) & !is.na(r$h))
  if (!length(heated)) return(NULL)
  marked <- kelvin_digits(r$temp[heated])
  part <- group_rows(list(paste(r$scale), own_part(r), r$material))
  units <- NULL
  for (k in if (!marked) seq_along(part$first)) {
    pieces <- piece_curves(r, which(part$id == k & !is.na(r$h)))
    if (length(pieces)) units <- rbind(units, other_units(pieces, r$material[part$first[k]]))
  }
  if (marked) {
    units <- data.frame(unit = "Kelvin", metal = NA_character_, left = 0)
  } else if (is.null(units)) return(NULL)
  temp <- range(r$temp[heated])
  unit <- unique(units$unit[order(units$left)])
  there <- vapply(unit, \(u) {
    paste(unique(format(round(OTHER_UNITS[[u]]$back(temp)), trim = TRUE)), collapse = " to ")
  }, "")
  span <- paste(unique(format(temp, digits = 5, trim = TRUE)), collapse = " to ")
  finding("warning", "temperatures", heated,
          paste0("temperatures of ", span, " degrees Celsius: ",
                 paste0(vapply(unit, \(u) OTHER_UNITS[[u]]$words, ""), " (", there, " degrees Celsius)",
                        collapse = ", or "), "?"),
          if (marked) "all end in .15, as temperatures in Kelvin do that were counted in degrees Celsius" else
            paste0(units$metal[1L], " softens there ", if (units$early[1L]) "at once" else "in years",
                   ", and not in the times read"),
          paste("Name the column by its unit, such as temp_k, temp_f or temp_c, and read the file anew;",
                "another metal than brass is said by a column `material`."))
}

# What the numbers were, if the degrees Celsius of the table are wrong: back to what was meant.
OTHER_UNITS <- list(
  Kelvin = list(words = "in Kelvin", back = function(t) t - ZERO_CELSIUS),
  Fahrenheit = list(words = "in Fahrenheit", back = function(t) (t - 32) / 1.8),
  celsius_k = list(words = "degrees Celsius read as Kelvin", back = function(t) t + ZERO_CELSIUS),
  celsius_f = list(words = "degrees Celsius read as Fahrenheit", back = function(t) t * 1.8 + 32))

# 563.15, 603.15: several that all end so are Kelvin.
kelvin_digits <- function(temp) {
  temp <- unique(temp)
  length(temp) > 1L && all(temp > ZERO_CELSIUS) && all(abs(temp %% 1 - 0.15) < 1e-6)
}

# The units in which the half-way times of the pieces agree with the metal where those of the table are far
# off; NULL for none.
other_units <- function(pieces, material) {
  metal <- kinetics_of_table(material)
  at <- if (!is.null(metal)) passing_times(pieces)
  if (!length(at)) return(NULL)
  seen <- at[[1L]]$side == 0
  if (!any(seen)) return(NULL)
  ln <- at[[1L]]$ln[seen]
  temp <- vapply(pieces, `[[`, 0, "temp")[seen]
  off <- function(t) stats::median(ln - metal(t))
  now <- off(temp)
  if (abs(now) < FAR_OFF) return(NULL)
  # too slow for the metal: the temperature was lower
  units <- if (now > 0) c("Kelvin", "Fahrenheit") else c("celsius_k", "celsius_f")
  left <- vapply(units, function(u) {
    meant <- OTHER_UNITS[[u]]$back(temp)
    if (any(meant < 50)) Inf else abs(off(meant)) # no furnace is at 50 degrees Celsius
  }, 0)
  good <- left < NEAR_BY & left < abs(now) / 2
  if (any(good)) data.frame(unit = units[good], metal = material, left = left[good], early = now > 0)
}

# Kinetics of the metals of the conversion tables, read once a session.
metal_kinetics <- local({
  table <- NULL
  function() {
    if (is.null(table)) {
      x <- fact_table("plan_kinetics.csv")
      x$name <- table_names(x$material)
      table <<- x
    }
    table
  }
})

# ln of the minutes to half softening of the metal of a conversion table, by temperature in degrees
# Celsius; NULL where nothing is known of it.
kinetics_of_table <- function(material) {
  x <- metal_kinetics()
  x <- x[x$name %in% sub("_.*", "", material), ] # brass_gb, steel_din
  if (!nrow(x)) return(NULL)
  value <- stats::setNames(x$value, x$quantity)
  half <- log(60) + log(log(2) / -log(1 - COMPLETE)) / value[["n"]]
  function(temp_c) {
    half + value[["q_kj_mol"]] * 1000 / GAS_CONSTANT *
      (1 / (temp_c + ZERO_CELSIUS) - 1 / (value[["recryst_1h_c"]] + ZERO_CELSIUS))
  }
}

# The metal of each row: the column `material`, or the name given. NA where no table has it.
metal_of_rows <- function(data, quo, given) {
  if (!given && "material" %in% names(data)) return(table_names(valid_text(as.character(data[["material"]]))))
  rep_len(table_names(material_of_rows(data, quo, given)$name), nrow(data))
}
