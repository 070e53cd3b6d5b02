#!/bin/sh
# Makes sure that Debian packages are there: `tools/debian.sh chromium postgresql`.
# (Playwright brings its own node, which needs libatomic1.)
# Installs what is missing when it may (root, or sudo without a password); otherwise says what to type.
set -eu

present() {
    case "$1" in
        chromium) command -v chromium ;;
        postgresql) command -v initdb || ls /usr/lib/postgresql/*/bin/initdb ;;
        python3-venv) "${PYTHON:-python3}" -c 'import ensurepip' ;;
        *) dpkg -s "$1" ;;
    esac >/dev/null 2>&1
}

missing=""
for package in "$@"; do
    present "$package" || missing="$missing $package"
done
[ -n "$missing" ] || exit 0

as_root=""
if [ "$(id -u)" -ne 0 ]; then
    if sudo -n true 2>/dev/null; then
        as_root="sudo"
    else
        echo "Needed and not installed:$missing. Please run: sudo apt-get install -y$missing" >&2
        exit 1
    fi
fi
echo "Installing$missing"
export DEBIAN_FRONTEND=noninteractive
$as_root apt-get update -qq
# shellcheck disable=SC2086  # a list of words is meant
$as_root apt-get install -y -qq --no-install-recommends $missing >/dev/null
