#!/bin/sh
# Install the Debian packages named as arguments that are not there yet; say plainly when that cannot be done.
set -eu
missing=""
for package in "$@"; do
    dpkg-query -W -f='${Status}' "$package" 2>/dev/null | grep -q 'ok installed' || missing="$missing $package"
done
[ -n "$missing" ] || exit 0
sudo=""
if [ "$(id -u)" != 0 ]; then
    if command -v sudo >/dev/null 2>&1; then
        sudo="sudo"
    else
        echo "These Debian packages are needed and this user may not install them:$missing" >&2
        echo "Ask an administrator for: apt-get install$missing" >&2
        exit 1
    fi
fi
echo "installing Debian packages:$missing"
$sudo apt-get update -qq
DEBIAN_FRONTEND=noninteractive $sudo apt-get install -y -qq --no-install-recommends $missing >/dev/null
