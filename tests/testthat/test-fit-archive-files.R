# Archives of folders as they come from a plant: bad, changed and missing files, keys that look like
# numbers, kills at bad moments, several processes in one folder.
partition_readings <- function(coils = 6, seed = 1) {
  with_test_seed(seed, do.call(rbind, lapply(seq_len(coils), function(i) {
    cbind(coil = sprintf("c%02d", i), made_readings(sd_step = 1, q = 120 + 5 * i, n = 2))
  })))
}

write_exactly <- function(d, path) {
  number <- vapply(d, is.double, NA)
  d[number] <- lapply(d[number], sprintf, fmt = "%.17g")
  utils::write.csv(d, path, row.names = FALSE)
}

# A folder with a file a coil.
coil_folder <- function(d, env = parent.frame()) {
  folder <- withr::local_tempdir(.local_envir = env)
  for (coil in unique(d$coil)) {
    write_exactly(d[d$coil == coil, ], file.path(folder, paste0(coil, ".csv")))
  }
  folder
}

wanted <- function(d, ...) as.data.frame(suppressWarnings(fit_each(d, "coil", ...)))

expect_rows <- function(archive, want) {
  got <- as.data.frame(archive)
  rownames(got) <- rownames(want) <- NULL
  expect_identical(got, want)
}

test_that("files and labels in other letters, whose encoding nobody marked, are taken", {
  skip_if_not(l10n_info()[["UTF-8"]], "another locale")
  d <- partition_readings(2)
  folder <- withr::local_tempdir()
  for (coil in unique(d$coil)) {
    write_exactly(d[d$coil == coil, ], file.path(folder, paste0(coil, "\u00e9 \U0001f600 a\u202eb.csv")))
  }
  archive <- fit_archive(folder, withr::local_tempfile(), by = "coil")
  expect_rows(archive, wanted(d))
  expect_length(grep("^c0[12]\u00e9", archive$manifest$source), 2L)
  unmarked <- paste0(c("\u00e9", "z", "\U0001f600"), "x")
  Encoding(unmarked) <- "unknown"
  o <- c(2, 1, 3, 2, 1)
  expect_identical(ordered_codes(unmarked[o]), ordered_codes(enc2utf8(unmarked)[o]))
  expect_identical(ordered_codes(c("b", NA, "\xff", "a")), c(3L, 0L, 1L, 2L)) # "<ff>" stands before letters
  d$specimen <- paste0(d$specimen, "\u00e9")
  Encoding(d$specimen) <- "unknown"
  expect_identical(wanted(d)$q_kj_mol, wanted(transform(d, specimen = enc2utf8(specimen)))$q_kj_mol)
})

test_that("a bad file is named at the end, and the others are done", {
  d <- partition_readings()
  folder <- coil_folder(d)
  path <- function(coil) file.path(folder, paste0(coil, ".csv"))
  write_exactly(d[d$coil == "c02", rev(names(d))], path("c02")) # another order of columns
  utils::write.csv(d[0, ], file.path(folder, "c00.csv"), row.names = FALSE) # a header alone
  file.create(path("c03"))
  writeLines(c("coil,temp_c", "c04,300"), path("c04"))
  writeBin(as.raw(c(0x50, 0x4b, 3, 4, 0, 0, 0xff, 0xfe)), path("c05")) # no table at all
  out <- withr::local_tempfile()
  failed <- tryCatch(fit_archive(folder, out, by = coil), softanneal_error_file = identity)
  expect_equal(failed$sources, c("c03.csv", "c04.csv", "c05.csv"))
  expect_match(conditionMessage(failed), "^3 of 7 partitions could not be done")
  expect_match(conditionMessage(failed), "c04.csv: `data` has no column `time_min`", fixed = TRUE)
  partial <- read_archive(out)
  expect_equal(partial$manifest$source, c("c00.csv", "c01.csv", "c02.csv", "c06.csv"))
  expect_equal(partial$manifest$groups, c(0L, 1L, 1L, 1L))
  expect_equal(partial$not_done, 4:6)
  expect_warning(some <- as.data.frame(partial), class = "softanneal_warning_missing")
  expect_identical(some, wanted(d[d$coil %in% c("c01", "c02", "c06"), ]), ignore_attr = "row.names")
  for (coil in c("c03", "c04", "c05")) write_exactly(d[d$coil == coil, ], path(coil))
  before <- file.mtime(file.path(out, "part-000002.rds"))
  expect_rows(fit_archive(folder, out, by = coil), wanted(d))
  expect_equal(file.mtime(file.path(out, "part-000002.rds")), before)
  lines <- readLines(path("c06"))
  writeLines(c(lines[1:9], substr(lines[10L], 1L, 12L)), file.path(folder, "c07.csv")) # cut short
  expect_error(fit_archive(folder, out, by = coil), "c07.csv: .*line 9 did not have")
  writeLines(c(lines[1:9], paste0("\"", lines[10L]), lines[11:12]), file.path(folder, "c07.csv"))
  expect_error(fit_archive(folder, out, by = coil), "c07.csv: ") # a quote that never closes
  # of one kind only: its own class
  writeLines(c("coil,temp_c", "c04,300"), file.path(folder, "c07.csv"))
  expect_error(fit_archive(folder, out, by = coil), class = "softanneal_error_column")
})

test_that("settings that no file can meet stop before the first", {
  folder <- coil_folder(partition_readings(1))
  out <- withr::local_tempfile()
  expect_error(fit_archive(folder, out, by = coil, model = "jmk"),
               class = "softanneal_error_argument")
  expect_error(fit_archive(folder, out, by = coil, fixed = c(m = 1)),
               class = "softanneal_error_argument")
  expect_error(fit_archive(folder, out, by = coil, threads = 0), class = "softanneal_error_range")
  expect_error(fit_archive(folder, out, by = coil, time = 3), class = "softanneal_error_argument")
  expect_error(fit_archive(c(folder, folder), out, by = coil), class = "softanneal_error_duplicate")
  expect_false(dir.exists(out))
})

test_that("a group that goes on in the next file is an error that names both", {
  d <- partition_readings(3)
  folder <- coil_folder(d)
  cut <- which(d$coil == "c02")
  write_exactly(d[cut[1:20], ], file.path(folder, "c02.csv"))
  write_exactly(rbind(d[cut[-(1:20)], ], d[d$coil == "c03", ]), file.path(folder, "c03.csv"))
  out <- withr::local_tempfile()
  expect_error(fit_archive(folder, out, by = coil), "group c02 .*'c02.csv' and 'c03.csv'",
               class = "softanneal_error_duplicate")
  expect_error(as.data.frame(read_archive(out)), class = "softanneal_error_duplicate")
  # pieces of a job array: found by whoever completes the archive
  pieces <- withr::local_tempfile()
  for (k in 1:2) {
    expect_s3_class(fit_archive(folder, pieces, by = coil, part = k), "softanneal_archive")
  }
  expect_error(fit_archive(folder, pieces, by = coil, part = 3),
               class = "softanneal_error_duplicate")
})

test_that("keys keep their digits and zeros", {
  d <- partition_readings(4)
  d$coil <- c("007", "7", "20240000123456789012", "20240000123456789013")[factor(d$coil)]
  folder <- withr::local_tempdir()
  write_exactly(d, file.path(folder, "all.csv"))
  want <- wanted(d)
  expect_equal(nrow(want), 4L)
  expect_rows(fit_archive(folder, withr::local_tempfile(), by = coil), want)
  csv <- fit_archive(folder, withr::local_tempfile(), by = coil, format = "csv")
  expect_equal(as.data.frame(csv)$coil, want$coil)
  d$coil <- match(d$coil, unique(d$coil)) * 100000L # whole numbers stay whole numbers
  write_exactly(d, file.path(folder, "all.csv"))
  expect_rows(fit_archive(folder, withr::local_tempfile(), by = coil), wanted(d))
  expect_identical(plain_key(c("0.50", "1", NA)), c("0.50", "1", NA)) # not written as numbers print
  expect_identical(plain_key(c("0.5", "1.25")), c(0.5, 1.25))
  expect_identical(plain_key(c("T", "F")), c("T", "F"))
  expect_identical(plain_key(c("1e5", "2")), c("1e5", "2"))
})

test_that("compressed files, files of other folders, a reader of folders", {
  d <- partition_readings(2)
  folder <- withr::local_tempdir()
  con <- gzfile(file.path(folder, "c01.csv.gz"), "w")
  write_exactly(d[d$coil == "c01", ], con)
  close(con)
  write_exactly(d[d$coil == "c02", ], file.path(folder, "c02.csv"))
  expect_rows(fit_archive(folder, withr::local_tempfile(), by = coil), wanted(d))
  roots <- file.path(folder, c("a", "b"))
  for (k in 1:2) {
    dir.create(roots[k])
    write_exactly(d[d$coil == unique(d$coil)[k], ], file.path(roots[k], "data.csv"))
  }
  same_name <- fit_archive(file.path(roots, "data.csv"), withr::local_tempfile(), by = coil)
  expect_rows(same_name, wanted(d))
  expect_equal(anyDuplicated(same_name$manifest$source), 0L)
  out <- withr::local_tempfile()
  reader <- function(path) utils::read.csv(file.path(path, "data.csv"))
  expect_rows(fit_archive(roots, out, by = coil, reader = reader), wanted(d))
  write_exactly(d[d$coil == "c01", ][-1L, ], file.path(roots[1L], "data.csv"))
  expect_error(fit_archive(roots, out, by = coil, reader = reader), "'a' changed",
               class = "softanneal_error_file")
})

test_that("changed, added and removed sources are noticed", {
  d <- partition_readings(4)
  folder <- coil_folder(d[d$coil != "c04", ])
  out <- withr::local_tempfile()
  fit_archive(folder, out, by = coil)
  again <- function(...) fit_archive(folder, out, by = coil, ...)
  first <- file.path(folder, "c01.csv")
  Sys.setFileTime(first, Sys.time() + 100) # touched, not changed
  expect_rows(again(), wanted(d[d$coil != "c04", ]))
  expect_rows(again(threads = 2, chunk_size = 1), wanted(d[d$coil != "c04", ]))
  write_exactly(d[d$coil == "c04", ], file.path(folder, "c04.csv")) # sorts last
  expect_rows(again(), wanted(d))
  lines <- readLines(first)
  writeLines(sub("c01", "c0x", lines), first) # the same size
  expect_error(again(), "'c01.csv' changed", class = "softanneal_error_file")
  expect_equal(tryCatch(again(), error = function(e) e$sources), "c01.csv")
  unlink(file.path(out, "part-000001.rds")) # as the message says
  expect_equal(as.data.frame(again())$coil, c("c0x", "c02", "c03", "c04"))
  writeLines(lines, file.path(folder, "b00.csv")) # sorts first
  expect_error(again(), "part 1 came from 'c01.csv', and is now 'b00.csv'",
               class = "softanneal_error_file")
  unlink(file.path(folder, c("b00.csv", "c04.csv")))
  expect_error(again(), "are not those", class = "softanneal_error_file")
})

test_that("torn results are done again, and read_archive() writes nothing", {
  d <- partition_readings(3)
  folder <- coil_folder(d)
  out <- withr::local_tempfile()
  fit_archive(folder, out, by = coil)
  torn <- file.path(out, c("part-000001.rds", "part-000002.dcf", "part-000003.dcf"))
  writeBin(readBin(torn[1L], "raw", 100), torn[1L])
  file.create(torn[2L]) # length zero, as after a power cut
  writeLines("part: 3", torn[3L])
  refused <- expect_error(read_archive(out), class = "softanneal_error_file")
  expect_setequal(refused$files, basename(torn))
  expect_rows(fit_archive(folder, out, by = coil), wanted(d))
  unlink(file.path(out, "manifest.csv"))
  expect_rows(read_archive(out), wanted(d))
  expect_false(file.exists(file.path(out, "manifest.csv")))
  old <- file.path(out, c("part-000009.rds.1-2.tmp", "part-000008.rds.1-2.tmp"))
  file.create(old)
  Sys.setFileTime(old[1L], Sys.time() - 7200)
  fit_archive(folder, out, by = coil)
  expect_equal(file.exists(old), c(FALSE, TRUE)) # the younger may be somebody's work
  # same size, other bytes: said, not read as something else, also by an object made before
  archive <- read_archive(out)
  size <- file.size(file.path(out, "part-000001.rds"))
  writeBin(raw(size), file.path(out, "part-000001.rds"))
  expect_error(as.data.frame(archive), "part-000001.rds' was altered", class = "softanneal_error_file")
  expect_error(as.data.frame(read_archive(out)), class = "softanneal_error_file")
  expect_rows(fit_archive(folder, out, by = coil), wanted(d))
})

# What can happen to a file of an archive, by name.
damages <- function() list(
  gone = unlink, empty = function(f) close(file(f, "wb")),
  cut = function(f) writeBin(utils::head(readBin(f, "raw", 1e6), -3L), f),
  bit = function(f) {
    bytes <- readBin(f, "raw", 1e6)
    at <- length(bytes) %/% 2L
    writeBin(replace(bytes, at, xor(bytes[at], as.raw(1L))), f)
  },
  grown = function(f) cat("x", file = f, append = TRUE),
  other = function(f) writeLines(c("part: 2", "file: ../../secret.rds"), f))

test_that("each file of an archive damaged in each way: an error on reading, then the same table", {
  skip_on_cran()
  d <- partition_readings(3)
  folder <- coil_folder(d)
  for (format in c("rds", "csv")) {
    out <- withr::local_tempfile()
    whole <- as.data.frame(fit_archive(folder, out, by = coil, format = format))
    files <- setdiff(list.files(out, full.names = TRUE), file.path(out, "manifest.csv"))
    expect_length(files, 7L)
    for (file in files) for (damage in names(damages())) {
      kept <- readBin(file, "raw", 1e6)
      damages()[[damage]](file)
      what <- paste(basename(file), damage)
      expect_error(as.data.frame(read_archive(out)), class = "softanneal_error_file", info = what)
      if (basename(file) == "archive.dcf") {
        if (damage != "gone") {
          expect_error(fit_archive(folder, out, by = coil, format = format), info = what,
                       class = "softanneal_error_file")
        }
        writeBin(kept, file)
      } else {
        expect_identical(as.data.frame(fit_archive(folder, out, by = coil, format = format)), whole,
                         info = what)
        expect_identical(as.data.frame(read_archive(out)), whole, info = what)
      }
    }
  }
})

test_that("a result that another hand changed is not read, nor a note or list", {
  d <- partition_readings(2)
  folder <- coil_folder(d)
  out <- withr::local_tempfile()
  fit_archive(folder, out, by = coil)
  path <- file.path(out, "part-000002.rds")
  table <- readRDS(path)
  table$q_kj_mol <- 1.02 * table$q_kj_mol
  saveRDS(table, path)
  expect_error(read_archive(out), "part-000002.rds (was altered|has another size)",
               class = "softanneal_error_file")
  fit_archive(folder, out, by = coil)
  manifest <- file.path(out, "manifest.csv")
  lines <- readLines(manifest)
  writeLines(sub("^1,", "nothing,", lines), manifest)
  expect_error(read_archive(out), "manifest.csv' was altered", class = "softanneal_error_file")
  writeLines(lines, manifest)
  about <- file.path(out, "archive.dcf")
  softanneal:::write_record(about, c(package = "0", R = "4", settings = "", keys = "coil",
                                     format = "exe"))
  expect_error(read_archive(out), "unknown format 'exe'", class = "softanneal_error_file")
})

test_that("names of files and groups with line ends and fields of a note stay one value", {
  skip_on_os("windows")
  d <- partition_readings(2)
  d$coil <- c("a\nformat: csv", "\\1 `r 1`")[factor(d$coil)]
  folder <- withr::local_tempdir()
  saveRDS(d, file.path(folder, "x\ngroups: 9.rds"))
  out <- withr::local_tempfile()
  run <- function() fit_archive(list.files(folder, full.names = TRUE), out, by = coil, reader = readRDS)
  expect_rows(run(), wanted(d))
  expect_equal(run()$manifest$groups, 2L)
  expect_equal(read_archive(out)$manifest$first_key, "\\1 `r 1`")
})

test_that("what cannot be written stops the run", {
  d <- partition_readings(2)
  folder <- coil_folder(d)
  expect_error(fit_archive(folder, file.path(folder, "c01.csv", "out"), by = coil),
               class = "softanneal_error_file")
  out <- withr::local_tempfile()
  dir.create(file.path(out, "part-000001.rds"), recursive = TRUE) # nothing can take its name
  file.create(file.path(out, "part-000001.rds", "x"))
  failed <- tryCatch(fit_archive(folder, out, by = coil), softanneal_error_file = identity)
  expect_equal(failed$arg, "out_dir")
  expect_length(list.files(out, "tmp$"), 0L)
})

# A child killed by SIGKILL while `code` runs, as soon as `ready()` says so.
killed_child <- function(code, ready, seconds = 30) {
  job <- parallel::mcparallel(code)
  deadline <- Sys.time() + seconds
  while (!ready() && Sys.time() < deadline) Sys.sleep(0.01)
  tools::pskill(job$pid, tools::SIGKILL)
  suppressWarnings(parallel::mccollect(job))
  ready()
}

test_that("killed while a result, its note or the manifest is written: the same table", {
  skip_on_os("windows")
  d <- partition_readings(4)
  folder <- coil_folder(d)
  out <- withr::local_tempfile()
  fit_archive(folder, out, by = coil, part = c(1, 3))
  for (name in c("part-000002.rds", "part-000002.dcf", "manifest.csv", "part-000001.rds")) {
    path <- file.path(out, name)
    there <- if (file.exists(path)) readBin(path, "raw", 1e6)
    passing <- function() list.files(out, "^softanneal-.*[.]tmp$")
    before <- length(passing())
    expect_true(killed_child(put_in_place(path, function(to) {
      cat("half of it", file = to)
      Sys.sleep(60)
    }, function(to) TRUE), function() length(passing()) > before))
    expect_identical(if (file.exists(path)) readBin(path, "raw", 1e6), there)
  }
  expect_equal(read_archive(out)$manifest$part, c(1L, 3L))
  archive <- fit_archive(folder, out, by = coil)
  expect_rows(archive, wanted(d))
  expect_equal(archive$manifest$part, 1:4)
  manifest <- utils::read.csv(file.path(out, "manifest.csv"))
  expect_equal(manifest$groups, archive$manifest$groups)
})

test_that("two processes in one folder share it, and other settings are refused", {
  skip_on_os("windows")
  d <- partition_readings(8)
  folder <- coil_folder(d)
  slow <- function(path) {
    Sys.sleep(0.02)
    utils::read.csv(path)
  }
  out <- withr::local_tempfile()
  jobs <- lapply(1:3, function(k) {
    parallel::mcparallel(as.data.frame(fit_archive(folder, out, by = "coil", reader = slow)))
  })
  tables <- parallel::mccollect(jobs)
  want <- wanted(d)
  for (table in tables) {
    rownames(table) <- NULL
    expect_identical(table, want)
  }
  expect_length(list.files(out, "[.]rds$"), 8L)
  expect_length(list.files(out, "[.]tmp$"), 0L)
  # at the same moment with different settings: one of them is told
  other <- withr::local_tempfile()
  jobs <- lapply(c("cluster", "model", "steps"), function(se) {
    parallel::mcparallel(tryCatch({
      fit_archive(folder, other, by = "coil", reader = slow, se = se)
      se
    }, softanneal_error_file = function(e) NULL))
  })
  done <- unlist(parallel::mccollect(jobs), use.names = FALSE)
  expect_length(done, 1L)
  expect_rows(read_archive(other), wanted(d, se = done))
})

test_that("progress is signalled for each file, the bad ones too", {
  skip_if_not_installed("progressr")
  d <- partition_readings(4)
  folder <- coil_folder(d)
  file.create(file.path(folder, "c03.csv"))
  loadNamespace("progressr")
  steps <- 0
  progressr::with_progress(
    withCallingHandlers(
      tryCatch(fit_archive(folder, withr::local_tempfile(), by = coil), error = identity),
      progression = function(p) if (identical(p$type, "update")) steps <<- steps + 1),
    handlers = progressr::handler_void(), enable = TRUE)
  expect_equal(steps, 4)
})

test_that("the table of an archive without any part says that it is not finished", {
  archive <- structure(list(out_dir = tempdir(), format = "rds", version = PACKAGE_VERSION, keys = "coil",
                            not_done = NA_integer_,
                            manifest = data.frame(file = character(), part = integer(), rows = integer(),
                                                  groups = integer(), ok = integer(), fitted = integer())),
                       class = "softanneal_archive")
  expect_warning(none <- as.data.frame(archive), "the archive was not finished: groups are missing",
                 class = "softanneal_warning_missing")
  expect_equal(nrow(none), 0L)
})
