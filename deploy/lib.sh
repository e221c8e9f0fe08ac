# shellcheck shell=bash
# SPDX-License-Identifier: ISC
# The code that the demo, the tests and the benchmark share: messages, Debian packages, builds, and private PostgreSQL
# clusters that live and die with their caller. Sourced by bash scripts under `set -euo pipefail`; it starts nothing
# itself.

# Debian's own tools: another python3 or meson in front of them would not see Debian's packages.
export PATH=/usr/sbin:/usr/bin:/sbin:/bin

top=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd -P)
postgres_bin=/usr/lib/postgresql/15/bin
socket_path_max=107 # sun_path of unix(7), less its final NUL

say() { printf '%s\n' "$*"; }
die() {
    printf '%s: %s\n' "${0##*/}" "$*" >&2
    exit 1
}

# quietly LOG COMMAND...: the command's output goes to LOG, whose end is shown only if the command fails.
quietly() {
    local log=$1 status=0
    shift
    "$@" >"$log" 2>&1 </dev/null || status=$?
    [ "$status" -eq 0 ] && return 0
    {
        printf '%s failed (status %d); the end of %s:\n' "$1" "$status" "$log"
        tail -n 40 "$log" | sed 's/^/    /'
    } >&2
    return "$status"
}

# build NAME TARGET MESON_OPTION...: build/NAME is set up once, and TARGET (all: everything) brought up to date in it.
# The log is build/NAME.log.
build() {
    local folder=$top/build/$1 target=$2
    shift 2
    mkdir -p "$top/build"
    if [ ! -f "$folder/build.ninja" ]; then
        quietly "$folder.log" meson setup "$folder" "$top" "$@" || return
    fi
    quietly "$folder.log" ninja -C "$folder" "$target"
}

# process_runs PID FILE: PID is a live process that runs FILE. A number alone may long be someone else's.
process_runs() {
    local running
    running=$(readlink "/proc/$1/exe" 2>/dev/null) || return 1
    [ "${running% (deleted)}" = "$2" ] # deleted: rebuilt since it was started
}

# PostgreSQL refuses to run as root, so root's clusters belong to the user that Debian's package made.
as_cluster_user() {
    if [ "$(id -u)" -eq 0 ]; then
        (cd / && exec setpriv --reuid=postgres --regid=postgres --init-groups env HOME=/ "$@")
    else
        (cd / && exec "$@")
    fi
}

# A cluster of DIR lives in DIR/cluster, or, where its user can't enter DIR (a checkout under /root) or the path
# of its socket would be too long, in a new folder under /var/tmp. DIR/home keeps the choice until it is stopped.
cluster_home_new() {
    local dir=$1 home=$1/cluster socket=$1/cluster/.s.PGSQL.5432
    mkdir -p "$dir"
    if [ "${#socket}" -le "$socket_path_max" ] && as_cluster_user test -x "$dir"; then
        mkdir -m 700 "$home"
    else
        home=$(mktemp -d /var/tmp/depositd-XXXXXX)
    fi
    say "$home" >"$dir/home"
    [ "$(id -u)" -ne 0 ] || chown postgres:postgres "$home"
}

# private_cluster_start DIR [SETTINGS]: a new, empty cluster that only its user (and root) can reach, by its socket
# alone; the lines of the file SETTINGS, if given, are added to its configuration. Connect with
# host=$(private_cluster_host DIR) user=postgres. It first removes the remains of an earlier run in DIR.
private_cluster_start() {
    local dir=$1 settings=${2:-/dev/null} home
    private_cluster_stop "$dir"
    cluster_home_new "$dir"
    home=$(private_cluster_host "$dir")
    quietly "$dir/initdb.log" as_cluster_user "$postgres_bin/initdb" --pgdata="$home/data" --username=postgres \
        --auth=trust --encoding=UTF8 --locale=C.UTF-8 --no-sync || return
    cat - "$settings" <<SETTINGS | as_cluster_user tee -a "$home/data/postgresql.conf" >/dev/null
listen_addresses = ''
unix_socket_directories = '$home'
max_connections = 200
timezone = 'UTC'
log_timezone = 'UTC'
SETTINGS
    private_cluster_resume "$dir"
}

# private_cluster_resume DIR: starts again what private_cluster_halt has left.
private_cluster_resume() {
    local home
    home=$(private_cluster_host "$1")
    quietly "$1/start.log" as_cluster_user "$postgres_bin/pg_ctl" start --pgdata="$home/data" \
        --log="$home/postgresql.log" --wait --timeout=300
}

private_cluster_host() { cat "$1/home"; }

# private_cluster_hosts DIR...: those of several, separated by colons.
private_cluster_hosts() {
    local dir
    for dir; do
        private_cluster_host "$dir"
    done | paste -sd:
}

# private_cluster_halt DIR [MODE]: stops the cluster, if one runs, and keeps its data. Harmless when there is none.
private_cluster_halt() {
    local dir=$1 mode=${2-fast} home pid
    [ -f "$dir/home" ] || return 0
    home=$(private_cluster_host "$dir")
    case $home in "$dir/cluster" | /var/tmp/depositd-??????) ;; *) die "$dir/home names a strange place: $home" ;; esac
    pid=$(head -n 1 "$home/data/postmaster.pid" 2>/dev/null || true)
    # The postmaster's working directory is its data directory: this one is ours, whatever the number was before.
    if [ -n "$pid" ] && [ "$(readlink "/proc/$pid/cwd")" = "$home/data" ]; then
        quietly "$dir/stop.log" as_cluster_user "$postgres_bin/pg_ctl" stop --pgdata="$home/data" --mode="$mode" \
            --wait --timeout=120 ||
            quietly "$dir/stop.log" as_cluster_user "$postgres_bin/pg_ctl" stop --pgdata="$home/data" \
                --mode=immediate --wait || return
    fi
}

# private_cluster_stop DIR: stops the cluster, if one runs, and removes its data. Harmless when there is none.
private_cluster_stop() {
    local dir=$1 home
    [ -f "$dir/home" ] || return 0
    private_cluster_halt "$dir" || return
    home=$(private_cluster_host "$dir")
    rm -rf -- "$home"
    rm -f -- "$dir/home"
}

# How many tests run side by side: one for each processor, but two at least, for they wait a lot, and four at most.
test_workers() {
    local processors
    processors=$(nproc)
    say $((processors < 2 ? 2 : processors > 4 ? 4 : processors))
}

# end_group GROUP: ends a process group, first in the way that lets Python tidy up behind itself.
end_group() {
    local signal tenths
    for signal in INT TERM KILL; do
        kill "-$signal" -- "-$1" 2>/dev/null || return 0
        for ((tenths = 0; tenths < 100; tenths++)); do
            kill -0 -- "-$1" 2>/dev/null || return 0
            sleep 0.1
        done
    done
}
