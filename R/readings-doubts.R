# The checks that need geometry or statistics: sheet thickness, spacing, outliers, drift.
# Each returns a list of findings for findings_table(); see readings-findings.R.

find_thin <- function(r) {
  if (is.null(r$thickness)) return(NULL)
  e18 <- e18_limit(r$thickness, r$scale)
  known <- !is.na(r$h) & !is.na(e18$limit)
  thin <- which(known & r$h < e18$limit & !e18$last)
  silent <- which(known & r$h < e18$limit & e18$last)
  least <- indent_size(r$h, r$scale)$least
  iso <- setdiff(which(!is.na(least) & r$thickness < least * (1 - 1e-9)), thin)
  marks <- intersect(unique(r$scale[thin]), e18$memory)
  c(finding("warning", "thickness", thin,
            paste0("sheet too thin for the reading by ASTM E18",
                   if (length(thin)) thin_example(r, e18$limit, thin[1L])),
            paste0("the anvil affects the reading on thin sheet, and the reading is wrong ",
                   "(minimum-thickness tables of ASTM E18",
                   if (length(marks)) paste0("; ", paste(marks, collapse = ", "), " from memory"),
                   ")"),
            "Use a lighter scale (HR15T, HR30T, Vickers); never stack sheets."),
    finding("note", "thickness", silent,
            "softer than the minimum-thickness table of ASTM E18 goes at this thickness",
            "the table ends before this reading, so it neither allows nor forbids it",
            "Look at the far side for a mark; go by the ISO rule."),
    finding("note", "thickness", iso,
            paste0("sheet thinner than the ISO rule asks for",
                   if (length(iso)) paste0(" (e.g. ", format(r$thickness[iso[1L]]), " mm where ",
                                           format(least[iso[1L]], digits = 3),
                                           " mm are asked for at ", format(r$h[iso[1L]]), " ",
                                           r$scale[iso[1L]], ")")),
            paste("ISO asks for 15 h with a ball, 10 h with a cone (ISO 6508-1, from memory),",
                  "1.5 d Vickers, 8 h Brinell; on HRB and HRF this is stricter than E18"),
            "Say in the report which rule was followed; look at the far side for a mark."))
}

thin_example <- function(r, limit, i) {
  paste0(" (e.g. ", format(r$h[i]), " ", r$scale[i], " on ", format(r$thickness[i]), " mm, where ",
         if (is.finite(limit[i])) paste0("at least ", format(limit[i]),
                                         " is needed") else "no reading is allowed", ")")
}

# 3 d between centres and 2.5 d to an edge (ISO 6508-1 seen, ISO 6507-1, Brinell alike). All
# indentations of a specimen count, whatever the step they were made in.
find_spacing <- function(r) {
  if (is.null(r$position)) return(NULL)
  d <- indent_size(r$h, r$scale)$diameter
  use <- which(!is.na(r$position) & !is.na(d))
  if (!length(use)) return(NULL)
  order <- use[order(match(r$specimen[use], unique(r$specimen)), r$position[use])]
  n <- length(order)
  same <- r$specimen[order[-1L]] == r$specimen[order[-n]]
  gap <- r$position[order[-1L]] - r$position[order[-n]]
  wanted <- 3 * pmax(d[order[-1L]], d[order[-n]])
  near <- which(same & gap < wanted - 1e-9)
  edge <- which(r$position < 2.5 * d - 1e-9 |
                  (if (is.null(r$length)) FALSE else r$length - r$position < 2.5 * d - 1e-9))
  worst <- if (length(near)) near[which.min(gap[near] / wanted[near])]
  c(finding("warning", "spacing", sort(unique(c(order[near], order[near + 1L]))),
            paste0("indentations nearer than 3 d", if (length(near)) paste0(
              " (closest ", format(gap[worst], digits = 3), " mm where ",
              format(wanted[worst], digits = 3), " mm are needed)")),
            "the metal around an indentation is work hardened and lifted (ISO 6508-1, ISO 6507-1)",
            "Leave out readings made beside others, or plan more room."),
    finding("warning", "spacing", edge, "indentation nearer than 2.5 d to an edge",
            "lateral support is reduced near an edge, and the reading is too low (ISO 6508-1, ISO 6507-1)",
            "Leave these readings out, or keep off the edge."))
}

# Slope of hardness along the reading number, common to all steps: least squares
# on deviations from the mean of each.
find_drift <- function(r, alpha) {
  if (is.null(r$reading)) return(NULL)
  use <- which(!is.na(r$h) & !is.na(r$reading))
  k <- length(r$cell$first)
  id <- r$cell$id[use]
  centred <- function(v) v - group_statistics(v, id, k)$mean[id]
  x <- centred(r$reading[use])
  y <- centred(r$h[use])
  df <- length(use) - length(unique(id)) - 1
  sxx <- sum(x^2)
  if (df < 3 || sxx <= 0) return(NULL)
  slope <- sum(x * y) / sxx
  se <- sqrt(sum((y - slope * x)^2) / df / sxx)
  if (se <= 0 || 2 * stats::pt(-abs(slope / se), df) >= alpha) return(NULL)
  finding("warning", "drift", use,
          paste0("readings ", if (slope < 0) "fall" else "rise", " along their number, by ",
                 format(signif(abs(slope), 2)), " points per reading on average"),
          "a seating ball, a specimen still cooling, or indentations too near to each other do this",
          "Make two readings to seat the ball first and leave them out; let the specimen cool.")
}
