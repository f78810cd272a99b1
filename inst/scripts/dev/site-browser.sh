#!/bin/sh
# Opens every page of a built site in a browser of the Chromium family and looks: does it load with
# title and heading, is each picture shown, does a script fail, is a page wider than the window?
# Other hosts are out of reach on purpose, so that the site proves to stand alone.
#   sh inst/scripts/dev/site-browser.sh out/site
set -eu
site=$(cd "$1" && pwd)
browser=
for name in chromium chromium-browser google-chrome google-chrome-stable; do
    command -v "$name" >/dev/null 2>&1 && browser=$name && break
done
[ -n "$browser" ] || {
    echo "No browser of the Chromium family is at hand: the pages were not opened."
    exit 0
}
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
{
    echo '<!DOCTYPE html><meta charset="utf-8"><pre id="found"></pre><script>'
    echo 'const pages = ['
    (cd "$site" && find . -name '*.html' | sort | sed 's|^\./||; s|.*|"&",|')
    echo "]; const site = \"file://$site/\";"
    cat <<'SCRIPT'
const found = document.getElementById("found");
const say = (...words) => { found.textContent += words.join("\t") + "\n"; };
const open_page = (path) => new Promise((done) => {
  const frame = document.createElement("iframe");
  frame.width = 1200;
  frame.height = 900;
  frame.onload = () => done(frame);
  frame.src = site + path;
  document.body.appendChild(frame);
});
(async () => {
  say("");
  for (const path of pages) {
    console.log("page " + path);
    const frame = await open_page(path);
    const page = frame.contentDocument;
    const pictures = [...page.images];
    const lost = pictures.filter((p) => p.naturalWidth === 0);
    say("PAGE", path, pictures.length - lost.length);
    lost.forEach((p) => say("PICTURE", path, p.getAttribute("src") || "(no source)"));
    pictures.filter((p) => !p.hasAttribute("alt")).forEach((p) => say("ALT", path, p.src));
    if (!page.title || !page.querySelector("h1")) say("EMPTY", path, "no title or heading");
    const root = page.documentElement;
    if (root.scrollWidth > root.clientWidth) say("WIDE", path, root.scrollWidth + " pixels");
    frame.remove();
  }
  say("END");
})();
</script>
SCRIPT
} >"$work/open.html"

# a browser that runs as root refuses its sandbox
sandbox=
[ "$(id -u)" = 0 ] && sandbox=--no-sandbox
timeout 300 "$browser" --headless $sandbox --disable-gpu --disable-quic --no-first-run \
    --disable-background-networking --disable-component-update --disable-sync \
    --user-data-dir="$work/user" --allow-file-access-from-files \
    --host-resolver-rules='MAP * ~NOTFOUND' --enable-logging=stderr \
    --virtual-time-budget=3000000 --dump-dom "file://$work/open.html" \
    >"$work/dom" 2>"$work/said" || {
    tail -n 3 "$work/said" >&2
    exit 1
}
grep -q '^END$' "$work/dom" || {
    echo "The browser did not come to the last page." >&2
    exit 1
}
grep -E '^(PICTURE|ALT|EMPTY|WIDE)	' "$work/dom" >"$work/faults" || true
# what scripts complain of, with the page they were on
sed -n 's/^\[[^]]*CONSOLE[^]]*\] //p' "$work/said" |
    awk '/^"page /{page = $2; next} /[Ee]rror|[Ee]xception/ {print "SCRIPT\t" page "\t" $0}' \
        >>"$work/faults"
pages=$(grep -c '^PAGE	' "$work/dom")
pictures=$(awk -F '\t' '$1 == "PAGE" {n += $3} END {print n + 0}' "$work/dom")
faults=$(wc -l <"$work/faults" | tr -d ' ')
echo "$pages pages opened in $browser, $pictures pictures shown, $faults faults"
[ "$faults" = 0 ] || {
    cat "$work/faults" >&2
    exit 1
}
