#!/usr/bin/env bash
# Makes what can be handed to a player: a Debian package and a zip for Windows.
# Usage: packaging/make.sh [FOLDER, target/packages when left out]
# Needs Debian's dpkg-dev and gcc-mingw-w64-x86-64, rustup and PyPI; `packaging/try.sh` tries both.
set -euo pipefail
cd "$(dirname "$0")/.."
mkdir -p "${1:-target/packages}"
out=$(cd "${1:-target/packages}" && pwd)
version=$(sed -n 's/^version = "\(.*\)"/\1/p' Cargo.toml | head -1)
grep -q "^## $version\$" CHANGELOG.md || { echo "CHANGELOG.md says nothing of $version" >&2; exit 1; }

echo "== the program for Linux"
cargo build --quiet --release
made=target/packaging
root=$made/root
rm -rf "$made"
install -D -m 755 target/release/gracerung "$root/usr/bin/gracerung"
strip "$root/usr/bin/gracerung"
mkdir -p "$root/usr/share/man/man1"
target/release/gracerung manual -o "$root/usr/share/man/man1" >/dev/null
gzip -9n "$root"/usr/share/man/man1/*.1
complete() { # shell, file
    mkdir -p "$(dirname "$root/usr/share/$2")"
    target/release/gracerung completions "$1" >"$root/usr/share/$2"
}
complete bash bash-completion/completions/gracerung
complete zsh zsh/vendor-completions/_gracerung
complete fish fish/vendor_completions.d/gracerung.fish
doc=$root/usr/share/doc/gracerung
mkdir -p "$doc/examples"
cp LICENSE "$doc/copyright"
cp licences/libraries.txt docs/reference.md "$doc/"
cp drills/*.yaml "$doc/examples/"
gzip -9nc CHANGELOG.md >"$doc/changelog.gz"
find "$root" -type d -exec chmod 755 {} +
find "$root/usr/share" -type f -exec chmod 644 {} +

echo "== the Debian package"
# The libraries it needs, by Debian's own reckoning: the sound library is one.
mkdir -p "$made/debian"
: >"$made/debian/control"
needs=$(cd "$made" && dpkg-shlibdeps -O root/usr/bin/gracerung | sed -n 's/^shlibs:Depends=//p')
architecture=$(dpkg --print-architecture)
mkdir -p "$root/DEBIAN"
cat >"$root/DEBIAN/control" <<CONTROL
Package: gracerung
Version: $version
Architecture: $architecture
Maintainer: the gracerung authors <authors@gracerung.invalid>
Installed-Size: $(du -sk "$root/usr" | cut -f1)
Depends: $needs
Section: sound
Priority: optional
Description: metronome-locked drills for pipers
 A terminal program that takes a movement apart into written-out stages, plays
 each with the click until it comes clean several times running, and climbs the
 tempo ladder. Pedals mark, or the microphone does. Prints sheets, reads ABC,
 MIDI and MusicXML, and keeps a journal of the weeks.
CONTROL
dpkg-deb --root-owner-group --build "$root" "$out/gracerung_${version}_$architecture.deb" >/dev/null

echo "== the program for Windows"
rustup --quiet target add x86_64-pc-windows-gnu
cargo build --quiet --release --target x86_64-pc-windows-gnu
folder=$made/gracerung-$version
mkdir -p "$folder/drills"
x86_64-w64-mingw32-strip -o "$folder/gracerung.exe" target/x86_64-pc-windows-gnu/release/gracerung.exe
cp licences/libraries.txt docs/reference.md CHANGELOG.md "$folder/"
cp LICENSE "$folder/LICENSE.txt"
cp packaging/read-me-windows.txt "$folder/READ ME.txt"
cp drills/*.yaml "$folder/drills/"
# what is opened by a double click has the line ends of Windows
sed -i 's/$/\r/' "$folder"/*.txt "$folder"/*.md
python3 - "$folder" "$out/gracerung-$version-windows-x86_64.zip" <<'PYTHON'
import pathlib, sys, zipfile
folder = pathlib.Path(sys.argv[1])
with zipfile.ZipFile(sys.argv[2], "w", zipfile.ZIP_DEFLATED) as zipped:
    for path in sorted(folder.rglob("*")):
        if path.is_file():
            zipped.write(path, path.relative_to(folder.parent))
PYTHON
ls -l "$out"
