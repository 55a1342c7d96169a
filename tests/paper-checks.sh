#!/usr/bin/env bash
# Holds sheets and handouts against outside readers:
#   qpdf --check, pdfinfo, pdftotext (Debian: qpdf, poppler-utils)   PDF
#   rsvg-convert (Debian: librsvg2-bin), xmllint (libxml2-utils)     SVG
#   vnu (npm: vnu-jar, needs Java), where Java and npm are there      SVG and HTML
#   Chromium headless (Debian: chromium), axe-core (npm), where npm is there   the handout in use
# Usage: tests/paper-checks.sh path/to/gracerung
# Installs what is missing when it runs as root on Debian.
set -euo pipefail
gracerung=$(realpath "${1:?path of the built program}")
here=$(cd "$(dirname "$0")" && pwd)
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
cd "$work"

need=()
for pair in qpdf:qpdf pdfinfo:poppler-utils rsvg-convert:librsvg2-bin xmllint:libxml2-utils chromium:chromium; do
    command -v "${pair%%:*}" >/dev/null || need+=("${pair##*:}")
done
if [ ${#need[@]} -gt 0 ]; then
    apt-get update -qq
    DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "${need[@]}" >/dev/null
fi

passed=0
failed=0
law() { # words, command...
    local words=$1
    shift
    if "$@" >law.out 2>&1; then
        passed=$((passed + 1))
    else
        failed=$((failed + 1))
        echo "not so: $words"
        head -5 law.out
    fi
}

mapfile -t drills < <("$gracerung" drills --json 2>/dev/null | python3 -c '
import json, sys
data = json.load(sys.stdin)
rows = data if isinstance(data, list) else data["drills"]
print("\n".join(row["name"] for row in rows))' 2>/dev/null || true)
if [ ${#drills[@]} -eq 0 ]; then
    drills=(single-gracenotes crossings strike-on-c doubling-on-e grip grip-from-d throw-on-d birl
        taorluath taorluath-from-low-g crunluath jig-grips lamp-on-the-slipway)
fi

for drill in "${drills[@]}"; do
    "$gracerung" sheet "$drill" --clicks -o "$drill.pdf"
    "$gracerung" sheet "$drill" --paper letter --left-handed -o "$drill.svg"
    "$gracerung" handout "$drill" -o "$drill.html"
    law "$drill.pdf passes qpdf --check" qpdf --check "$drill.pdf"
    pdfinfo "$drill.pdf" >info.txt 2>/dev/null
    law "$drill.pdf is tagged" grep -q '^Tagged: *yes' info.txt
    law "$drill.pdf has a title" grep -q '^Title: *[^ ]' info.txt
    law "$drill.pdf is A4" grep -q 'A4' info.txt
    pdftotext "$drill.pdf" words.txt
    law "$drill.pdf can be searched for its ladder" grep -q 'beats a minute' words.txt
    law "$drill.pdf embeds every font" bash -c \
        "pdffonts '$drill.pdf' | tail -n +3 | awk '{ if (\$(NF-4) != \"yes\") exit 1; n++ } END { exit n ? 0 : 1 }'"
    law "$drill.svg is well-formed" xmllint --noout "$drill.svg"
    law "$drill.svg is drawn by librsvg" rsvg-convert "$drill.svg" -o "$drill.rsvg.png"
    law "$drill.svg needs no font" bash -c "! grep -q '<text' '$drill.svg'"
    law "$drill.html is at most 400 kB" test "$(stat -c %s "$drill.html")" -le 400000
done

"$gracerung" sheet "${drills[@]}" -o booklet.pdf
law "a booklet passes qpdf --check" qpdf --check booklet.pdf
# the same page by way of SVG and librsvg: outlines that cancel where they cross leave holes
"$gracerung" sheet grip-from-d -o ink.pdf
"$gracerung" sheet grip-from-d -o ink.svg
rsvg-convert -f pdf ink.svg -o ink-by-svg.pdf
for page in ink ink-by-svg; do
    # at 150 dots an inch thin lines and small letters differ by the rounding of their edges alone
    pdftoppm -gray -r 450 "$page.pdf" "$page" 2>/dev/null
done
law "a PDF carries the ink of its SVG" python3 "$here/same-ink.py" ink ink-by-svg
"$gracerung" sheet grip -o grip.png
law "a PNG is a PNG" bash -c "head -c 8 grip.png | cmp -s - <(printf '\\x89PNG\\r\\n\\x1a\\n')"
law "an existing file is kept" bash -c "! '$gracerung' sheet grip -o grip.png"
law "an unknown ending is refused" bash -c "'$gracerung' sheet grip -o grip.doc; test \$? -eq 2"
law "a missing folder is refused" bash -c "'$gracerung' sheet grip -o none/grip.pdf; test \$? -eq 2"
law "nothing is left half written" bash -c "! ls -A | grep -q '^\\.gracerung-'"

if command -v java >/dev/null && command -v npm >/dev/null; then
    if npm install --silent --no-audit --no-fund --prefix vnu vnu-jar >/dev/null 2>&1; then
        jar=$(find vnu -name 'vnu.jar' | head -1)
        law "every handout is valid HTML" java -jar "$jar" --errors-only ./*.html
        law "every sheet is valid SVG" java -jar "$jar" --svg --errors-only ./*.svg
    else
        echo "vnu-jar cannot be installed: HTML and SVG are not held against it"
    fi
fi

axe=()
if command -v npm >/dev/null && npm install --silent --no-audit --no-fund --prefix axe axe-core >/dev/null 2>&1; then
    axe=(--axe axe/node_modules/axe-core/axe.min.js)
else
    echo "axe-core cannot be installed: handouts are not held against it"
fi
law "handouts are used on three screens, in light and dark, by keyboard, for ten minutes, in Chromium" \
    timeout 500 python3 "$here/handout-in-browser.py" "${axe[@]}" grip-from-d.html lamp-on-the-slipway.html

echo "paper: $passed passed, $failed failed"
[ "$failed" -eq 0 ]
