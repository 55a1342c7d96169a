#!/usr/bin/env bash
# A sound card that is only software, for the live tests: whatever plays to the default output can
# be recorded from the monitor of a null sink.  Needs no hardware, no root, no D-Bus, no session.
#
#   eval "$(tests/virtual-sound.sh start)"     # prints the variables that point programs at it
#   tests/virtual-sound.sh kill                # the server dies, as if a cable was pulled
#   tests/virtual-sound.sh start               # … and comes back at the same place
#   tests/virtual-sound.sh stop                # ends it and removes its folder
#   tests/virtual-sound.sh died                # is it gone though nobody ended it?  Then its log
#
# On Debian and its relatives: pulseaudio, pulseaudio-utils and libasound2-plugins.
set -euo pipefail

home=${VIRTUAL_SOUND_HOME:-${TMPDIR:-/tmp}/gracerung-sound-$(id -u)}
socket=$home/socket
rate=${VIRTUAL_SOUND_RATE:-48000}

end_server() {
    local pid
    [ -s "$home/pid" ] || return 0
    pid=$(<"$home/pid")
    rm -f "$home/pid"
    kill "-$1" "$pid" 2>/dev/null || return 0
    for _ in {1..50}; do
        kill -0 "$pid" 2>/dev/null || return 0
        sleep 0.1
    done
}

begin_server() {
    mkdir -p "$home"
    chmod 700 "$home"
    [ -s "$home/cookie" ] || head -c 256 /dev/urandom >"$home/cookie"
    # ALSA as the system has it, but "default" means the server.
    cat >"$home/asound.conf" <<CONF
</usr/share/alsa/alsa.conf>
pcm.!default { type pulse }
ctl.!default { type pulse }
CONF
    # On a machine that is stopped for a while and goes on, the null sink makes up for what it missed
    # in one go; the usual limit of 200 ms without a pause kills the server then.
    mkdir -p "$home/.config/pulse"
    echo "rlimit-rttime = -1" >"$home/.config/pulse/daemon.conf"
    rm -f "$socket"
    # No start-up file, so nothing but these two modules.  The null sink keeps time by the system's
    # clock; without rewinds it buffers 50 ms instead of 2 s, and an underrun costs no seconds.  Sound
    # goes over the socket: sharing memory, the server sends blocks that it never announced.
    env -u DISPLAY -u DBUS_SESSION_BUS_ADDRESS HOME="$home" XDG_RUNTIME_DIR="$home" \
        PULSE_RUNTIME_PATH="$home" PULSE_COOKIE="$home/cookie" \
        setsid pulseaudio -n --daemonize=no --use-pid-file=no --exit-idle-time=-1 \
        --high-priority=yes --realtime=yes --disable-shm=yes --log-target="file:$home/log" \
        -L "module-null-sink sink_name=card rate=$rate channels=2 format=float32le norewinds=1" \
        -L "module-native-protocol-unix auth-anonymous=1 socket=$socket" \
        </dev/null >/dev/null 2>&1 &
    echo $! >"$home/pid"
    export PULSE_SERVER="unix:$socket" PULSE_COOKIE="$home/cookie"
    for _ in {1..100}; do
        if pactl set-default-sink card 2>/dev/null; then
            pactl set-default-source card.monitor
            return 0
        fi
        sleep 0.1
    done
    echo "the sound server did not start; its log:" >&2
    cat "$home/log" >&2
    return 1
}

case ${1:-} in
start)
    end_server TERM
    begin_server
    printf 'export PULSE_SERVER=%q PULSE_COOKIE=%q ALSA_CONFIG_PATH=%q\n' \
        "$PULSE_SERVER" "$home/cookie" "$home/asound.conf"
    ;;
kill) end_server KILL ;;
died)
    # without a number it was ended by `kill` or `stop`
    [ -s "$home/pid" ] && ! kill -0 "$(<"$home/pid")" 2>/dev/null || exit 1
    echo "the sound server died by itself; the end of its log:" >&2
    tail -n 20 "$home/log" >&2
    ;;
stop)
    end_server TERM
    rm -rf "$home"
    ;;
*)
    echo "usage: $0 start|kill|stop|died" >&2
    exit 2
    ;;
esac
