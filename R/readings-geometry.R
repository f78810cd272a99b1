# Size of an indentation from its hardness number, and whether sheet and spacing were
# enough for it. Lengths in mm, loads in kgf. Rules: inst/extdata/thickness_rules.csv and
# thickness_e18.csv, each row with its source.

# Depth and diameter (mm) of indentations, NA where the scale does not tell (a Vickers
# number without its load, for one). Rockwell: h = (N - HR) S is what the total force adds
# below the preliminary force, so both are a little too small. Ball: d = 2 sqrt(h (D - h)). Cone of
# 120 deg with a tip of radius R = 0.2 mm: d = 2 tan(60) (h + R (1/sin(60) - 1)).
# Vickers: d = sqrt(1.8544 F/HV), h = d/7. Brinell: h = F / (pi D HBW).
indent_size <- function(hardness, scale) {
  labels <- unique(scale)
  id <- match(scale, labels)
  table <- published("scale_rockwell.csv")
  depth <- diameter <- least <- rep(NA_real_, length(hardness))
  for (i in seq_along(labels)) {
    at <- which(id == i & !is.na(hardness))
    x <- hardness[at]
    part <- one_scale_size(labels[i], x, table)
    depth[at] <- part$depth
    diameter[at] <- part$diameter
    least[at] <- part$least
  }
  list(depth = depth, diameter = diameter, least = least)
}

# `least`: thickness asked for by ISO. ISO 6508-1, 6.4: 15 h with a ball, 10 h with a cone
# (from memory); ISO 6507-1, 6.3: 1.5 d; ISO 6506-1, 6.3: 8 h.
one_scale_size <- function(scale, x, table) {
  row <- match(scale, table$scale)
  if (!is.na(row)) {
    h <- (table$N[row] - x) * table$S_mm[row]
    ball <- table$ball_diameter_mm[row]
    if (!is.na(ball)) return(list(depth = h, diameter = ball_chord(h, ball), least = 15 * h))
    tip <- 0.2 * (1 / sin(pi / 3) - 1)
    return(list(depth = h, diameter = 2 * tan(pi / 3) * (h + tip), least = 10 * h))
  }
  if (grepl("^HV *[0-9.]+", scale)) {
    d <- sqrt(1.8544 * as.numeric(sub("^HV *([0-9.]+).*$", "\\1", scale)) / x)
    return(list(depth = d / 7, diameter = d, least = 1.5 * d))
  }
  brinell <- regmatches(scale, regexec("^HBW ([0-9.]+)/([0-9.]+)", scale))[[1L]]
  if (length(brinell)) {
    ball <- as.numeric(brinell[2L])
    h <- as.numeric(brinell[3L]) / (pi * ball * x)
    return(list(depth = h, diameter = ball_chord(h, ball), least = 8 * h))
  }
  unknown <- rep(NA_real_, length(x))
  list(depth = unknown, diameter = unknown, least = unknown)
}

ball_chord <- function(h, ball) 2 * sqrt(pmax(h * (ball - h), 0))

# The lowest reading that ASTM E18 allows on sheet of this thickness. A thickness between two rows takes
# the thinner row. `limit` NA: the scale has no table; Inf: thinner than any row.
# `last`: beyond the end of the table, where it says nothing about softer metal.
e18_limit <- function(thickness_mm, scale) {
  table <- published("thickness_e18.csv")
  limit <- rep(NA_real_, length(scale))
  last <- rep(FALSE, length(scale))
  memory <- unique(table$scale[grepl("from memory", table$status)])
  for (name in intersect(unique(scale), table$scale)) {
    rows <- table[table$scale == name, ]
    rows <- rows[order(rows$thickness_mm), ]
    at <- which(scale == name & !is.na(thickness_mm))
    # printed thicknesses are rounded to 0.01 mm
    step <- findInterval(thickness_mm[at] + 0.005, rows$thickness_mm)
    limit[at] <- c(Inf, rows$lowest_dial_reading)[step + 1L]
    last[at] <- step == nrow(rows)
  }
  list(limit = limit, last = last, memory = memory)
}

# Useful range of the Rockwell scales (ISO 6508-1): text such as "20-95 (ISO)" as numbers.
useful_range <- function(scale) {
  table <- published("scale_rockwell.csv")
  text <- table$range[match(scale, table$scale)]
  pattern <- "^([0-9.]+)-([0-9.]+).*$"
  part <- function(which) suppressWarnings(as.numeric(ifelse(grepl(pattern, text), sub(pattern, which, text), NA)))
  list(low = part("\\1"), high = part("\\2"))
}
