# Fits of many groups kept as a parquet data set, and read by others with one query: DuckDB, Arrow (its
# compiled form for node, parquet-wasm) and nanoparquet must give what as.data.frame() gives. Fetches both
# node packages by npm into a temporary folder. By hand, package and nanoparquet installed:
#   Rscript inst/scripts/dev/check-parquet.R [GROUPS]
library(softanneal)
given <- commandArgs(TRUE)
n <- if (length(given)) as.numeric(given[1L]) else 1e6
work <- tempfile("parquet")
data <- file.path(work, "readings")
out <- file.path(work, "fits")
seconds <- function(code) system.time(code)[["elapsed"]]
here <- sub("^--file=", "", grep("^--file=", commandArgs(FALSE), value = TRUE))
source(file.path(dirname(here), "many-groups.R"))
files <- write_many_groups(data, n)
took <- seconds(archive <- fit_archive(data, out, by = "coil", format = "parquet"))
cat(sprintf("%.0f groups in %d parts, %.0f MB: read, fitted and written in %.0f s\n", n, files,
            sum(file.size(list.files(out, "parquet$", full.names = TRUE))) / 2^20, took))
took <- seconds(table <- as.data.frame(archive))
cat(sprintf("as.data.frame(): %.1f s\n", took))
numbers <- names(table)[vapply(table, is.numeric, NA)]
# of each status: groups, and of each column of numbers how many there are and their sum
by_status <- split(table, as.character(table$status))
wanted <- do.call(rbind, lapply(by_status[sort(names(by_status))], function(part) {
  c(nrow(part), vapply(part[numbers], function(x) c(sum(!is.na(x)), sum(x, na.rm = TRUE)), c(0, 0)))
}))
compare <- function(reader, got, took) {
  differs <- max(abs(got - wanted) / pmax(1, abs(wanted)))
  cat(sprintf("%s: %d statuses, %d columns, %.1f s, largest relative difference %.1g\n", reader,
              nrow(got), length(numbers), took, differs))
  if (!(differs < 1e-9)) stop(reader, " reads something else")
}
took <- seconds(again <- do.call(rbind, lapply(list.files(out, "parquet$", full.names = TRUE),
                                               nanoparquet::read_parquet)))
same <- isTRUE(all.equal(as.data.frame(again), table, check.attributes = FALSE, tolerance = 0))
cat(sprintf("nanoparquet: %.1f s, %s\n", took, if (same) "identical" else "NOT the same"))
if (!same) stop("nanoparquet reads something else")

node <- file.path(work, "node")
dir.create(node)
npm <- c("--prefix", shQuote(node), "--no-audit", "--no-fund", "--loglevel=error", "install",
         "@duckdb/node-api", "parquet-wasm", "apache-arrow")
if (system2("npm", npm) != 0L) stop("npm cannot fetch the readers")
place <- seq_along(numbers)
sums <- paste(sprintf("count(\"%s\") AS n%d, coalesce(sum(\"%s\"), 0) AS s%d", numbers, place, numbers,
                      place), collapse = ", ")
query <- paste0("SELECT status, count(*) AS n, ", sums, " FROM '", out,
                "/part-*.parquet' GROUP BY status ORDER BY status")
writeLines(query, file.path(node, "query.sql"))
writeLines(numbers, file.path(node, "columns.txt"))
writeLines(c(
  "const fs = require('fs');",
  "(async () => {",
  "  const { DuckDBInstance } = require('@duckdb/node-api');",
  "  const base = await (await DuckDBInstance.create(':memory:')).connect();",
  "  const found = await base.runAndReadAll(fs.readFileSync('query.sql', 'utf8'));",
  "  for (const row of found.getRows()) console.log(row.slice(1).map(Number).join(' '));",
  "})();"), file.path(node, "duckdb.js"))
writeLines(c(
  "const fs = require('fs');",
  "const arrow = require('apache-arrow');",
  "const parquet = require('parquet-wasm/node');",
  "const columns = fs.readFileSync('columns.txt', 'utf8').trim().split('\\n');",
  "const sums = {};",
  "for (const file of fs.readdirSync(process.argv[2]).filter((f) => f.endsWith('.parquet'))) {",
  "  const bytes = new Uint8Array(fs.readFileSync(process.argv[2] + '/' + file));",
  "  const table = arrow.tableFromIPC(parquet.readParquet(bytes).intoIPCStream());",
  "  const status = table.getChild('status');",
  "  const rows = Array.from({ length: table.numRows }, (_, i) => {",
  "    const s = status.get(i);",
  "    sums[s] = sums[s] || new Array(1 + 2 * columns.length).fill(0);",
  "    sums[s][0] += 1;",
  "    return sums[s];",
  "  });",
  "  columns.forEach((name, k) => {",
  "    const column = table.getChild(name);",
  "    for (let i = 0; i < rows.length; i++) {",
  "      const x = column.get(i);",
  "      if (x !== null) { rows[i][1 + 2 * k] += 1; rows[i][2 + 2 * k] += Number(x); }",
  "    }",
  "  });",
  "}",
  "for (const s of Object.keys(sums).sort()) console.log(sums[s].join(' '));"), file.path(node, "arrow.js"))
old <- setwd(node) # nolint: undesirable_function_linter. A script of its own.
for (reader in c("duckdb", "arrow")) {
  took <- seconds(said <- system2("node", c(paste0(reader, ".js"), shQuote(out)), stdout = TRUE))
  compare(reader, do.call(rbind, lapply(strsplit(said, " "), as.numeric)), took)
}
setwd(old) # nolint: undesirable_function_linter.
unlink(work, recursive = TRUE)
cat("All readers give the same.\n")
