# Remakes the plot and the printed output in README.md, from the top of the package with
# the package installed:
#   Rscript inst/scripts/dev/readme-figure.R
library(softanneal)
fit <- fit_softening(read_readings(system.file("extdata", "bellbrass_readings.csv",
                                               package = "softanneal")))
dir.create("man/figures", recursive = TRUE, showWarnings = FALSE)
ggplot2::ggsave("man/figures/softening.png", ggplot2::autoplot(fit), width = 7, height = 4.2,
                dpi = 72)
shown <- c("```", capture.output(print(fit)), "```")
text <- readLines("README.md")
from <- grep("<!-- begin output -->", text, fixed = TRUE)
to <- grep("<!-- end output -->", text, fixed = TRUE)
writeLines(c(text[seq_len(from)], "", shown, "", text[to:length(text)]), "README.md")
