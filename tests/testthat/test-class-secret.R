# Keys of a class: SHA-256 against the examples of FIPS 180-4, and streams that a key alone decides.

sha <- function(bytes) paste(.Call(C_sa_call_sha256, bytes), collapse = "")

test_that("SHA-256 gives the digests of the standard", {
  # FIPS 180-4 examples (NIST, SHA256.pdf) and the digest of the empty message; checked with sha256sum
  expect_identical(sha(charToRaw("abc")), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad")
  expect_identical(sha(charToRaw("abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq")),
                   "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1")
  expect_identical(sha(raw()), "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855")
  expect_identical(sha(rep(charToRaw("a"), 1e6)),
                   "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0")
})

test_that("SHA-256 agrees with another program at each length about a block", {
  skip_if(!nzchar(Sys.which("sha256sum")), "sha256sum is not at hand")
  folder <- withr::local_tempdir()
  sizes <- c(1, 54:57, 63:65, 118:121, 127:129)
  files <- file.path(folder, sprintf("m%03d", sizes))
  for (k in seq_along(sizes)) writeBin(as.raw((seq_len(sizes[k]) * 7) %% 256), files[k])
  other <- substr(system2("sha256sum", shQuote(files), stdout = TRUE), 1, 64)
  expect_identical(vapply(sizes, \(n) sha(as.raw((seq_len(n) * 7) %% 256)), ""), other)
})

key <- "00112233445566778899aabbccddeeff"

test_that("a key decides the readings of each group, alone or with the class", {
  state <- get0(".Random.seed", globalenv())
  class <- simulate_class(2, seed = key)
  expect_identical(get0(".Random.seed", globalenv()), state)
  alone <- simulate_class(2, seed = "0011 2233-4455 6677 8899 AABBCCDDEEFF", groups = 2)
  expect_equal(alone$hardness, class$hardness[class$group == "group-02"], ignore_attr = TRUE)
  # more groups change none
  expect_identical(simulate_class(30, seed = key, groups = 2)$hardness, alone$hardness)
  other <- simulate_class(2, seed = "00112233445566778899aabbccddeefe", groups = 2)
  expect_false(isTRUE(all.equal(other$hardness, alone$hardness)))
  answers <- answer_key(2, seed = key, class = class)
  expect_identical(unique(answers$group), c("group-01", "group-02"))
  expect_refused(answer_key(2, seed = "00112233445566778899aabbccddeefe", class = class), "argument",
                 "was not drawn with this seed", "class")
})

test_that("streams of groups start far apart, below the moduli of the generator", {
  state <- withr::with_preserve_seed({
    set.seed(1, kind = "L'Ecuyer-CMRG")
    .Random.seed
  })
  streams <- vapply(sprintf("group-%02d", 1:500), \(g) secret_stream(check_class_seed(key), g, state[1]),
                    integer(7))
  expect_identical(anyDuplicated(as.vector(streams[-1, ])), 0L)
  words <- ifelse(streams[-1, ] < 0, streams[-1, ] + 2^32, streams[-1, ])
  expect_true(all(words[1:3, ] < 4294967087 & words[4:6, ] < 4294944443))
  # uniform: chi-square on 16 classes, 3000 words
  expect_gt(stats::chisq.test(tabulate(words %/% 2^28 + 1, 16))$p.value, 1e-4)
  # the start is the digest itself: first four bytes of SHA-256 of label, group and key
  message <- c(charToRaw("softanneal class"), as.raw(0), charToRaw("group-01"), as.raw(0),
               check_class_seed(key))
  expect_equal(words[[1, 1]], as.numeric(paste0("0x", substr(sha(message), 1, 8))) %% 4294967087)
})

test_that("new keys have 256 bits and differ", {
  keys <- replicate(20, class_secret())
  expect_match(keys, "^[0-9a-f]{64}$")
  expect_identical(anyDuplicated(keys), 0L)
  expect_refused(random_bytes(16L, source = "no such file"), "file", "to read random bytes from", "source")
})

test_that("keys that are too short or not hexadecimal are refused", {
  expect_refused(simulate_class(1, seed = "2026"), "argument", "has 16 bits, fewer than the 128", "seed")
  expect_refused(simulate_class(1, seed = substr(key, 1, 30)), "argument", "has 120 bits", "seed")
  expect_refused(simulate_class(1, seed = "correct horse battery staple correct horse"), "argument",
                 "hexadecimal", "seed")
  expect_refused(simulate_class(1, seed = c(key, key)), "argument", "one whole number or one key", "seed")
  expect_refused(simulate_class(1, seed = NA_character_), "argument", "one whole number or one key", "seed")
})
