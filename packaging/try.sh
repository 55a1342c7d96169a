#!/usr/bin/env bash
# Tries what packaging/make.sh made on systems that have nothing: the Debian package in a fresh root
# folder, the Windows zip under a fresh Wine. Each plays, checks and prints there.
# Usage: packaging/try.sh [FOLDER, target/packages when left out]
# Needs root, Debian's debootstrap, wine64 and gcc-mingw-w64-x86-64, and a Debian mirror.
set -euo pipefail
cd "$(dirname "$0")/.."
packages=$(cd "${1:-target/packages}" && pwd)
work=$(mktemp -d)
end() {
    umount "$work/bare/proc" 2>/dev/null || true
    rm -rf "$work"
}
trap end EXIT

echo "== a fresh root folder"
debootstrap --variant=minbase --include=ca-certificates stable "$work/bare" >"$work/log" 2>&1 ||
    { tail -20 "$work/log"; exit 1; }
mount -t proc proc "$work/bare/proc"
cp "$packages"/gracerung_*.deb "$work/bare/tmp/gracerung.deb"
inside() { chroot "$work/bare" env -i PATH=/usr/sbin:/usr/bin:/sbin:/bin HOME=/home LANG=C.UTF-8 \
    TERM=xterm-256color DEBIAN_FRONTEND=noninteractive "$@"; }
inside apt-get install -y -qq --no-install-recommends man-db python3-minimal /tmp/gracerung.deb >"$work/log" 2>&1 ||
    { tail -20 "$work/log"; exit 1; }
inside dpkg -s gracerung | grep -E '^(Version|Depends|Installed-Size)'
inside gracerung --version
inside sh -c 'man -P cat gracerung | head -3; man -P cat gracerung-practise | head -3'
inside test -s /usr/share/bash-completion/completions/gracerung
inside test -s /usr/share/doc/gracerung/copyright
inside sh -c 'ls /usr/share/doc/gracerung'
inside sh -c 'cd /home && gracerung check /usr/share/doc/gracerung/examples/*.yaml && gracerung sheet grip-from-d -o s.pdf &&
    gracerung render grip-from-d -o s.wav && gracerung handout grip-from-d -o s.html && ls -l s.*'
tests/console.py chroot "$work/bare" /usr/bin/env -i PATH=/usr/bin:/bin HOME=/home LANG=C.UTF-8 \
    TERM=xterm-256color gracerung practise grip-from-d --stage "real time" --tempo 80
inside gracerung journal check
inside apt-get purge -y -qq gracerung >/dev/null 2>&1
inside test -s /home/.local/share/gracerung/journal.sqlite
if inside find /usr -name '*gracerung*' | grep .; then
    echo "the package left something behind" >&2
    exit 1
fi

echo "== a fresh Wine"
(cd "$work" && python3 -m zipfile -e "$packages"/gracerung-*-windows-x86_64.zip .)
folder=$(echo "$work"/gracerung-*)
ls "$folder"
# only libraries that every Windows has
x86_64-w64-mingw32-objdump -p "$folder/gracerung.exe" | sed -n 's/.*DLL Name: //p' | sort -f | tr '\n' ' '
echo
if x86_64-w64-mingw32-objdump -p "$folder/gracerung.exe" | grep -iE 'DLL Name: (lib|.*pthread)'; then
    echo "it needs a library that Windows does not have" >&2
    exit 1
fi
tests/windows.py "$folder/gracerung.exe" target/release/gracerung
