#!/bin/sh
# Outside readers look at what we export: two of ABC, two of MIDI, two of MusicXML and its schema.
# Needs Debian's abcmidi, abcm2ps and libxml2-utils, PyPI's mido, pretty_midi, music21, partitura, verovio,
# musicxml and xmlschema; installs what is missing. The first argument is the binary.
# Fails when a reader warns, or hears other notes, order, lengths or onsets than we wrote.
set -eu
binary=$(realpath "${1:-target/debug/gracerung}")
here=$(realpath "$(dirname "$0")")
work=${EXCHANGE_WORK:-$(mktemp -d)}
mkdir -p "$work"
for tool in abc2midi abcm2ps xmllint; do
    if ! command -v "$tool" >/dev/null; then
        apt-get install -y -qq abcmidi abcm2ps libxml2-utils >/dev/null
    fi
done
if [ ! -x "$work/python/bin/python" ]; then
    python3 -m venv "$work/python"
    "$work/python/bin/pip" install -q mido pretty_midi music21 partitura verovio xmlschema musicxml==1.6.3
fi
mkdir -p "$work/schema"
find "$work/python" -name musicxml_4_0.xsd -exec cp {} "$work/schema/musicxml.xsd" \;
# the two standard modules it imports, as xmlschema carries them
find "$work/python" -path '*schemas/XML/xml.xsd' -exec cp {} "$work/schema/xml.xsd" \;
find "$work/python" -path '*schemas/XLINK/xlink.xsd' -exec cp {} "$work/schema/xlink.xsd" \;
# the schema's imports, pointed at the local files
sed -i 's#schemaLocation="[^"]*/xml.xsd"#schemaLocation="xml.xsd"#; s#schemaLocation="[^"]*/xlink.xsd"#schemaLocation="xlink.xsd"#' "$work/schema/musicxml.xsd"
sed -i 's#schemaLocation="[^"]*xml.xsd"#schemaLocation="xml.xsd"#' "$work/schema/xlink.xsd"
export XDG_DATA_HOME="$work/data"
"$work/python/bin/python" "$here/exchange-checks.py" "$binary" "$work"
# how much of MIDI files that others make of our tunes comes back
exec "$work/python/bin/python" "$here/midi-of-others.py" "$binary" "$work"
